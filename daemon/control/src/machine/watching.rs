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
        if !differs || self.alarms.is_latched(Cause::PermitStuck) {
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
        match self.since.air_bad {
            Some(t) => self.due(t + Duration::from_millis(300)),
            None => false,
        }
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

/// The screen that commanded last.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Screen {
    /// It is there; `None`: none ever commanded.
    pub there: Option<bool>,
    gone_at: Option<Time>,
}

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
        let before = self.signals_heard.then_some(&self.signals);
        let torch_up = self.torch_up();
        self.since.look(self.now, before, &signals, torch_up);
        self.signals = signals;
        self.signals_heard = true;
    }

    pub(super) fn watch_noise(&mut self) {
        let c = self.line.session.counters();
        self.noise.take(c.lines_sent, c.lines_uncured);
    }

    pub(super) fn hear_screen(&mut self, there: bool) {
        if !there && self.screen.there != Some(false) {
            self.screen.gone_at = Some(self.now);
        }
        self.screen.there = Some(there);
        if there {
            self.screen.gone_at = None;
        }
        self.out.publish();
    }

    /// Whoever commands must be there. A table that no screen ever commanded has none to lose.
    pub(super) fn watch_screen(&mut self) {
        let Some(gone) = self.screen.gone_at else {
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
        let standing = self.alarms.stands(Cause::ScreenLost);
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
