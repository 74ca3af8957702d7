//! The controller's other tongue, written from the page of the dialect `quill` alone: bare lines
//! without number or check, one answer to each in their order, reports only when asked.
//!
//! The sensing circuit is its own: it is connected with each seek and taken off at its end.

use super::hear::Refusal;
use super::line::{Asked, parse};
use super::work::{Active, Queued};
use super::{BUFFER, Controller, Fault};
use crate::settings::Tongue;

const HOLD: u8 = 0x0E;
const ASK: u8 = 0x05;
/// Lines heard and not yet answered; what comes beyond them is lost.
const LINES: usize = 4;
/// Commands in the queue.
const QUEUE: usize = 16;
/// Longest line, bytes.
const LINE_MAX: usize = 62;
/// Speed of a seek before one was told, mm/min.
const SEEK_MM_MIN: f64 = 60.0;
/// It looks after itself so often, ms.
const LOOK_MS: u64 = 100;
/// A report of rest names this state.
const REST: &str = "resting";

/// What is remembered between lines.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    /// Speed of the next seek, mm/min.
    seek_mm_min: f64,
    /// How often everything was dropped, or it began anew: lines are counted from there on.
    drops: u32,
}

impl Default for Memory {
    fn default() -> Self {
        Self {
            seek_mm_min: SEEK_MM_MIN,
            drops: 1,
        }
    }
}

impl Memory {
    /// The count of drops is the ledger's, not the controller's: it outlives a start.
    pub(super) fn after_start(&self) -> Self {
        Self {
            drops: self.drops + 1,
            ..Self::default()
        }
    }
}

/// A line with its end behind.
pub(super) fn ended(body: &str) -> Vec<u8> {
    format!("{body}\r\n").into_bytes()
}

/// Digits only, as the page writes a feed.
fn feed(word: &str) -> Option<f64> {
    let plain = (1..=6).contains(&word.len()) && word.bytes().all(|b| b.is_ascii_digit());
    plain
        .then(|| word.parse().ok())
        .flatten()
        .filter(|f| *f > 0.0)
}

impl Controller {
    pub(super) fn quill_byte(&mut self, now: u64, byte: u8) {
        match byte {
            HOLD => self.hold_now(),
            ASK => self.report(now),
            b'\r' => {
                let line = core::mem::take(&mut self.partial);
                self.held_bytes += 1;
                if self.lines.len() < LINES {
                    self.lines.push_back(line);
                    self.hear_waiting(now);
                } else {
                    self.held_bytes -= line.len() + 1;
                }
            }
            _ if self.held_bytes >= BUFFER => {}
            _ => {
                self.partial.push(byte);
                self.held_bytes += 1;
            }
        }
    }

    /// Hears one line; false if it has to wait.
    pub(super) fn quill_line(&mut self, now: u64, line: &[u8]) -> bool {
        if self.pending.is_some() {
            return false;
        }
        let Some(text) = core::str::from_utf8(line)
            .ok()
            .filter(|t| t.len() <= LINE_MAX)
        else {
            return self.no(now, 1, "unreadable");
        };
        let stands = self.hold || self.fault.is_some();
        match text {
            "drop all" => {
                self.drop_all(now);
                return true;
            }
            "M05" if stands => {
                self.set_torch(now, false);
                self.say(now, "got");
                return true;
            }
            _ if self.fault.is_some() => return self.no(now, 9, "halted"),
            _ if self.hold => return self.no(now, 3, "standing"),
            _ => {}
        }
        if self.queue.len() >= QUEUE || self.at_a_line(now) {
            return false;
        }
        if let Some(mm_min) = text.strip_prefix("seek slow ").and_then(feed) {
            self.quill.seek_mm_min = mm_min;
            self.say(now, "got");
            return true;
        }
        let work = self
            .quill_asked(text)
            .map_err(|why| ("words", why))
            .and_then(|asked| self.check(asked));
        match work {
            Ok(work) => {
                // The first line of a start: nothing was dropped before it.
                self.epoch.get_or_insert(self.quill.drops);
                let number = self.expected.max(1);
                self.expected = number + 1;
                self.queue.push_back(Queued { number, work });
                self.plan();
                self.say(now, "got");
                self.pump(now);
            }
            Err(refusal) => self.quill_refuses(now, refusal),
        }
        true
    }

    /// What a line of this dialect asks for.
    fn quill_asked(&self, text: &str) -> Result<Asked, &'static str> {
        if text == "seek zero" {
            return Ok(Asked::Home);
        }
        if let Some(z) = text.strip_prefix("seek down ") {
            return parse(&format!("touch Z{z} F{}", self.quill.seek_mm_min));
        }
        // Its codes have two digits; the words behind them are in the order of the page.
        match text.split_at_checked(2) {
            Some(("G0", rest)) => parse(&format!("G{rest}")),
            Some(("M0", rest)) => parse(&format!("M{rest}")),
            _ => Err("no such command"),
        }
    }

    fn quill_refuses(&mut self, now: u64, (kind, words): Refusal) {
        let code = match kind {
            "travel" => 17,
            "reference" => 5,
            "arc" => 12,
            _ => 2,
        };
        self.no(now, code, words);
        self.fault = self.fault.or(Some(Fault::Refused));
        self.brake();
        self.set_torch(now, false);
    }

    fn no(&mut self, now: u64, code: u32, why: &str) -> bool {
        self.say(now, &format!("no {code}: {why}"));
        true
    }

    /// Brakes, forgets what is queued, and goes on from a stand.
    fn drop_all(&mut self, now: u64) {
        self.quill.drops += 1;
        self.queue.clear();
        self.set_torch(now, false);
        self.brake();
        self.pending = Some((self.quill.drops, LOOK_MS));
        self.say(now, "got");
        self.open_pending(now);
    }

    pub(super) fn quill_report(&self) -> String {
        let doing = if self.fault.is_some() {
            "halted"
        } else if self.hold {
            "standing"
        } else {
            match self.active.as_ref().map(Active::word) {
                Some("touch") => "seeking",
                Some("home") => "zeroing",
                Some(_) => "moving",
                None if self.queue.is_empty() => REST,
                None => "moving",
            }
        };
        let [x, y, z] = self.at.map(|v| if v.abs() < 5e-4 { 0.0 } else { v });
        format!(
            "= {doing} ({x:.3}, {y:.3}, {z:.3}) {:.0} room {} torch {}",
            self.active.as_ref().map_or(0.0, Active::speed) * 60.0,
            QUEUE - self.queue.len().min(QUEUE),
            if self.torch { "lit" } else { "out" },
        )
    }

    /// The answer to a seek, which takes the sensing circuit off the torch.
    pub(super) fn quill_found(&mut self, z: Option<f64>) -> String {
        self.quill_seek_ends();
        z.map_or_else(
            || "found nothing".to_owned(),
            |z| format!("found at {z:.3}"),
        )
    }

    pub(super) fn quill_seek_begins(&mut self) {
        if self.settings.tongue == Tongue::Quill {
            self.sense = true;
            self.sense_told += 1;
        }
    }

    pub(super) fn quill_seek_ends(&mut self) {
        if self.settings.tongue == Tongue::Quill {
            self.sense = false;
        }
    }
}
