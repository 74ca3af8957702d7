//! One conversation over one opened port.
//!
//! ```text
//!           opened                    confirmed
//!  Closed ---------> Dead / Opening -----------> Open
//!     ^                  ^    ^                   |
//!     | lost             |    +--- flush, --------+
//!     +-- from anywhere  |         greeting
//!                        +-- (again until it is confirmed)
//! ```
//!
//! An *epoch* begins with [`Session::flush`] and ends with the next: all that was said in it and is
//! not executed by then is void, and answers that belong to it are dropped. Lines go out only while
//! an epoch is open. After a hold, a refusal or a line that is never answered no further line of the
//! epoch goes out: the way on is a flush.
//!
//! What is never done: a line whose number the controller could take for another one's, a line said
//! again where lines carry no numbers, a second wave of repeats before the first can have arrived, a
//! word left out that the line before in this epoch did not carry (module `modal`).
//!
//! Call [`Session::poll`] after every other call, and at [`Session::deadline`].

use core::time::Duration;
use std::sync::Arc;

mod hearing;
mod sending;
mod stamps;

use units::Time;

use crate::dialect::{Capability, Dialect};
use crate::flight::{Flight, Line};
use crate::frame::{self, Splitter};
use crate::modal::{InForce, Text};
use crate::saying;
use crate::wire::Wire;
use crate::words::{Command, TakeAway, Ticket, Word};

/// Epochs have at most nine digits.
const EPOCHS: u64 = 1_000_000_000;

/// What to write now.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outgoing {
    /// Bytes that take away: to be written first, and even while nothing else may pass.
    pub take_away: Vec<u8>,
    /// Everything else, in order.
    pub lines: Vec<u8>,
}

impl Outgoing {
    /// Nothing is to be written.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.take_away.is_empty() && self.lines.is_empty()
    }
}

/// What passed over the line since the session began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LinkCounters {
    /// Lines sent for the first time.
    pub lines_sent: u64,
    /// Lines sent again.
    pub lines_resent: u64,
    /// Lines that had to be sent a third time: sending them again did not cure it.
    pub lines_uncured: u64,
    /// Bytes written.
    pub bytes_sent: u64,
    /// Bytes that came in.
    pub bytes_heard: u64,
    /// Answers understood.
    pub answers: u64,
    /// Pieces between line ends that were no line or did not check.
    pub bad_frames: u64,
    /// Bytes of those, and of what ran into good lines.
    pub bytes_skipped: u64,
    /// Lines that checked but fit no pattern, or made no sense here.
    pub not_understood: u64,
    /// Times the controller asked for a line again and was obeyed.
    pub asked_again: u64,
    /// Times a line was said again because nothing was heard of it.
    pub unanswered: u64,
    /// Epochs opened.
    pub epochs: u64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// No port.
    Closed,
    /// The controller starts up: it hears nothing until then.
    Dead {
        until: Time,
    },
    /// An epoch is being opened; `more`: once more after this, under another name.
    Opening {
        more: bool,
        step: Step,
    },
    Open,
}

/// Steps of opening an epoch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step {
    /// Answers to what was said before are let pass until then.
    Settle { until: Time },
    /// Line `line` is to be sent.
    Say { line: usize },
    /// Line `line` was sent (the last one, unless each is confirmed by itself).
    Wait { line: usize, retry_at: Time },
    /// All was said and confirmed; until the controller reports that it is at rest.
    Rest { retry_at: Time },
    /// It listens from then on.
    Quiet { until: Time },
}

