//! What goes out, and when.

use core::time::Duration;

use units::Time;

use super::{Outgoing, Phase, Session, Step};
use crate::dialect::{Capability, UNSENT_WITH_ARC};
use crate::flight::Line;
use crate::frame;
use crate::modal::{PAUSE, Text};
use crate::raw::Confirm;
use crate::template::Value;
use crate::words::Word;

/// Without an arc this may lie unsent in the kernel, bytes: 22 ms at 115 200 baud.
const UNSENT: usize = 256;
/// Part of a line is written when at least so much of it may be: 2.8 ms at 115 200 baud.
const CHUNK: usize = 32;
/// How long an answer may take beyond the wire itself: the controller's turn, and what it is
/// already sending.
const ANSWER_TIME: Duration = Duration::from_millis(15);

/// An opening is repeated so often under one name.
const REPEATS_PER_NAME: u32 = 4;

impl Session {
    /// What to write now. `arc_on`: no more than 64 bytes may then lie unsent in the kernel, by a
    /// reckoning of what the baud rate has carried away since they were written.
    pub fn poll(&mut self, now: Time, arc_on: bool) -> Outgoing {
        self.arc_on = arc_on;
        let mut out = Outgoing::default();
        if self.phase == Phase::Closed {
            self.next = None;
            return out;
        }
        if let Phase::Dead { until } = self.phase
            && now >= until
        {
            self.begin_keeping(now, true);
        }
        self.ask(now, &mut out);
        self.retry(now);
        out.take_away = core::mem::take(&mut self.away);
        self.wire.write(now, out.take_away.len());
        let blocked_until = self.fill(now, &mut out.lines);
        self.keep_alive(now, &mut out.lines);
        self.counters.bytes_sent += (out.take_away.len() + out.lines.len()) as u64;
        if !out.is_empty() {
            self.last_written = now;
        }
        self.next = self.next_deadline(blocked_until);
        out
    }

    fn may_write(&self, now: Time) -> usize {
        self.most_unsent().saturating_sub(self.wire.unsent(now))
    }

    fn most_unsent(&self) -> usize {
        if self.arc_on { UNSENT_WITH_ARC } else { UNSENT }
    }

    fn put(&mut self, now: Time, out: &mut Vec<u8>, bytes: &[u8]) {
        self.wire.write(now, bytes.len());
        out.extend_from_slice(bytes);
    }

    /// Writes as much as may be written; gives the time when more may be, if something waits for
    /// the wire.
    fn fill(&mut self, now: Time, out: &mut Vec<u8>) -> Option<Time> {
        loop {
            while !self.tail.is_empty() {
                let room = self.may_write(now);
                let whole = self.tail.len();
                // A line without a check must not be cut short by anything: all of it or nothing.
                let least = if self.dialect.has(Capability::LineCheck) {
                    whole.min(CHUNK)
                } else {
                    whole.min(self.most_unsent())
                };
                if room < least {
                    return Some(self.wire.down_to(self.most_unsent() - least));
                }
                let part: Vec<u8> = self.tail.drain(..whole.min(room)).collect();
                self.put(now, out, &part);
                self.line_gone_at = self.wire.free_at();
            }
            match self.next_line(now) {
                Some(bytes) => self.tail = bytes,
                None => return None,
            }
        }
    }

    /// The next line, if one may go out.
    fn next_line(&mut self, now: Time) -> Option<Vec<u8>> {
        match self.phase {
            Phase::Closed | Phase::Dead { .. } => None,
            Phase::Opening { more, step } => {
                let (bytes, step) = self.next_opening_line(now, step)?;
                // An epoch that is open by now was opened by nothing but the passing of time.
                if let Phase::Opening { .. } = self.phase {
                    self.phase = Phase::Opening { more, step };
                }
                Some(bytes)
            }
            Phase::Open => {
                if self.stopped {
                    return None;
                }
                if now > self.line_gone_at + PAUSE {
                    self.in_force.forget();
                }
                let (number, text) = self.flight.next()?;
                let short = self.in_force.shortened(text);
                let bytes = frame::line(&self.dialect.lines, number, &short)?;
                if !self.flight.room(&self.dialect.window, bytes.len()) {
                    return None;
                }
                self.in_force.said(text);
                self.rests = 0;
                if self.flight.went(bytes.len()) {
                    self.counters.lines_resent += 1;
                } else {
                    self.counters.lines_sent += 1;
                }
                if let Some((lost, until)) = &mut self.echo
                    && *lost == number
                {
                    let mut wire = self.wire;
                    wire.write(now, bytes.len());
                    *until = Some(wire.free_at() + ANSWER_TIME);
                }
                Some(bytes)
            }
        }
    }

    fn next_opening_line(&mut self, now: Time, step: Step) -> Option<(Vec<u8>, Step)> {
        let line = match step {
            Step::Settle { until } if now >= until => 0,
            Step::Say { line } => line,
            Step::Quiet { until } if now >= until => {
                self.open();
                self.own_words.push(Word::Ready);
                return self.next_line(now).map(|bytes| (bytes, step));
            }
            _ => return None,
        };
        let form = &self.dialect.epoch;
        let Some(text) = form.lines.get(line) else {
            // Nothing is said at all: it is the quiet time that opens.
            self.phase = Phase::Opening {
                more: false,
                step: self.quiet(now),
            };
            return None;
        };
        let text = text.fill(|field| {
            Some(Value::Whole(match field {
                "epoch" => self.epoch,
                _ => self.dialect.reports.every_ms,
            }))
        })?;
        let mut bytes = if line == 0 {
            form.lead.clone()
        } else {
            Vec::new()
        };
        bytes.extend(frame::line(&self.dialect.lines, form.number, &text)?);
        self.counters.lines_sent += 1;
        let last = line + 1 >= form.lines.len();
        let next = match form.confirm {
            Confirm::Quiet if last => self.quiet(now),
            Confirm::Ready | Confirm::Quiet if !last => Step::Say { line: line + 1 },
            _ => Step::Wait {
                line,
                retry_at: self.retry_at(now),
            },
        };
        Some((bytes, next))
    }

