//! What a headless practice run has come to.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use control::Cause;
use control::view::{CutState, Faltered, HoldRecord, Phase, Retry, View};
use planning::Job;
use serde::Serialize;
use simulator::harness::Truth;

use super::earlier::{self, Earlier};

/// The JSON contract of `practice --headless --format json`. Times are table time, s.
#[derive(Clone, Debug, Serialize)]
pub struct Summary {
    cuts: usize,
    cuts_done: usize,
    path_mm: f64,
    planned_s: f64,
    run_s: f64,
    arc_on_s: f64,
    pierces: u32,
    holds: Vec<Hold>,
    retries: Vec<Retried>,
    faltered: Vec<FalteredTold>,
    truth: TruthTold,
}

#[derive(Clone, Debug, Serialize)]
struct Hold {
    cause: Cause,
    cut: usize,
    at_mm: f64,
    resumed_mm: Option<f64>,
}

/// Lines came too slowly.
#[derive(Clone, Debug, Serialize)]
struct FalteredTold {
    cut: usize,
    for_s: f64,
    mm_min: f64,
    wanted_mm_min: f64,
}

#[derive(Clone, Debug, Serialize)]
struct Retried {
    cause: Cause,
    cut: usize,
}

#[derive(Clone, Debug, Serialize)]
struct TruthTold {
    uncut_mm: f64,
    recut_mm: f64,
    off_path_mm: f64,
    violations: Vec<String>,
    /// What happened by chance (the rough mood), by name.
    mishaps: BTreeMap<String, u32>,
}

impl Summary {
    /// Gathers what the panel shows, what the journal tells of panels before it, and, apart from it, what the table's own ledger says.
    #[must_use]
    pub fn new(job: &Job, view: &View, earlier: Earlier, truth: Truth) -> Self {
        let done = |c: &&control::view::CutView| c.state == CutState::Done;
        Self {
            cuts: job.cuts.len(),
            cuts_done: view.cuts.iter().filter(done).count(),
            path_mm: job.cuts.iter().map(planning::JobCut::length_mm).sum(),
            planned_s: job.planned_s,
            run_s: earlier.run_s + view.run_s.unwrap_or(0.0),
            arc_on_s: earlier.arc_on_s + view.arc_on_s,
            pierces: view.pierces,
            holds: earlier
                .holds
                .into_iter()
                .map(Hold::from)
                .chain(view.holds.iter().map(Hold::from))
                .collect(),
            retries: view.retries.iter().map(Retried::from).collect(),
            faltered: view.faltered.iter().map(FalteredTold::from).collect(),
            truth: TruthTold {
                uncut_mm: truth.uncut_mm,
                recut_mm: truth.recut_mm,
                off_path_mm: truth.off_path_mm,
                violations: truth.violations,
                mishaps: truth.mishaps,
            },
        }
    }

