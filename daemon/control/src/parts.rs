//! The torch parts that wear: what each has been through since it was fitted.
//!
//! Everything here is a fold of the journal's events, oldest first, so there is nothing else to
//! keep: a panel that dies loses no more of a count than the journal's last 100 ms, and of the arc
//! time of a cut under way what came after its last record of progress.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// A part of the torch that is changed by hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// The nozzle, whose bore fits a current.
    Nozzle,
    /// The electrode with its emitter.
    Electrode,
    /// The shield or cap in front of the nozzle.
    Shield,
    /// The swirl ring that turns the gas.
    SwirlRing,
}

impl Part {
    /// Every part.
    pub const ALL: [Self; 4] = [Self::Nozzle, Self::Electrode, Self::Shield, Self::SwirlRing];

    /// Its name in a sentence.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Nozzle => "nozzle",
            Self::Electrode => "electrode",
            Self::Shield => "shield",
            Self::SwirlRing => "swirl ring",
        }
    }
}

/// What a part has been through since it was fitted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Used {
    /// Starts: how often the torch was asked for.
    pub starts: u32,
    /// Starts that no arc followed.
    pub failed: u32,
    /// Arcs that went out by themselves.
    pub lost: u32,
    /// Time with the arc on, s.
    pub arc_s: f64,
}

/// A set of parts for one current, as its tag says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SetTag {
    /// What is written on the tag.
    pub tag: String,
    /// The current it is made for, A.
    pub amps: f64,
}

impl SetTag {
    /// It is made for this current. Tags and chart rows carry whole amperes; half of one is slack
    /// for a row that was typed otherwise (ours).
    #[must_use]
    pub fn fits(&self, amps: f64) -> bool {
        (self.amps - amps).abs() < 0.5
    }
}

/// What is known of the parts in the torch.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PartsUsed {
    /// By part; a part that is not here was not used since it was fitted.
    pub used: BTreeMap<Part, Used>,
    /// Parts that were changed under this panel: of the others it knows no beginning.
    pub changed: Vec<Part>,
    /// The set that is fitted, as the operator said last.
    pub fitted: Option<SetTag>,
    /// Parts were touched and the sensing circuit was not tried since.
    pub untested: bool,
    /// A start that nothing is known of yet.
    pub(crate) asked: bool,
    /// Arc time of the arc that burns, s, by the last record of it.
    pub(crate) burning_s: Option<f64>,
    /// As it was when the job of the run in hand was loaded: what that job was vetted with.
    pub at_load: Option<Box<Counts>>,
    /// A run is under way or interrupted.
    pub(crate) in_run: bool,
}

/// What each part has been through, at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Counts {
    /// As in [`PartsUsed`].
    pub used: BTreeMap<Part, Used>,
    /// As in [`PartsUsed`].
    pub changed: Vec<Part>,
}

impl PartsUsed {
    /// What one part has been through.
    #[must_use]
    pub fn of(&self, part: Part) -> Used {
        self.used.get(&part).copied().unwrap_or_default()
    }

    /// The counts as they are now.
    #[must_use]
    pub fn counts(&self) -> Counts {
        Counts {
            used: self.used.clone(),
            changed: self.changed.clone(),
        }
    }

    /// What vetting has to reckon with. `pending`: a run is not ended.
    #[must_use]
    pub fn supplies(&self, told: &process::Set, pending: bool) -> process::Set {
        match self.at_load.as_deref().filter(|_| pending) {
            Some(counts) => counts.worst(told),
            None => self.counts().worst(told),
        }
    }
}

impl Counts {
    /// The part that is used up most, as wear is reckoned with, 1 being its change point. `told`:
    /// lives, and what the machine file says of a part that was fitted before the panel counted.
    #[must_use]
    pub fn worst(&self, told: &process::Set) -> process::Set {
        [Part::Nozzle, Part::Electrode]
            .into_iter()
            .map(|part| self.wear(part, told))
            .reduce(|a, b| if b.used() > a.used() { b } else { a })
            .unwrap_or(*told)
    }

