//! Going on from a stop: the ways that are open, and the splice that a person accepts.
//!
//! [`plans`] is pure and works from what is published, so that whoever shows the ways, a screen or
//! the automatic operator, sees the same. A [`Splice`] can only be made from a plan, by sealing it;
//! [`crate::Ask::Resume`] takes nothing else.

use program::resume::{Stopped, Ways};
use program::{Facts, NoSeal, Report, Seal, Slats, Verdict, VetInput};
use serde::{Deserialize, Serialize};
use units::Point;

pub use program::resume::{Lost, Proposal, Way};

use crate::job::{Job, JobCut};
use crate::view::View;

/// Which stop it is, and all that is known of its place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stop {
    /// The run.
    pub run: u64,
    /// Its holds so far: no two stops of a run have the same number.
    pub number: usize,
    /// The cut that is gone on with, from 1; one more than there are when none is left.
    pub cut: usize,
    /// Where it was lost; `None`: nothing of it is cut.
    pub lost: Option<Lost>,
    /// A start from its open kerf found no arc.
    pub kerf_end_failed: bool,
}

/// One way on from a stop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Names it among the plans of its stop.
    pub id: String,
    /// The stop that it is for.
    pub stop: Stop,
    /// Feed on the way in, mm/s.
    pub entry_mm_s: f64,
    /// How, from where, and what it leaves.
    #[serde(flatten)]
    pub how: Proposal,
}

/// A way that may be expected and is not there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Barred {
    /// Which.
    pub way: Way,
    /// Why not.
    pub why: String,
}

/// The ways on from a stop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plans {
    /// The stop.
    pub stop: Stop,
    /// The best first.
    pub plans: Vec<Plan>,
    /// Those that are not there, and why.
    pub barred: Vec<Barred>,
}

/// A plan that was accepted and sealed: bound to its job and its stop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Splice {
    seal: Seal,
    job: Seal,
    plan: Plan,
}

impl Splice {
    /// What binds it.
    #[must_use]
    pub fn seal(&self) -> &Seal {
        &self.seal
    }

    /// The plan.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// It belongs to this job.
    #[must_use]
    pub fn is_of(&self, job: &Job) -> bool {
        self.job == job.seal
    }
}

impl Plan {
    /// Accepts it, its overlap, what stays uncut and every warning with one reason, and seals it.
    ///
    /// # Errors
    /// [`NoSeal`] when the reason is blank and there is a warning, or when a rule refuses it.
    pub fn seal(self, job: &Job, reason: &str) -> Result<Splice, NoSeal> {
        let findings = self.how.warns.clone();
        let report = Report {
            verdict: Verdict::of(&findings),
            cuts: 1,
            pierces: 1,
            cut_mm: 0.0,
            rapid_mm: 0.0,
            time_s: None,
            bounds: None,
            not_judged: Vec::new(),
            findings,
            lacks: Vec::new(),
        };
        let told = program::hash(&self);
        let seal = program::seal(
            &report,
            &report.accepted_for(reason),
            &[job.seal.hash().as_bytes(), told.as_bytes()],
        )?;
        Ok(Splice {
            seal,
            job: job.seal.clone(),
            plan: self,
        })
    }

    /// The stretch of the path that it leaves uncut, mm along the cut.
    #[must_use]
    pub fn gap(&self) -> Option<[f64; 2]> {
        let lost = self.stop.lost?;
        match self.how.way {
            Way::Tab => Some([lost.at_mm, self.how.from_mm]),
            Way::Leave if self.how.uncut_mm > 0.0 => Some([self.how.from_mm, f64::INFINITY]),
            _ => None,
        }
    }
}

/// The ways on from the stop that a view shows, taken up `back_mm` earlier than need be; `None`:
/// nothing is stopped.
#[must_use]
pub fn plans(job: &Job, view: &View, back_mm: f64) -> Option<Plans> {
    let stop = view.hold.as_ref()?.stop?;
    let cut = stop.cut.checked_sub(1)?;
    let Some(in_hand) = job.cuts.get(cut) else {
        let why = "Every cut is cut: the torch goes to its parking place.";
        return Some(Plans {
            stop,
            plans: vec![plan(&stop, Proposal::fresh(Point::default(), why), 0.0)],
            barred: Vec::new(),
        });
    };
    let Ways { proposals, barred } = ways(job, view, &stop, cut, back_mm);
    let planned = |how: Proposal| {
        let feed_mm_s = feed_at(in_hand, how.from_mm);
        plan(&stop, how, feed_mm_s)
    };
    Some(Plans {
        stop,
        plans: proposals.into_iter().map(planned).collect(),
        barred: barred
            .into_iter()
            .map(|(way, why)| Barred { way, why })
            .collect(),
    })
}

fn ways(job: &Job, view: &View, stop: &Stop, cut: usize, back_mm: f64) -> Ways {
    let cuts: Vec<program::Cut> = job.cuts.iter().map(as_drawn).collect();
    let done: Vec<Vec<[f64; 2]>> = view.cuts.iter().map(|c| c.done.clone()).collect();
    let stopped = Stopped {
        cuts: &cuts,
        done: &done,
        entries: &view.entries,
        cut,
        lost: stop.lost,
        kerf_end_failed: stop.kerf_end_failed,
        back_mm: if back_mm.is_finite() {
            back_mm.max(0.0)
        } else {
            0.0
        },
    };
    let stock = job.stock.as_ref();
    let input = VetInput {
        setup: stock.map(|s| &s.setup),
        travel: stock.map_or(job.sheet, |s| s.travel),
        sheet_corner: stock.map_or(Point::default(), |s| s.sheet_corner),
        kerf_mm: stock.and_then(|s| s.kerf_mm).or(Some(job.row.kerf_mm)),
        chart_feed_mm_s: Some(job.row.feed_mm_s()),
        traverse_height_mm: job.cycle.safe_height_mm,
        line_limit: usize::MAX,
        no_row: None,
        facts: Facts {
            slats: stock.map_or_else(Slats::default, |s| s.slats),
            ..Facts::default()
        },
    };
    program::resume::ways(&stopped, &input)
}

fn as_drawn(cut: &JobCut) -> program::Cut {
    let line = cut.path.first().map_or(1, |e| e.line);
    program::Cut {
        pierce: cut.pierce,
        on_line: line,
        on_column: 1,
        off_line: cut.path.last().map_or(line, |e| e.line),
        path: cut
            .path
            .iter()
            .map(|e| program::Element {
                segment: e.segment,
                feed_mm_s: Some(e.feed_mm_s),
                line: e.line,
                column: 1,
            })
            .collect(),
        compensation: None,
    }
}

/// The feed of a path at a station, mm/s.
fn feed_at(cut: &JobCut, s: f64) -> f64 {
    let mut end = 0.0;
    let there = cut.path.iter().find(|e| {
        end += e.segment.length();
        end > s
    });
    there.or(cut.path.last()).map_or(0.0, |e| e.feed_mm_s)
}

/// Its name is what it is: another plan has another.
fn plan(stop: &Stop, how: Proposal, entry_mm_s: f64) -> Plan {
    let unnamed = Plan {
        id: String::new(),
        stop: *stop,
        entry_mm_s,
        how,
    };
    let id = program::hash(&unnamed);
    Plan {
        id: id.chars().take(16).collect(),
        ..unnamed
    }
}
