//! What lies on the table: the setup file.

use serde::{Deserialize, Serialize};
use units::Point;

/// A setup. Its keys in TOML are a contract.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// `mild-steel`, `stainless`, `aluminium`, ...
    pub material: String,
    /// Thickness, mm.
    pub thickness: f64,
    /// Sheet size, mm.
    pub sheet: Point,
    /// Where the program's zero lies on the sheet, mm.
    pub origin: Point,
    /// Turned anticlockwise about that zero, degrees.
    #[serde(default)]
    pub rotation: f64,
    /// Where the ground clamp bites, sheet mm.
    #[serde(default)]
    pub clamp: Option<Point>,
    /// Name of the chart row.
    #[serde(default)]
    pub chart: Option<String>,
    /// Kerf in place of the chart's, mm.
    #[serde(default)]
    pub kerf: Option<f64>,
    /// Outlines of areas already cut away, sheet mm.
    #[serde(default)]
    pub used: Vec<Vec<Point>>,
    /// Tabs, sheet mm.
    #[serde(default)]
    pub tabs: Vec<Point>,
    /// Things that stand on the sheet.
    #[serde(default)]
    pub keepouts: Vec<Keepout>,
    /// Coating, such as `galvanised`.
    #[serde(default)]
    pub coating: Option<String>,
    /// The table is a water table.
    #[serde(default)]
    pub water_table: bool,
}

/// A thing that stands on the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Keepout {
    /// Its middle, sheet mm.
    pub at: Point,
    /// Its size, mm.
    pub size: Point,
    /// Its height above the sheet, mm.
    pub height: f64,
}
