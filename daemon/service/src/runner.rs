//! The one task that owns the machine.
//!
//! Every source (guard, serial port, journal, screens, clock) becomes a [`control::Input`]; every
//! [`control::Effect`] is carried out here, in order. Nothing is decided here. If this task stands
//! still the guard's lease lapses; if the process dies the permit pulses end with it.

mod opening;
mod outbox;
mod turn;
mod wire;

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::{Duration, Instant};

use control::{Answer, Ask, AskId, Effect, Input, Machine, Severity, View, trace};
use tokio::sync::{mpsc, oneshot, watch};
use units::Time;

use crate::guard_thread::{FromGuard, GuardHandle, ToGuard};
use crate::journal::{Journal, JournalReport};
use crate::outputs::{OutputTold, OutputsEnd};
use crate::panel::{Asked, Panel, Published};
use crate::pins::{Clock, Turn, TurnEnd};
use crate::port::{Opened, Port};
use crate::recording::Recorder;

use opening::{Opener, Opening};
use outbox::Outbox;
use wire::Moved;

/// Screens are told at least this often, and of mere movement not more often.
const PUBLISH_EVERY: Duration = Duration::from_millis(50);

/// Requests that may wait.
const ASKS: usize = 64;

/// The machine is stepped at least this often, so that its word to the guard stays fresh.
const STEP_EVERY: Duration = Duration::from_millis(50);

/// What a runner is made of.
pub struct Parts {
    /// The machine, just made.
    pub machine: Machine,
    /// The clock of the pins.
    pub clock: Arc<dyn Clock>,
    /// The guard.
    pub guard: GuardHandle,
    /// What the guard says.
    pub from_guard: mpsc::Receiver<FromGuard>,
    /// The journal.
    pub journal: Journal,
    /// Keeps every step, so that a run can be replayed.
    pub recorder: Recorder,
    /// What the journal says.
    pub from_journal: mpsc::UnboundedReceiver<JournalReport>,
    /// Opens the serial port; may take long.
    pub opener: Opener,
    /// How long control's word to the guard holds.
    pub lease: Duration,
    /// Told when a turn of the clock was dealt with.
    pub turn_end: Option<Box<dyn TurnEnd>>,
    /// Beacon, sounder and extraction; `None`: there are none.
    pub outputs: Option<OutputsEnd>,
    /// The automatic operator.
    pub automatic: Option<Box<dyn Automatic>>,
}

/// The task.
pub struct Runner {
    machine: Machine,
    clock: Arc<dyn Clock>,
    guard: GuardHandle,
    from_guard: mpsc::Receiver<FromGuard>,
    journal: Journal,
    recorder: Recorder,
    from_journal: mpsc::UnboundedReceiver<JournalReport>,
    opening: Opening,
    lease: Duration,
    turn_end: Option<Box<dyn TurnEnd>>,
    outputs: Option<OutputsEnd>,
    automatic: Option<Box<dyn Automatic>>,

    asks: mpsc::Receiver<Asked>,
    screens: watch::Receiver<Option<bool>>,
    waiting_askers: Vec<(AskId, oneshot::Sender<Answer>)>,
    next_ask: u64,

    port: Option<Port>,
    opens: u64,
    received: u64,
    outbox: Outbox,
    handled_epoch: u64,

    /// Inputs that came of carrying out effects: they wait until all of those are carried out.
    inputs: VecDeque<Input>,
    stepping: bool,

    turn: Option<Turn>,
    orders_told: bool,
    /// Since when there is something that the journal may not have written.
    unwritten: Option<Time>,
    /// What the last minute looked like.
    traces: trace::Recorder,
    /// Where the last seconds of a stop are told.
    tells: Panel,
    /// The journal was asked to write everything and has not said yet that it has.
    settling: Option<oneshot::Receiver<()>>,

    publish: watch::Sender<Arc<Published>>,
    seq: u64,
    published_generation: u64,
    considered: Option<(u64, Time)>,
    published_at: Instant,
}

/// The automatic operator of a practice run: sees every view that may change what is allowed.
pub trait Automatic: Send {
    /// What to ask next, if anything.
    fn consider(&mut self, now: Time, view: &View) -> Option<Ask>;
}

/// The next that the outputs tell; never, where there are none.
async fn told_by(end: &mut Option<OutputsEnd>) -> Option<OutputTold> {
    match end {
        Some(end) => end.told.recv().await,
        None => std::future::pending().await,
    }
}

/// Why the task ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// It was asked to.
    Stopped,
    /// The guard's thread has gone.
    GuardGone,
}

