//! The guard's thread over pins that a test moves by hand.

use std::fs::File;
use std::io::Read as _;
use std::sync::mpsc as std_mpsc;

use control::Cause;
use control::guard::Phase;

use super::*;
use crate::pins::Clock;

/// Levels to be read next, or that they cannot be read.
type Next = Result<(Time, Signals), ()>;

/// Stands where the test has put it last.
#[derive(Clone, Default)]
struct HandClock(Arc<AtomicU64>);

impl Clock for HandClock {
    fn now(&self) -> Time {
        Time::from_us(self.0.load(Ordering::Acquire))
    }

    fn wait_until(&self, _at: Time) -> std::pin::Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(std::future::pending())
    }
}

/// Gives what the test sends; after the test has gone, errors.
struct HandPins {
    next: std_mpsc::Receiver<Next>,
    permit: std_mpsc::Sender<bool>,
    clock: HandClock,
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
        Arc::new(self.clock.clone())
    }

    fn waker(&self) -> Arc<dyn Wake> {
        Arc::new(NoWake)
    }

    fn wait(&mut self, _deadline: Option<Time>) -> Result<Reading, PinsError> {
        match self.next.recv() {
            Ok(Ok((at, signals))) => Ok(Reading {
                at,
                signals,
                opened: Opened::default(),
                turn: None,
            }),
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
    clock: HandClock,
}

const AWAY: [u8; 2] = [0x9C, 0x87];

impl Rig {
    /// A guard with the permit pulsing.
    fn pulsing() -> Self {
        let (next, from_test) = std_mpsc::channel();
        let (to_test, permit) = std_mpsc::channel();
        let clock = HandClock::default();
        let pins = HandPins {
            next: from_test,
            permit: to_test,
            clock: clock.clone(),
        };
        let (guard, said) =
            start(GuardSettings::default(), AWAY.to_vec(), Box::new(pins)).expect("a thread");
        let (read, write) = rustix::pipe::pipe().expect("a pipe");
        guard.tell(ToGuard::Port(Some(File::from(write))));
        guard.shared().renew(Time::from_ms(1_000_000));
        let mut rig = Self {
            guard,
            said,
            next,
            permit,
            wire: File::from(read),
            now: Time::from_ms(2000),
            clock,
        };
        rig.levels(Signals::default());
        rig.guard.tell(ToGuard::Order(GuardOrder::Phase {
            phase: Phase::Closing,
        }));
        // The first pulse: a high level comes only from a guard that permits.
        while rig.permit.try_recv() != Ok(true) {
            rig.levels(Signals::default());
            std::thread::yield_now();
        }
        rig
    }

    fn later(&mut self) {
        self.now += Duration::from_millis(5);
        self.clock.0.store(self.now.as_us(), Ordering::Release);
    }

    fn levels(&mut self, signals: Signals) {
        self.later();
        self.next.send(Ok((self.now, signals))).expect("it listens");
    }

    fn wire_says(&mut self) -> [u8; 2] {
        let mut bytes = [0; 2];
        self.wire.read_exact(&mut bytes).expect("two bytes");
        bytes
    }

    /// When the levels were seen that are told next.
    fn signals_seen(&mut self) -> Time {
        loop {
            let said = self.said.blocking_recv().expect("it speaks");
            if let FromGuard::Signals(_, seen) = said {
                return seen.pins;
            }
        }
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
    let seen = rig.now;
    rig.later();
    rig.next.send(Err(())).expect("it listens");
    assert_eq!(rig.wire_says(), AWAY);
    assert_eq!(rig.tripped(), Cause::Estop);
    // What was not read is not told as seen.
    assert_eq!(rig.signals_seen(), seen);
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