    /// One part's counts, as wear is reckoned with.
    #[must_use]
    pub fn wear(&self, part: Part, told: &process::Set) -> process::Set {
        let used = self.used.get(&part).copied().unwrap_or_default();
        let before = if self.changed.contains(&part) {
            process::Set {
                starts: 0.0,
                minutes: 0.0,
                losses: 0.0,
                ..*told
            }
        } else {
            *told
        };
        process::Set {
            starts: before.starts + f64::from(used.starts),
            minutes: before.minutes + used.arc_s / 60.0,
            losses: before.losses + f64::from(used.lost),
            ..*told
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cause::Cause;
    use crate::event::Event;

    const RUN: u64 = 1;
    const CUT: usize = 1;

    fn fold(events: &[Event]) -> PartsUsed {
        let mut parts = PartsUsed::default();
        for e in events {
            parts.take(e);
        }
        parts
    }

    fn asked() -> Event {
        Event::FireAsked { run: RUN, cut: CUT }
    }

    fn on() -> Event {
        Event::ArcOn {
            run: RUN,
            cut: CUT,
            at_s: 1.0,
            after_s: None,
            volts: None,
        }
    }

    fn off(arc_s: f64) -> Event {
        Event::ArcOff {
            run: RUN,
            cut: CUT,
            at_s: 2.0,
            arc_s,
        }
    }

    fn reached(arc_s: f64) -> Event {
        Event::CutReached {
            run: RUN,
            cut: CUT,
            at_mm: 1.0,
            arc_s: Some(arc_s),
        }
    }

    fn held(cause: Cause) -> Event {
        Event::Held {
            run: RUN,
            cause,
            cut: CUT,
            at_mm: 1.0,
            sure_mm: 1.0,
            place: None,
            volts: None,
            high_mm: None,
            detail: None,
        }
    }

    fn changed(parts: &[Part]) -> Event {
        Event::PartsChanged {
            run: None,
            parts: parts.to_vec(),
            set: Some("40".into()),
            amps: Some(40.0),
        }
    }

    #[test]
    fn starts_failures_losses_and_arc_time_are_counted_for_every_part() {
        let parts = fold(&[
            asked(),
            Event::Retry {
                run: RUN,
                cut: CUT,
                cause: Cause::NoArc,
                try_number: 2,
            },
            asked(),
            on(),
            reached(3.0),
            off(5.0),
            held(Cause::ArcLost),
            asked(),
            on(),
            off(2.5),
        ]);
        for part in Part::ALL {
            let expected = Used {
                starts: 3,
                failed: 1,
                lost: 1,
                arc_s: 7.5,
            };
            assert_eq!(parts.of(part), expected);
        }
    }

    #[test]
    fn a_panel_that_dies_with_the_arc_on_keeps_the_arc_time_of_its_last_record() {
        let dead = [asked(), on(), reached(1.0), reached(3.5)];
        let mut parts = fold(&dead);
        assert_eq!(parts.of(Part::Nozzle).arc_s, 0.0);
        parts.take(&Event::PanelStarted);
        assert_eq!(parts.of(Part::Nozzle).arc_s, 3.5);
        assert_eq!(parts.of(Part::Nozzle).lost, 0);
        parts.take(&Event::PanelStarted);
        assert_eq!(parts.of(Part::Nozzle).arc_s, 3.5, "counted once");
    }

    #[test]
    fn a_start_that_nobody_saw_the_end_of_is_a_start_and_no_failure() {
        let parts = fold(&[asked(), Event::PanelStarted]);
        assert_eq!(parts.of(Part::Electrode).starts, 1);
        assert_eq!(parts.of(Part::Electrode).failed, 0);
    }

    #[test]
    fn an_arc_that_something_else_put_out_is_not_the_parts_loss() {
        let explained = Event::HoldExplained {
            run: RUN,
            was: Cause::ArcLost,
            cause: Cause::ControllerReset,
        };
        let parts = fold(&[asked(), on(), off(1.0), held(Cause::ArcLost), explained]);
        assert_eq!(parts.of(Part::Nozzle).lost, 0);
    }

    #[test]
    fn a_change_sets_back_the_parts_that_were_changed_and_no_other() {
        let mut parts = fold(&[asked(), on(), off(60.0), changed(&[Part::Nozzle])]);
        assert_eq!(parts.of(Part::Nozzle), Used::default());
        assert_eq!(parts.of(Part::Electrode).starts, 1);
        assert_eq!(parts.fitted.as_ref().map(|s| s.amps), Some(40.0));
        assert!(parts.untested);
        parts.take(&Event::ContactTested {
            run: None,
            by_touch: false,
        });
        assert!(!parts.untested);
    }

    #[test]
    fn what_the_machine_file_tells_counts_until_the_part_is_changed() {
        let told = process::Set {
            starts: 300.0,
            ..process::Set::default()
        };
        let parts = fold(&[asked(), on(), off(60.0)]);
        assert_eq!(parts.counts().wear(Part::Nozzle, &told).starts, 301.0);
        assert_eq!(parts.counts().wear(Part::Nozzle, &told).minutes, 1.0);
        let parts = fold(&[asked(), changed(&[Part::Nozzle]), asked()]);
        assert_eq!(parts.counts().wear(Part::Nozzle, &told).starts, 1.0);
        assert_eq!(parts.counts().worst(&told).starts, 302.0, "the electrode");
    }

    #[test]
    fn a_run_is_vetted_with_the_counts_that_its_job_was_loaded_with() {
        let load = || Event::JobLoaded {
            seal: "s".into(),
            name: "n".into(),
        };
        let started = Event::RunStarted {
            run: RUN,
            seal: "s".into(),
            name: "n".into(),
            cuts: 1,
        };
        let events = [
            asked(),
            load(),
            started,
            asked(),
            Event::PanelStarted,
            load(),
            asked(),
        ];
        let at_load = fold(&events).at_load.expect("a job was loaded");
        assert_eq!(at_load.used[&Part::Nozzle].starts, 1);
    }
}
