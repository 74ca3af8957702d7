//! What the machine must know of the table.

use serde::{Deserialize, Serialize};
use units::Point;

use crate::guard;

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
    /// Where to park after the job, machine coordinates.
    pub park: Point,
}
