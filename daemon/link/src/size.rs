//! How long a command is on the wire, and how many of a path it carries. What vetting reckons and what the
//! simulated table takes both come from here.

use units::{Point, Segment};

use crate::dialect::{Capability, Dialect};
use crate::frame;
use crate::modal::{InForce, share_in_full};
use crate::saying;
use crate::wire::byte_s;
use crate::words::Command;

/// A line number of usual length: a job has some thousands of lines.
const USUAL_NUMBER: u64 = 9_999;

/// A controller takes a line every so many ms at best where its dialect does not say, ms (invented, on the
/// slow side).
const BLOCK_MS: u64 = 8;
/// An answer that a line is taken, bytes (the longer of our two dialects').
const ANSWER_BYTES: f64 = 20.0;
/// From the end of a line to the beginning of its answer and from the end of that to the next line, both
/// together, s: what a controller and a panel without a slow adapter take (ours).
const TURN_S: f64 = 0.001;

/// What wire and controller carry of a long path of one feed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carried {
    /// Bytes a second on the wire.
    pub bytes_s: f64,
    /// The controller takes a line every so often at best, its window with it, s.
    pub block_s: f64,
    /// A short line of path, words in force left out, bytes.
    pub line_bytes: f64,
    /// An arc likewise; `None` where arcs are sent as lines.
    pub arc_bytes: Option<f64>,
}

impl Carried {
    /// Lines of path a second.
    #[must_use]
    pub fn lines_s(&self) -> f64 {
        1.0 / (self.line_bytes / self.bytes_s).max(self.block_s)
    }
}

impl Dialect {
    /// What is carried at this baud rate.
    #[must_use]
    pub fn carried(&self, baud: u32) -> Carried {
        let (from, to) = (
            Point::new(612.3456, 412.3456),
            Point::new(612.4321, 412.4321),
        );
        let arc = Segment::Arc {
            from,
            to,
            centre: Point::new(610.1234, 414.5678),
            clockwise: false,
        };
        let longest = self.lines.longest as f64;
        let line_bytes = self
            .path_bytes(Segment::Line { from, to })
            .unwrap_or(longest);
        let byte_s = byte_s(baud);
        // Each line of the window waits for its answer before another may take its place.
        let in_window = self.window.lines.map_or(f64::INFINITY, |n| n as f64);
        let of_bytes = self
            .window
            .bytes
            .map_or(f64::INFINITY, |n| (n as f64 / line_bytes).floor());
        let round_s = (line_bytes + ANSWER_BYTES) * byte_s + TURN_S;
        Carried {
            bytes_s: 1.0 / byte_s,
            block_s: (self.block_ms() as f64 / 1000.0)
                .max(round_s / in_window.min(of_bytes).max(1.0)),
            line_bytes,
            arc_bytes: self
                .chord_off_mm()
                .is_none()
                .then(|| self.path_bytes(arc))
                .flatten(),
        }
    }

    /// A short line and its answer are on the wire for so long, s, with what a controller takes for it.
    pub(crate) fn round_s(&self, baud: u32) -> f64 {
        let line = self
            .bytes_of(&Command::TorchOff)
            .unwrap_or(self.lines.longest);
        (line as f64 + ANSWER_BYTES) * byte_s(baud) + TURN_S + self.block_ms() as f64 / 1000.0
    }

    /// A piece of a long path of its kind and feed, on the average of many, bytes.
    fn path_bytes(&self, segment: Segment) -> Option<f64> {
        let path = Command::Path {
            segment,
            mm_s: 20.0,
        };
        let mut force = InForce::default();
        let mut said = || -> Option<f64> {
            let texts = saying::texts(self, &path).ok()?;
            texts
                .iter()
                .map(|text| {
                    let line = frame::line(&self.lines, USUAL_NUMBER, &force.shortened(text))?;
                    force.said(text);
                    Some(line.len() as f64)
                })
                .sum()
        };
        let (full, short) = (said()?, said()?);
        Some(full * share_in_full() + short * (1.0 - share_in_full()))
    }

    /// A command as it is written on the wire, number, check and end included, bytes; `None` where
    /// the dialect cannot say it.
    #[must_use]
    pub fn bytes_of(&self, command: &Command) -> Option<usize> {
        let texts = saying::texts(self, command).ok()?;
        texts
            .iter()
            .map(|text| frame::line(&self.lines, USUAL_NUMBER, &text.full).map(|bytes| bytes.len()))
            .sum()
    }

    /// The controller takes a line every so many ms at best: as the dialect says, or 8.
    #[must_use]
    pub fn block_ms(&self) -> u64 {
        self.window.block_ms.unwrap_or(BLOCK_MS)
    }

    /// How far a straight piece may lie from the arc that it stands for, mm; `None` where arcs are
    /// sent as arcs.
    #[must_use]
    pub fn chord_off_mm(&self) -> Option<f64> {
        (!self.has(Capability::Arcs)).then_some(self.commands.chord_off_mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_framed_line_is_as_long_as_its_characters() {
        let plain = Dialect::plain().expect("it is a dialect");
        let line = |x| Command::Path {
            segment: Segment::Line {
                from: Point::new(0.0, 0.0),
                to: Point::new(x, 50.25),
            },
            mm_s: 20.0,
        };
        // Length and check (6), number and text with its spaces, line end.
        let text = "1BABCD 9999 G1 X100 Y50.25 F1200\n";
        assert_eq!(plain.bytes_of(&line(100.0)), Some(text.len()));
        assert_eq!(plain.bytes_of(&line(f64::NAN)), None);
        assert_eq!(plain.chord_off_mm(), None);
    }

    #[test]
    fn the_time_of_a_block_is_what_the_dialect_says_within_its_range() {
        assert_eq!(Dialect::plain().expect("a dialect").block_ms(), 2);
        let unsaid = crate::PLAIN.replace("block_ms = 2", "");
        assert_eq!(Dialect::from_toml(&unsaid).map(|d| d.block_ms()), Ok(8));
        let other = |ms: &str| {
            let key = format!("block_ms = {ms}");
            Dialect::from_toml(&crate::PLAIN.replace("block_ms = 2", &key)).map(|d| d.block_ms())
        };
        assert_eq!(other("1").ok(), Some(1));
        assert_eq!(other("0").map_err(|e| e.key), Err("window.block_ms".into()));
        assert_eq!(
            other("1001").map_err(|e| e.key),
            Err("window.block_ms".into())
        );
    }

    #[test]
    fn what_is_carried_is_the_slowest_of_wire_window_and_controller() {
        let carried =
            |plain: &str, baud| Dialect::from_toml(plain).expect("a dialect").carried(baud);
        let fast = carried(crate::PLAIN, 115_200);
        // Length and check, number, X and Y, line end: 32 bytes; 41 with G1 and the feed, one in 16.
        assert_eq!(fast.line_bytes, (15.0 * 32.0 + 41.0) / 16.0);
        assert!(
            (fast.lines_s() - 11_520.0 / fast.line_bytes).abs() < 0.1,
            "the wire"
        );
        let slow = crate::PLAIN.replace("block_ms = 2", "block_ms = 10");
        assert!(
            (carried(&slow, 115_200).lines_s() - 100.0).abs() < 0.1,
            "the controller"
        );
        let one = crate::PLAIN.replace("bytes = 256", "lines = 1");
        let one = carried(&one, 115_200).lines_s();
        assert!(
            one < 0.6 * fast.lines_s() && one > 100.0,
            "one at a time: {one}"
        );
    }
}
