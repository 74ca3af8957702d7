//! Going on from a stop: the ways that are open, and the splice that a person accepts.
//!
//! [`plans`] is pure and works from what is published, so that whoever shows the ways, a screen or
//! the automatic operator, sees the same. A [`Splice`] can only be made from a plan, by sealing it;
//! [`crate::Ask::Resume`] takes nothing else.

use planning::Job;
use program::{NoSeal, Report, Seal, Verdict};
use serde::{Deserialize, Serialize};

pub use program::resume::{Lost, Proposal, Way};

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
        self.stop.lost?;
        match self.how.way {
            Way::Tab => Some([self.how.from_mm - self.how.uncut_mm, self.how.from_mm]),
            Way::Leave if self.how.uncut_mm > 0.0 => Some([self.how.from_mm, f64::INFINITY]),
            _ => None,
        }
    }
}
