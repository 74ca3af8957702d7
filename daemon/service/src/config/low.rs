//! The machine file as it is typed: every section and nearly every key may be left out, unknown
//! keys are refused.

use std::collections::BTreeMap;

use control::guard::GuardSettings;
use control::{ArcEdge, EstopProof};
use planning::Prices;
use process::{Compressor, CycleSettings, MotionLimits, Set, SourceTimes};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer};

use super::{Backend, Starting, VoltsConfig};

/// The whole file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct File {
    /// What the table is called on the console.
    pub name: String,
    /// Path of the chart, relative to the file; left out: no chart.
    pub chart: Option<String>,
    /// Where things are on the table.
    #[serde(default)]
    pub table: Table,
    /// What the axes can do.
    #[serde(default)]
    pub motion: MotionLimits,
    /// The serial port and how the controller is spoken to.
    pub link: Link,
    /// Which pin carries which signal.
    pub pins: Pins,
    /// Left out: the board has no converter for the arc volts.
    pub volts: Option<VoltsConfig>,
    /// Limits of the guard.
    #[serde(default)]
    pub guard: GuardSettings,
    /// How the arc signal lags behind the arc.
    #[serde(default)]
    pub arc_signal: ArcEdge,
    /// Left out: nothing would show it.
    #[serde(default)]
    pub estop: EstopProof,
    /// Settings of a cut's cycle that no chart row holds.
    #[serde(default)]
    pub cycle: CycleSettings,
    /// The power source.
    #[serde(default)]
    pub source: Source,
    /// The air supply.
    #[serde(default)]
    pub air: Air,
    /// M words of the cutting programs.
    #[serde(default)]
    pub words: Words,
    /// Left out: the wear of the fitted set is not known.
    pub supplies: Option<Set>,
    /// What things cost, in any money; may be left out.
    pub prices: Option<Prices>,
    /// What the last first article reached, mm to either side; left out: not known.
    pub reached_tolerance_mm: Option<f64>,
    /// What the run does when the screen that commands is lost.
    #[serde(default)]
    pub screen_lost: ScreenLost,
    /// How long the fume extraction runs on, where it is fitted.
    #[serde(default)]
    pub extraction: Extraction,
    /// Who may look.
    #[serde(default)]
    pub access: Access,
}

/// `[access]`.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Access {
    /// From where screens may watch.
    #[serde(default)]
    pub watch: WatchFrom,
}

/// From where screens may watch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WatchFrom {
    /// From the panel's own machine alone.
    #[default]
    ThisMachine,
    /// From any machine that reaches it.
    Lan,
}

/// What the run does when the screen that commands is lost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ScreenLost {
    /// It is held at once.
    #[default]
    HoldNow,
    /// The cut in hand is finished first, where a hold button is fitted.
    AfterCut,
}

/// `[table]`: defaults are those of the invented table.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Table {
    /// Travel along X, Y and Z, mm.
    #[serde(deserialize_with = "exactly")]
    pub travel: [f64; 3],
    /// Lower left corner of the sheet, machine coordinates, mm.
    #[serde(deserialize_with = "exactly")]
    pub sheet_corner: [f64; 2],
    /// Top of the slats, machine coordinates, mm.
    pub slat_top_z: f64,
    /// Where the torch parks, machine coordinates, mm.
    #[serde(deserialize_with = "exactly")]
    pub park: [f64; 2],
    /// Left out: as `park`.
    #[serde(deserialize_with = "exactly_if_given")]
    pub change: Option<[f64; 2]>,
    /// Distance between slats, mm.
    pub slat_pitch_mm: f64,
    /// Depth of the slats, mm: how far a piece can fall.
    pub slat_depth_mm: f64,
}

/// So many numbers and no more: others would be let fall in silence.
fn exactly<'de, D: Deserializer<'de>, const N: usize>(from: D) -> Result<[f64; N], D::Error> {
    let numbers = Vec::<f64>::deserialize(from)?;
    let given = numbers.len();
    let wrong = |_| D::Error::custom(format!("{N} numbers are wanted, not {given}"));
    numbers.try_into().map_err(wrong)
}

fn exactly_if_given<'de, D: Deserializer<'de>, const N: usize>(
    from: D,
) -> Result<Option<[f64; N]>, D::Error> {
    exactly(from).map(Some)
}

impl Default for Table {
    fn default() -> Self {
        Self {
            travel: [1300.0, 1300.0, 100.0],
            sheet_corner: [50.0, 50.0],
            slat_top_z: 20.0,
            park: [0.0, 0.0],
            change: None,
            slat_pitch_mm: 75.0,
            slat_depth_mm: 60.0,
        }
    }
}

/// `[link]`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Link {
    /// Path of the serial port: one that stays the same when the plug is pulled and put back.
    pub port: String,
    /// As set in the controller.
    #[serde(default = "baud")]
    pub baud: u32,
    /// Path of the dialect, relative to the file.
    pub dialect: String,
    /// No report for so long, and the link counts as cut, ms.
    #[serde(default = "silence_ms")]
    pub silence_ms: u64,
}

