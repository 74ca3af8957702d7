//! What goes over the wire between panel and screens: our own messages, with a version.
//!
//! If a test of the fixtures fails, do not change the fixture first: a screen that was loaded
//! before an update speaks the old messages. Raise [`VERSION`], and it will say so and load itself
//! again.

use std::collections::BTreeMap;

use control::view::{CutView, View};
use control::{Answer, Ask, Plans};
use link::Lack;
use planning::JobPlan;
use program::Report;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use units::Point;

use crate::library::{Accepted, Drawing, Listed, LoadedJob};

/// Version of every message.
pub const VERSION: u32 = 1;

/// What the socket tells.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Told {
    /// Everything, first of all and after [`Told::Dropped`].
    Snapshot {
        /// [`VERSION`].
        v: u32,
        /// Number of this message; the next delta is one more.
        n: u64,
        /// When it was published, s on the panel's clock.
        at_s: f64,
        /// The table.
        table: Table,
        /// The machine's view.
        view: Box<View>,
    },
    /// What has changed since the message before. With nothing in it: the panel lives.
    Delta {
        /// [`VERSION`].
        v: u32,
        /// One more than the message before.
        n: u64,
        /// When it was published, s on the panel's clock.
        at_s: f64,
        /// Fields of the view that changed, with their new values.
        set: Map<String, Value>,
        /// Cuts that changed, by their place from 0 (as text, as JSON has it).
        #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
        cuts: BTreeMap<String, CutView>,
    },
    /// This screen was too slow: messages were left out. A snapshot follows.
    Dropped {
        /// [`VERSION`].
        v: u32,
        /// How many were left out.
        missed: u64,
    },
}

/// What a screen must know of the table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Table {
    /// What it is called.
    pub name: String,
    /// It is a simulated one: nothing real moves.
    pub practice: bool,
    /// The program that the console opens on, if any.
    pub opens_on: Option<String>,
    /// What its controller cannot do, and what is off for that.
    #[serde(default)]
    pub lacks: Vec<Lack>,
}

/// Body of `POST /api/ask`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Asked {
    /// The generation of the view that the screen saw.
    pub generation: u64,
    /// What it asks for.
    pub ask: ScreenAsk,
}

/// A request of a screen to the machine: any that [`Ask`] knows but those that carry something sealed.
/// Jobs and ways on are sealed by the panel, never by a screen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Ask", into = "Ask")]
pub struct ScreenAsk(Ask);

impl TryFrom<Ask> for ScreenAsk {
    type Error = &'static str;

    fn try_from(ask: Ask) -> Result<Self, Self::Error> {
        match ask {
            Ask::Load { .. } => Err("a job is loaded by `/api/load`"),
            Ask::Resume { .. } => Err("a run is resumed by `/api/resume`"),
            ask => Ok(Self(ask)),
        }
    }
}

impl From<ScreenAsk> for Ask {
    fn from(ask: ScreenAsk) -> Self {
        ask.0
    }
}

/// Body of `POST /api/resume`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ResumeAsked {
    /// The generation of the view that the screen saw.
    pub generation: u64,
    /// Which way on, by its name.
    pub plan: String,
    /// How much further back than need be the ways were asked for, mm.
    pub back_mm: f64,
    /// Why its overlap, what stays uncut and its warnings are acceptable.
    pub accepted: String,
}

/// Body of `POST /api/load`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadAsked {
    /// The generation of the view that the screen saw.
    pub generation: u64,
    /// Which program.
    pub id: String,
    /// Which version of it was read.
    pub version: String,
    /// Warnings accepted, one by one.
    pub accepted: Vec<Accepted>,
    /// The pauses that its plan proposes are made.
    #[serde(default)]
    pub pauses: bool,
}

/// The machine's answer to a request.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answered {
    /// [`VERSION`].
    pub v: u32,
    /// Accepted, already so, or refused with a reason.
    #[serde(flatten)]
    pub answer: Answer,
}

/// Why a request was not even put to the machine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trouble {
    /// [`VERSION`].
    pub v: u32,
    /// The part of the request that is wrong.
    pub field: String,
    /// What is wrong with it.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

/// Answer to `GET /api/programs`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Programs {
    /// [`VERSION`].
    pub v: u32,
    /// Every program that may be chosen.
    pub programs: Vec<Listed>,
}

