//! The guard's rules: a pure function that can only take away.

mod rules;
#[cfg(test)]
mod stories;

pub use rules::GuardRules;
pub(crate) use rules::SENSE_SETTLES;

use core::time::Duration;

use serde::{Deserialize, Serialize};
use units::Time;

use crate::cause::Cause;

/// What control tells the guard. (Its owner may add variants; the service only passes them on.)
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "order")]
pub enum GuardOrder {
    /// Pulse the permit (or stop) as far as the rules allow.
    Phase {
        /// What for.
        phase: Phase,
    },
    /// Control has handled every trip up to this epoch; the writer may pass lines again.
    Handled {
        /// The epoch, as in [`GuardReport::Tripped`].
        epoch: u64,
    },
    /// An operator cleared this latch.
    Clear {
        /// Which.
        cause: Cause,
    },
    /// Set again after a restart what the journal says was latched.
    Restore {
        /// Which.
        cause: Cause,
    },
    /// The sensing circuit must be off the torch from here on, or need not be any more.
    Isolated {
        /// It must.
        yes: bool,
    },
    /// What the table is about to do, so that the guard can judge contact and fire.
    Doing {
        /// Traversing with the torch up: contact is a collision.
        traversing: bool,
        /// Torch-off was executed at this moment by the controller's own word.
        torch_off_done: bool,
        /// Lost-arc time is the longer one (predicted crossing or re-entry).
        crossing: bool,
    },
}

/// What the permit is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// Not at all.
    #[default]
    Off,
    /// K2 is to close; any fire now is unasked.
    Closing,
    /// Torch-on goes to the wire.
    Firing,
    /// A permit test: at most 0.3 s.
    Test,
}

/// What the guard tells control.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "report")]
pub enum GuardReport {
    /// It stopped the pulses and wrote the take-away bytes.
    Tripped {
        /// Why.
        cause: Cause,
        /// When the edge or the limit was.
        at: Time,
        /// The new epoch.
        epoch: u64,
        /// It stays until an operator clears it.
        latched: bool,
        /// The inputs could not be read: that is what the trip is by.
        #[serde(default, skip_serializing_if = "core::ops::Not::not")]
        unread: bool,
    },
    /// A latch was cleared by its rule.
    Cleared {
        /// Which.
        cause: Cause,
    },
    /// A latch could not be cleared: its cause stands.
    StillThere {
        /// Which.
        cause: Cause,
    },
    /// An edge that control times by: fire on, arc on, arc off and the like, at its first moment.
    Edge {
        /// Which input.
        input: EdgeInput,
        /// The new level.
        level: bool,
        /// When; at the latest, if `after` is told.
        at: Time,
        /// The guard came late: all that is known is that it was after this moment, when the level
        /// was last seen before.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after: Option<Time>,
    },
    /// A permit test came to its end: one that a trip or control has broken off does not.
    Tested {
        /// The relay pulled and dropped as it should (`None`: no mirror contact to see it by).
        passed: Option<bool>,
    },
    /// The take-away bytes of a trip did not all go out at once: told when they are out, or when
    /// the port has gone.
    TakeAwayLate {
        /// From the trip until then, ms.
        late_ms: u64,
        /// Tries that the port took nothing of.
        refused: u32,
        /// Bytes that never went out.
        lost: u32,
    },
    /// More edges came than could be told while control did not listen.
    EdgesMissed {
        /// How many.
        edges: u32,
    },
}

/// Inputs whose first edge matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "named as the signals")]
pub enum EdgeInput {
    FireOn,
    ArcOk,
    Contact,
    PermitClosed,
    EstopOpen,
    HoldButton,
}

/// What the shell must do after a guard step.
#[derive(Clone, Debug, Default, PartialEq)]
#[must_use = "a guard that is not obeyed guards nothing"]
pub struct GuardOut {
    /// The level to put on the permit pin now.
    pub permit_level: bool,
    /// Write the dialect's take-away bytes now, without blocking.
    pub take_away: bool,
    /// Tell control, in this order.
    pub reports: Vec<GuardReport>,
    /// The epoch that lines must carry to pass the writer.
    pub epoch: u64,
    /// Step again at this moment even if no input changes.
    pub deadline: Option<Time>,
}

/// Limits of the guard; defaults are starting values of the machine file.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct GuardSettings {
    /// Permit square wave, Hz.
    pub permit_hz: f64,
    /// Control must renew within this, ms (100 to 400).
    pub lease_ms: u64,
    /// Arc OK after fire on, s (0.5 to 4).
    pub arc_ok_within_s: f64,
    /// Arc OK lost for longer than this, ms (10 to 100).
    pub arc_lost_ms: u64,
    /// The same at a predicted crossing or re-entry, ms (40 to 150).
    pub arc_lost_crossing_ms: u64,
    /// Arc OK open after fire off, s (0.2 to 2).
    pub arc_out_within_s: f64,
    /// Permit relay drops out within this of the last pulse, ms.
    pub relay_drop_ms: u64,
    /// The permit relay surely holds this long after an edge, ms: its shortest measured hold less
    /// 20 %. A guard that was away for longer makes no pulse any more: the relay may have opened.
    pub relay_holds_ms: u64,
    /// Pins that were not looked at for longer are not believed, ms (50 to 500).
    pub inputs_stale_ms: u64,
    /// Where volts have a converter of their own: read this often, ms. Three misses are stale.
    pub volts_every_ms: u64,
    /// The sensing circuit stays connected while cutting and stands the arc.
    pub sense_stays_connected: bool,
}

impl Default for GuardSettings {
    fn default() -> Self {
        Self {
            permit_hz: 100.0,
            lease_ms: 200,
            arc_ok_within_s: 1.5,
            arc_lost_ms: 30,
            arc_lost_crossing_ms: 80,
            arc_out_within_s: 0.5,
            relay_drop_ms: 100,
            relay_holds_ms: 30,
            inputs_stale_ms: 100,
            volts_every_ms: 20,
            sense_stays_connected: false,
        }
    }
}

impl GuardSettings {
    /// Levels are told to control at least this often, so that their age is known to it long before
    /// they are stale.
    #[must_use]
    pub fn signals_every(&self) -> Duration {
        Duration::from_millis((self.inputs_stale_ms / 2).clamp(1, 50))
    }
}
