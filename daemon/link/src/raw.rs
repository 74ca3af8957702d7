//! A dialect file as it is typed.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::check::Check;
use crate::words::{Doing, StampedInput};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Raw {
    pub name: String,
    #[serde(default)]
    pub about: String,
    pub lines: Lines,
    pub answers: Answers,
    #[serde(default)]
    pub numbers: Numbers,
    pub commands: Commands,
    #[serde(default)]
    pub bytes: Bytes,
    #[serde(default)]
    pub epoch: Epoch,
    #[serde(default)]
    pub opening: Opening,
    #[serde(default)]
    pub window: Window,
    pub keepalive: Option<Keepalive>,
    pub modal: Option<Modal>,
    pub reports: Reports,
    pub states: BTreeMap<String, Doing>,
    pub stamps: Option<Stamps>,
    pub answer: Vec<Answer>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Lines {
    #[serde(default = "only_text")]
    pub body: String,
    #[serde(default = "only_body")]
    pub frame: String,
    #[serde(default = "newline")]
    pub end: String,
    pub longest: usize,
    #[serde(default = "one")]
    pub first_number: u64,
    #[serde(default)]
    pub check: Check,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Answers {
    #[serde(default = "only_body")]
    pub frame: String,
    #[serde(default = "newline")]
    pub end: String,
    #[serde(default = "longest_answer")]
    pub longest: usize,
    #[serde(default)]
    pub check: Check,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
pub(crate) enum LengthUnit {
    #[default]
    #[serde(rename = "mm")]
    Mm,
    #[serde(rename = "inch")]
    Inch,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
pub(crate) enum FeedUnit {
    #[default]
    #[serde(rename = "mm/min")]
    MmMin,
    #[serde(rename = "mm/s")]
    MmS,
    #[serde(rename = "inch/min")]
    InchMin,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Numbers {
    pub length_unit: LengthUnit,
    pub feed_unit: FeedUnit,
    pub decimals: usize,
    pub feed_decimals: usize,
}

impl Default for Numbers {
    fn default() -> Self {
        Self {
            length_unit: LengthUnit::Mm,
            feed_unit: FeedUnit::MmMin,
            decimals: 4,
            feed_decimals: 1,
        }
    }
}

/// One line, or several in a row.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged)]
pub(crate) enum Texts {
    One(String),
    Several(Vec<String>),
}

impl Texts {
    pub fn all(&self) -> &[String] {
        match self {
            Self::One(text) => core::slice::from_ref(text),
            Self::Several(texts) => texts,
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Commands {
    pub rapid_xy: Texts,
    pub rapid_z: Texts,
    pub feed_z: Texts,
    pub line: Texts,
    pub arc_clockwise: Option<Texts>,
    pub arc_anticlockwise: Option<Texts>,
    pub torch_on: Texts,
    pub torch_off: Texts,
    pub sense_on: Option<Texts>,
    pub sense_off: Option<Texts>,
    pub touch_off: Option<Texts>,
    pub home: Option<Texts>,
    /// Where the controller knows no arcs: how far a chord may lie off them, mm.
    #[serde(default = "chord")]
    pub chord_off_mm: f64,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Bytes {
    pub hold: Option<u8>,
    pub torch_off: Option<u8>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Confirm {
    /// By an answer that means `ready`.
    Ready,
    /// Each line of it is answered as taken.
    #[default]
    Taken,
    /// By nothing: it listens after a quiet time.
    Quiet,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Epoch {
    pub lead: String,
    pub bytes: Vec<u8>,
    pub lines: Vec<String>,
    pub number: Option<u64>,
    pub confirm: Confirm,
    pub settle_ms: u64,
    pub quiet_ms: u64,
    pub at_rest: bool,
    pub retry_ms: u64,
}

impl Default for Epoch {
    fn default() -> Self {
        Self {
            lead: String::new(),
            bytes: Vec::new(),
            lines: Vec::new(),
            number: None,
            confirm: Confirm::Taken,
            settle_ms: 0,
            quiet_ms: 200,
            at_rest: false,
            retry_ms: 500,
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Opening {
    pub resets: bool,
    pub dead_ms: u64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Window {
    pub bytes: Option<usize>,
    pub lines: Option<usize>,
    pub queue: Option<u32>,
    pub resend_ms: u64,
    pub block_ms: Option<u64>,
}

impl Default for Window {
    fn default() -> Self {
        Self {
            bytes: None,
            lines: None,
            queue: None,
            resend_ms: 500,
            block_ms: None,
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Keepalive {
    pub send: String,
    pub every_ms: u64,
}

/// Words of a line of path that stay in force.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Modal {
    /// Groups of words as the commands write them: one of a group is in force at a time.
    pub words: Vec<Vec<String>>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Executed {
    /// Reports carry the number of the last executed line.
    Told,
    /// Concluded from rest with nothing in flight.
    #[default]
    Inferred,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Reports {
    pub by_itself: bool,
    #[serde(default = "report_every")]
    pub every_ms: u64,
    pub ask_byte: Option<u8>,
    pub ask_line: Option<String>,
    /// A line that asks is itself answered as taken.
    #[serde(default)]
    pub ask_is_taken: bool,
    #[serde(default)]
    pub length_unit: LengthUnit,
    #[serde(default)]
    pub feed_unit: FeedUnit,
    #[serde(default)]
    pub executed: Executed,
    #[serde(default)]
    pub yes: Vec<String>,
    /// What a state word that is not listed means.
    pub other_states: Option<Doing>,
}

/// Which edges of inputs the controller stamps with the place.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Stamps {
    /// The controller's word for an input, and what is wired to it.
    pub inputs: BTreeMap<String, StampedInput>,
    /// What it writes for a closed input; empty: as in the reports.
    #[serde(default)]
    pub yes: Vec<String>,
    /// Unless given, as in the reports.
    pub length_unit: Option<LengthUnit>,
}

/// What an answer means.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Means {
    Greeting,
    Ready,
    Taken,
    Again,
    Refused,
    Touched,
    Missed,
    Alarm,
    Status,
    Stamp,
    /// Known, and of no meaning here.
    Nothing,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Answer {
    pub means: Means,
    pub pattern: String,
}

fn only_text() -> String {
    "{text}".into()
}
fn only_body() -> String {
    "{body}".into()
}
fn newline() -> String {
    "\n".into()
}
fn one() -> u64 {
    1
}
fn longest_answer() -> usize {
    256
}
fn report_every() -> u64 {
    50
}
fn chord() -> f64 {
    0.01
}
