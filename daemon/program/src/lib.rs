//! A cutting program's text, what it means, and whether it may be cut.
//!
//! Pure: bytes come in; blocks, a cut list and a vet report go out. Knows no machine state.

mod report;
mod setup;

pub use report::{Acceptance, Finding, Report, Severity, Verdict};
pub use setup::{Keepout, Setup};

use serde::{Deserialize, Serialize};
use units::{Point, Segment};

/// Proof that a job was vetted and that every warning was accepted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seal(String);

impl Seal {
    /// The hash, as lower case hex.
    #[must_use]
    pub fn hash(&self) -> &str {
        &self.0
    }
}

/// Why no seal was given.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoSeal {
    /// A finding refuses.
    #[error("refused by {rule}: {says}")]
    Refused {
        /// The rule.
        rule: String,
        /// What it says.
        says: String,
    },
    /// A warning is not accepted yet.
    #[error("the warning {rule} is not accepted yet: {says}")]
    NotAccepted {
        /// The rule.
        rule: String,
        /// What it says.
        says: String,
    },
}

/// Seals a vetted job: binds every part that decides what happens, the report and the acceptances.
///
/// # Errors
/// [`NoSeal`] when a finding refuses or a warning is not accepted.
pub fn seal(
    _report: &Report,
    _acceptances: &[Acceptance],
    _parts: &[&[u8]],
) -> Result<Seal, NoSeal> {
    Err(NoSeal::Refused {
        rule: String::new(),
        says: String::new(),
    })
}

/// Which words mean what on this table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadingRules {
    /// M words for torch on.
    pub torch_on: Vec<u16>,
    /// M words for torch off.
    pub torch_off: Vec<u16>,
}

impl Default for ReadingRules {
    fn default() -> Self {
        Self {
            torch_on: vec![3, 4],
            torch_off: vec![5],
        }
    }
}

/// A program reduced to cuts, in program coordinates, mm.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CutList {
    /// The cuts in order.
    pub cuts: Vec<Cut>,
}

/// From torch on to torch off.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// Where it is pierced.
    pub pierce: Point,
    /// Line of torch on, from 1.
    pub on_line: u32,
    /// Line of torch off, from 1; the last line if it never goes off.
    pub off_line: u32,
    /// The path, without gaps.
    pub path: Vec<Element>,
}

/// A piece of path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Element {
    /// The line or arc.
    pub segment: Segment,
    /// Feed in force, mm/s; `None`: none was given.
    pub feed_mm_s: Option<f64>,
    /// Line it came from, from 1.
    pub line: u32,
}

/// A program as read.
#[derive(Clone, Debug)]
pub struct Reading {
    /// What it cuts.
    pub cut_list: CutList,
    /// What reading it has found (the rest is found by [`vet`]).
    pub findings: Vec<Finding>,
}

/// Reads a program. Never fails: what cannot be read is a finding.
#[must_use]
pub fn read(_bytes: &[u8], _rules: &ReadingRules) -> Reading {
    Reading {
        cut_list: CutList::default(),
        findings: Vec::new(),
    }
}

/// What vetting may know besides the program.
#[derive(Clone, Copy, Debug)]
pub struct VetInput<'a> {
    /// What lies on the table.
    pub setup: Option<&'a Setup>,
    /// Travel along X and Y, mm, and where the sheet's corner lies in it.
    pub travel: Point,
    /// The sheet's lower left corner, machine coordinates, mm.
    pub sheet_corner: Point,
    /// Kerf, mm: the setup's or the chart row's.
    pub kerf_mm: Option<f64>,
    /// Feed of the chart row, mm/s.
    pub chart_feed_mm_s: Option<f64>,
    /// Traverse height above the sheet, mm.
    pub traverse_height_mm: f64,
    /// Longest line the controller takes, characters.
    pub line_limit: usize,
    /// Why there is no chart row, in words, when there is none.
    pub no_row: Option<&'a str>,
}

/// Vets a program that was read.
#[must_use]
pub fn vet(_reading: &Reading, _input: &VetInput<'_>) -> Report {
    Report {
        verdict: Verdict::Refused,
        cuts: 0,
        pierces: 0,
        cut_mm: 0.0,
        rapid_mm: 0.0,
        time_s: None,
        bounds: None,
        findings: Vec::new(),
    }
}
