//! The guard's thread: reads the pins, obeys the guard's rules, and nothing else.
//!
//! It is blocked in [`Pins::wait`] and shares nothing slow: orders come through a channel that is
//! emptied at every wake-up, reports go out by `try_send`, the lease and the epoch are single
//! atomic words. On a trip it ends the pulses and then writes the take-away bytes on the serial
//! line itself, without ever blocking, and goes on at its own deadline until they are out.

mod away;
mod gate;
mod lost;
mod say;

use std::fs::File;
use std::sync::Arc;
use std::sync::mpsc as std_mpsc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use control::guard::{GuardOrder, GuardReport, GuardRules, GuardSettings};
use control::{Opened, Seen, Signals};
use tokio::sync::{mpsc, oneshot};
use units::Time;

use crate::arc_volts::Latest;
use crate::pins::{Pins, PinsError, Reading, Turn, Wake};

use away::Away;
pub use gate::{Bar, Gate, Shared};
use lost::Lost;
use say::Mouth;

/// Room for reports between the guard and the machine's task. A full queue means that the task is
/// stuck; the guard then keeps its reports and the lease lapses.
const REPORTS: usize = 1024;

/// How often a guard that ends tries to write its last bytes, a millisecond apart.
const LAST_TRIES: u32 = 50;

/// Whoever ends the guard waits so long for it.
const ENDS_WITHIN: Duration = Duration::from_secs(1);

/// How long a guard that cannot read its pins waits before it tries again.
const RETRY: Duration = Duration::from_millis(20);

/// What the guard hears.
#[derive(Debug)]
pub enum ToGuard {
    /// An order of the machine.
    Order(GuardOrder),
    /// Its own handle of the serial port, for the take-away bytes only.
    Port(Option<File>),
    /// Answer once everything sent before was taken in.
    Settle(oneshot::Sender<()>),
    /// End: permit low, torch-off to the wire.
    Stop,
}

/// What the guard says.
#[derive(Debug)]
pub enum FromGuard {
    /// It acted or saw something.
    Report(GuardReport),
    /// The levels, at an edge or when it is time.
    Signals(Signals, Seen),
    /// A moment that must be dealt with to the end.
    Turn(Turn),
    /// The pins cannot be read.
    Failed(PinsError),
}

/// The machine's end of the guard.
pub struct GuardHandle {
    to: std_mpsc::Sender<ToGuard>,
    waker: Arc<dyn Wake>,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

impl GuardHandle {
    /// Sends and wakes. A guard that has ended cannot be told; it has taken the permit away.
    pub fn tell(&self, what: ToGuard) {
        if self.to.send(what).is_ok() {
            self.waker.wake();
        }
    }

    /// The shared words.
    #[must_use]
    pub fn shared(&self) -> &Shared {
        &self.shared
    }

    #[cfg(test)]
    fn shared_words(&self) -> Arc<Shared> {
        Arc::clone(&self.shared)
    }

