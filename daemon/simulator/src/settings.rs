//! What the simulated table is made of. Every default is invented for practice, unless a line says
//! where it is from.

use serde::{Deserialize, Serialize};

use crate::harness::SupplyState;

/// How the simulated controller is spoken to: one of our two dialects, heard by the simulator's own
/// ears.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Tongue {
    /// Framed, numbered, checked lines; reports by itself.
    #[default]
    Plain,
    /// Bare lines without number or check; reports when asked, stamps nothing.
    Quill,
}

impl Tongue {
    /// The one of this name, if the simulated table has it.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "plain" => Some(Self::Plain),
            "quill" => Some(Self::Quill),
            _ => None,
        }
    }
}

/// Everything that makes one simulated table differ from another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TableSettings {
    /// The seed of every draw; each module has a generator of its own made from it.
    pub seed: u64,
    /// The rough mood: mishaps by chance are on.
    pub rough: bool,
    /// How its controller is spoken to.
    pub tongue: Tongue,
    /// Baud rate of the wire, 8N1.
    pub baud: u32,
    /// Its controller takes a line every so many ms at best, as the dialect says of it.
    pub block_ms: u64,
    /// Chance that a bit on the wire is turned over, either way (0: a clean wire).
    pub bit_error_rate: f64,
    /// Lowest machine coordinates that the axes reach, mm. X and Y have their switches here.
    pub travel_low: [f64; 3],
    /// Highest machine coordinates that the axes reach, mm. Z has its switch here.
    pub travel_high: [f64; 3],
    /// Top of the slats, machine coordinates, mm.
    pub slat_top_z: f64,
    /// Where the torch stands at power-up, mm; the controller does not know it until it has homed.
    pub start: [f64; 3],
    /// Acceleration in the plane, mm/s2.
    pub accel_mm_s2: f64,
    /// Rapid speed in the plane, mm/s.
    pub rapid_mm_s: f64,
    /// Acceleration along Z, mm/s2.
    pub z_accel_mm_s2: f64,
    /// Rapid speed along Z, mm/s.
    pub z_rapid_mm_s: f64,
    /// Step of velocity taken in a corner, mm/s.
    pub corner_step_mm_s: f64,
    /// The ohmic circuit closes this far above the surface, mm.
    pub ohmic_offset_mm: f64,
    /// The permit relay drops out this long after the last pulse, ms (at most 100).
    pub permit_drop_ms: u64,
    /// XY rapids over the sheet stay at least this far above its local surface, mm: the hop height
    /// of 8 mm less what bow and touch-off may take from it.
    pub rapid_floor_mm: f64,
    /// What the compressor delivers, free air, L/min (without `supplies` the rough mood alone has one).
    pub compressor_l_min: f64,
    /// A calm table has a receiver that empties too, and counts arcs and wear.
    pub supplies: Option<SupplyState>,
    /// The power source may burn for ever at this current, A.
    pub endless_amps: f64,
    /// A free piece no longer than this falls between the slats, mm: half their pitch.
    pub falls_mm: f64,
    /// The emergency stop chain tells the controller. Otherwise it takes drives and coils alone: the
    /// axes stand, and the controller counts on.
    pub estop_tells: bool,
    /// A panel that has not answered by then (real time, ms) is left behind.
    pub patience_ms: u64,
}

impl Default for TableSettings {
    fn default() -> Self {
        Self {
            seed: 1,
            rough: false,
            tongue: Tongue::Plain,
            baud: 115_200,
            block_ms: 0,
            bit_error_rate: 0.0,
            travel_low: [0.0, 0.0, 0.0],
            travel_high: [1300.0, 1300.0, 120.0],
            slat_top_z: 20.0,
            start: [240.0, 180.0, 70.0],
            accel_mm_s2: 400.0,
            rapid_mm_s: 200.0,
            z_accel_mm_s2: 500.0,
            z_rapid_mm_s: 50.0,
            corner_step_mm_s: 8.0,
            ohmic_offset_mm: 0.05,
            permit_drop_ms: 60,
            rapid_floor_mm: 7.0,
            compressor_l_min: 90.0,
            supplies: None,
            // 60 A at 40 %.
            endless_amps: 37.9,
            falls_mm: 37.5,
            estop_tells: true,
            patience_ms: 100,
        }
    }
}
