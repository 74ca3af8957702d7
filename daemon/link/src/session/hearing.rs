//! What comes in, and what it means for what was said.

use core::time::Duration;

use units::Time;

use super::{Phase, Session, Step};
use crate::answer::{Answer, understand};
use crate::frame::Heard;
use crate::raw::Confirm;
use crate::words::{Doing, Status, Word};

/// Waits between repeats grow to this many times the dialect's own.
const LONGEST_BACK_OFF: u32 = 16;
/// Rest must be reported so often before it is believed that all is done: one report may have been
/// on its way when the last line was taken.
const RESTS: u32 = 2;

impl Session {
    /// Bytes that came in, as words in order. Garbage is counted, never fatal. May be called
    /// without bytes to fetch words of the link's own (a command that cannot be said).
    pub fn receive(&mut self, now: Time, bytes: &[u8], words: &mut Vec<Word>) {
        words.append(&mut self.own_words);
        if self.phase == Phase::Closed || bytes.is_empty() {
            return;
        }
        self.counters.bytes_heard += bytes.len() as u64;
        let mut heard = Vec::new();
        self.splitter
            .take(&self.dialect.answers, bytes, |h| heard.push(h));
        for piece in heard {
            match piece {
                Heard::Garbage { skipped } => {
                    self.counters.bad_frames += 1;
                    self.counters.bytes_skipped += skipped as u64;
                }
                Heard::Body { body, skipped } => {
                    self.counters.bytes_skipped += skipped as u64;
                    match understand(&self.dialect, now, &body) {
                        Some(answer) => {
                            self.counters.answers += 1;
                            self.last_heard = Some(now);
                            self.mind(now, answer, words);
                        }
                        None => self.counters.not_understood += 1,
                    }
                }
            }
        }
        self.next = Some(Time::ZERO);
    }

    fn mind(&mut self, now: Time, answer: Answer, words: &mut Vec<Word>) {
        match (answer, self.phase) {
            (Answer::Nothing, _) => {}
            (Answer::Alarm(why), _) => words.push(Word::Alarm(why)),
            // What happened at the table belongs to no epoch.
            (Answer::Stamp(stamp), _) => {
                if self.stamps.is_new(&stamp) {
                    words.push(Word::Stamped(stamp));
                }
            }
            (Answer::Greeting, phase) => {
                words.push(Word::Greeting);
                self.greeted(now, phase);
            }
            (Answer::Status(status, executed), Phase::Open) => {
                self.report(now, status, executed, words);
            }
            (Answer::Status(status, _), phase) => {
                let at_rest = matches!(status.doing, Doing::Idle | Doing::Faulted);
                words.push(Word::Status(status));
                if let Phase::Opening {
                    step: Step::Rest { .. },
                    ..
                } = phase
                    && at_rest
                {
                    self.open();
                    words.push(Word::Ready);
                }
            }
            (answer, Phase::Opening { more, step }) => {
                self.mind_while_opening(now, answer, more, step, words);
            }
            (_, Phase::Closed | Phase::Dead { .. }) => {}
            (Answer::Ready { .. }, Phase::Open) => {}
            (Answer::Taken { number }, Phase::Open) => {
                if let Some(number) = number.or_else(|| self.flight.oldest()) {
                    self.took(now, number, words);
                }
            }
            (Answer::Again { number }, Phase::Open) => self.again(now, number, words),
            (Answer::Refused { number, why }, Phase::Open) => {
                let number = number.or_else(|| self.flight.oldest());
                let ticket = number.and_then(|n| self.flight.ticket_of(n));
                if let Some(number) = number {
                    let from = words.len();
                    self.took(now, number, words);
                    let refused = ticket.map(Word::Taken);
                    let mut at = 0;
                    words.retain(|w| {
                        at += 1;
                        at <= from || Some(w) != refused.as_ref()
                    });
                }
                self.stopped = true;
                words.push(Word::Refused { ticket, why });
            }
            (Answer::Touched { number, z }, Phase::Open) => {
                if let Some(number) = number {
                    self.took(now, number, words);
                }
                match self.flight.touch_answered(number) {
                    Some(ticket) => words.push(Word::Touched { ticket, z }),
                    None => self.counters.not_understood += 1,
                }
            }
            (Answer::Missed { number }, Phase::Open) => {
                if let Some(number) = number {
                    self.took(now, number, words);
                }
                match self.flight.touch_answered(number) {
                    Some(ticket) => words.push(Word::Missed { ticket }),
                    None => self.counters.not_understood += 1,
                }
            }
        }
    }

    /// The controller has just started: whatever it was told is gone.
    fn greeted(&mut self, now: Time, phase: Phase) {
        match phase {
            Phase::Closed => {}
            Phase::Dead { .. } => self.begin_keeping(now, true),
            Phase::Open => self.begin(now, false),
            Phase::Opening { more, .. } => {
                let settle = Duration::from_millis(self.dialect.epoch.settle_ms);
                self.phase = Phase::Opening {
                    more,
                    step: Step::Settle {
                        until: now + settle,
                    },
                };
            }
        }
    }