/// One conversation over one opened port. Owns numbering, window, repeats and framing.
#[derive(Debug)]
pub struct Session {
    dialect: Arc<Dialect>,
    wire: Wire,
    phase: Phase,
    /// The name of the epoch in hand.
    epoch: u64,
    /// How often its opening was said again.
    retries: u32,
    next_ticket: u64,
    flight: Flight,
    in_force: InForce,
    /// No further line of this epoch goes out.
    stopped: bool,
    away: Vec<u8>,
    /// The rest of a line that was begun.
    tail: Vec<u8>,
    splitter: Splitter,
    /// Words that did not come from the wire.
    own_words: Vec<Word>,
    arc_on: bool,
    next: Option<Time>,
    last_heard: Option<Time>,
    last_written: Time,
    asked_at: Option<Time>,
    /// When the controller last showed that it makes headway with lines, or lines went out.
    headway_at: Time,
    /// When the last byte of a line will have left (what is sent between lines not counted).
    line_gone_at: Time,
    back_off: u32,
    /// The last line asked for again, and until when a like request is an echo of the same loss
    /// (`None`: it has not yet gone out again).
    echo: Option<(u64, Option<Time>)>,
    /// The line that was said again last, and how often.
    said_again: Option<(u64, u32)>,
    /// Reports of rest since a command was last sent or taken.
    rests: u32,
    stamps: stamps::Known,
    counters: LinkCounters,
}

impl Session {
    /// A session that has no port yet.
    #[must_use]
    pub fn new(dialect: Arc<Dialect>, baud: u32) -> Self {
        Self {
            flight: Flight::new(dialect.lines.first_number),
            in_force: InForce::default(),
            dialect,
            wire: Wire::new(baud),
            phase: Phase::Closed,
            epoch: 0,
            retries: 0,
            next_ticket: 1,
            stopped: false,
            away: Vec::new(),
            tail: Vec::new(),
            splitter: Splitter::default(),
            own_words: Vec::new(),
            arc_on: false,
            next: None,
            last_heard: None,
            last_written: Time::ZERO,
            asked_at: None,
            headway_at: Time::ZERO,
            line_gone_at: Time::ZERO,
            back_off: 1,
            echo: None,
            said_again: None,
            rests: 0,
            stamps: stamps::Known::default(),
            counters: LinkCounters::default(),
        }
    }

    /// The port was opened. The first bytes are hold and torch-off; then, after the time that the
    /// controller needs if opening resets it, a new epoch is opened.
    pub fn opened(&mut self, now: Time) {
        self.lost();
        self.away = self.dialect.take_away_bytes();
        self.last_written = now;
        let opening = self.dialect.opening;
        if opening.resets && opening.dead_ms > 0 {
            self.phase = Phase::Dead {
                until: now + Duration::from_millis(opening.dead_ms),
            };
            self.next = Some(Time::ZERO);
        } else {
            self.begin(now, true);
        }
    }

    /// The port was lost: nothing is in flight any more, and what waited is void.
    pub fn lost(&mut self) {
        self.phase = Phase::Closed;
        self.void();
        self.splitter.clear();
        self.wire.reset();
        self.away.clear();
        self.next = None;
        self.asked_at = None;
    }

    /// Puts a command at the end of what is to be sent in this epoch. Tickets increase by one, for
    /// ever. A command that the dialect cannot say is refused with the next words.
    pub fn say(&mut self, c: Command) -> Ticket {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket += 1;
        if self.phase == Phase::Closed {
            return ticket;
        }
        self.next = Some(Time::ZERO);
        let form = &self.dialect.lines;
        let texts = saying::texts(&self.dialect, &c).and_then(|texts| {
            // The longest number that an epoch can come to.
            let fits = |t: &Text| frame::line(form, u64::from(u32::MAX), &t.full).is_some();
            if texts.iter().all(fits) {
                Ok(texts)
            } else {
                Err(format!(
                    "longer than the {} bytes that a line may have",
                    form.longest
                ))
            }
        });
        match texts {
            Ok(texts) => {
                let touch = matches!(c, Command::TouchOff { .. });
                let count = texts.len();
                for (i, text) in texts.into_iter().enumerate() {
                    self.flight
                        .push(Line::new(text, Some(ticket), i + 1 == count, touch));
                }
            }
            Err(why) => {
                self.stopped = true;
                self.own_words.push(Word::Refused {
                    ticket: Some(ticket),
                    why,
                });
            }
        }
        ticket
    }

