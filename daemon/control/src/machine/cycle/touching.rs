//! Whether the sensing circuit can be believed, and the touches by it.

use core::time::Duration;

use link::Command;
use process::CycleSettings;

use super::{Cycle, Move, RETEST_LIFT_MM, Readings, Stage};
use crate::cause::Cause;
use crate::machine::Machine;

/// So many readings of the sensing circuit, spread over its settling time (process handbook,
/// invented): slag flickers, and one look may fall between two closures.
const READINGS: u32 = 20;
/// A second touch searches this far below the first, mm (invented).
const SECOND_TOUCH_MM: f64 = 2.0;

impl Machine {
    /// Contact must be open before the torch comes down.
    pub(super) fn look_sense(&mut self, c: &mut Cycle, cs: &CycleSettings) -> Move {
        match c.stage {
            Stage::PostFlow(until) => {
                if self.due(until) {
                    return Move::On(Stage::SenseConnect(self.connect_sense()));
                }
                Move::Stay
            }
            Stage::SenseConnect(t) => {
                if self.executed(t) {
                    return self.take_readings(c);
                }
                self.overdue(c, c.limit, "The sensing circuit was not connected")
            }
            Stage::SenseSettle => {
                let every = Duration::from_millis(cs.sense_settle_ms) / READINGS;
                c.readings.closed |= self.signals.contact;
                if self.due(c.readings.last + every) {
                    c.readings.last = self.now;
                    c.readings.taken += 1;
                    self.due(self.now + every);
                }
                if c.readings.taken < READINGS {
                    return Move::Stay;
                }
                if !c.readings.closed {
                    let z = c.expected_z + cs.probe_switch_mm;
                    let t = self.line.say(Command::FeedZ {
                        z,
                        mm_s: cs.probe_fast_mm_s,
                    });
                    c.limit = self.z_limit(z, cs.probe_fast_mm_s);
                    return Move::On(Stage::Fast(t));
                }
                if c.retested {
                    return Move::Stop(
                        Cause::ContactStuck,
                        format!(
                            "Contact was on in the sense test, and again after lifting {RETEST_LIFT_MM:.0} mm."
                        ),
                    );
                }
                c.retested = true;
                let z = self.line.z().unwrap_or(self.settings.top_z) + RETEST_LIFT_MM;
                let z = z.min(self.settings.top_z);
                let t = self.line.say(Command::RapidZ(z));
                c.limit = self.z_limit(z, self.settings.rapid_z_mm_s);
                Move::On(Stage::Relift(t))
            }
            Stage::Relift(t) => {
                if self.executed(t) {
                    return self.take_readings(c);
                }
                self.overdue(c, c.limit, "The torch did not lift")
            }
            _ => Move::Stay,
        }
    }

    fn take_readings(&self, c: &mut Cycle) -> Move {
        c.readings = Readings {
            last: self.now,
            ..Readings::default()
        };
        Move::On(Stage::SenseSettle)
    }

    /// Down fast, slowly until it touches, back off, and again.
    pub(super) fn look_touch(&mut self, c: &mut Cycle, cs: &CycleSettings) -> Move {
        match c.stage {
            Stage::Fast(t) => {
                if self.executed(t) {
                    // Written while it touches off, so that firing need not wait for the disk.
                    self.keep_start(c);
                    let down = c.expected_z - self.probe_limit(cs);
                    return self.touch(c, down, cs.probe_slow_mm_s);
                }
                self.overdue(c, c.limit, "The torch did not come down")
            }
            Stage::Slow(t) => match c.answer.take() {
                Some((answered, z)) if answered == t => self.judge_touch(c, z),
                other => {
                    c.answer = other;
                    self.overdue(c, c.limit, "The touch-off did not end")
                }
            },
            Stage::BackOff(t) => {
                if self.executed(t) {
                    let until = self.now + Duration::from_millis(cs.touch_settle_ms);
                    return Move::On(Stage::BackSettle(until));
                }
                self.overdue(c, c.limit, "The torch did not back off")
            }
            Stage::BackSettle(until) => {
                if !self.due(until) {
                    return Move::Stay;
                }
                if self.signals.contact && !c.by_float {
                    return self.fall_back_to_float(c, cs);
                }
                if c.by_float && self.signals.float_switch == Some(true) {
                    return Move::Stop(
                        Cause::TouchUnsure,
                        format!(
                            "The float switch stayed on {:.1} mm above the touch.",
                            cs.back_off_mm
                        ),
                    );
                }
                let last = c.touches.last().copied().unwrap_or(c.expected_z);
                self.touch(c, last - SECOND_TOUCH_MM, cs.probe_slow_mm_s)
            }
            Stage::FloatOnly(t) => {
                if self.executed(t) {
                    // From where it stands: what it met last is only a bridge's height.
                    let down = c.expected_z - cs.probe_limit_mm;
                    return self.touch(c, down, cs.probe_slow_mm_s);
                }
                self.overdue(c, c.limit, "The sensing circuit was not switched off")
            }
            _ => Move::Stay,
        }
    }
}
