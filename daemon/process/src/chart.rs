//! Cut charts: rows of settings by material, thickness and current.

use serde::{Deserialize, Serialize};

/// One row of a cut chart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChartRow {
    /// How a setup names it.
    pub name: String,
    /// Material, as setups write it.
    pub material: String,
    /// Current, A.
    pub amps: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Feed along the cut, mm/min as the trade writes it; see [`ChartRow::feed_mm_s`].
    pub feed_mm_min: f64,
    /// Height of the tip above the sheet at the pierce, mm.
    pub pierce_height_mm: f64,
    /// Height of the tip above the sheet along the cut, mm.
    pub cut_height_mm: f64,
    /// From arc OK to the start of the path, s.
    pub pierce_delay_s: f64,
    /// Arc voltage at cut height, V.
    pub volts: f64,
    /// Width of the slot, mm.
    pub kerf_mm: f64,
}

impl ChartRow {
    /// Feed along the cut, mm/s.
    #[must_use]
    pub fn feed_mm_s(&self) -> f64 {
        self.feed_mm_min / 60.0
    }
}
