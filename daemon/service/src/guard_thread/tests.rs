//! The guard's thread over pins that a test moves by hand.

use std::fs::File;
use std::io::Read as _;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc as std_mpsc;

use control::Cause;
use control::guard::Phase;
use rustix::event::{PollFd, PollFlags};
use rustix::termios::Action;

use super::*;
use crate::pins::Clock;

/// Levels to be read next, or that they cannot be read.
type Next = Result<(Time, Signals), ()>;

/// As late as the levels that were taken last.
#[derive(Default)]
struct HandClock(AtomicU64);

impl Clock for HandClock {
    fn now(&self) -> Time {
        Time::from_us(self.0.load(Ordering::SeqCst))
    }

    fn wait_until(&self, _at: Time) -> std::pin::Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(std::future::pending())
    }
}

/// Gives what the test sends; after the test has gone, errors.
struct HandPins {
    next: std_mpsc::Receiver<Next>,
    permit: std_mpsc::Sender<bool>,
    /// Levels that were taken.
    taken: Arc<AtomicU64>,
    clock: Arc<HandClock>,
}

struct NoWake;

impl Wake for NoWake {
    fn wake(&self) {}
}

fn unreadable() -> PinsError {
    PinsError {
        says: "the pins are gone".into(),
        remedy: "Put them back".into(),
    }
}

impl Pins for HandPins {
    fn clock(&self) -> Arc<dyn Clock> {
        Arc::clone(&self.clock) as Arc<dyn Clock>
    }

    fn waker(&self) -> Arc<dyn Wake> {
        Arc::new(NoWake)
    }

    fn wait(&mut self, _deadline: Option<Time>) -> Result<Reading, PinsError> {
        let next = self.next.recv();
        self.taken.fetch_add(1, Ordering::SeqCst);
        match next {
            Ok(Ok((at, signals))) => {
                self.clock.0.store(at.as_us(), Ordering::SeqCst);
                Ok(Reading {
                    at,
                    signals,
                    opened: Opened::default(),
                    turn: None,
                })
            }
            Ok(Err(())) | Err(_) => Err(unreadable()),
        }
    }

    fn set_permit(&mut self, level: bool) -> Result<(), PinsError> {
        self.permit.send(level).map_err(|_| unreadable())
    }
}

struct Rig {
    guard: GuardHandle,
    said: mpsc::Receiver<FromGuard>,
    next: std_mpsc::Sender<Next>,
    permit: std_mpsc::Receiver<bool>,
    wire: File,
    now: Time,
    /// The newest epoch that it told of.
    epoch: u64,
    sent: u64,
    taken: Arc<AtomicU64>,
}

const AWAY: [u8; 2] = [0x9C, 0x87];

impl Rig {
    /// A guard with the permit pulsing, its bytes going into a pipe.
    fn pulsing() -> Self {
        let (read, write) = rustix::pipe::pipe().expect("a pipe");
        Self::over(File::from(read), File::from(write))
    }

    /// The same, at this line.
    fn over(wire: File, port: File) -> Self {
        let (next, from_test) = std_mpsc::channel();
        let (to_test, permit) = std_mpsc::channel();
        let taken = Arc::<AtomicU64>::default();
        let pins = HandPins {
            next: from_test,
            permit: to_test,
            taken: Arc::clone(&taken),
            clock: Arc::default(),
        };
        let (settings, away) = (GuardSettings::default(), AWAY.to_vec());
        let (guard, said) = start(settings, away, Box::new(pins), None).expect("a thread");
        guard.tell(ToGuard::Port(Some(port)));
        guard.shared().renew(Time::from_ms(1_000_000));
        let mut rig = Self {
            guard,
            said,
            next,
            permit,
            wire,
            now: Time::from_ms(2000),
            epoch: 0,
            sent: 0,
            taken,
        };
        rig.levels(Signals::default());
        rig.guard.tell(ToGuard::Order(GuardOrder::Phase {
            phase: Phase::Closing,
        }));
        // The first pulse: a high level comes only from a guard that permits.
        while rig.permit.try_recv() != Ok(true) {
            // One after the other: more than the guard has taken would fill its mouth with levels, and
            // what it says last would be kept back.
            if rig.taken.load(Ordering::SeqCst) >= rig.sent {
                rig.levels(Signals::default());
            }
            std::thread::yield_now();
        }
        rig
    }

