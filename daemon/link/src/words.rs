//! What the panel can say to a motion controller, and what it can hear, whatever the dialect.
//!
//! X, Y and Z here are machine coordinates in millimetres: Z rises away from the slats.

use serde::{Deserialize, Serialize};
use units::{Point, Segment, Time};

/// Names one command for as long as the panel runs. Never used twice, not even in another epoch.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Ticket(pub u64);

/// One thing for the controller to do, in order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Command {
    /// Move at the machine's own speed in the plane.
    RapidXy(Point),
    /// Move at the machine's own speed to a height, mm.
    RapidZ(f64),
    /// Move to a height at a speed.
    FeedZ {
        /// Height to reach, mm.
        z: f64,
        /// Speed, mm/s.
        mm_s: f64,
    },
    /// Follow a piece of path at a feed. The controller is expected to stand at its start.
    Path {
        /// The line or arc, machine coordinates.
        segment: Segment,
        /// Feed, mm/s.
        mm_s: f64,
    },
    /// Close the start contact, in order with the motion.
    TorchOn,
    /// Open the start contact, in order with the motion.
    TorchOff,
    /// Connect the ohmic sensing circuit to the torch.
    SenseOn,
    /// Take the ohmic sensing circuit off the torch.
    SenseOff,
    /// Go down until the torch touches the sheet, and latch that height. Answered by
    /// [`Word::Touched`] or, at the limit, [`Word::Missed`].
    TouchOff {
        /// The lowest height to try, mm.
        to_z: f64,
        /// Speed, mm/s.
        mm_s: f64,
    },
    /// Reference the axes.
    Home,
}

/// What acts at once, past everything that waits: it can only take away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TakeAway {
    /// Slow down along the path and stand still.
    Hold,
    /// Open the start contact.
    TorchOff,
}

/// What the controller is doing, as it says itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doing {
    /// At rest with nothing waiting.
    Idle,
    /// Carrying out commands.
    Running,
    /// Told to hold; at rest once the feed is 0.
    Holding,
    /// Referencing.
    Homing,
    /// Touching off.
    Touching,
    /// Refuses to move until it is told otherwise (limit, drive alarm, emergency stop).
    Faulted,
}

/// A report of state.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Status {
    /// When the last byte of it came in.
    pub at: Time,
    /// Where the torch is in the plane, machine coordinates, mm.
    pub place: Point,
    /// Height, machine coordinates, mm.
    pub z: f64,
    /// Speed along the path now, mm/s, where the dialect tells.
    pub feed_mm_s: Option<f64>,
    /// What it is doing.
    pub doing: Doing,
    /// The last command of this epoch that was carried out to its end; `None` when none was, or
    /// when nothing can be concluded.
    pub executed: Option<Ticket>,
    /// Commands taken and not yet ended, where the dialect tells.
    pub waiting: Option<u32>,
    /// Motion left in the queue, ms, where the dialect tells.
    pub queued_ms: Option<u32>,
    /// It asks for the torch, where the dialect tells.
    pub torch: Option<bool>,
    /// The axes are referenced, where the dialect tells.
    pub referenced: Option<bool>,
    /// Time since the controller started, ms, where the dialect tells.
    pub up_ms: Option<u64>,
}

/// An input of the controller whose edges it may stamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StampedInput {
    /// The power source's arc-transferred contact.
    ArcOk,
    /// The ohmic sensing circuit is closed.
    Contact,
    /// The switch of the floating torch holder.
    FloatSwitch,
    /// The torch sits in its breakaway holder.
    TorchSeated,
}

/// The place at which an input changed, as the controller caught it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stamped {
    /// Its running number; the same edge told again has the same.
    pub number: u64,
    /// Which input.
    pub input: StampedInput,
    /// The level after the edge: true is closed.
    pub level: bool,
    /// Where the torch was in the plane, machine coordinates, mm.
    pub place: Point,
    /// Time since the controller started, at the edge, ms.
    pub up_ms: u64,
    /// When the last byte of it came in.
    pub heard_at: Time,
}

/// What the controller was understood to say.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Word {
    /// It has just started: its place and its queue are gone.
    Greeting,
    /// The new epoch is open: its queue is empty and it listens.
    Ready,
    /// A report of state.
    Status(Status),
    /// It has taken a command into its queue.
    Taken(Ticket),
    /// It will not carry out a command, and says why.
    Refused {
        /// Which; `None` where the dialect does not tell.
        ticket: Option<Ticket>,
        /// Its own words.
        why: String,
    },
    /// A touch-off met the sheet.
    Touched {
        /// The touch-off.
        ticket: Ticket,
        /// The latched height, machine coordinates, mm.
        z: f64,
    },
    /// A touch-off reached its limit and met nothing.
    Missed {
        /// The touch-off.
        ticket: Ticket,
    },
    /// Two reports in a row tell fewer lines carried out than were told before: it counts anew.
    CountFell {
        /// What was told before.
        from: u64,
        /// What is told now.
        to: u64,
    },
    /// A limit, a drive alarm or the like, in its own words.
    Alarm(String),
    /// The place of an edge of an input. Each edge is given once, however often it was told.
    Stamped(Stamped),
}
