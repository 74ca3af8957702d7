//! What the machine must know of the table.

use serde::{Deserialize, Serialize};
use units::Point;

use crate::commissioning::Commissioning;
use crate::guard;
use crate::outputs::OutputSettings;
use crate::parts::SetTag;

/// What the machine must know of the table, from the machine file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// Guard limits, of which control waits for some as well.
    pub guard: guard::GuardSettings,
    /// Where the sheet's lower left corner lies, machine coordinates, mm.
    pub sheet_corner: Point,
    /// Top of the slats, machine coordinates, mm: the sheet's top is expected one thickness above.
    pub slat_top_z: f64,
    /// Height of travel, machine coordinates, mm: referenced Z stands here.
    pub top_z: f64,
    /// How far the axes go in the plane, machine coordinates from 0, mm; `None`: in recordings of panels that
    /// did not move by hand.
    #[serde(default)]
    pub travel: Option<Point>,
    /// Rapid speed in the plane and along Z, mm/s, for the limits of waits.
    pub rapid_mm_s: f64,
    /// Rapid speed along Z, mm/s.
    pub rapid_z_mm_s: f64,
    /// Acceleration, mm/s2.
    pub accel_mm_s2: f64,
    /// Baud rate of the wire.
    pub baud: u32,
    /// No report for this long is `link-cut`, ms.
    pub link_silence_ms: u64,
    /// How it would show that the emergency stop chain has opened while nobody looked.
    #[serde(default = "EstopProof::told")]
    pub estop: EstopProof,
    /// How the arc signal's edge lags behind the arc.
    #[serde(default)]
    pub arc_edge: ArcEdge,
    /// Where to park after the job, machine coordinates.
    pub park: Point,
    /// Where torch parts are changed, machine coordinates; `None`: at the parking place.
    #[serde(default)]
    pub change: Option<Point>,
    /// The sets of torch parts that this shop has; none: the fitted set is not asked for.
    #[serde(default)]
    pub sets: Vec<SetTag>,
    /// A commanding screen that is lost holds the run after the cut in hand, where a hold button is
    /// fitted; else at once.
    #[serde(default)]
    pub screen_lost_after_cut: bool,
    /// Lives of the parts, and what those fitted before the panel counted have been through;
    /// `None`: wear is not reckoned.
    #[serde(default)]
    pub supplies: Option<process::Set>,
    /// What commissioning must have shown before a start; `None`: in recordings of panels that did not ask
    /// for it, whose tables count as commissioned.
    #[serde(default)]
    pub commissioning: Option<Commissioning>,
    /// The optional outputs; none in recordings of panels that had none.
    #[serde(default)]
    pub outputs: OutputSettings,
}

/// How it would show that the emergency stop chain has opened while nobody looked. Neither: whenever
/// the panel was blind the place is doubtful, for the chain takes the drives, and a controller that is
/// not told counts on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct EstopProof {
    /// The input stays open until the chain is reset by a separate act: an opening is still seen
    /// afterwards.
    pub latching: bool,
    /// The controller is wired to the chain and says in its reports that it is not referenced any more
    /// once the chain has opened.
    pub told_to_controller: bool,
}

impl EstopProof {
    /// As every table was taken to be before this was asked for: for recordings of then.
    const fn told() -> Self {
        Self {
            latching: false,
            told_to_controller: true,
        }
    }
}

/// How the falling edge of the arc signal lags behind the arc, measured at commissioning (process
/// handbook 3.7). The defaults are the handbook's, invented.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ArcEdge {
    /// From the arc's end to the edge, with the input's filter, ms.
    pub delay_ms: f64,
    /// So much longer or shorter, ms.
    pub spread_ms: f64,
    /// So much more where no controller stamps the place at the edge: the age of its reports, ms.
    pub reports_ms: f64,
}

impl Default for ArcEdge {
    fn default() -> Self {
        Self {
            delay_ms: 12.0,
            spread_ms: 10.0,
            reports_ms: 26.0,
        }
    }
}

impl ArcEdge {
    pub(crate) fn delay_s(&self) -> f64 {
        self.delay_ms / 1000.0
    }

    pub(crate) fn spread_s(&self) -> f64 {
        self.spread_ms / 1000.0
    }

    pub(crate) fn unstamped_s(&self) -> f64 {
        (self.spread_ms + self.reports_ms) / 1000.0
    }
}