    fn levels(&mut self, signals: Signals) {
        self.now += Duration::from_millis(5);
        self.sent += 1;
        self.next.send(Ok((self.now, signals))).expect("it listens");
    }

    fn wire_says(&mut self) -> [u8; 2] {
        let mut bytes = [0; 2];
        self.wire.read_exact(&mut bytes).expect("two bytes");
        bytes
    }

    fn tripped(&mut self) -> Cause {
        loop {
            let said = self.said.blocking_recv().expect("it speaks");
            if let FromGuard::Report(GuardReport::Tripped { cause, .. }) = said {
                return cause;
            }
        }
    }

    /// Ends the guard and gives the last level that the permit pin was put to.
    fn last_permit(mut self) -> Option<bool> {
        drop(self.next);
        self.guard.stop();
        self.permit.try_iter().last()
    }
}

#[test]
fn on_an_emergency_stop_the_guard_itself_writes_the_take_away_bytes() {
    let mut rig = Rig::pulsing();
    rig.levels(Signals {
        estop_open: true,
        ..Signals::default()
    });
    assert_eq!(rig.wire_says(), AWAY);
    assert_eq!(rig.tripped(), Cause::Estop);
    assert_eq!(rig.guard.shared().written(), 2);
    assert_eq!(rig.guard.shared().epoch(), 1);
    assert_eq!(rig.last_permit(), Some(false));
}

#[test]
fn pins_that_cannot_be_read_count_as_an_emergency_stop() {
    let mut rig = Rig::pulsing();
    rig.next.send(Err(())).expect("it listens");
    assert_eq!(rig.wire_says(), AWAY);
    assert_eq!(rig.tripped(), Cause::Estop);
    assert_eq!(rig.last_permit(), Some(false));
}

#[test]
fn a_guard_that_is_ended_leaves_the_permit_low_and_the_torch_told_off() {
    let mut rig = Rig::pulsing();
    rig.guard.tell(ToGuard::Stop);
    rig.levels(Signals::default());
    assert_eq!(rig.wire_says(), AWAY);
    assert_ne!(rig.last_permit(), Some(true));
}

/// A serial line: the far end, and two handles of ours.
fn line() -> (File, File, File) {
    let far = crate::port::tests::FarEnd::fresh();
    let opened = crate::port::open(&far.path, 115_200).expect("it opens");
    (File::from(far.master), opened.stream, opened.guard)
}

impl Rig {
    /// Opens the chain and closes it again.
    fn estop(&mut self) {
        for estop_open in [true, false] {
            self.levels(Signals {
                estop_open,
                ..Signals::default()
            });
        }
    }

    /// Takes in one thing that the guard says; false: it says nothing.
    fn hear(
        &mut self,
        next: impl FnOnce(&mut mpsc::Receiver<FromGuard>) -> Option<FromGuard>,
        told: &mut Option<GuardReport>,
    ) -> bool {
        match next(&mut self.said) {
            Some(FromGuard::Report(r @ GuardReport::TakeAwayLate { .. })) => *told = Some(r),
            Some(FromGuard::Report(GuardReport::Tripped { epoch, .. })) => self.epoch = epoch,
            Some(_) => {}
            None => return false,
        }
        true
    }

