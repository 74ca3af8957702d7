//! Standing between two cuts: because it was asked for, because the line or the journal wants it,
//! or because a supply must recover, as vetting has reckoned. None of these ever stops a cut.

use core::time::Duration;

use super::Machine;
use crate::cause::Cause;

impl Machine {
    /// Whether the run is to stand before its next cut; if so, it is held there.
    pub(super) fn stands_between(&mut self, before: usize) -> bool {
        let Some(run) = &mut self.run else {
            return false;
        };
        if run.cut >= run.cuts.len() {
            run.hold_after = false;
            return false;
        }
        let asked = core::mem::take(&mut run.hold_after);
        let mut causes = Vec::new();
        if self.alarms.is_latched(Cause::RecordFailed) {
            causes.push((Cause::RecordFailed, "Held between two cuts.".into()));
        }
        if self.noise.is_too_much() {
            self.noise.forget();
            causes.push((
                Cause::LinkNoise,
                "More than 3 of 1000 lines arrived spoilt twice. Held between two cuts.".into(),
            ));
        }
        causes.extend(self.waits_due(before));
        if asked && self.alarms.stands(Cause::ScreenLost) {
            let why = "The screen that commands was lost. Held between two cuts.".into();
            causes.push((Cause::ScreenLost, why));
        }
        if asked && causes.is_empty() {
            causes.push((Cause::Hold, "Held between two cuts, as asked.".into()));
        }
        let mut causes = causes.into_iter();
        let Some((cause, why)) = causes.next() else {
            return false;
        };
        self.hold_at(cause, self.now, 0.0, why);
        for (cause, why) in causes {
            self.alarm(cause, self.now, false, why);
        }
        true
    }

    /// A panel that died before a cut may have died in a planned stop. How long it had stood is not known, and
    /// how long nobody looked neither: the stop is made again, in full.
    pub(super) fn stands_again(&mut self) -> bool {
        let Some(before) = self.run.as_ref().and_then(|r| r.cut.checked_sub(1)) else {
            return false;
        };
        let mut due = self.waits_due(before).into_iter();
        let Some((cause, why)) = due.next() else {
            return false;
        };
        self.hold_at(cause, self.now, 0.0, why);
        for (cause, why) in due {
            self.alarm(cause, self.now, false, why);
        }
        true
    }

    /// The planned stops after cut `before` and up to the next one, both from 0; the longest first.
    fn waits_due(&mut self, before: usize) -> Vec<(Cause, String)> {
        let (Some(loaded), Some(run)) = (&self.loaded, &self.run) else {
            return Vec::new();
        };
        let next = run.cut + 1;
        let mut due: Vec<_> = loaded
            .job
            .waits
            .iter()
            .filter(|w| w.before_cut > before + 1 && w.before_cut <= next)
            .copied()
            .collect();
        due.sort_by(|a, b| b.wait_s.total_cmp(&a.wait_s));
        due.iter()
            .map(|w| {
                let cause = Cause::from(w.cause);
                let wait = Duration::from_secs_f64(w.wait_s.clamp(0.0, 86_400.0));
                let until = self.now + wait;
                let at = self.waits.entry(cause).or_insert(until);
                *at = (*at).max(until);
                let why = match cause {
                    Cause::ChangeDue => format!(
                        "Planned before cut {next}: the fitted set reaches its change point in it."
                    ),
                    _ => format!("Planned before cut {next}: {:.0} s.", w.wait_s),
                };
                (cause, why)
            })
            .collect()
    }

    /// The time of a planned stop is over.
    pub(super) fn waited(&self, cause: Cause) -> bool {
        self.waits.get(&cause).is_none_or(|t| self.now >= *t)
    }
}