/// Answer to `GET /api/program`: one program with all that is found in it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProgramRead {
    /// [`VERSION`].
    pub v: u32,
    /// Where it lies in the list.
    #[serde(flatten)]
    pub listed: Listed,
    /// Changes with its text and setup.
    pub version: String,
    /// Material of its setup.
    pub material: Option<String>,
    /// Thickness of its setup, mm.
    pub thickness_mm: Option<f64>,
    /// Sheet of its setup, mm.
    pub sheet: Option<Point>,
    /// Current of its chart row, A.
    pub amps: Option<f64>,
    /// What vetting says.
    pub report: Report,
    /// Time, air, source and wear of it, and the pauses that are proposed; `None`: no setup, no row.
    #[serde(default)]
    pub plan: Option<JobPlan>,
    /// Its cuts on the sheet.
    pub drawing: Drawing,
}

/// Answer to `GET /api/job`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct JobDrawn {
    /// [`VERSION`].
    pub v: u32,
    /// The job.
    #[serde(flatten)]
    pub job: LoadedJob,
}

/// Answer to `GET /api/runs`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Runs {
    /// [`VERSION`].
    pub v: u32,
    /// The newest first.
    pub runs: Vec<RunTold>,
}

/// A run of the journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunTold {
    /// Its number.
    pub run: u64,
    /// What its job was called; `None`: the row that tells has made room.
    pub name: Option<String>,
    /// When it began, ms since 1970 by the wall clock.
    pub wall_ms: i64,
    /// That is not to be believed.
    pub unsure: bool,
    /// How it ended; `None`: it has not.
    pub outcome: Option<String>,
    /// Its cuts.
    pub cuts: Option<u64>,
    /// Those that are done; `None`: it has not ended.
    pub cuts_done: Option<u64>,
    /// How often it was stopped.
    pub stops: u64,
}

/// Answer to `GET /api/stop`: about the stop in hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StopTold {
    /// [`VERSION`].
    pub v: u32,
    /// The generation of the view that it is of.
    pub generation: u64,
    /// The likely cause, in words; `None`: of this stop nothing is to be guessed.
    pub likely: Option<String>,
    /// Cut height, mm.
    pub height_mm: Option<f64>,
    /// Arc volts at cut height, V.
    pub volts: Option<f64>,
    /// The last seconds before it; `None`: the panel was started anew since, or it is not over yet.
    pub trace: Option<crate::traces::Form>,
}

/// Answer to `GET /api/replay`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Replayable {
    /// [`VERSION`].
    pub v: u32,
    /// The run.
    pub run: u64,
    /// Its parts, one for each start of the panel that it lies in.
    pub parts: Vec<ReplayPart>,
    /// What stopped the machine in it, oldest first.
    pub stops: Vec<Event>,
}

/// A part of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReplayPart {
    /// Which start of the panel, from 1.
    pub start: i64,
    /// Its first event, microseconds of that start.
    pub from_us: u64,
    /// Its last.
    pub to_us: u64,
    /// A recording of it is there.
    pub kept: bool,
}

/// Answer to `GET /api/replay/at`: the machine as it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MomentShown {
    /// [`VERSION`].
    pub v: u32,
    /// Which start of the panel, from 1.
    pub start: i64,
    /// The moment that is shown, microseconds of that start.
    pub us: u64,
    /// It is the one that was asked for; else ask again: it is on its way there.
    pub reached: bool,
    /// The machine then. Nothing of it may be asked for.
    pub view: Box<View>,
}

/// Answer to `GET /api/ways`: the ways on from the stop in hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WaysOn {
    /// [`VERSION`].
    pub v: u32,
    /// The generation of the view that they are for: `POST /api/resume` names it.
    pub generation: u64,
    /// So much earlier than need be, mm.
    pub back_mm: f64,
    /// The ways; `None`: nothing is stopped.
    pub ways: Option<Plans>,
}

/// Answer to `GET /api/events`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Events {
    /// [`VERSION`].
    pub v: u32,
    /// Oldest first.
    pub events: Vec<Event>,
}

/// An event of the journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Its number in the journal.
    pub id: u64,
    /// The run it belongs to.
    pub run: Option<u64>,
    /// When, s on the panel's clock.
    pub at_s: f64,
    /// In which start of the panel, from 1.
    #[serde(default)]
    pub start: i64,
    /// When, ms since 1970 by the wall clock.
    pub wall_ms: i64,
    /// That is not to be believed: nothing keeps this board's clock, or it was never set.
    #[serde(default)]
    pub unsure: bool,
    /// Its stable name.
    pub name: String,
    /// How much it matters: `trace`, `normal`, `notice`, `stop`, `danger`.
    pub severity: String,
    /// What happened.
    pub says: String,
    /// What to do about it.
    pub advice: Option<String>,
    /// The curves about it, by the name that `GET /api/trace` knows; `None`: there are none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trace: Option<String>,
}
