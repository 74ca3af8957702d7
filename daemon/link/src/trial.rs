//! A dialect tried on a controller that stands still: what it says and what of that is understood, how
//! it reports, how long an answer takes, what it makes of HOLD; and only if that is wanted 10 mm of
//! motion there and back, stopped by HOLD on the way back.
//!
//! ```text
//!  open -> reports -> answers -> hold -> (there -> back, held -> again) -> over
//! ```
//!
//! A step that fails ends the trial: what follows would mean nothing. The torch is never asked for, the
//! sensing circuit never switched, and no axis referenced: of commands it says torch-off alone, which does
//! nothing at rest, and with leave to move a line of path. The first bytes are hold and torch-off, as
//! with every opening.

mod found;
mod heard;
mod motion;

use core::time::Duration;
use std::sync::Arc;

use serde::Serialize;
use units::{Point, Time};

pub use heard::LineHeard;

use crate::dialect::Dialect;
use crate::session::{Outgoing, Session};
use crate::words::{Command, Doing, Status, TakeAway, Ticket, Word};
use heard::Hearing;

/// Beyond its own times a controller opens an epoch within this (ours).
const OPENS: Duration = Duration::from_secs(4);
/// Reports are listened to for so long (ours).
const LISTENS: Duration = Duration::from_secs(2);
/// Torch-off is said so often to time the answers (ours).
const ROUNDS: usize = 20;
/// An answer or an end of motion that has not come by then will not come (ours).
const ANSWERS: Duration = Duration::from_secs(2);
/// A way of 10 mm is over by then (ours).
const MOVES: Duration = Duration::from_secs(5);
/// An answer takes the wire's time and no more than this beyond it; a USB adapter that gathers input
/// for 16 ms, the usual setting of their drivers (from memory, no source), takes more.
const SLOW_MS: f64 = 8.0;

/// How a step of the trial went.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tried {
    /// What was tried.
    pub what: &'static str,
    /// `None`: could not be told, and fails nothing.
    pub passed: Option<bool>,
    /// What was found.
    pub says: String,
    /// The keys of the dialect or the machine file that it rests on.
    pub rule: &'static str,
}

/// What a controller was seen to do, or the dialect says that it can.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CapabilityFound {
    /// Stable short name.
    pub name: &'static str,
    /// The dialect has it.
    pub has: bool,
    /// It was seen; `None`: it could not be, at rest.
    pub seen: Option<bool>,
}

/// Everything that a trial has come to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Findings {
    /// Every step passed.
    pub passed: bool,
    /// The steps in order.
    pub steps: Vec<Tried>,
    /// What it can do.
    pub capabilities: Vec<CapabilityFound>,
    /// What it said.
    pub lines: Vec<LineHeard>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Stage {
    Opening,
    Reports,
    Rounds { said: Ticket, at: Time },
    Hold,
    Reopen,
    There { ticket: Ticket, from: Point },
    Back { from: Point },
    Braking { from: Point },
    Over,
}

/// One trial over one opened port.
#[derive(Debug)]
pub struct Trial {
    dialect: Arc<Dialect>,
    session: Session,
    baud: u32,
    moves: bool,
    stage: Stage,
    opened: Time,
    since: Time,
    hearing: Hearing,
    words: Vec<Word>,
    steps: Vec<Tried>,
    greeted: bool,
    last: Option<Status>,
    /// When each report came in while they were listened to.
    reports: Vec<Time>,
    rounds_ms: Vec<f64>,
    held: Option<bool>,
    executed: bool,
}

impl Trial {
    /// Nothing is said yet. `moves`: it may move the torch by 10 mm.
    #[must_use]
    pub fn new(dialect: Arc<Dialect>, baud: u32, moves: bool) -> Self {
        Self {
            session: Session::new(Arc::clone(&dialect), baud),
            dialect,
            baud,
            moves,
            stage: Stage::Opening,
            opened: Time::ZERO,
            since: Time::ZERO,
            hearing: Hearing::default(),
            words: Vec::new(),
            steps: Vec::new(),
            greeted: false,
            last: None,
            reports: Vec::new(),
            rounds_ms: Vec::new(),
            held: None,
            executed: false,
        }
    }