    /// Every cut was cut.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.cuts > 0 && self.cuts_done == self.cuts
    }

    /// The table saw no physical wrong.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.truth.violations.is_empty()
    }

    /// How the command ends: 0 where every cut was cut and nothing physically wrong was seen, else 1.
    #[must_use]
    pub fn exit_status(&self) -> u8 {
        u8::from(!(self.is_whole() && self.is_clean()))
    }

    /// The same for a person.
    #[must_use]
    pub fn text(&self, phase: Phase) -> String {
        let mut t = String::new();
        let end = if self.is_whole() {
            "Every cut was cut"
        } else if phase == Phase::Finished {
            "Ended with cuts left over"
        } else {
            "Did not finish"
        };
        let _ = writeln!(t, "{end}: {} of {} cuts.", self.cuts_done, self.cuts);
        let _ = writeln!(
            t,
            "  {:.0} mm of path, {} pierces, arc on for {}.",
            self.path_mm,
            self.pierces,
            minutes(self.arc_on_s)
        );
        let _ = writeln!(
            t,
            "  Planned {}, took {} of table time.",
            minutes(self.planned_s),
            minutes(self.run_s)
        );
        for hold in &self.holds {
            let _ = write!(
                t,
                "  Held: {} on cut {}, {:.1} mm along",
                hold.cause, hold.cut, hold.at_mm
            );
            let _ = match hold.resumed_mm {
                Some(mm) => writeln!(t, "; taken up again at {mm:.1} mm."),
                None => writeln!(t, "; not taken up again."),
            };
        }
        for retry in &self.retries {
            let _ = writeln!(
                t,
                "  Cured by a second try: {} on cut {}.",
                retry.cause, retry.cut
            );
        }
        for f in &self.faltered {
            let _ = writeln!(
                t,
                "  Too slow: cut {} went at {:.0} mm/min for {:.1} s, and should at {:.0}: its lines came \
                 too slowly.",
                f.cut, f.mm_min, f.for_s, f.wanted_mm_min
            );
        }
        let _ = writeln!(
            t,
            "The table's own ledger: {:.2} mm uncut, {:.1} mm cut twice, never more than {:.3} mm \
             off the path.",
            self.truth.uncut_mm, self.truth.recut_mm, self.truth.off_path_mm
        );
        if !self.truth.mishaps.is_empty() {
            let told: Vec<String> = self
                .truth
                .mishaps
                .iter()
                .map(|(k, n)| format!("{n} x {k}"))
                .collect();
            let _ = writeln!(t, "  By chance: {}.", told.join(", "));
        }
        if self.truth.violations.is_empty() {
            let _ = writeln!(t, "  No physical wrong was seen.");
        }
        for violation in &self.truth.violations {
            let _ = writeln!(t, "  WRONG: {violation}");
        }
        t
    }
}

impl From<&HoldRecord> for Hold {
    fn from(h: &HoldRecord) -> Self {
        Self {
            cause: h.cause,
            cut: h.cut,
            at_mm: h.at_mm,
            resumed_mm: h.resumed_mm,
        }
    }
}

impl From<earlier::Hold> for Hold {
    fn from(h: earlier::Hold) -> Self {
        Self {
            cause: h.cause,
            cut: h.cut,
            at_mm: h.at_mm,
            resumed_mm: h.resumed_mm,
        }
    }
}

impl From<&Faltered> for FalteredTold {
    fn from(f: &Faltered) -> Self {
        Self {
            cut: f.cut,
            for_s: f.for_s,
            mm_min: f.mm_s * 60.0,
            wanted_mm_min: f.wanted_mm_s * 60.0,
        }
    }
}

impl From<&Retry> for Retried {
    fn from(r: &Retry) -> Self {
        Self {
            cause: r.cause,
            cut: r.cut,
        }
    }
}

fn minutes(s: f64) -> String {
    if s < 60.0 {
        format!("{s:.1} s")
    } else {
        format!("{} min {:02.0} s", (s / 60.0).floor(), s % 60.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_with_a_physical_wrong_or_with_a_cut_left_over_never_ends_well() {
        let with = |cuts_done, violations: &[&str]| Summary {
            cuts: 2,
            cuts_done,
            path_mm: 1.0,
            planned_s: 1.0,
            run_s: 1.0,
            arc_on_s: 1.0,
            pierces: 2,
            holds: Vec::new(),
            retries: Vec::new(),
            faltered: Vec::new(),
            truth: TruthTold {
                uncut_mm: 0.0,
                recut_mm: 0.0,
                off_path_mm: 0.0,
                violations: violations.iter().map(|v| (*v).to_owned()).collect(),
                mishaps: BTreeMap::new(),
            },
        };
        assert_eq!(with(2, &[]).exit_status(), 0);
        assert_eq!(with(1, &[]).exit_status(), 1);
        assert_eq!(
            with(2, &["fire with the sensing circuit connected"]).exit_status(),
            1
        );
    }
}
