//! The run sequence, the guard's rules, admission of requests and the event catalogue.
//!
//! One machine: [`Machine::step`] takes a moment and an [`Input`] and returns [`Effects`]. It is
//! deterministic and has no clock, file, socket, thread or randomness: time and events come in,
//! effects go out.

mod ask;
mod cause;
mod event;
pub mod guard;
mod io;
mod job;
mod signals;
pub mod view;

use std::sync::Arc;

pub use ask::{Answer, Ask, AskId, CheckId, ResumeFrom};
pub use cause::Cause;
pub use event::{Event, Restored, Severity};
pub use io::{Effect, Effects, Input, RecordId};
pub use job::{Job, JobCut, JobElement};
pub use signals::Signals;
pub use view::View;

use link::Dialect;
use serde::{Deserialize, Serialize};
use units::{Point, Time};

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

/// The one machine.
pub struct Machine {
    _dialect: Arc<Dialect>,
}

impl Machine {
    /// A machine that has just been switched on. `restored`: what the journal says of before.
    #[must_use]
    pub fn new(_settings: Settings, dialect: Arc<Dialect>, _restored: Restored) -> Self {
        Self { _dialect: dialect }
    }

    /// The only way it changes.
    pub fn step(&mut self, _now: Time, _input: Input) -> Effects {
        Effects::default()
    }

    /// When it must be stepped again even if nothing happens.
    #[must_use]
    pub fn deadline(&self) -> Option<Time> {
        None
    }
}