    /// The port was opened just now.
    pub fn opened(&mut self, now: Time) {
        self.opened = now;
        self.since = now;
        self.session.opened(now);
    }

    /// Bytes that came in.
    pub fn receive(&mut self, now: Time, bytes: &[u8]) {
        self.hearing.take(&self.dialect, self.opened, now, bytes);
        let mut words = core::mem::take(&mut self.words);
        self.session.receive(now, bytes, &mut words);
        for word in words.drain(..) {
            self.mind(now, word);
        }
        self.words = words;
    }

    /// What to write now.
    pub fn poll(&mut self, now: Time) -> Outgoing {
        self.look(now);
        self.session.poll(now, false)
    }

    /// It must be polled then at the latest.
    #[must_use]
    pub fn deadline(&self, now: Time) -> Time {
        let soon = now + Duration::from_millis(20);
        self.session.deadline().map_or(soon, |at| at.min(soon))
    }

    /// Nothing more is tried.
    #[must_use]
    pub fn over(&self) -> bool {
        self.stage == Stage::Over
    }

    /// The port was lost.
    pub fn lost(&mut self, why: &str) {
        self.fails("the line", format!("It ended: {why}."), "link.port");
    }

    fn mind(&mut self, now: Time, word: Word) {
        match word {
            Word::Greeting => {
                self.greeted = true;
                if !matches!(self.stage, Stage::Opening | Stage::Over) {
                    let says = "It greeted as after switch-on, in the middle of the trial.";
                    self.fails("the line", says.into(), "[[answer]] greeting");
                }
            }
            Word::Status(status) => {
                if self.stage == Stage::Reports {
                    self.reports.push(now);
                }
                self.reported(now, status);
            }
            Word::Taken(ticket) => self.taken(now, ticket),
            Word::Refused { why, .. } if self.stage != Stage::Opening => {
                let says = format!("It refused a line: {why}.");
                self.fails("a line", says, "[commands], [numbers], [lines]");
            }
            Word::Alarm(why) if self.stage != Stage::Opening => {
                self.fails(
                    "a line",
                    format!("It gave an alarm: {why}."),
                    "[[answer]] alarm",
                );
            }
            _ => {}
        }
    }

    fn taken(&mut self, now: Time, ticket: Ticket) {
        let Stage::Rounds { said, at } = self.stage else {
            return;
        };
        if ticket != said {
            return;
        }
        self.rounds_ms.push(now.since(at).as_secs_f64() * 1000.0);
        if self.rounds_ms.len() < ROUNDS {
            self.next_round(now);
        }
    }

    fn next_round(&mut self, now: Time) {
        let said = self.session.say(Command::TorchOff);
        self.go(now, Stage::Rounds { said, at: now });
    }

    fn go(&mut self, now: Time, stage: Stage) {
        self.stage = stage;
        self.since = now;
    }

    fn passes(&mut self, what: &'static str, says: String, rule: &'static str) {
        self.steps.push(Tried {
            what,
            passed: Some(true),
            says,
            rule,
        });
    }

    fn unclear(&mut self, what: &'static str, says: String, rule: &'static str) {
        self.steps.push(Tried {
            what,
            passed: None,
            says,
            rule,
        });
    }

    fn fails(&mut self, what: &'static str, says: String, rule: &'static str) {
        if self.stage == Stage::Over {
            return;
        }
        self.steps.push(Tried {
            what,
            passed: Some(false),
            says,
            rule,
        });
        self.session.take_away(TakeAway::Hold);
        self.session.take_away(TakeAway::TorchOff);
        self.stage = Stage::Over;
    }

    fn due(&self, now: Time, limit: Duration) -> bool {
        now >= self.since + limit
    }

