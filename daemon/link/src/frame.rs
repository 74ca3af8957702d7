//! Lines as they lie on the wire: put together on the way out, found again on the way in.

use crate::dialect::{AnswerForm, LineForm};
use crate::template::Value;

/// One line as it goes out, end included; `None` if it is longer than the dialect allows.
pub(crate) fn line(form: &LineForm, number: u64, text: &str) -> Option<Vec<u8>> {
    let body = form.body.fill(|field| {
        Some(match field {
            "number" => Value::Whole(number),
            _ => Value::Text(text),
        })
    })?;
    if body.len() > form.longest {
        return None;
    }
    let framed = form.frame.fill(|field| {
        Some(match field {
            "length" => Value::Whole(body.len() as u64),
            "check" => Value::Whole(form.check.of(body.as_bytes())),
            "number" => Value::Whole(number),
            _ => Value::Text(&body),
        })
    })?;
    let mut bytes = framed.into_bytes();
    bytes.extend(form.end.bytes());
    Some(bytes)
}

/// What was found between two line ends.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Heard {
    /// A line that checks, and how many bytes before it were none of it.
    Body { body: String, skipped: usize },
    /// Bytes that make no line.
    Garbage { skipped: usize },
}

/// Finds lines in what comes in, whatever else comes with them.
#[derive(Clone, Debug, Default)]
pub(crate) struct Splitter {
    part: Vec<u8>,
    /// The line in hand is too long to be one: all up to the next end is skipped.
    overlong: usize,
}

impl Splitter {
    /// Forgets half a line.
    pub fn clear(&mut self) {
        self.part.clear();
        self.overlong = 0;
    }

    /// Takes bytes and gives the lines that they complete.
    pub fn take(&mut self, form: &AnswerForm, bytes: &[u8], mut found: impl FnMut(Heard)) {
        let last = form.end.last().copied().unwrap_or(b'\n');
        for &byte in bytes {
            if byte != last {
                if self.part.len() >= form.longest {
                    self.overlong += self.part.len();
                    self.part.clear();
                }
                self.part.push(byte);
                continue;
            }
            let part = core::mem::take(&mut self.part);
            let lost = core::mem::take(&mut self.overlong);
            let before_end = &form.end[..form.end.len().saturating_sub(1)];
            let line = part.strip_suffix(before_end).unwrap_or(&part);
            if lost == 0 && line.is_empty() {
                continue;
            }
            match body_in(form, line) {
                Some((body, at)) => found(Heard::Body {
                    body,
                    skipped: at + lost,
                }),
                None => found(Heard::Garbage {
                    skipped: part.len() + lost,
                }),
            }
        }
    }
}

/// The body of a line that checks. Where lines carry a check, bytes that run into its front (an
/// earlier line that lost its end) do not spoil it.
fn body_in(form: &AnswerForm, line: &[u8]) -> Option<(String, usize)> {
    let starts = if form.check.is_some() { line.len() } else { 1 };
    (0..starts).find_map(|at| {
        let text = core::str::from_utf8(&line[at..]).ok()?;
        whole(form, text).map(|body| (body.to_owned(), at))
    })
}

fn whole<'a>(form: &AnswerForm, text: &'a str) -> Option<&'a str> {
    if !text
        .bytes()
        .all(|b| (b' '..=b'~').contains(&b) || b == b'\t')
    {
        return None;
    }
    let body = form.frame_pattern.captures(text)?.name("body")?.as_str();
    let again = form.frame.fill(|field| {
        Some(match field {
            "length" => Value::Whole(body.len() as u64),
            "check" => Value::Whole(form.check.of(body.as_bytes())),
            _ => Value::Text(body),
        })
    })?;
    (again == text).then_some(body)
}
