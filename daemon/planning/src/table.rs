//! What planning must know of the machine file.

use process::{Air, ChartRow, CycleSettings, Duty, MotionLimits, Set, SourceTimes};
use program::{Link, ReadingRules, Slats};
use serde::{Deserialize, Serialize};
use units::Point;

/// What the machine file says, as far as a job hangs on it.
#[derive(Clone, Debug)]
pub struct Table<'a> {
    /// Travel along X, Y and Z, mm.
    pub travel: [f64; 3],
    /// Lower left corner of the sheet, machine coordinates, mm.
    pub sheet_corner: Point,
    /// Top of the slats, machine coordinates, mm.
    pub slat_top_z: f64,
    /// The slats under the sheet.
    pub slats: Slats,
    /// Where the torch parks, machine coordinates, mm.
    pub park: Point,
    /// What the axes can do.
    pub motion: &'a MotionLimits,
    /// Settings of the cycle.
    pub cycle: &'a CycleSettings,
    /// Mean times of the power source and of the way to the controller.
    pub source: &'a SourceTimes,
    /// The cut chart's rows; empty: none.
    pub chart: &'a [ChartRow],
    /// The rating plate of the power source.
    pub duty: Duty,
    /// The air supply; low in the receiver is low at the source and what filter and hose take.
    pub air: Air,
    /// The fitted set of torch parts as it is worn by now; `None`: its wear is not known.
    pub worn: Option<Set>,
    /// What things cost; `None`: nobody has said.
    pub prices: Option<Prices>,
    /// What the last first article reached, mm to either side; `None`: not known.
    pub reached_tolerance_mm: Option<f64>,
    /// What the wire and the controller carry.
    pub link: Link,
    /// Longest line the controller takes, characters.
    pub line_limit: usize,
    /// The words that mean torch on and torch off.
    pub words: ReadingRules,
    /// The machine file as it was read: part of every seal.
    pub text: &'a str,
}

/// Prices, in any money.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Prices {
    /// A set of nozzle and electrode.
    pub set: f64,
    /// An hour of the table.
    pub hour: f64,
}

impl Table<'_> {
    /// Travel along X and Y, mm.
    #[must_use]
    pub fn travel_xy(&self) -> Point {
        Point::new(self.travel[0], self.travel[1])
    }

    pub(crate) fn motion_facts(&self) -> program::Motion {
        program::Motion {
            accel_mm_s2: self.motion.accel_mm_s2,
            corner_step_mm_s: self.motion.corner_step_mm_s,
            feed_max_mm_s: self.motion.feed_max_mm_s,
        }
    }
}
