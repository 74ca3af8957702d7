//! The permit's pulses, the test of its relay, and the clearing of latches.

use core::time::Duration;

use units::Time;

use super::{GuardRules, Test};
use crate::cause::Cause;
use crate::guard::{GuardReport, Phase};
use crate::signals::Signals;

/// A permit test pulses at most this long (process handbook, invented).
const TEST_PULSES: Duration = Duration::from_millis(300);
/// ... and where a mirror shows the relay, it must pull in within this.
const TEST_PULLS: Duration = Duration::from_millis(100);
/// Below this the torch is dead, V.
const VOLTS_AT_REST: f64 = 5.0;

impl GuardRules {
    pub(super) fn run_test(&mut self, now: Time, s: &Signals) {
        let Some(mut test) = self.test else { return };
        if let Test::Pulsing { since } = &mut test
            && !self.pulsing
        {
            // The relay is judged from its first pulse on.
            *since = now;
            self.test = Some(test);
        }
        let passed = match (test, s.permit_closed) {
            (Test::Pulsing { since }, None) => self.due(now, since + TEST_PULSES).then_some(None),
            (Test::Pulsing { .. }, Some(true)) => {
                self.test = Some(Test::Dropping { since: now });
                let limit = Duration::from_millis(self.settings.relay_drop_ms);
                self.due(now, now + limit);
                None
            }
            (Test::Pulsing { since }, Some(false)) => {
                self.due(now, since + TEST_PULLS).then_some(Some(false))
            }
            (Test::Dropping { .. }, Some(false) | None) => Some(Some(true)),
            (Test::Dropping { since }, Some(true)) => {
                // One step beyond the limit is too late, the limit itself is not.
                let limit = Duration::from_millis(self.settings.relay_drop_ms + 5);
                self.due(now, since + limit).then_some(Some(false))
            }
        };
        if let Some(passed) = passed {
            self.test = None;
            self.phase = Phase::Off;
            self.reports.push(GuardReport::Tested { passed });
        }
    }

    pub(super) fn try_clears(&mut self, now: Time, s: &Signals, lease_until: Time) {
        for cause in core::mem::take(&mut self.clears) {
            let gone = match cause {
                Cause::Estop => !s.estop_open,
                Cause::GateOpen => s.gate_closed != Some(false),
                Cause::TorchUnseated => s.torch_seated != Some(false),
                Cause::TorchTouched => !s.contact,
                Cause::SenseOn => s.sense_isolated != Some(false),
                Cause::LeaseLapsed => now <= lease_until,
                Cause::ArcStuck | Cause::UnaskedFire => {
                    !s.fire_on && !s.arc_ok && s.volts.is_none_or(|v| v.abs() < VOLTS_AT_REST)
                }
                _ => true,
            };
            self.reports.push(if gone {
                self.latches.remove(&cause);
                GuardReport::Cleared { cause }
            } else {
                GuardReport::StillThere { cause }
            });
        }
    }

    pub(super) fn pulse(&mut self, now: Time, s: &Signals, lease_until: Time) {
        let testing_drop = matches!(self.test, Some(Test::Dropping { .. }));
        let sensing_off = s.sense_isolated != Some(false) || self.settings.sense_stays_connected;
        let may = self.phase != Phase::Off
            && self.epoch == self.handled
            && self.latches.is_empty()
            && now <= lease_until
            && !s.estop_open
            && s.hold_button != Some(true)
            && (self.pulsing || self.test.is_some() || sensing_off)
            && !testing_drop
            && self.open_fire
            && self.open_arc
            && (self.pulsing || (!s.fire_on && !s.arc_ok));
        if !may {
            self.pulsing = false;
            self.level = false;
            self.late.edge_at = None;
            return;
        }
        let half = Duration::from_secs_f64(0.5 / self.settings.permit_hz.max(1.0));
        if !self.pulsing {
            self.pulsing = true;
            self.level = true;
            self.late.edge_at = Some(now);
            self.toggle_at = now + half;
        } else if now >= self.toggle_at {
            self.level = !self.level;
            self.late.edge_at = Some(now);
            // Late by a whole half wave: begin anew rather than hurry after it.
            self.toggle_at = (self.toggle_at + half).max(now + half / 2);
        }
        let at = self.toggle_at;
        self.due(now, at);
    }
}
