//! How long a command is on the wire.

use crate::dialect::{Capability, Dialect};
use crate::frame;
use crate::saying;
use crate::words::Command;

/// A line number of usual length: a job has some thousands of lines.
const USUAL_NUMBER: u64 = 9_999;

impl Dialect {
    /// A command as it is written on the wire, number, check and end included, bytes; `None` where
    /// the dialect cannot say it.
    #[must_use]
    pub fn bytes_of(&self, command: &Command) -> Option<usize> {
        let texts = saying::texts(self, command).ok()?;
        texts
            .iter()
            .map(|text| frame::line(&self.lines, USUAL_NUMBER, text).map(|bytes| bytes.len()))
            .sum()
    }

    /// The controller takes a block every so many ms at best; `None`: the dialect does not say.
    #[must_use]
    pub fn block_ms(&self) -> Option<u64> {
        self.window.block_ms
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
    use units::{Point, Segment};

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
        assert_eq!(Dialect::plain().expect("a dialect").block_ms(), Some(8));
        let other = |ms: &str| {
            let key = format!("block_ms = {ms}");
            Dialect::from_toml(&crate::PLAIN.replace("block_ms = 8", &key)).map(|d| d.block_ms())
        };
        assert_eq!(other("1").ok(), Some(Some(1)));
        assert_eq!(other("0").map_err(|e| e.key), Err("window.block_ms".into()));
        assert_eq!(
            other("1001").map_err(|e| e.key),
            Err("window.block_ms".into())
        );
    }
}
