//! Fire and arc: the handshake of a firing, and what nobody asked for or will not go out.

use core::time::Duration;

use units::Time;

use super::{ARC_ACCEPT, FIRE_ACCEPT, GuardRules, SETTLE_AT_START};
use crate::cause::Cause;
use crate::guard::Phase;
use crate::signals::Signals;

/// Torch-off must be confirmed by the controller's own word this soon after `fire_on` opens.
const FIRE_DROP_CONFIRM: Duration = Duration::from_millis(150);
/// ... when they last this long.
const VOLTS_ACCEPT: Duration = Duration::from_millis(100);
/// ... and this long after the last fire.
const VOLTS_AFTER_FIRE: Duration = Duration::from_millis(2500);
/// `fire_on` must open this soon after torch-off was carried out or taken.
const FIRE_OPEN_WITHIN: Duration = Duration::from_millis(500);

impl GuardRules {
    /// The handshake while a cut asks for the torch.
    pub(super) fn judge_firing(&mut self, now: Time) {
        if self.epoch != self.handled {
            return;
        }
        match self.phase {
            Phase::Off => return,
            Phase::Closing | Phase::Test => {
                if let Some(at) = self.fire.held(true, FIRE_ACCEPT)
                    && self.due(now, at)
                {
                    self.latch(now, Cause::UnaskedFire, self.fire.since);
                }
                return;
            }
            Phase::Firing => {}
        }
        if self.fire.level && self.fired.is_none() {
            self.fired = Some(self.fire.since);
            self.out_from = None;
        }
        let Some(fired) = self.fired else { return };
        if !self.arc_seen
            && let Some(at) = self.arc.held(true, ARC_ACCEPT)
            && self.due(now, at)
        {
            self.arc_seen = true;
        }
        if let Some(done) = self.torch_off {
            if self.fire.level && self.due(now, done + FIRE_OPEN_WITHIN) {
                self.latch(now, Cause::UnaskedFire, done);
            }
            return;
        }
        if self.fire.level {
            // A bounce of the start contact's mirror has passed: the fire goes on.
            self.out_from = None;
            if self.arc_seen {
                let lost = if self.crossing {
                    self.settings.arc_lost_crossing_ms
                } else {
                    self.settings.arc_lost_ms
                };
                if let Some(at) = self.arc.held(false, Duration::from_millis(lost))
                    && self.due(now, at)
                {
                    self.trip(now, Cause::ArcLost, self.arc.since, false);
                }
            } else if !self.arc.level
                && self.due(
                    now,
                    fired + Duration::from_secs_f64(self.settings.arc_ok_within_s),
                )
            {
                self.trip(now, Cause::NoArc, now, false);
            }
        } else if self.due(now, self.fire.since + FIRE_DROP_CONFIRM) {
            self.trip(now, Cause::FireDropped, self.fire.since, false);
        }
    }

    /// Fire and arc that nobody asks for, or that will not go out.
    pub(super) fn judge_rest(&mut self, now: Time, s: &Signals) {
        let settled = self.started.map_or(now, |t| t + SETTLE_AT_START);
        if self.phase == Phase::Off && self.fire.level {
            let judged = if self.fire_excused {
                self.torch_off.map(|t| t + FIRE_OPEN_WITHIN)
            } else {
                Some(self.fire.since + FIRE_ACCEPT)
            };
            if let Some(at) = judged
                && self.due(now, at.max(settled))
            {
                self.latch(now, Cause::UnaskedFire, self.fire.since);
            }
        }
        let asked = self.phase == Phase::Firing && self.fire.level && self.out_from.is_none();
        if self.arc.level && !asked {
            let within = Duration::from_secs_f64(self.settings.arc_out_within_s);
            match self.out_from.map(|t| t + within) {
                Some(limit) if self.arc.since < limit => {
                    if self.due(now, limit) {
                        self.latch(now, Cause::ArcStuck, limit);
                    }
                }
                _ => {
                    // While firing, arc OK a moment ahead of the start contact's mirror is no
                    // wonder; without either it is an arc of its own.
                    let accept = if self.phase == Phase::Firing {
                        within
                    } else {
                        ARC_ACCEPT
                    };
                    if self.due(now, (self.arc.since + accept).max(settled)) {
                        self.latch(now, Cause::UnaskedFire, self.arc.since);
                    }
                }
            }
        }
        if s.volts.is_some() && self.phase != Phase::Firing && !self.fire.level {
            let quiet = self.last_fire.map_or(settled, |t| t + VOLTS_AFTER_FIRE);
            if let Some(at) = self.volts_high.held(true, VOLTS_ACCEPT)
                && self.due(now, at.max(quiet))
            {
                self.latch(now, Cause::UnaskedFire, self.volts_high.since);
            }
        }
    }
}