    fn quiet(&self, now: Time) -> Step {
        let quiet = Duration::from_millis(self.dialect.epoch.quiet_ms);
        Step::Quiet {
            until: now.max(self.wire.free_at()) + quiet,
        }
    }

    pub(super) fn retry_at(&self, now: Time) -> Time {
        now + Duration::from_millis(self.dialect.epoch.retry_ms)
    }

    /// Opens the epoch; the word for it is the caller's.
    pub(super) fn open(&mut self) {
        self.phase = Phase::Open;
        self.counters.epochs += 1;
        self.next = Some(Time::ZERO);
    }

    /// An opening that is not confirmed in time is said again. Where epochs have names, a repeat
    /// under the same name must come without hold: a controller that has opened it already would
    /// not open it again, and would hold for ever. After some repeats both are said anew.
    fn retry(&mut self, now: Time) {
        if let Phase::Opening { more, step } = self.phase
            && let Step::Wait { retry_at, .. } | Step::Rest { retry_at } = step
            && now >= retry_at
        {
            self.retries += 1;
            if !self.dialect.epoch.named || self.retries.is_multiple_of(REPEATS_PER_NAME) {
                self.name_epoch(now);
                self.away.extend(self.dialect.take_away_bytes());
                self.away.extend(&self.dialect.epoch.bytes);
            }
            let settle = Duration::from_millis(self.dialect.epoch.settle_ms);
            self.phase = Phase::Opening {
                more,
                step: Step::Settle {
                    until: now + settle,
                },
            };
        }
    }

    /// Asks for a report where the dialect has to.
    fn ask(&mut self, now: Time, out: &mut Outgoing) {
        let form = &self.dialect.reports;
        if form.by_itself || self.asked_at.is_some_and(|at| now < at + self.ask_every()) {
            return;
        }
        match (form.ask_byte, &form.ask_line, self.phase) {
            (_, _, Phase::Closed | Phase::Dead { .. }) => return,
            (Some(byte), _, _) => self.put(now, &mut out.lines, &[byte]),
            (None, Some(line), Phase::Open) => {
                let Some(text) = line.fill(|_| None) else {
                    return;
                };
                if form.ask_is_taken {
                    if !self.flight.asks() {
                        let text = Text::alone(text);
                        self.flight.push_next(Line::new(text, None, true, false));
                    }
                } else if self.tail.is_empty()
                    && let Some(bytes) = frame::line(&self.dialect.lines, 0, &text)
                {
                    self.tail = bytes;
                } else {
                    return;
                }
            }
            // Rest is asked for once the lines that open the epoch were all taken.
            (
                None,
                Some(line),
                Phase::Opening {
                    step: Step::Rest { .. },
                    ..
                },
            ) if self.tail.is_empty() => {
                let text = line.fill(|_| None).unwrap_or_default();
                self.tail = frame::line(&self.dialect.lines, 0, &text).unwrap_or_default();
            }
            _ => return,
        }
        self.asked_at = Some(now);
    }

    fn ask_every(&self) -> Duration {
        Duration::from_millis(self.dialect.reports.every_ms)
    }

    fn keep_alive(&mut self, now: Time, out: &mut Vec<u8>) {
        let Some((send, every_ms)) = self.dialect.keepalive.clone() else {
            return;
        };
        let due = now >= self.last_written + Duration::from_millis(every_ms);
        if due
            && out.is_empty()
            && self.tail.is_empty()
            && !matches!(self.phase, Phase::Dead { .. })
        {
            self.flight.went_loose(send.len());
            self.put(now, out, &send);
        }
    }

    fn next_deadline(&self, blocked_until: Option<Time>) -> Option<Time> {
        let mut next = blocked_until;
        let mut at = |time: Time| next = Time::sooner(next, Some(time));
        match self.phase {
            Phase::Closed => return None,
            Phase::Dead { until } => at(until),
            Phase::Opening { step, .. } => match step {
                Step::Settle { until } | Step::Quiet { until } => at(until),
                Step::Say { .. } => {}
                Step::Wait { retry_at, .. } | Step::Rest { retry_at } => at(retry_at),
            },
            Phase::Open => {}
        }
        if !self.away.is_empty() {
            at(Time::ZERO);
        }
        if matches!(self.phase, Phase::Dead { .. }) {
            return next;
        }
        if let Some((_, every_ms)) = &self.dialect.keepalive {
            at(self.last_written + Duration::from_millis(*every_ms));
        }
        let form = &self.dialect.reports;
        if !form.by_itself && (form.ask_byte.is_some() || self.phase == Phase::Open) {
            at(self.asked_at.map_or(Time::ZERO, |at| at + self.ask_every()));
        }
        next
    }
}