impl Runner {
    /// Puts the parts together; nothing runs yet.
    #[must_use]
    pub fn new(parts: Parts) -> (Self, Panel) {
        let (ask_to, asks) = mpsc::channel(ASKS);
        let now = parts.clock.now();
        let view = parts.machine.view(now);
        let first = Arc::new(Published {
            seq: 0,
            at: now,
            view,
        });
        let (publish, published) = watch::channel(first);
        let panel = Panel::new(ask_to, published);
        let runner = Self {
            machine: parts.machine,
            clock: parts.clock,
            guard: parts.guard,
            from_guard: parts.from_guard,
            journal: parts.journal,
            recorder: parts.recorder,
            from_journal: parts.from_journal,
            opening: Opening::new(parts.opener),
            lease: parts.lease,
            turn_end: parts.turn_end,
            outputs: parts.outputs,
            automatic: parts.automatic,
            asks,
            screens: panel.screens(),
            tells: panel.clone(),
            waiting_askers: Vec::new(),
            next_ask: 1,
            port: None,
            opens: 0,
            received: 0,
            outbox: Outbox::default(),
            handled_epoch: 0,
            inputs: VecDeque::new(),
            stepping: false,
            turn: None,
            orders_told: false,
            unwritten: None,
            traces: trace::Recorder::default(),
            settling: None,
            publish,
            seq: 0,
            published_generation: u64::MAX,
            considered: None,
            published_at: Instant::now(),
        };
        (runner, panel)
    }