    /// At once, past everything that waits. After a hold no further line of this epoch goes out.
    pub fn take_away(&mut self, what: TakeAway) {
        self.in_force.forget();
        let byte = match what {
            TakeAway::Hold => {
                self.stopped = true;
                self.dialect.hold
            }
            TakeAway::TorchOff => self.dialect.torch_off,
        };
        if self.phase != Phase::Closed {
            self.away.extend(byte);
            self.next = Some(Time::ZERO);
        }
    }

    /// A new epoch: everything unsent or unexecuted is void. What is said from now on belongs to it
    /// and goes out when it is open.
    pub fn flush(&mut self, now: Time) {
        match self.phase {
            Phase::Closed => self.void(),
            Phase::Dead { .. } => {
                self.void();
                self.next = Some(Time::ZERO);
            }
            // Whoever had this epoch before may have named it alike: then once more is still due.
            Phase::Opening { more, .. } => self.begin(now, more),
            Phase::Open => {
                if self.flight.open_ended() {
                    self.away.extend(self.dialect.hold);
                }
                self.begin(now, false);
            }
        }
    }

    /// Whether the epoch is open.
    #[must_use]
    pub fn ready(&self) -> bool {
        self.phase == Phase::Open
    }

    /// Commands that the controller has not yet taken.
    #[must_use]
    pub fn unsent(&self) -> usize {
        self.flight.commands()
    }

    /// How many commands the controller's queue holds, where the dialect tells.
    #[must_use]
    pub fn queue(&self) -> Option<u32> {
        self.dialect.window.queue
    }

    /// When the last good line came in.
    #[must_use]
    pub fn last_heard(&self) -> Option<Time> {
        self.last_heard
    }

    /// What passed so far.
    #[must_use]
    pub fn counters(&self) -> LinkCounters {
        self.counters
    }

    /// When [`Session::poll`] must be called though nothing else happens. Lies in the past when it
    /// must be called now.
    #[must_use]
    pub fn deadline(&self) -> Option<Time> {
        self.next
    }

    fn void(&mut self) {
        self.flight = Flight::new(self.dialect.lines.first_number);
        self.in_force.forget();
        self.stopped = false;
        self.own_words.clear();
        self.echo = None;
        self.said_again = None;
        self.back_off = 1;
        self.rests = 0;
        // A line without a check is written whole or not at all: what is here was not begun. One
        // with a check may be left half written where something ends it before the next.
        let begun = self.dialect.has(Capability::LineCheck) && self.dialect.epoch.lead.is_empty();
        if self.phase == Phase::Closed || !begun {
            self.tail.clear();
        }
    }

    /// The clock makes a like name after a restart of the panel unlikely; opening twice makes it
    /// harmless.
    fn name_epoch(&mut self, now: Time) {
        let clock = now.as_us() / 1000 % EPOCHS;
        self.epoch = (self.epoch + 1).max(clock.max(1));
        if self.epoch >= EPOCHS {
            self.epoch = 1;
        }
    }

    /// Begins to open an epoch for which something was said already: that stays.
    fn begin_keeping(&mut self, now: Time, first: bool) {
        let (flight, stopped) = (core::mem::take(&mut self.flight), self.stopped);
        let words = core::mem::take(&mut self.own_words);
        self.begin(now, first);
        (self.flight, self.stopped, self.own_words) = (flight, stopped, words);
    }

    /// Begins to open an epoch. `first`: the controller may still be in one that an earlier run of
    /// the panel named, perhaps alike; so the name is changed twice.
    fn begin(&mut self, now: Time, first: bool) {
        self.void();
        let named = self.dialect.epoch.named;
        self.name_epoch(now);
        self.retries = 0;
        self.away.extend(&self.dialect.epoch.bytes);
        self.phase = Phase::Opening {
            more: first && named,
            step: Step::Settle {
                until: now + Duration::from_millis(self.dialect.epoch.settle_ms),
            },
        };
        self.next = Some(Time::ZERO);
    }
}
