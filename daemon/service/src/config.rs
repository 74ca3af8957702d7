//! The machine file: as typed ([`low`]), then resolved and range-checked ([`Config`]).
//!
//! This is the only place where it is read. Nothing is taken in silence: an unknown key, a value
//! outside its range and a pin that would read a broken wire as "safe" are all refused, with the
//! file, the line, the key and what to do.

mod covered;
mod embedded;
mod found;
mod low;
mod range;
mod resolve;
mod signals;
mod table;
#[cfg(test)]
mod tests;
mod volts;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use control::guard::GuardSettings;
use control::{ArcEdge, Commissioning, EstopProof, Output, OutputSettings};
use link::Dialect;
use process::{ChartRow, Compressor, CycleSettings, MotionLimits, Set, SourceTimes};
use units::Point;

pub use found::Found;
pub use signals::{SIGNALS, SignalKind};
pub use volts::{ConverterKind, VoltsConfig};

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
    /// Where torch parts are changed, machine coordinates, mm; `None`: where it parks.
    pub change: Option<Point>,
    /// Distance between slats, mm.
    pub slat_pitch_mm: f64,
    /// Depth of the slats, mm: how far a piece can fall.
    pub slat_depth_mm: f64,
    /// What the axes can do.
    pub motion: MotionLimits,
    /// Settings of the cycle.
    pub cycle: CycleSettings,
    /// Limits of the guard.
    pub guard: GuardSettings,
    /// How the arc signal lags behind the arc.
    pub arc_signal: ArcEdge,
    /// How it would show that the emergency stop chain has opened while nobody looked.
    pub estop: EstopProof,
    /// The serial port.
    pub link: LinkConfig,
    /// The pins.
    pub pins: PinsConfig,
    /// The converter of the arc volts; `None`: they are not measured by this board.
    pub volts: Option<VoltsConfig>,
    /// The cut chart's rows; empty: none.
    pub chart: Vec<ChartRow>,
    /// Mean times of the power source and of the way to the controller: what a job's time hangs on.
    pub source: SourceTimes,
    /// The power source.
    pub power: PowerConfig,
    /// The air supply.
    pub air: AirConfig,
    /// The set of nozzle and electrode that is fitted; `None`: its wear is not known.
    pub supplies: Option<Set>,
    /// What things cost.
    pub prices: Option<planning::Prices>,
    /// What the panel has counted since: vetting reckons with this; `None`: with `supplies`.
    pub counted: Option<Set>,
    /// What the last first article reached, mm to either side; `None`: not known.
    pub reached_tolerance_mm: Option<f64>,
    /// A commanding screen that is lost holds the run after the cut in hand, where a hold button is
    /// fitted; else at once.
    pub screen_lost_after_cut: bool,
    /// The fume extraction runs on so long after the last arc, s.
    pub extraction_after_s: f64,
    /// Screens on other machines may watch, and ask for HOLD.
    pub watch_from_lan: bool,
    /// What commissioning must have shown on this table, as this machine file is.
    pub commissioning: Commissioning,
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

/// What drives the pins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Backend {
    /// The kernel's GPIO character device: any Linux board.
    #[default]
    CharacterDevice,
    /// The processor's registers, on the boards that `rppal` knows.
    Rppal,
    /// There are no pins.
    None,
}

impl Backend {
    /// Its name in the machine file.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::CharacterDevice => "character-device",
            Self::Rppal => "rppal",
            Self::None => "none",
        }
    }
}

impl PinsConfig {
    /// Every pin with the key of the machine file that names it.
    pub fn lines(&self) -> impl Iterator<Item = (String, u32)> + '_ {
        let permit = self.permit.map(|pin| ("pins.permit".to_owned(), pin));
        let inputs = self.inputs.iter();
        let inputs = inputs.map(|i| (format!("pins.inputs.{}.pin", i.signal), i.pin));
        let outputs = self.outputs.iter();
        let outputs = outputs.map(|(o, pin)| (format!("pins.outputs.{}", o.name()), *pin));
        permit.into_iter().chain(inputs).chain(outputs)
    }
}

/// The pins: which backend, and which pin carries which signal.
#[derive(Clone, Debug)]
pub struct PinsConfig {
    /// What they are driven through; practice puts its own in place of it.
    pub backend: Backend,
    /// The GPIO chip of the character device: its name, path or label.
    pub chip: String,
    /// Output pin of the permit square wave.
    pub permit: Option<u32>,
    /// Input pins by signal name.
    pub inputs: Vec<InputPin>,
    /// Pins of the optional outputs.
    pub outputs: Vec<(Output, u32)>,
    /// Names of all signals that this table has, from whatever they are read, and of its optional outputs.
    pub fitted: BTreeSet<String>,
}

