//! A dialect: how one kind of controller is spoken to, read from TOML and checked.

use std::collections::BTreeMap;

use regex::Regex;

use crate::check::Check;
use crate::raw::{Confirm, FeedUnit, LengthUnit, Means};
use crate::template::Template;
use crate::words::{Doing, StampedInput};

/// The dialect that the simulated table speaks.
pub const PLAIN: &str = include_str!("../../../config/dialects/plain.toml");

/// With the arc on no more than this may lie unsent in the kernel, bytes.
pub const UNSENT_WITH_ARC: usize = 64;

/// What is wrong with a dialect file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{key}: {says}; {remedy}")]
pub struct DialectError {
    /// Path of the key, or line and column where the file is no TOML.
    pub key: String,
    /// What is wrong.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

/// What a controller may or may not be able to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Capability {
    /// A bare byte brakes along the path.
    HoldAtOnce,
    /// A bare byte opens the start contact.
    TorchOffAtOnce,
    /// The ohmic sensing circuit can be switched.
    Sense,
    /// It touches off by itself and tells the latched height.
    TouchOff,
    /// It references its axes.
    Home,
    /// Arcs are sent as arcs; otherwise as chords.
    Arcs,
    /// Lines carry a check sum.
    LineCheck,
    /// Lines carry a number, so that one may be said again without being executed twice.
    LineNumbers,
    /// Reports come unasked.
    ReportsByItself,
    /// Reports carry the last executed line; otherwise that is concluded from rest.
    ExecutedTold,
    /// Something is sent while there is nothing to say.
    Keepalive,
    /// The edges of this input are stamped with their place.
    Stamps(StampedInput),
}

/// A parsed and checked dialect file.
#[derive(Clone, Debug)]
pub struct Dialect {
    /// What it is called.
    pub name: String,
    /// One line about it.
    pub about: String,
    /// The bare byte that brakes along the path.
    pub hold: Option<u8>,
    /// The bare byte that opens the start contact.
    pub torch_off: Option<u8>,
    pub(crate) lines: LineForm,
    pub(crate) answers: AnswerForm,
    pub(crate) numbers: NumberForm,
    pub(crate) commands: CommandForms,
    pub(crate) epoch: EpochForm,
    pub(crate) opening: OpeningForm,
    pub(crate) window: WindowForm,
    /// It has words that stay in force.
    pub(crate) modal: bool,
    pub(crate) keepalive: Option<(Vec<u8>, u64)>,
    pub(crate) reports: ReportForm,
    pub(crate) stamps: Option<StampForm>,
    pub(crate) source: String,
}

/// How lines to the controller are written.
#[derive(Clone, Debug)]
pub(crate) struct LineForm {
    pub body: Template,
    pub frame: Template,
    pub end: String,
    pub longest: usize,
    pub first_number: u64,
    pub numbered: bool,
    pub check: Check,
}

/// How lines from the controller are read.
#[derive(Clone, Debug)]
pub(crate) struct AnswerForm {
    pub frame: Template,
    pub frame_pattern: Regex,
    pub end: Vec<u8>,
    pub longest: usize,
    pub check: Check,
    pub patterns: Vec<(Means, Regex)>,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct NumberForm {
    pub length: LengthUnit,
    pub feed: FeedUnit,
    pub decimals: usize,
    pub feed_decimals: usize,
}

#[derive(Clone, Debug)]
pub(crate) struct CommandForms {
    pub rapid_xy: Vec<Template>,
    pub rapid_z: Vec<Template>,
    pub feed_z: Vec<Template>,
    pub line: Vec<Template>,
    pub arcs: Option<[Vec<Template>; 2]>,
    pub torch_on: Vec<Template>,
    pub torch_off: Vec<Template>,
    pub sense: Option<[Vec<Template>; 2]>,
    pub touch_off: Option<Vec<Template>>,
    pub home: Option<Vec<Template>>,
    pub chord_off_mm: f64,
}

#[derive(Clone, Debug)]
pub(crate) struct EpochForm {
    pub lead: Vec<u8>,
    pub bytes: Vec<u8>,
    pub lines: Vec<Template>,
    pub number: u64,
    pub confirm: Confirm,
    pub settle_ms: u64,
    pub quiet_ms: u64,
    pub at_rest: bool,
    pub retry_ms: u64,
    /// It names the epoch, so that an answer to another one is told apart.
    pub named: bool,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct OpeningForm {
    pub resets: bool,
    pub dead_ms: u64,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct WindowForm {
    pub bytes: Option<usize>,
    pub lines: Option<usize>,
    pub queue: Option<u32>,
    pub resend_ms: u64,
    pub block_ms: Option<u64>,
}

#[derive(Clone, Debug)]
pub(crate) struct ReportForm {
    pub by_itself: bool,
    pub every_ms: u64,
    pub ask_byte: Option<u8>,
    pub ask_line: Option<Template>,
    pub ask_is_taken: bool,
    pub length: LengthUnit,
    pub feed: FeedUnit,
    pub told: bool,
    pub yes: Vec<String>,
    pub states: BTreeMap<String, Doing>,
    pub other: Option<Doing>,
}

/// How the place of an input's edge is told.
#[derive(Clone, Debug)]
pub(crate) struct StampForm {
    pub inputs: BTreeMap<String, StampedInput>,
    pub yes: Vec<String>,
    pub length: LengthUnit,
}

impl Dialect {
    /// The text that it was read from: gives the same dialect again.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Whether the controller can do this.
    #[must_use]
    pub fn has(&self, c: Capability) -> bool {
        match c {
            Capability::HoldAtOnce => self.hold.is_some(),
            Capability::TorchOffAtOnce => self.torch_off.is_some(),
            Capability::Sense => self.commands.sense.is_some(),
            Capability::TouchOff => self.commands.touch_off.is_some(),
            Capability::Home => self.commands.home.is_some(),
            Capability::Arcs => self.commands.arcs.is_some(),
            Capability::LineCheck => self.lines.check.is_some(),
            Capability::LineNumbers => self.lines.numbered,
            Capability::ReportsByItself => self.reports.by_itself,
            Capability::ExecutedTold => self.reports.told,
            Capability::Keepalive => self.keepalive.is_some(),
            Capability::Stamps(input) => self
                .stamps
                .as_ref()
                .is_some_and(|s| s.inputs.values().any(|i| *i == input)),
        }
    }

    /// How often the controller reports, or is asked to.
    #[must_use]
    pub fn report_every(&self) -> core::time::Duration {
        core::time::Duration::from_millis(self.reports.every_ms)
    }

    /// Longest line that the controller takes, bytes of the body without frame and end.
    #[must_use]
    pub fn line_limit(&self) -> usize {
        self.lines.longest
    }

    /// The bytes that the guard writes by itself: hold, then torch-off, as far as there are any.
    #[must_use]
    pub fn take_away_bytes(&self) -> Vec<u8> {
        self.hold.into_iter().chain(self.torch_off).collect()
    }
}