    /// Runs until `stop` resolves, then goes cold: torch off first, journal last.
    pub async fn run(mut self, stop: impl Future<Output = ()>) -> Ended {
        tokio::pin!(stop);
        let mut beat = tokio::time::interval(PUBLISH_EVERY);
        beat.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Skip);
        // A clock that is moved on by turns begins with the first of them.
        if self.turn_end.is_none() {
            self.step(Input::Tick);
        }
        let ended = loop {
            self.end_turn_if_quiet().await;
            let wake_at = self.wake_at();
            let clock = Arc::clone(&self.clock);
            // Bytes of a turn are heard in that turn, or they would bear an older moment.
            let listening = self.turn_end.is_none() || self.turn.is_some();
            tokio::select! {
                biased;
                () = &mut stop => break Ended::Stopped,
                said = self.from_guard.recv() => match said {
                    Some(said) => self.on_guard(said),
                    None => break Ended::GuardGone,
                },
                Some(said) = self.from_journal.recv() => self.on_journal(said),
                moved = wire::moved(
                    self.port.as_ref(),
                    &mut self.outbox,
                    self.guard.shared().gate(self.handled_epoch),
                ), if listening => {
                    self.on_wire(moved);
                }
                opened = self.opening.done() => self.on_opened(opened),
                Some(asked) = self.asks.recv() => self.on_asked(asked),
                Some(told) = told_by(&mut self.outputs) => self.on_output(told),
                Ok(()) = self.screens.changed() => {
                    let there = *self.screens.borrow_and_update();
                    if let Some(there) = there {
                        self.step(Input::Screen { there });
                    }
                }
                () = clock.wait_until(wake_at) => self.step(Input::Tick),
                // Where time passes by itself a step comes at least as often.
                _ = beat.tick(), if self.turn_end.is_some() => self.look_and_publish(),
            }
        };
        self.go_cold();
        ended
    }

    fn wake_at(&self) -> Time {
        let latest = self.clock.now() + STEP_EVERY;
        self.machine.deadline().map_or(latest, |at| at.min(latest))
    }

    /// One step of the machine and everything that follows from it. What carrying out its effects
    /// brings up (the port is open, the port is lost) comes after the last of them, so that records
    /// reach the journal in the order in which the machine made them.
    fn step(&mut self, input: Input) {
        self.inputs.push_back(input);
        if self.stepping {
            return;
        }
        self.stepping = true;
        while let Some(input) = self.inputs.pop_front() {
            self.step_once(input);
        }
        self.stepping = false;
    }

    fn step_once(&mut self, input: Input) {
        let now = self.clock.now();
        self.recorder.input(now, &input);
        let effects = self.machine.step(now, input);
        self.recorder.effects(&effects);
        self.guard.shared().renew(now + self.lease);
        for effect in effects.0 {
            self.carry_out(now, effect);
        }
        self.write_port();
        self.sample(now);
        self.look_and_publish();
    }

    /// Whatever a step has brought: a disk that hangs is seen, and the ages of what is shown go on.
    fn look_and_publish(&mut self) {
        self.journal.look(Instant::now());
        self.publish_if_due();
    }

    /// How the machine stands now, for the traces of faults.
    fn sample(&mut self, now: Time) {
        if self.traces.is_due(now, self.machine.levels()) {
            self.traces.take(self.machine.sample(now));
        }
        if let Some(whole) = self.traces.whole(now) {
            self.journal.keep(whole);
        }
        if let Some(last) = self.traces.last(now) {
            self.tells.tell_stopped(last);
        }
    }

    fn carry_out(&mut self, now: Time, effect: Effect) {
        match effect {
            Effect::Write { bytes, take_away } => {
                if take_away {
                    self.outbox.take_away(&bytes);
                } else {
                    self.outbox.line(&bytes);
                }
                self.write_port();
            }
            Effect::OpenLink => self.open_port(),
            Effect::CloseLink => self.close_port(),
            Effect::Guard { order } => {
                if let control::guard::GuardOrder::Handled { epoch } = order {
                    self.handled_epoch = epoch;
                }
                self.orders_told = true;
                self.guard.tell(ToGuard::Order(order));
            }
            Effect::Record { id, event, durable } => {
                self.unwritten.get_or_insert(now);
                if event.severity() >= Severity::Stop {
                    self.traces.fault(now);
                }
                self.journal.record(id, event, durable, now);
            }
            Effect::Outputs { levels } => {
                if let Some(end) = &mut self.outputs {
                    end.outputs.set(levels);
                }
            }
            // What has changed is published with what only moves, after each step.
            Effect::Publish => {}
            Effect::Answer { id, answer } => self.give_answer(id, answer),
        }
    }

    fn on_guard(&mut self, said: FromGuard) {
        match said {
            FromGuard::Report(report) => self.step(Input::Guard { report }),
            FromGuard::Signals(signals, seen) => self.step(Input::Signals {
                signals,
                seen: Some(seen),
            }),
            FromGuard::Turn(turn) => {
                self.turn = Some(turn);
                self.step(Input::Tick);
            }
            FromGuard::Failed(error) => {
                tracing::error!(%error, "the pins cannot be read or driven: taken as an emergency stop");
            }
        }
    }

    fn on_journal(&mut self, said: JournalReport) {
        match said {
            JournalReport::Acked(id) => self.step(Input::Durable { id }),
            JournalReport::Failed(why) => self.step(Input::RecordFailed { why }),
        }
    }

    fn on_output(&mut self, told: OutputTold) {
        self.step(Input::Output {
            output: told.output,
            failed: told.failed,
        });
    }

    fn on_asked(&mut self, asked: Asked) {
        let id = AskId(self.next_ask);
        self.next_ask += 1;
        self.waiting_askers.push((id, asked.answer));
        self.step(Input::Ask {
            id,
            generation: asked.generation,
            ask: asked.ask,
        });
    }

    fn give_answer(&mut self, id: AskId, answer: Answer) {
        if let Some(k) = self.waiting_askers.iter().position(|(of, _)| *of == id) {
            let (_, to) = self.waiting_askers.swap_remove(k);
            // An asker who has gone needs no answer.
            let _ = to.send(answer);
        } else if let Answer::Refused { reason, .. } = answer {
            tracing::debug!(reason, "the automatic operator was refused");
        }
    }

    fn open_port(&mut self) {
        self.close_port();
        self.opening.begin();
    }

    fn on_opened(&mut self, opened: Result<Opened, String>) {
        let both = opened.and_then(|o| {
            let port = Port::new(o.stream).map_err(|e| e.to_string())?;
            Ok((port, o.guard))
        });
        match both {
            Ok((port, guard)) => {
                self.opens += 1;
                self.received = 0;
                self.guard.shared().start_count();
                self.guard.tell(ToGuard::Port(Some(guard)));
                self.orders_told = true;
                self.port = Some(port);
                if let Some(end) = &mut self.turn_end {
                    end.port_opened();
                }
                self.step(Input::LinkOpened);
            }
            Err(why) => self.step(Input::LinkLost { why }),
        }
    }

    fn close_port(&mut self) {
        self.opening.give_up();
        if self.port.take().is_some() {
            self.guard.tell(ToGuard::Port(None));
            self.orders_told = true;
        }
        self.outbox.clear();
    }

    fn lose_port(&mut self, why: String) {
        self.close_port();
        self.step(Input::LinkLost { why });
    }

    fn on_wire(&mut self, moved: Moved) {
        match moved {
            Moved::In(bytes) => {
                self.received += bytes.len() as u64;
                self.step(Input::Bytes { bytes });
            }
            Moved::Out(n) => self.guard.shared().count_written(n),
            Moved::Lost(why) => self.lose_port(why),
        }
    }

    fn write_port(&mut self) {
        let Some(port) = &self.port else {
            self.outbox.clear();
            return;
        };
        let shared = self.guard.shared();
        match wire::write_now(port, &mut self.outbox, shared.gate(self.handled_epoch)) {
            Ok(n) => shared.count_written(n),
            Err(error) => self.lose_port(error.to_string()),
        }
    }

    fn publish_if_due(&mut self) {
        let generation = self.machine.generation();
        let news = generation != self.published_generation;
        let due = self.published_at.elapsed() >= PUBLISH_EVERY;
        if !news && !due {
            return;
        }
        self.seq += 1;
        self.published_generation = generation;
        self.published_at = Instant::now();
        let at = self.clock.now();
        let view = self.machine.view(at);
        self.publish.send_replace(Arc::new(Published {
            seq: self.seq,
            at,
            view,
        }));
    }

    /// Going cold waits for nothing: torch off, then the machine is told, then the journal ends.
    fn go_cold(&mut self) {
        self.guard.stop();
        self.step(Input::Ask {
            id: AskId(0),
            generation: self.machine.generation(),
            ask: Ask::Hold { press: None },
        });
        self.write_port();
        if let Some(end) = &mut self.outputs {
            end.outputs.end();
        }
        self.recorder.end();
        if let Some(rest) = self.traces.rest(self.clock.now()) {
            self.journal.keep(rest);
        }
        self.journal.close();
    }
}