/// One input pin.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputPin {
    /// Which signal, named as in the design (`fire_on`, `arc_ok`, ...).
    pub signal: String,
    /// Its number: that of the line on its chip, which on many boards is that of the processor.
    pub pin: u32,
    /// A high level means true: the contact that the signal is named after is closed.
    pub active_high: bool,
    /// The board's own pull resistor: `"up"`, `"down"` or `"none"`.
    pub pull: String,
    /// Ignored until stable for this long, ms.
    pub debounce_ms: u64,
}

/// The plasma power source, as its rating plate and book say.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerConfig {
    /// Rated current, A.
    pub rated_amps: f64,
    /// Rated duty at that current, as a part of ten minutes (0 to 1).
    pub rated_duty: f64,
    /// How it strikes.
    pub starting: Starting,
    /// The arc voltage is told divided by this; 1: raw.
    pub divider: f64,
    /// Currents for which sets of nozzles are at hand, A.
    pub settings_amps: Vec<f64>,
}

/// How a power source strikes its pilot arc.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Starting {
    /// The gas parts electrode and nozzle: no burst.
    Contact,
    /// A high-frequency, high-voltage burst: disturbs wires.
    Burst,
}

/// The air supply. Volumes and flows are free air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirConfig {
    /// Receiver and everything that holds air with it, L.
    pub receiver_l: f64,
    /// What the compressor delivers, L/min.
    pub compressor_l_min: f64,
    /// What the torch takes, L/min.
    pub torch_l_min: f64,
    /// The compressor starts at this pressure, bar.
    pub start_bar: f64,
    /// The compressor stops at this pressure, bar.
    pub stop_bar: f64,
    /// Below this at the source with flow the air is low, bar.
    pub low_bar: f64,
    /// What filter and hose take with flow, bar: the receiver stands so much higher.
    pub hose_bar: f64,
    /// The gas flows on after the arc, s.
    pub post_flow_s: f64,
    /// The compressor at the start of a job.
    pub compressor: Compressor,
    /// The fixed regulator inside the source, bar at the source; 0: there is none.
    pub regulator_bar: f64,
}

/// What is wrong with a machine file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
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
    pub fn load(path: &Path) -> Result<Self, ConfigError> {
        Self::load_by(path, &|_| {})
    }

    /// The same; `names` is told of each file that the machine file names.
    fn load_by(path: &Path, names: &dyn Fn(&Path)) -> Result<Self, ConfigError> {
        let text = resolve::read_text(path, "Name a machine file that can be read")?;
        let folder = path.parent().unwrap_or(Path::new(""));
        let mut config = resolve::resolve(&path.display().to_string(), &text, &|named| {
            let file = folder.join(named);
            names(&file);
            let text = resolve::read_text(
                &file,
                "Correct the path in the machine file: it is relative to that file",
            )?;
            Ok((file.display().to_string(), text))
        })?;
        config.file = Some(path.to_path_buf());
        Ok(config)
    }

    /// The files that a machine file consists of: itself, then the dialect and the chart that it names.
    ///
    /// # Errors
    /// As [`Config::load`].
    pub fn files(path: &Path) -> Result<Vec<PathBuf>, ConfigError> {
        let named = std::cell::RefCell::new(vec![path.to_path_buf()]);
        Self::load_by(path, &|file| named.borrow_mut().push(file.to_path_buf()))?;
        Ok(named.into_inner())
    }

    /// The machine file that is used when none is named: the invented practice table with the
    /// invented chart.
    ///
    /// # Panics
    /// Never in a build that passed its tests: the files are part of the program.
    #[must_use]
    pub fn built_in() -> Self {
        match embedded::practice() {
            Ok(config) => config,
            Err(error) => panic!("a file inside this program is wrong: {error}"),
        }
    }

    /// The same with a controller that speaks `quill`.
    ///
    /// # Panics
    /// As [`Config::built_in`].
    #[must_use]
    pub fn built_in_quill() -> Self {
        match embedded::practice_quill() {
            Ok(config) => config,
            Err(error) => panic!("a file inside this program is wrong: {error}"),
        }
    }

    /// The optional outputs of this table.
    #[must_use]
    pub fn outputs(&self) -> OutputSettings {
        let has = |output: Output| self.pins.fitted.contains(output.name());
        OutputSettings {
            beacon: has(Output::Beacon),
            sounder: has(Output::Sounder),
            extraction: has(Output::Extraction),
            extraction_after_s: self.extraction_after_s,
        }
    }

    /// It is for the simulated table, which comes commissioned.
    pub fn on_simulated_table(&mut self) {
        self.commissioning.simulated = true;
        self.commissioning.comes_proved = true;
    }

    /// The first without a chart: for judging a program of which the material is not known.
    #[must_use]
    pub fn built_in_without_chart() -> Self {
        Self {
            chart: Vec::new(),
            ..Self::built_in()
        }
    }
}
