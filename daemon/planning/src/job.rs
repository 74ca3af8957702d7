//! A sealed job: all that a run needs to know, bound by one hash.

use process::{ChartRow, CycleSettings};
use program::{Seal, Setup, Slats};
use serde::{Deserialize, Serialize};
use units::{Point, Segment};

use crate::stops::PlannedStop;

/// A job that was vetted and sealed. Everything is in sheet coordinates, mm.
///
/// There is no way to make one without a [`Seal`], and only vetting makes seals.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Job {
    /// Binds program text, setup, chart row, machine file and vet result.
    pub seal: Seal,
    /// What it is called on the screen.
    pub name: String,
    /// Sheet size, mm.
    pub sheet: Point,
    /// Sheet thickness, mm.
    pub thickness_mm: f64,
    /// The chart row it is cut with.
    pub row: ChartRow,
    /// The cycle's settings: heights, speeds, limits, tries.
    pub cycle: CycleSettings,
    /// The cuts in order.
    pub cuts: Vec<JobCut>,
    /// Predicted time of the whole run, s.
    pub planned_s: f64,
    /// Predicted time of each cut with its traverse and touch-off, s, in order.
    pub planned_cuts_s: Vec<f64>,
    /// What it lies on, so that a way on from a stop can be vetted like the job itself; `None` in
    /// older recordings.
    #[serde(default)]
    pub stock: Option<Stock>,
    /// Where the run is to stand until a supply has recovered; none in older recordings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub waits: Vec<PlannedStop>,
}

/// The sheet and the table as vetting was told of them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stock {
    /// What lies on the table.
    pub setup: Setup,
    /// Kerf, mm: the setup's, else the chart row's.
    pub kerf_mm: Option<f64>,
    /// Travel along X and Y, mm.
    pub travel: Point,
    /// The sheet's lower left corner, machine coordinates, mm.
    pub sheet_corner: Point,
    /// The slats under the sheet.
    pub slats: Slats,
}

/// One cut: from torch on to torch off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct JobCut {
    /// Where it is pierced.
    pub pierce: Point,
    /// Its path, without gaps, from the pierce on.
    pub path: Vec<JobElement>,
    /// Stretches on which it crosses a kerf that is cut before it, mm along it; none in older
    /// recordings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub crossings: Vec<[f64; 2]>,
    /// Of the cuts before it the last that frees a piece near its pierce, from 0 (see
    /// [`process::FREED_NEAR_MM`]); none in older recordings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub freed_by: Option<usize>,
}

/// A piece of a cut's path.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct JobElement {
    /// The line or arc.
    pub segment: Segment,
    /// Feed, mm/s.
    pub feed_mm_s: f64,
    /// The program's line it came from, counted from 1.
    pub line: u32,
}

impl JobCut {
    /// Length of the path, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.path.iter().map(|e| e.segment.length()).sum()
    }

    /// The place `s` mm along the path.
    #[must_use]
    pub fn point_at(&self, s: f64) -> Point {
        let end = || self.path.last().map_or(self.pierce, |e| e.segment.to());
        units::point_along(self.path.iter().map(|e| e.segment), s).unwrap_or_else(end)
    }
}
