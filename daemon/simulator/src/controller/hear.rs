//! From bytes to commands in the queue, and the answers.

use units::{Point, Segment};

use super::line::{ArcTo, Asked, numbered, parse};
use super::work::{Queued, Work};
use super::{BUFFER, Controller, Fault, MS, QUEUE};
use crate::frame::{BODY_MAX, body};
use crate::settings::Tongue;

const HOLD: u8 = 0x9C;
const TORCH_OFF: u8 = 0x87;
/// Length, check sum and blank in front of a body.
const HEAD: usize = 7;
/// `again` is said at most this often.
const AGAIN_NS: u64 = 20 * MS;
/// Slack at the ends of travel, mm.
const TRAVEL_SLACK: f64 = 1e-3;

/// A command that will not be carried out: a word and its explanation.
pub(super) type Refusal = (&'static str, &'static str);

impl Controller {
    /// One byte has fully arrived.
    pub(crate) fn byte(&mut self, now: u64, byte: u8) {
        if self.dead_until.is_some() {
            return;
        }
        self.last_byte = now;
        if self.settings.tongue == Tongue::Quill {
            self.quill_byte(now, byte);
            return;
        }
        match byte {
            HOLD => self.hold_now(),
            TORCH_OFF => self.torch_off_now(now),
            0x80.. => {}
            _ if self.held_bytes >= BUFFER => {}
            b'\n' => {
                let line = core::mem::take(&mut self.partial);
                if core::mem::take(&mut self.skipping) {
                    self.say_again(now);
                } else if !line.is_empty() {
                    self.held_bytes += 1;
                    self.lines.push_back(line);
                    self.hear_waiting(now);
                }
            }
            _ if self.skipping => {}
            _ => {
                self.partial.push(byte);
                self.held_bytes += 1;
                if self.partial.len() > HEAD + BODY_MAX {
                    // No line is so long: its end was lost.
                    self.held_bytes -= self.partial.len();
                    self.partial.clear();
                    self.skipping = true;
                }
            }
        }
    }

    /// Takes the lines that wait in the buffer, as far as they can be taken.
    pub(super) fn hear_waiting(&mut self, now: u64) {
        while let Some(line) = self.lines.pop_front() {
            let heard = match self.settings.tongue {
                Tongue::Plain => self.line(now, &line),
                Tongue::Quill => self.quill_line(now, &line),
            };
            if heard {
                self.held_bytes -= line.len() + 1;
            } else {
                self.lines.push_front(line);
                break;
            }
        }
    }

    fn say_again(&mut self, now: u64) {
        if now >= self.again_after {
            self.again_after = now + AGAIN_NS;
            self.say(now, &format!("again {}", self.expected));
        }
    }

    /// Hears one line; false if it has to wait.
    fn line(&mut self, now: u64, line: &[u8]) -> bool {
        let Some((number, text)) = body(line).and_then(numbered) else {
            self.say_again(now);
            return true;
        };
        if number == 0 {
            match parse(text) {
                Ok(Asked::Begin { epoch, every_ms }) => self.begin(now, epoch, every_ms),
                _ => self.say_again(now),
            }
            return true;
        }
        if self.pending.is_some() {
            return false;
        }
        if self.epoch.is_none() {
            self.say(now, &format!("refused {number} epoch begin first"));
            return true;
        }
        if number < self.expected {
            let last = self.expected - 1;
            self.say(now, &format!("taken {last}"));
            return true;
        }
        if number > self.expected {
            self.say_again(now);
            return true;
        }
        if self.queue.len() >= QUEUE {
            // In a hold or fault it will never have room: dropped, so that `begin` can be heard.
            return self.hold || self.fault.is_some();
        }
        if self.at_a_line(now) {
            return false;
        }
        let work = self
            .in_force
            .hear(text)
            .map_err(|why| ("words", why))
            .and_then(|asked| self.check(asked));
        self.expected += 1;
        match work {
            Ok(work) => {
                self.queue.push_back(Queued { number, work });
                self.plan();
                self.say(now, &format!("taken {number}"));
                self.pump(now);
            }
            Err((why, words)) => {
                self.say(now, &format!("refused {number} {why} {words}"));
                self.fault = self.fault.or(Some(Fault::Refused));
                self.brake();
                self.set_torch(now, false);
                self.report_due = true;
            }
        }
        true
    }

    /// Whether the line before still keeps it; if not, this one does from now on.
    pub(super) fn at_a_line(&mut self, now: u64) -> bool {
        if now < self.line_until {
            return true;
        }
        self.line_until = now + self.settings.block_ms * MS;
        false
    }