    /// Ends the guard: permit low, take-away bytes written. One that does not end within 1 s is left
    /// behind: it hangs in a driver, and its pulses end with the process at the latest.
    pub fn stop(&mut self) {
        self.tell(ToGuard::Stop);
        let Some(thread) = self.thread.take() else {
            return;
        };
        let until = Instant::now() + ENDS_WITHIN;
        while !thread.is_finished() {
            if Instant::now() >= until {
                tracing::error!("the guard's thread does not end: it is left behind");
                return;
            }
            std::thread::park_timeout(away::AGAIN);
        }
        if thread.join().is_err() {
            tracing::error!("the guard's thread ended by a panic; the permit has stopped with it");
        }
    }
}

/// Starts the guard. `volts`: what a converter of its own reads beside the pins.
///
/// # Errors
/// The thread could not be made.
pub fn start(
    settings: GuardSettings,
    take_away: Vec<u8>,
    pins: Box<dyn Pins>,
    volts: Option<Arc<Latest>>,
) -> std::io::Result<(GuardHandle, mpsc::Receiver<FromGuard>)> {
    let (to, orders) = std_mpsc::channel();
    let (from, reports) = mpsc::channel(REPORTS);
    let shared = Arc::new(Shared::default());
    let waker = pins.waker();
    let guard = Guard {
        rules: GuardRules::new(settings),
        pins,
        orders,
        mouth: Mouth::new(from),
        shared: Arc::clone(&shared),
        away: Away::new(take_away),
        permit: false,
        last_signals: None,
        signals_every: match volts {
            // The age of the volts is known as soon as it can be.
            Some(_) => settings
                .signals_every()
                .min(Duration::from_millis(settings.volts_every_ms)),
            None => settings.signals_every(),
        },
        volts,
        looked: Time::ZERO,
        missed: false,
        short_edges: 0,
        lost: Lost::default(),
        reading: None,
    };
    let thread = std::thread::Builder::new()
        .name("guard".into())
        .spawn(move || guard.run())?;
    let handle = GuardHandle {
        to,
        waker,
        shared,
        thread: Some(thread),
    };
    Ok((handle, reports))
}

/// Real-time priority of the guard's thread, of 99: above what user programs get, below the kernel's
/// own threads for interrupts (50).
const PRIORITY: u8 = 40;

/// Asks for real-time priority for the thread that calls it: beside busy programs a plain thread is
/// kept waiting for milliseconds. `false`: the system does not grant it.
#[must_use]
pub fn come_first() -> bool {
    use thread_priority::unix::{
        RealtimeThreadSchedulePolicy, ThreadSchedulePolicy, set_thread_priority_and_policy,
        thread_native_id,
    };
    let priority = thread_priority::ThreadPriorityValue::try_from(PRIORITY)
        .map(thread_priority::ThreadPriority::Crossplatform);
    let first = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
    priority.is_ok_and(|p| set_thread_priority_and_policy(thread_native_id(), p, first).is_ok())
}

/// Keeps what this process has touched of its memory from being swapped out, now and later: a guard
/// that waits for a disk is late. `false`: the system does not grant it without a limit, and with one
/// the process would fail at it later, in mid-run.
#[must_use]
pub fn stay_in_memory() -> bool {
    use rustix::mm::{MlockAllFlags, mlockall};
    use rustix::process::{Resource, getrlimit};
    // On a fault: what is reserved and never touched (stacks of threads) takes no memory.
    let all = MlockAllFlags::CURRENT | MlockAllFlags::FUTURE | MlockAllFlags::ONFAULT;
    getrlimit(Resource::Memlock).current.is_none() && mlockall(all).is_ok()
}

struct Guard {
    rules: GuardRules,
    pins: Box<dyn Pins>,
    orders: std_mpsc::Receiver<ToGuard>,
    mouth: Mouth,
    shared: Arc<Shared>,
    away: Away<File>,
    permit: bool,
    last_signals: Option<(Time, Signals)>,
    /// The newest reading of the volts, where they do not come with the pins.
    volts: Option<Arc<Latest>>,
    /// They are passed on at least this often, so that their age is known.
    signals_every: Duration,
    /// When the levels were really read last: not while the pins cannot be.
    looked: Time,
    /// Edges may have been lost since levels were last told.
    missed: bool,
    /// Edges too short for their debounce, so far.
    short_edges: u64,
    /// Edges that the kernel has counted and nobody has seen.
    lost: Lost,
    reading: Option<Reading>,
}

impl Guard {
    fn run(mut self) {
        if self.pins.in_real_time() {
            if !stay_in_memory() {
                tracing::warn!(
                    "this process may be swapped out, and the guard with it: the unit file grants it \
                     to stay by LimitMEMLOCK"
                );
            }
            if come_first() {
                tracing::info!("the guard's thread has real-time priority");
            } else {
                tracing::warn!(
                    "no real-time priority for the guard's thread: beside busy programs it may answer \
                     late; the unit file grants it by LimitRTPRIO"
                );
            }
        }
        let clock = self.pins.clock();
        let mut deadline = None;
        loop {
            let (at, signals, opened, turn) = match self.pins.wait(deadline) {
                Ok(reading) => {
                    self.reading = Some(reading);
                    self.looked = reading.at;
                    (reading.at, reading.signals, reading.opened, reading.turn)
                }
                Err(error) => {
                    // Unknown means no: pins that cannot be read count as an emergency stop.
                    let mut signals = self.reading.map(|r| r.signals).unwrap_or_default();
                    signals.estop_open = true;
                    signals.unreadable = true;
                    self.say(FromGuard::Failed(error));
                    std::thread::park_timeout(RETRY);
                    let opened = Opened {
                        missed: true,
                        ..Opened::default()
                    };
                    (clock.now(), signals, opened, None)
                }
            };
            let (settle, stop) = self.take_orders(at);
            deadline = self.step(at, &signals, opened);
            if let Some(turn) = turn {
                self.say(FromGuard::Turn(turn));
            }
            for settled in settle {
                // Nobody waits any more: nothing to do.
                let _ = settled.send(());
            }
            if stop || self.mouth.is_closed() {
                self.take_all_away(at);
                return;
            }
        }
    }

