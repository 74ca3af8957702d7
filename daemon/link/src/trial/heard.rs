//! What a controller said, line by line: what matched, what did not, and where it failed.

use serde::Serialize;
use units::Time;

use crate::answer::understand;
use crate::dialect::Dialect;
use crate::frame::{Heard, Splitter};
use crate::raw::Means;

/// Lines that are kept of each kind: a controller that reports by itself says the same for ever (ours).
const KEPT: usize = 5;
/// Bytes of garbage that are shown (ours).
const SHOWN: usize = 60;

/// One line, and what became of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LineHeard {
    /// When its end came in, ms since the port was opened.
    pub at_ms: u64,
    /// The line, what cannot be printed as an escape.
    pub text: String,
    /// What it means by the dialect; `None`: nothing.
    pub means: Option<&'static str>,
    /// The key of the dialect that matched, or that did not.
    pub rule: String,
    /// Lines like it, this one and those that are not shown with it.
    pub times: usize,
}

/// Everything that was heard.
#[derive(Clone, Debug, Default)]
pub(super) struct Hearing {
    splitter: Splitter,
    pub lines: Vec<LineHeard>,
    pub bytes: u64,
    /// Bytes that are neither printable nor a line's end.
    pub odd: u64,
    /// Pieces between line ends that are no line by frame or check, lines that fit no pattern, and
    /// lines that mean something.
    pub garbage: u64,
    pub strange: u64,
    pub good: u64,
    /// The raw beginning of what was heard.
    pub first: Vec<u8>,
}

impl Hearing {
    pub fn take(&mut self, dialect: &Dialect, opened: Time, now: Time, bytes: &[u8]) {
        self.bytes += bytes.len() as u64;
        let plain = |b: &&u8| !matches!(**b, b' '..=b'~' | b'\r' | b'\n' | b'\t');
        self.odd += bytes.iter().filter(plain).count() as u64;
        let room = SHOWN.saturating_sub(self.first.len()).min(bytes.len());
        self.first.extend_from_slice(&bytes[..room]);
        let mut heard = Vec::new();
        self.splitter
            .take(&dialect.answers, bytes, |h| heard.push(h));
        let at_ms = now.since(opened).as_millis() as u64;
        for piece in heard {
            let (text, means, rule) = match piece {
                Heard::Garbage { skipped } => {
                    self.garbage += 1;
                    let rule = if dialect.answers.check.is_some() {
                        "answers.frame or answers.check"
                    } else {
                        "answers.frame"
                    };
                    (
                        format!("{skipped} bytes that are no line"),
                        None,
                        rule.to_owned(),
                    )
                }
                Heard::Body { body, .. } => match self.meaning(dialect, now, &body) {
                    Ok((means, i)) => {
                        self.good += 1;
                        (body, Some(means), format!("answer[{i}]"))
                    }
                    Err(rule) => {
                        self.strange += 1;
                        (body, None, rule)
                    }
                },
            };
            self.keep(LineHeard {
                at_ms,
                text,
                means,
                rule,
                times: 1,
            });
        }
    }

    /// The pattern that fits, or what is wrong.
    fn meaning(
        &self,
        dialect: &Dialect,
        now: Time,
        body: &str,
    ) -> Result<(&'static str, usize), String> {
        let fits = |(_, p): &(Means, regex::Regex)| p.is_match(body);
        let Some(i) = dialect.answers.patterns.iter().position(fits) else {
            return Err("no [[answer]] fits".into());
        };
        let (means, _) = &dialect.answers.patterns[i];
        match understand(dialect, now, body) {
            Some(_) => Ok((means.name(), i)),
            None => Err(format!(
                "answer[{i}] fits, but a value in it makes no sense (a number, a word of [states])"
            )),
        }
    }

    /// The first few of each kind are kept, and the rest counted with the last of them.
    fn keep(&mut self, line: LineHeard) {
        let like = |l: &&mut LineHeard| l.means == line.means && l.rule == line.rule;
        let kept = self.lines.iter().filter(|l| like_of(l, &line)).count();
        if kept < KEPT {
            self.lines.push(line);
        } else if let Some(last) = self.lines.iter_mut().rev().find(like) {
            last.times += 1;
        }
    }
}

fn like_of(one: &LineHeard, other: &LineHeard) -> bool {
    one.means == other.means && one.rule == other.rule
}

impl Means {
    /// As the dialect file writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Greeting => "greeting",
            Self::Ready => "ready",
            Self::Taken => "taken",
            Self::Again => "again",
            Self::Refused => "refused",
            Self::Touched => "touched",
            Self::Missed => "missed",
            Self::Alarm => "alarm",
            Self::Status => "status",
            Self::Stamp => "stamp",
            Self::Nothing => "nothing",
        }
    }
}