    fn begin(&mut self, now: u64, epoch: u32, every_ms: u64) {
        if self.pending.is_none() && self.epoch == Some(epoch) {
            self.say(now, &format!("ready {epoch}"));
            return;
        }
        if self.pending.is_some_and(|p| p.0 == epoch) {
            return;
        }
        self.pending = Some((epoch, every_ms));
        self.set_torch(now, false);
        self.brake();
        self.open_pending(now);
    }

    /// Turns what is asked for into work, or refuses it.
    pub(super) fn check(&mut self, asked: Asked) -> Result<Work, Refusal> {
        let moves = !matches!(
            asked,
            Asked::TorchOff | Asked::Sense(_) | Asked::Begin { .. }
        );
        if moves && self.fault.is_some() {
            return Err(("fault", "stopped by a fault"));
        }
        if moves && asked != Asked::Home && !self.end_referenced {
            return Err(("reference", "home first"));
        }
        match asked {
            Asked::Begin { .. } => Err(("number", "begin has number 0")),
            Asked::TorchOn => Ok(Work::TorchOn),
            Asked::TorchOff => Ok(Work::TorchOff),
            Asked::Sense(on) => Ok(Work::Sense(on)),
            Asked::Home => {
                self.end = Point::new(self.settings.travel_low[0], self.settings.travel_low[1]);
                self.end_referenced = true;
                Ok(Work::Home)
            }
            Asked::RapidZ(z) => Ok(Work::MoveZ {
                z: self.within_z(z)?,
                mm_s: self.settings.z_rapid_mm_s,
            }),
            Asked::FeedZ { z, mm_s } => Ok(Work::MoveZ {
                z: self.within_z(z)?,
                mm_s: mm_s.min(self.settings.z_rapid_mm_s),
            }),
            Asked::Touch { z, mm_s } => Ok(Work::Touch {
                z: self.within_z(z)?,
                mm_s: mm_s.min(self.settings.z_rapid_mm_s),
            }),
            Asked::RapidXy(to) => {
                self.within_xy(to)?;
                self.end = to;
                Ok(Work::RapidXy(to))
            }
            Asked::LineXy { to, mm_s } => {
                let segment = Segment::Line { from: self.end, to };
                self.path(segment, mm_s)
            }
            Asked::Arc(arc) => {
                let segment = self.arc(arc)?;
                self.path(segment, arc.mm_s)
            }
        }
    }

    fn arc(&self, arc: ArcTo) -> Result<Segment, Refusal> {
        let from = self.end;
        let centre = from.moved(arc.to_centre.x, arc.to_centre.y);
        let tenth_um = |v: f64| (v * 1e4).round();
        let same = tenth_um(from.x) == tenth_um(arc.to.x) && tenth_um(from.y) == tenth_um(arc.to.y);
        let to = if same { from } else { arc.to };
        let radius = from.distance(centre);
        if radius < 1e-3 {
            return Err(("arc", "no radius"));
        }
        if (radius - to.distance(centre)).abs() > 0.01 + radius * 1e-4 {
            return Err(("arc", "ends lie on different radii"));
        }
        Ok(Segment::Arc {
            from,
            to,
            centre,
            clockwise: arc.clockwise,
        })
    }

    fn path(&mut self, segment: Segment, mm_s: f64) -> Result<Work, Refusal> {
        let bounds = segment.bounds();
        self.within_xy(bounds.low)?;
        self.within_xy(bounds.high)?;
        let work = self.path_work(segment, mm_s);
        self.end = segment.to();
        Ok(work)
    }

    fn within_xy(&self, p: Point) -> Result<(), Refusal> {
        let (low, high) = (self.settings.travel_low, self.settings.travel_high);
        let inside = p.x >= low[0] - TRAVEL_SLACK
            && p.x <= high[0] + TRAVEL_SLACK
            && p.y >= low[1] - TRAVEL_SLACK
            && p.y <= high[1] + TRAVEL_SLACK;
        inside
            .then_some(())
            .ok_or(("travel", "beyond the travel of X or Y"))
    }

    fn within_z(&self, z: f64) -> Result<f64, Refusal> {
        let (low, high) = (self.settings.travel_low[2], self.settings.travel_high[2]);
        let inside = z >= low - TRAVEL_SLACK && z <= high + TRAVEL_SLACK;
        inside
            .then_some(z)
            .ok_or(("travel", "beyond the travel of Z"))
    }
}