    fn mind_while_opening(
        &mut self,
        now: Time,
        answer: Answer,
        more: bool,
        step: Step,
        words: &mut Vec<Word>,
    ) {
        let confirm = self.dialect.epoch.confirm;
        match (answer, step) {
            (_, Step::Settle { .. }) => {
                let settle = Duration::from_millis(self.dialect.epoch.settle_ms);
                self.phase = Phase::Opening {
                    more,
                    step: Step::Settle {
                        until: now + settle,
                    },
                };
            }
            (Answer::Ready { epoch }, Step::Wait { .. })
                if confirm == Confirm::Ready && epoch.is_none_or(|e| e == self.epoch) =>
            {
                if more {
                    self.begin_keeping(now, false);
                } else {
                    self.confirmed(now, words);
                }
            }
            (Answer::Taken { .. }, Step::Wait { line, .. }) if confirm == Confirm::Taken => {
                if line + 1 < self.dialect.epoch.lines.len() {
                    self.phase = Phase::Opening {
                        more,
                        step: Step::Say { line: line + 1 },
                    };
                } else if more {
                    self.begin_keeping(now, false);
                } else {
                    self.confirmed(now, words);
                }
            }
            // It will be said again; that it was refused is worth knowing.
            (Answer::Refused { why, .. }, Step::Wait { .. }) if confirm == Confirm::Taken => {
                words.push(Word::Refused { ticket: None, why });
            }
            _ => {}
        }
    }

    fn confirmed(&mut self, now: Time, words: &mut Vec<Word>) {
        if self.dialect.epoch.at_rest {
            let retry_at = self.retry_at(now);
            self.phase = Phase::Opening {
                more: false,
                step: Step::Rest { retry_at },
            };
            return;
        }
        self.open();
        words.push(Word::Ready);
    }

    /// All lines up to this number are taken.
    fn took(&mut self, now: Time, number: u64, words: &mut Vec<Word>) {
        if !self.flight.knows(number) {
            self.counters.not_understood += 1;
            return;
        }
        let mut tickets = Vec::new();
        if self.flight.taken_to(number, &mut tickets) {
            self.headway_at = now;
            self.back_off = 1;
        }
        if !tickets.is_empty() {
            self.rests = 0;
        }
        words.extend(tickets.into_iter().map(Word::Taken));
    }

    /// The controller wants to hear lines again.
    fn again(&mut self, now: Time, number: Option<u64>, words: &mut Vec<Word>) {
        let Some(number) = number else {
            // Without numbers a line may only be said again if it has surely arrived, and spoilt.
            if self.tail.is_empty() && now >= self.line_gone_at && self.flight.in_flight() > 0 {
                self.counters.asked_again += 1;
                self.rewind_to(self.flight.oldest().unwrap_or(0));
            }
            return;
        };
        if number > self.dialect.lines.first_number {
            self.took(now, number - 1, words);
        }
        if self.flight.oldest() != Some(number) {
            return;
        }
        let echo = self
            .echo
            .is_some_and(|(lost, until)| lost == number && until.is_none_or(|until| now < until));
        if !echo {
            self.counters.asked_again += 1;
            self.rewind_to(number);
            self.echo = Some((number, None));
            self.headway_at = now;
        }
    }

    /// Lines from this one on are said again; a line of which that was done before was not cured.
    fn rewind_to(&mut self, number: u64) {
        self.flight.rewind_to(number);
        // The line before it may be long ago.
        self.in_force.forget();
        let times = match self.said_again {
            Some((n, times)) if n == number => times + 1,
            _ => 1,
        };
        self.said_again = Some((number, times));
        self.counters.lines_uncured += u64::from(times == 2);
    }

    fn report(&mut self, now: Time, status: Status, executed: Option<u64>, words: &mut Vec<Word>) {
        let mut status = status;
        if let Some(to) = executed.filter(|_| self.phase == Phase::Open)
            && let Some(from) = self.flight.count_fell(to)
        {
            words.push(Word::CountFell { from, to });
        }
        if self.dialect.reports.told {
            if let Some(number) = executed.filter(|n| *n >= self.dialect.lines.first_number) {
                if self.flight.knows(number) {
                    self.took(now, number, words);
                    self.flight.executed_to(number);
                } else {
                    self.counters.not_understood += 1;
                }
            }
        } else if status.doing == Doing::Idle
            && self.flight.in_flight() == 0
            && status.waiting.is_none_or(|w| w == 0)
        {
            self.rests = self.rests.saturating_add(1);
            if self.rests >= RESTS {
                self.flight.executed_all();
            }
        } else {
            self.rests = 0;
        }
        status.executed = self.flight.executed();
        self.unanswered(now, &status, words);
        words.push(Word::Status(status));
    }

    /// A line that is not taken though there is room was lost on the way, or its answer was.
    fn unanswered(&mut self, now: Time, status: &Status, words: &mut Vec<Word>) {
        if self.stopped
            || self.flight.in_flight() == 0
            || !self.tail.is_empty()
            || matches!(status.doing, Doing::Holding | Doing::Faulted)
        {
            return;
        }
        let full = match (self.dialect.window.queue, status.waiting) {
            (Some(queue), Some(waiting)) => waiting >= queue,
            _ => !self.dialect.lines.numbered && status.doing != Doing::Idle,
        };
        if full {
            self.headway_at = now;
            return;
        }
        let wait = Duration::from_millis(self.dialect.window.resend_ms);
        if now < self.headway_at.max(self.line_gone_at) + wait * self.back_off {
            return;
        }
        let Some(oldest) = self.flight.oldest() else {
            return;
        };
        self.counters.unanswered += 1;
        self.headway_at = now;
        self.back_off = (self.back_off * 2).min(LONGEST_BACK_OFF);
        if self.dialect.lines.numbered {
            self.rewind_to(oldest);
        } else {
            self.stopped = true;
            words.push(Word::Refused {
                ticket: self.flight.ticket_of(oldest),
                why: format!(
                    "no answer within {} ms: it may have been carried out or not",
                    wait.as_millis()
                ),
            });
        }
    }
}