fn baud() -> u32 {
    115_200
}

fn silence_ms() -> u64 {
    250
}

/// `[pins]`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pins {
    /// What the pins are driven through.
    #[serde(default)]
    pub backend: Backend,
    /// With the character device alone: the chip that has the lines.
    pub chip: Option<String>,
    /// Output line of the permit square wave.
    pub permit: Option<u32>,
    /// With the backend `none`: which signals the table has all the same.
    #[serde(default)]
    pub fitted: Vec<String>,
    /// By signal name.
    #[serde(default)]
    pub inputs: BTreeMap<String, Input>,
    /// Outputs beside the permit, each as it is fitted.
    #[serde(default)]
    pub outputs: OutputPins,
    /// Pins that something else of the board uses, by the name of that use: `i2c = [2, 3]`.
    #[serde(default)]
    pub reserved: BTreeMap<String, Vec<u32>>,
}

/// `[pins.outputs]`: high is on; low at the start and at every end.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct OutputPins {
    /// Output line of the lamp that says that the torch may fire; left out: there is none.
    pub beacon: Option<u32>,
    /// Output line of the alarm sounder; left out: there is none.
    pub sounder: Option<u32>,
    /// Output line of the fume extraction; left out: there is none.
    pub extraction: Option<u32>,
}

/// `[extraction]`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Extraction {
    /// It runs on so long after the last arc, s, 0 to 3600 (common practice, no source).
    pub after_s: f64,
}

impl Default for Extraction {
    fn default() -> Self {
        Self {
            after_s: control::OutputSettings::AFTER_S,
        }
    }
}

/// `[pins.inputs.NAME]`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// Its number: that of the line on its chip.
    pub pin: u32,
    /// The resistor that pulls it while the contact is open.
    #[serde(default)]
    pub pull: Pull,
    /// The level while the contact is closed.
    pub closed_is: Level,
    /// A change counts once it has lasted so long, ms.
    #[serde(default)]
    pub debounce_ms: u64,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pull {
    Up,
    Down,
    /// A resistor outside the board pulls it up.
    OutsideUp,
    /// A resistor outside the board pulls it down.
    OutsideDown,
    /// Nothing pulls it that we are told of.
    #[default]
    None,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    High,
    Low,
}

/// `[source]`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Source {
    /// Rated current, A.
    pub rated_amps: f64,
    /// Rated duty at that current, as a part of ten minutes (0 to 1).
    pub rated_duty: f64,
    /// How it strikes its pilot arc.
    pub starting: Starting,
    /// The arc voltage is told divided by this; 1: raw.
    pub divider: f64,
    /// Currents for which sets of nozzles are at hand, A.
    pub settings_amps: Vec<f64>,
    /// `[source.times]`: as measured; left out: those of the invented table.
    pub times: SourceTimes,
}

impl Default for Source {
    fn default() -> Self {
        Self {
            rated_amps: 60.0,
            rated_duty: 0.40,
            starting: Starting::Contact,
            divider: 50.0,
            settings_amps: Vec::new(),
            times: SourceTimes::default(),
        }
    }
}

/// `[air]`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Air {
    /// Receiver and everything that holds air with it, L.
    pub receiver_l: f64,
    /// What the compressor delivers, L/min of free air.
    pub compressor_l_min: f64,
    /// What the torch takes, L/min of free air.
    pub torch_l_min: f64,
    /// The compressor starts at this pressure, bar.
    pub start_bar: f64,
    /// The compressor stops at this pressure, bar.
    pub stop_bar: f64,
    /// Below this at the source with flow the air is low, bar.
    pub low_bar: f64,
    /// What filter and hose take with flow, bar.
    pub hose_bar: f64,
    /// The gas flows on after the arc, s.
    pub post_flow_s: f64,
    /// The compressor at the start of a job, the receiver full: it runs still, it rests until
    /// `start_bar`, or it is left off for the noise.
    pub compressor: Compressor,
    /// The fixed regulator inside the source, bar at the source; 0: there is none.
    pub regulator_bar: f64,
}

impl Default for Air {
    fn default() -> Self {
        Self {
            receiver_l: 100.0,
            compressor_l_min: 90.0,
            torch_l_min: 165.0,
            start_bar: 6.5,
            stop_bar: 8.0,
            low_bar: 5.0,
            hose_bar: 0.5,
            post_flow_s: 8.0,
            compressor: Compressor::Running,
            regulator_bar: 0.0,
        }
    }
}

/// `[words]`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Words {
    /// M words that mean torch on.
    pub torch_on: Vec<u16>,
    /// M words that mean torch off.
    pub torch_off: Vec<u16>,
}

impl Default for Words {
    fn default() -> Self {
        Self {
            torch_on: vec![3, 4],
            torch_off: vec![5],
        }
    }
}
