//! Going on with a cut that was stopped: where it can begin again, and by which way.
//!
//! All of it is worked out on the sheet as it is now: what was cut so far is taken away, of the cut
//! in hand up to where it may have come at most. A way that fires on new metal is found here and
//! then vetted by the rules of vetting like any path ([`judge`]).

mod entry;
mod ground;
mod judge;
mod leave;
#[cfg(test)]
mod tests;
mod ways;

use serde::{Deserialize, Serialize};
use strum::VariantArray;
use units::{Point, Segment};

use crate::Cut;
use crate::report::Finding;
use crate::vetting::on_sheet::VetInput;

/// A transferred arc reaches a wall this far off, mm (common practice, no source).
pub const REACH_MM: f64 = 2.0;

/// Where a cut was lost, mm along it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lost {
    /// The likeliest place.
    pub at_mm: f64,
    /// Surely cut up to here.
    pub low_mm: f64,
    /// Surely not cut beyond here.
    pub high_mm: f64,
}

/// A cut that was stopped, and all that was cut before it. Everything lies on the sheet, mm.
#[derive(Clone, Copy, Debug)]
pub struct Stopped<'a> {
    /// The cuts of the program, placed on the sheet.
    pub cuts: &'a [Cut],
    /// Of each cut the stretches that are cut, mm along it.
    pub done: &'a [Vec<[f64; 2]>],
    /// Ways into cuts that were burnt beside their paths.
    pub entries: &'a [Vec<Segment>],
    /// The cut in hand, from 0.
    pub cut: usize,
    /// Where it was lost; `None`: nothing of it is cut.
    pub lost: Option<Lost>,
    /// Its last start from the open kerf found no arc in every try.
    pub kerf_end_failed: bool,
    /// The operator wants it taken up this much earlier, mm.
    pub back_mm: f64,
}

/// How a cut is gone on with.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, VariantArray,
)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// Fired at the end of the open kerf, against its wall.
    KerfEnd,
    /// Pierced anew in the scrap beside it, by a new lead-in.
    LeadIn,
    /// The whole cut again from its pierce.
    Restart,
    /// Begun anew beyond the place lost: a tab stays between.
    Tab,
    /// Left as it is near its end: what is not cut stays as a tab.
    Leave,
}

/// One way on. Places are on the sheet, mm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Proposal {
    /// How.
    pub way: Way,
    /// Where the torch is fired.
    pub pierce: Point,
    /// From there to the joint; empty when fired on the path.
    pub entry: Vec<Segment>,
    /// Where the path is taken up, mm along the cut.
    pub from_mm: f64,
    /// Where a second try is made, mm along the cut.
    pub second_mm: Option<f64>,
    /// The metal is whole where it fires: pierce height and pierce delay.
    pub pierces: bool,
    /// So much of the path is cut again at most, mm.
    pub overlap_mm: f64,
    /// So much of the path stays uncut, mm.
    pub uncut_mm: f64,
    /// So much metal stays as a tab, mm; 0: none.
    pub tab_mm: f64,
    /// Why this way, in words.
    pub why: String,
    /// What vetting warns of: accepted with it.
    pub warns: Vec<Finding>,
}

/// The ways on from a stop.
#[derive(Clone, Debug, PartialEq)]
pub struct Ways {
    /// The best first. Empty where none can be shown.
    pub proposals: Vec<Proposal>,
    /// Ways that a person may have expected, and why they are not there.
    pub barred: Vec<(Way, String)>,
}

/// Works out the ways on. They are vetted: what a rule refuses is not among them.
#[must_use]
pub fn ways(stopped: &Stopped<'_>, input: &VetInput<'_>) -> Ways {
    ways::find(stopped, input)
}

/// Lost so near to a contour's end it may be left as a tab, mm (process handbook).
const LEAVE_MM: f64 = 8.0;

/// How the metal ahead of the place lost is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ahead {
    /// It hangs together with the clamp, wherever the cut has come to.
    Holds,
    /// By what is surely cut it does.
    MayHold,
    /// Not even by that.
    Loose,
}
