//! What is watched in every state, beside the guard: the wires, the permit relay's mirror, the air,
//! the noise on the line, the screen that commands.

use core::time::Duration;
use std::collections::VecDeque;

use units::Time;

use super::{Act, Machine};
use crate::cause::Cause;
use crate::guard::Phase;
use crate::signals::{Seen, Signals};

/// The permit relay must pull in within this of the first pulse (process handbook, invented).
pub(crate) const RELAY_PULLS: Duration = Duration::from_millis(100);
/// The mirror's input is believed after up to this, and the guard may be one poll late: the relay
/// itself may already take all of its time to drop, so the bare limit cannot hold.
const MIRROR_LATE: Duration = Duration::from_millis(10);

impl Machine {
    /// A permit relay that does not do what it is asked can no longer be relied on.
    pub(super) fn watch_mirror(&mut self) {
        let asked = match self.guard.phase {
            Phase::Off => Some(false),
            Phase::Closing | Phase::Firing => Some(true),
            // The guard judges the test itself.
            Phase::Test => None,
        };
        let closed = self.signals.permit_closed;
        let differs = asked.is_some() && closed.is_some() && closed != asked;
        if !differs || self.latches.contains_key(&Cause::PermitStuck) {
            self.mirror_odd = None;
            return;
        }
        let since = *self.mirror_odd.get_or_insert(self.now);
        let limit = if closed == Some(true) {
            Duration::from_millis(self.settings.guard.relay_drop_ms)
        } else {
            RELAY_PULLS
        };
        if !self.due(since + limit + MIRROR_LATE) {
            return;
        }
        let why = if closed == Some(true) {
            format!(
                "Its mirror contact is still closed after the last pulse; limit {} ms.",
                limit.as_millis()
            )
        } else {
            format!(
                "Its mirror contact is open under the permit; limit {} ms.",
                limit.as_millis()
            )
        };
        self.latch(Cause::PermitStuck, self.now, why.clone());
        if self.active() && !self.stopping() {
            self.stop_why(Cause::PermitStuck, self.now, why);
        }
    }

    pub(crate) fn air_low(&mut self) -> bool {
        // Valves make short dips: 300 ms low counts (process handbook, invented).
        match self.air_bad_since {
            Some(t) => self.due(t + Duration::from_millis(300)),
            None => false,
        }
    }
}

/// A contact that was seen to do both since switch-on: what it is for, and come back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Proof {
    acted: bool,
    came_back: bool,
}

impl Proof {
    /// It was seen to work.
    pub(crate) fn works(self) -> bool {
        self.came_back
    }

    /// `acts`: pressed, or the chain open.
    fn see(&mut self, acts: bool) {
        self.acted |= acts;
        self.came_back |= self.acted && !acts;
    }
}

/// Lines in which [`NOISE_MOST`] may arrive spoilt twice (process handbook, invented).
const NOISE_LINES: u64 = 1000;
/// See [`NOISE_LINES`].
const NOISE_MOST: usize = 3;

/// Lines that sending again did not cure, over the last lines sent.
#[derive(Clone, Debug, Default)]
pub(crate) struct Noise {
    counted: u64,
    /// How many lines had been sent at each of them.
    at: VecDeque<u64>,
}

impl Noise {
    fn take(&mut self, sent: u64, uncured: u64) {
        while self.counted < uncured {
            self.counted += 1;
            self.at.push_back(sent);
        }
        while self.at.front().is_some_and(|at| at + NOISE_LINES <= sent) {
            self.at.pop_front();
        }
    }

    pub(crate) fn is_too_much(&self) -> bool {
        self.at.len() > NOISE_MOST
    }

    /// It was told: what comes from here on counts anew.
    pub(crate) fn forget(&mut self) {
        self.at.clear();
    }
}

/// What an arc has at least and at most, V (process handbook, invented).
const ARC_VOLTS: (f64, f64) = (50.0, 200.0);
/// A commanding screen may be gone for this long (process handbook, invented).
const SCREEN_LOST: Duration = Duration::from_secs(2);

impl Machine {
    /// The wires as the guard has read them.
    pub(super) fn sense(&mut self, signals: Signals, seen: Option<Seen>) {
        self.looked(seen);
        if self.signals != signals || !self.signals_heard {
            self.out.publish();
        }
        if !self.signals_heard && self.interrupted.is_some() {
            self.found.arc_on = signals.arc_ok;
        }
        if !signals.contact {
            self.contact_at = None;
        } else if self.contact_at.is_none() {
            self.contact_at = Some(self.now);
        }
        let since = |was: Option<Time>, so: bool| so.then(|| was.unwrap_or(self.now));
        let low = signals.volts.is_some_and(|v| v < ARC_VOLTS.0);
        let high = signals.volts.is_some_and(|v| v > ARC_VOLTS.1);
        self.volts_low = since(self.volts_low, low);
        self.volts_high = since(self.volts_high, high);
        let of_arc = signals.volts.is_some() && !low && !high;
        self.volts_of_arc = since(self.volts_of_arc, of_arc);
        self.air_good_since = since(self.air_good_since, signals.air_ok == Some(true));
        if signals.source_on == Some(false) {
            self.source_open_at = Some(self.now);
        }
        if signals.source_on != self.signals.source_on || !self.signals_heard {
            self.source_at = signals.source_on.is_some().then_some(self.now);
        }
        // What could not be read shows nothing.
        if !signals.unreadable {
            self.chain_seen.see(signals.estop_open);
            if let Some(pressed) = signals.hold_button {
                self.button_seen.see(pressed);
            }
        }
        self.signals = signals;
        self.signals_heard = true;
        if !signals.contact && !signals.unreadable && self.torch_up() {
            self.contact_open_at = Some(self.now);
        }
        if signals.air_ok == Some(false) {
            self.air_bad_since.get_or_insert(self.now);
        } else {
            self.air_bad_since = None;
        }
    }

    pub(super) fn watch_noise(&mut self) {
        let c = self.line.session.counters();
        self.noise.take(c.lines_sent, c.lines_uncured);
    }

    pub(super) fn hear_screen(&mut self, there: bool) {
        if !there && self.screen != Some(false) {
            self.screen_gone_at = Some(self.now);
        }
        self.screen = Some(there);
        if there {
            self.screen_gone_at = None;
        }
        self.out.publish();
    }

    /// Whoever commands must be there. A table that no screen ever commanded has none to lose.
    pub(super) fn watch_screen(&mut self) {
        let Some(gone) = self.screen_gone_at else {
            return;
        };
        if !self.active() || self.stopping() || !self.due(gone + SCREEN_LOST) {
            return;
        }
        let why = format!(
            "The screen that commands was silent for {} s.",
            SCREEN_LOST.as_secs()
        );
        let button = self.settings.screen_lost_after_cut && self.signals.hold_button.is_some();
        let standing = self.alarms.iter().any(|a| a.cause == Cause::ScreenLost);
        match (&self.act, &mut self.run) {
            (Act::Cutting(_), Some(run)) if button && run.cut + 1 < run.cuts.len() => {
                run.hold_after = true;
                if !standing {
                    self.alarm(Cause::ScreenLost, self.now, false, why);
                }
            }
            // The last cut, and the way home after it.
            (Act::Cutting(_) | Act::Parking(_), _) if button => {}
            _ => self.stop_why(Cause::ScreenLost, self.now, why),
        }
    }
}
