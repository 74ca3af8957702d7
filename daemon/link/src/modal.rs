//! Words that stay in force at the controller: left out of a line of path that follows one which carried
//! the same.
//!
//! A controller that has forgotten a word (a reset, a drop of its queue) would move by another one. So
//! nothing counts as in force but what this epoch's last line of path said: whatever else is said, said
//! again, or waited for makes the next line stand by itself, and so does every 16th.

use core::time::Duration;

/// One line in so many carries all its words, though nothing tells that they were forgotten: at 300 lines
/// a second 50 ms of path, for 1 % of the wire (ours).
const IN_FULL_EVERY: u32 = 16;
/// After so long without a line the next one stands by itself: longer than the wire ever pauses within a
/// path that it feeds, shorter than any controller needs to start anew (ours).
pub(crate) const PAUSE: Duration = Duration::from_millis(100);

/// One line of a command, without number and frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Text {
    /// All its words.
    pub full: String,
    /// For each word the group of which it stays in force; empty: it is no line of path.
    pub groups: Vec<Option<usize>>,
}

impl Text {
    /// A line of which nothing stays in force.
    pub fn alone(full: String) -> Self {
        Self {
            full,
            groups: Vec::new(),
        }
    }

    fn words(&self) -> impl Iterator<Item = (&str, Option<usize>)> {
        self.full.split(' ').zip(self.groups.iter().copied())
    }
}

/// What the last line of path left in force.
#[derive(Clone, Debug, Default)]
pub(crate) struct InForce {
    /// The word of each group.
    words: Vec<(usize, String)>,
    /// Lines since one stood by itself, that one with them.
    lines: u32,
}

impl InForce {
    /// The next line stands by itself.
    pub fn forget(&mut self) {
        self.words.clear();
        self.lines = 0;
    }

    /// A line as it may go out now.
    pub fn shortened(&self, text: &Text) -> String {
        let stands = |group: Option<usize>, word: &str| {
            group.is_some_and(|g| self.words.iter().any(|(of, w)| *of == g && w == word))
        };
        let left: Vec<&str> = text
            .words()
            .filter(|(word, group)| !stands(*group, word))
            .map(|(word, _)| word)
            .collect();
        if left.is_empty() {
            text.full.clone()
        } else {
            left.join(" ")
        }
    }

    /// A line has gone out, as [`InForce::shortened`] gave it.
    pub fn said(&mut self, text: &Text) {
        self.lines += 1;
        if text.groups.is_empty() || self.lines >= IN_FULL_EVERY {
            self.forget();
            return;
        }
        self.words = text
            .words()
            .filter_map(|(word, group)| group.map(|g| (g, word.to_owned())))
            .collect();
    }
}

/// How much of the lines of a long path carry all their words.
pub(crate) fn share_in_full() -> f64 {
    1.0 / f64::from(IN_FULL_EVERY)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path(full: &str) -> Text {
        let groups = full.split(' ').map(|w| match w.as_bytes()[0] {
            b'G' => Some(0),
            b'F' => Some(1),
            _ => None,
        });
        Text {
            groups: groups.collect(),
            full: full.into(),
        }
    }

    fn said(force: &mut InForce, text: &Text) -> String {
        let short = force.shortened(text);
        force.said(text);
        short
    }

    #[test]
    fn only_what_the_line_before_said_is_left_out() {
        let mut force = InForce::default();
        for (full, short) in [
            ("G1 X1 Y2 F600", "G1 X1 Y2 F600"),
            ("G1 X2 Y2 F600", "X2 Y2"),
            ("G1 X3 Y2 F700", "X3 Y2 F700"),
            ("G2 X3 Y2 I1 J0 F700", "G2 X3 Y2 I1 J0"),
            ("G1 X4 Y2 F600", "G1 X4 Y2 F600"),
        ] {
            assert_eq!(said(&mut force, &path(full)), short);
        }
        assert_eq!(said(&mut force, &Text::alone("M5".into())), "M5");
        assert_eq!(said(&mut force, &path("G1 X5 Y2 F600")), "G1 X5 Y2 F600");
    }

    #[test]
    fn one_line_in_sixteen_stands_by_itself_and_none_is_left_empty() {
        let mut force = InForce::default();
        let lines: Vec<String> = (0..48)
            .map(|i| said(&mut force, &path(&format!("G1 X{i} F600"))))
            .collect();
        let full: Vec<usize> = (0..48).filter(|i| lines[*i].starts_with('G')).collect();
        assert_eq!(full, [0, 16, 32]);
        let bare = path("G1 F600");
        assert_eq!(said(&mut force, &bare), "G1 F600");
        assert_eq!(said(&mut force, &bare), "G1 F600");
    }
}