    /// What follows from time alone, or from what was heard since.
    fn look(&mut self, now: Time) {
        match self.stage {
            Stage::Opening => self.look_opening(now),
            Stage::Reports if self.due(now, LISTENS) => self.judge_reports(now),
            Stage::Rounds { .. } => self.look_rounds(now),
            Stage::Hold if self.due(now, ANSWERS) => {
                self.held = Some(false);
                let says = "At rest it does not tell that it holds: whether the byte is heard is seen in \
                            motion alone (--move).";
                self.unclear("hold", says.into(), "bytes.hold, [states]");
                self.reopen(now);
            }
            Stage::Reopen => self.look_reopened(now),
            Stage::There { .. } | Stage::Back { .. } | Stage::Braking { .. }
                if self.due(now, MOVES) =>
            {
                let says = format!(
                    "It did not come to the end of its way within {} s.",
                    MOVES.as_secs()
                );
                self.fails("motion", says, "commands.line, [reports], [states]");
            }
            _ => {}
        }
    }

    fn look_opening(&mut self, now: Time) {
        let d = &self.dialect;
        if self.session.ready() {
            let greeted = if self.greeted {
                ", after its greeting"
            } else {
                ""
            };
            let says = format!(
                "It listens after {} ms{greeted}.",
                now.since(self.opened).as_millis()
            );
            self.passes("opening", says, "[opening], [epoch]");
            self.go(now, Stage::Reports);
            return;
        }
        let own =
            d.opening.dead_ms + 2 * (d.epoch.settle_ms + d.epoch.quiet_ms) + 3 * d.epoch.retry_ms;
        if self.due(now, OPENS + Duration::from_millis(own)) {
            let (says, rule) = self.why_silent();
            self.fails("opening", says, rule);
        }
    }

    /// Why no epoch was opened, from what was heard at all.
    fn why_silent(&self) -> (String, &'static str) {
        let h = &self.hearing;
        let shown = h.first.escape_ascii();
        if h.bytes == 0 {
            return (
                "Not one byte came in. Look at the cable, the controller's supply and the port; then at \
                 the end of a line and what opens an epoch."
                    .into(),
                "link.port, link.baud, lines.end, [epoch]",
            );
        }
        if h.odd * 5 > h.bytes {
            return (
                format!(
                    "{} of {} bytes are no text (\"{shown}\"): that is what another baud rate, or noise, \
                     looks like.",
                    h.odd, h.bytes
                ),
                "link.baud",
            );
        }
        if h.good + h.strange == 0 {
            return (
                format!(
                    "{} bytes of text came in and no line that is framed as the dialect says (\"{shown}\").",
                    h.bytes
                ),
                "answers.end, answers.frame, answers.check",
            );
        }
        if h.strange > h.good {
            return (
                format!(
                    "{} of {} lines fit no [[answer]]: see them below.",
                    h.strange,
                    h.strange + h.good
                ),
                "[[answer]], [states]",
            );
        }
        (
            "Lines are understood, but what was said to open an epoch was not confirmed, or it is not \
             told to be at rest: see them below."
                .into(),
            "epoch.lines, epoch.confirm, epoch.at_rest, [states]",
        )
    }

    fn judge_reports(&mut self, now: Time) {
        const RULE: &str = "[reports], [[answer]] status, [states]";
        let every = self.dialect.reports.every_ms;
        let n = self.reports.len();
        let gaps = self
            .reports
            .windows(2)
            .map(|w| w[1].since(w[0]).as_millis() as u64);
        let longest = gaps.max().unwrap_or(0);
        let wanted = LISTENS.as_millis() as u64 / every.max(1);
        if (n as u64) * 2 < wanted {
            let says = format!(
                "{n} reports in {} s; every {every} ms were wanted.",
                LISTENS.as_secs()
            );
            self.fails("reports", says, RULE);
            return;
        }
        let Some(status) = self.last.clone() else {
            return;
        };
        if status.doing != Doing::Idle {
            let says = format!(
                "It says that it is {}, not at rest. Bring it to rest by its own means, and look at \
                 [states].",
                doing(status.doing)
            );
            self.fails("reports", says, RULE);
            return;
        }
        let says = format!(
            "{n} in {} s, {longest} ms apart at most; it stands at X{:.3} Y{:.3} Z{:.3} mm. Compare that \
             with its own display.",
            LISTENS.as_secs(),
            status.place.x,
            status.place.y,
            status.z
        );
        self.passes("reports", says, RULE);
        self.next_round(now);
    }