    fn take_orders(&mut self, now: Time) -> (Vec<oneshot::Sender<()>>, bool) {
        let mut settle = Vec::new();
        let mut stop = false;
        loop {
            match self.orders.try_recv() {
                Ok(ToGuard::Order(order)) => self.rules.order(now, &order),
                Ok(ToGuard::Port(port)) => {
                    let lost = self.away.set_port(now, port, &self.shared);
                    self.tell(lost);
                }
                Ok(ToGuard::Settle(done)) => settle.push(done),
                Ok(ToGuard::Stop) | Err(std_mpsc::TryRecvError::Disconnected) => {
                    stop = true;
                    break;
                }
                Err(std_mpsc::TryRecvError::Empty) => break,
            }
        }
        (settle, stop)
    }

    /// One step of the rules: stop first, tell afterwards.
    fn step(&mut self, now: Time, levels: &Signals, opened: Opened) -> Option<Time> {
        let volts = self.volts.as_ref().map(|latest| latest.get());
        let signals = &volts.map_or(*levels, |v| Signals {
            volts: v.volts,
            volts_input: v.input,
            ..*levels
        });
        let out = self.rules.step(now, signals, opened, self.shared.lease());
        self.drive_permit(out.permit_level);
        if out.take_away {
            self.shared.shut(out.epoch);
            self.away.begin(now, &self.shared);
        }
        let waited = self.away.deadline().is_some();
        let late = self.away.go_on(now, &self.shared);
        let next = Time::sooner(out.deadline, self.away.deadline());
        self.shared.set_next(next);
        if waited && self.away.deadline().is_none() {
            // Lines of the new epoch may wait for this, and their writer for a word.
            self.last_signals = None;
        }
        self.tell(late);
        for report in out.reports {
            self.say(FromGuard::Report(report));
        }
        if let Some(edges) = self.lost.tell(now, opened.lost) {
            self.say(FromGuard::Report(GuardReport::EdgesMissed { edges }));
        }
        self.missed |= opened.missed;
        self.short_edges += u64::from(opened.short_edges);
        let due = self
            .last_signals
            .is_none_or(|(at, last)| last != *signals || now.since(at) >= self.signals_every);
        if due {
            self.last_signals = Some((now, *signals));
            let seen = Seen {
                missed: core::mem::take(&mut self.missed),
                short_edges: self.short_edges,
                volts: volts.map(|v| v.at),
                ..Seen::at(self.looked)
            };
            self.say(FromGuard::Signals(*signals, seen));
        }
        // Signals must not grow old while nothing else wakes the guard.
        Time::sooner(next, Some(now + self.signals_every))
    }

    fn drive_permit(&mut self, level: bool) {
        if level == self.permit {
            return;
        }
        self.permit = level;
        if let Err(error) = self.pins.set_permit(level) {
            // A pin that does not move makes no pulse: the relay drops out by itself.
            self.say(FromGuard::Failed(error));
        }
    }

    /// At the end nobody comes back to it: a port that takes nothing is asked for a while.
    fn take_all_away(&mut self, now: Time) {
        self.drive_permit(false);
        self.shared.shut(self.shared.epoch());
        self.away.begin(now, &self.shared);
        for _ in 0..LAST_TRIES {
            let late = self.away.go_on(now, &self.shared);
            self.tell(late);
            if self.away.deadline().is_none() {
                return;
            }
            std::thread::park_timeout(away::AGAIN);
        }
        tracing::warn!("the port took nothing: the take-away bytes did not go out at the end");
    }

    fn tell(&mut self, report: Option<GuardReport>) {
        if let Some(report) = report {
            self.say(FromGuard::Report(report));
        }
    }

    fn say(&mut self, what: FromGuard) {
        self.mouth.say(what);
    }
}

#[cfg(test)]
mod tests;
