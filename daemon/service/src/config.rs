//! The machine file: as typed, then as resolved.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use control::guard::GuardSettings;
use link::Dialect;
use process::{ChartRow, CycleSettings, MotionLimits};
use units::Point;

/// Everything about the table, resolved and range-checked.
#[derive(Clone, Debug)]
pub struct Config {
    /// What the table is called.
    pub name: String,
    /// Where it was read from; `None`: built in.
    pub file: Option<PathBuf>,
    /// The machine file as it was read: part of every seal.
    pub text: String,
    /// Travel along X, Y and Z, mm.
    pub travel: [f64; 3],
    /// Lower left corner of the sheet, machine coordinates, mm.
    pub sheet_corner: Point,
    /// Top of the slats, machine coordinates, mm.
    pub slat_top_z: f64,
    /// Where the torch parks, machine coordinates, mm.
    pub park: Point,
    /// What the axes can do.
    pub motion: MotionLimits,
    /// Settings of the cycle.
    pub cycle: CycleSettings,
    /// Limits of the guard.
    pub guard: GuardSettings,
    /// The serial port.
    pub link: LinkConfig,
    /// The pins.
    pub pins: PinsConfig,
    /// The cut chart's rows; empty: none.
    pub chart: Vec<ChartRow>,
    /// M words that mean torch on, and torch off.
    pub torch_on: Vec<u16>,
    /// M words that mean torch off.
    pub torch_off: Vec<u16>,
}

/// The serial port and who listens there.
#[derive(Clone, Debug)]
pub struct LinkConfig {
    /// Path of the port.
    pub port: PathBuf,
    /// Baud rate.
    pub baud: u32,
    /// How the controller is spoken to.
    pub dialect: Arc<Dialect>,
    /// No report for this long is `link-cut`, ms.
    pub silence_ms: u64,
}

/// The pins: which backend, and which pin carries which signal.
#[derive(Clone, Debug)]
pub struct PinsConfig {
    /// `"board"` (rppal) or `"none"`; practice puts its own in place of it.
    pub backend: String,
    /// Output pin of the permit square wave.
    pub permit: Option<u8>,
    /// Input pins by signal name.
    pub inputs: Vec<InputPin>,
}

/// One input pin.
#[derive(Clone, Debug)]
pub struct InputPin {
    /// Which signal, named as in the design (`fire_on`, `arc_ok`, ...).
    pub signal: String,
    /// Its number on the board.
    pub pin: u8,
    /// A high level means true.
    pub active_high: bool,
    /// Pull resistor: `"up"`, `"down"` or `"none"`.
    pub pull: String,
    /// Ignored until stable for this long, ms.
    pub debounce_ms: u64,
}

/// What is wrong with a machine file.
#[derive(Debug, thiserror::Error)]
#[error("{file}: {says}. {remedy}")]
pub struct ConfigError {
    /// Which file.
    pub file: String,
    /// What and where.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

impl Config {
    /// Reads a machine file and the dialect and chart that it names (paths relative to it).
    ///
    /// # Errors
    /// The file, the key, what is wrong and what to do.
    pub fn load(_path: &Path) -> Result<Self, ConfigError> {
        Err(ConfigError {
            file: String::new(),
            says: String::new(),
            remedy: String::new(),
        })
    }
}