    fn look_rounds(&mut self, now: Time) {
        const RULE: &str = "[[answer]] taken, [window]; the adapter's own latency";
        if self.rounds_ms.len() < ROUNDS {
            if self.due(now, ANSWERS) {
                let says = format!(
                    "After {} answers none came to a line within {} s.",
                    self.rounds_ms.len(),
                    ANSWERS.as_secs()
                );
                self.fails("answers", says, RULE);
            }
            return;
        }
        let mut ms = self.rounds_ms.clone();
        ms.sort_by(f64::total_cmp);
        let (least, middle, most) = (ms[0], ms[ROUNDS / 2], ms[ROUNDS - 1]);
        let wire_ms = self.dialect.round_s(self.baud) * 1000.0;
        let says = format!(
            "{ROUNDS} lines were each taken after {least:.1} to {most:.1} ms, mostly {middle:.1}; the wire \
             needs {wire_ms:.1}."
        );
        if middle > wire_ms + SLOW_MS {
            self.unclear(
                "answers",
                format!(
                    "{says} A USB adapter that gathers what comes in (16 ms is usual) is this slow: set its \
                     latency timer to 1 ms, or take another. HOLD is late by as much."
                ),
                RULE,
            );
        } else {
            self.passes("answers", says, RULE);
        }
        if self.dialect.hold.is_some() {
            self.session.take_away(TakeAway::Hold);
            self.go(now, Stage::Hold);
        } else {
            self.reopen(now);
        }
    }

    fn reopen(&mut self, now: Time) {
        self.session.flush(now);
        self.last = None;
        self.go(now, Stage::Reopen);
    }

    fn look_reopened(&mut self, now: Time) {
        const RULE: &str = "[epoch], [states]";
        let ready = self.session.ready();
        if let Some(status) = self
            .last
            .clone()
            .filter(|s| ready && s.doing == Doing::Idle)
        {
            let says = "After hold a new epoch is opened and it is at rest.".to_owned();
            self.passes("a new epoch", says, RULE);
            if self.moves {
                self.go_there(now, &status);
            } else {
                self.stage = Stage::Over;
            }
        } else if self.due(now, OPENS) {
            let says = "After hold no new epoch was opened, or it does not tell that it rests.";
            self.fails("a new epoch", says.into(), RULE);
        }
    }

    fn reported(&mut self, now: Time, status: Status) {
        self.executed |= status.executed.is_some();
        let doing = status.doing;
        let place = status.place;
        self.last = Some(status);
        match self.stage {
            Stage::Hold if doing == Doing::Holding => {
                self.held = Some(true);
                let says = "The byte was heard: it tells that it holds.";
                self.passes("hold", says.into(), "bytes.hold, [states]");
                self.reopen(now);
            }
            Stage::There { ticket, from } => self.look_there(now, ticket, from),
            Stage::Back { from } => self.look_back(now, from, place),
            Stage::Braking { from } => self.look_braking(now, from),
            _ => {}
        }
    }

    /// What it has come to.
    #[must_use]
    pub fn findings(&self) -> Findings {
        let failed = self.steps.iter().any(|s| s.passed == Some(false));
        Findings {
            passed: self.over() && !failed,
            steps: self.steps.clone(),
            capabilities: self.capabilities(),
            lines: self.hearing.lines.clone(),
        }
    }
}

fn doing(doing: Doing) -> &'static str {
    match doing {
        Doing::Idle => "at rest",
        Doing::Running => "running",
        Doing::Holding => "holding",
        Doing::Homing => "referencing",
        Doing::Touching => "touching off",
        Doing::Faulted => "in a fault",
    }
}