    /// Moves the guard's time on until its bytes are out, and gives what it told of them.
    fn until_out(&mut self) -> Option<GuardReport> {
        let mut told = None;
        while self.epoch == 0 {
            self.hear(|said| said.blocking_recv(), &mut told);
        }
        for _ in 0..10_000_000 {
            while self.hear(|said| said.try_recv().ok(), &mut told) {}
            if !self.guard.shared().away_waits() {
                return told;
            }
            if self.taken.load(Ordering::SeqCst) == self.sent {
                self.levels(Signals::default());
            }
            std::thread::yield_now();
        }
        panic!("the take-away bytes never went out");
    }
}

/// S-03.
#[test]
fn a_line_that_takes_nothing_gets_the_take_away_bytes_as_soon_as_it_does() {
    let (mut far, mut stream, guard) = line();
    let mut rig = Rig::over(far.try_clone().expect("a handle"), guard);
    rustix::termios::tcflow(&stream, Action::OOff).expect("stopped");
    let full = std::io::Write::write(&mut stream, b"x").map_err(|e| e.kind());
    assert_eq!(full, Err(std::io::ErrorKind::WouldBlock));
    rig.estop();
    for _ in 0..20 {
        rig.levels(Signals::default());
    }
    // The guard tries and goes on with its work meanwhile: after the trip its signals keep coming.
    let (mut tripped, mut signals) = (false, 0);
    while signals < 3 {
        rig.levels(Signals::default());
        match rig.said.blocking_recv().expect("it speaks") {
            FromGuard::Signals(..) => signals += u32::from(tripped),
            FromGuard::Report(GuardReport::Tripped { epoch, .. }) => {
                rig.epoch = epoch;
                tripped = true;
            }
            _ => {}
        }
    }
    assert!(rig.guard.shared().away_waits());
    rustix::termios::tcflow(&stream, Action::OOn).expect("going on");
    let mut told = rig.until_out();
    // The bytes are out a moment before that is told.
    for _ in 0..10_000 {
        if told.is_some() {
            break;
        }
        rig.levels(Signals::default());
        rig.hear(|said| said.blocking_recv(), &mut told);
    }
    let (mut heard, mut room) = (Vec::new(), [0; 64]);
    while heard.len() < AWAY.len() {
        match far.read(&mut room) {
            Ok(n) => heard.extend_from_slice(&room[..n]),
            Err(_) => std::thread::yield_now(),
        }
    }
    assert_eq!(heard, AWAY);
    assert!(
        matches!(told, Some(GuardReport::TakeAwayLate { lost: 0, refused, .. }) if refused > 0),
        "{told:?}"
    );
}

/// S-03 and S-04: at a writer that never rests, a thousand times.
#[test]
fn beside_a_busy_writer_no_take_away_byte_is_lost_and_no_line_of_before_comes_after_them() {
    const ROUNDS: u64 = 1000;
    let (mut far, mut stream, guard) = line();
    let mut rig = Rig::over(far.try_clone().expect("a handle"), guard);
    let shared = rig.guard.shared_words();
    let (handled, stop) = (AtomicU64::new(0), AtomicBool::new(false));
    // The epoch that was last written in, plus one.
    let wrote = AtomicU64::new(0);
    let mut heard = Vec::new();
    std::thread::scope(|threads| {
        let reader = threads.spawn(|| {
            let (mut all, mut room) = (Vec::new(), [0; 4096]);
            loop {
                match far.read(&mut room) {
                    Ok(n) => all.extend_from_slice(&room[..n]),
                    Err(_) if stop.load(Ordering::SeqCst) => return all,
                    Err(_) => {
                        let wait = rustix::event::Timespec {
                            tv_sec: 0,
                            tv_nsec: 10_000_000,
                        };
                        let mut fds = [PollFd::new(&far, PollFlags::IN)];
                        let _ = rustix::event::poll(&mut fds, Some(&wait));
                    }
                }
            }
        });
        threads.spawn(|| {
            // Each write is one byte: the epoch that it belongs to, even or odd.
            while !stop.load(Ordering::SeqCst) {
                let epoch = handled.load(Ordering::SeqCst);
                let line = [if epoch % 2 == 0 { b'e' } else { b'o' }];
                let sent = shared
                    .gate(epoch)
                    .pass(|| std::io::Write::write(&mut stream, &line));
                if matches!(sent, Ok(Ok(1))) {
                    wrote.store(epoch + 1, Ordering::SeqCst);
                }
            }
        });
        for _ in 0..ROUNDS {
            // In every epoch something is written, or there is nothing to lose.
            while wrote.load(Ordering::SeqCst) <= handled.load(Ordering::SeqCst) {
                std::thread::yield_now();
            }
            rig.estop();
            rig.until_out();
            let epoch = rig.guard.shared().epoch();
            handled.store(epoch, Ordering::SeqCst);
            rig.epoch = 0;
        }
        stop.store(true, Ordering::SeqCst);
        heard = reader.join().expect("it reads");
    });
    let torch_offs = heard.iter().filter(|b| **b == AWAY[1]).count() as u64;
    assert!(torch_offs >= ROUNDS, "{torch_offs} of {ROUNDS}");
    // Between two lines of different epochs lie all take-away bytes, in order, and the last of them
    // right before the newer line.
    let mut last: Option<usize> = None;
    let mut changes = 0;
    for (k, byte) in heard.iter().enumerate().filter(|(_, b)| b.is_ascii()) {
        if let Some(before) = last
            && heard[before] != *byte
        {
            changes += 1;
            let between = &heard[before + 1..k];
            assert!(between.ends_with(&AWAY), "{between:02x?}");
        }
        last = Some(k);
    }
    assert!(
        changes >= ROUNDS - 1,
        "the writer wrote in {changes} epochs"
    );
}

#[test]
fn the_newest_volts_pass_on_with_their_own_moment_at_least_as_often_as_they_are_read() {
    use process::{ArcVolts, VoltsInput};
    let (next, from_test) = std_mpsc::channel();
    let (to_test, _permit) = std_mpsc::channel();
    let pins = HandPins {
        next: from_test,
        permit: to_test,
        taken: Arc::default(),
        clock: Arc::default(),
    };
    let latest = Arc::new(Latest::default());
    let (settings, volts) = (GuardSettings::default(), Arc::clone(&latest));
    let (mut guard, mut said) =
        start(settings, Vec::new(), Box::new(pins), Some(volts)).expect("a thread");
    let mut look = |ms: u64| {
        let levels = Ok((Time::from_ms(ms), Signals::default()));
        next.send(levels).expect("it listens");
        loop {
            match said.blocking_recv().expect("it speaks") {
                FromGuard::Signals(signals, seen) => return (signals, seen),
                FromGuard::Report(_) | FromGuard::Turn(_) => {}
                FromGuard::Failed(error) => panic!("{error}"),
            }
        }
    };
    // A converter that was never heard: no volts, and as old as can be.
    let (signals, seen) = look(2000);
    assert_eq!((signals.volts, seen.volts), (None, Some(Time::ZERO)));
    let read = |volts, input| ArcVolts { volts, input };
    latest.put(Time::from_ms(2003), read(112.5, VoltsInput::Plausible));
    let (signals, seen) = look(2005);
    assert_eq!(signals.volts, Some(112.5));
    assert_eq!(seen.volts, Some(Time::from_ms(2003)));
    assert_eq!(seen.pins, Time::from_ms(2005));
    // From here on it is silent: its age is told although no level changes, every 20 ms.
    let (signals, seen) = look(2025);
    assert_eq!(signals.volts, Some(112.5));
    assert_eq!(seen.volts, Some(Time::from_ms(2003)));
    latest.put(Time::from_ms(2026), read(-25.0, VoltsInput::WireOff));
    let (signals, _) = look(2027);
    assert_eq!(signals.volts_input, VoltsInput::WireOff);
    drop(next);
    guard.stop();
}
