//! From the e-stop's edge to the permit pin low and the take-away bytes written, through the real
//! guard thread. The pins are a pair of eventfds: the edge is a write, the permit a stored moment.

#![allow(
    missing_docs,
    reason = "the benchmark harness makes functions without any"
)]

use std::fs::File;
use std::io::Read as _;
use std::os::fd::{AsFd as _, OwnedFd};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use control::Signals;
use control::guard::{GuardOrder, GuardReport, GuardSettings, Phase};
use criterion::{Criterion, criterion_group, criterion_main};
use rustix::event::{EventfdFlags, PollFd, PollFlags};
use standclear::guard_thread::{self, FromGuard, GuardHandle, ToGuard};
use standclear::pins::{Clock, Monotonic, Pins, PinsError, Reading, Wake};
use units::Time;

struct FakePins {
    clock: Monotonic,
    edge: Arc<OwnedFd>,
    estop: Arc<AtomicBool>,
    permit_pulses: Arc<AtomicU64>,
    low_since_us: Arc<AtomicU64>,
}

struct EdgeWake(Arc<OwnedFd>);

impl Wake for EdgeWake {
    fn wake(&self) {
        let _ = rustix::io::write(&*self.0, &1_u64.to_ne_bytes());
    }
}

impl Pins for FakePins {
    fn clock(&self) -> Arc<dyn Clock> {
        Arc::new(self.clock)
    }

    fn waker(&self) -> Arc<dyn Wake> {
        Arc::new(EdgeWake(Arc::clone(&self.edge)))
    }

    fn wait(&mut self, deadline: Option<Time>) -> Result<Reading, PinsError> {
        let span = deadline.map_or(Duration::from_millis(50), |at| at.since(self.clock.now()));
        let timeout = rustix::event::Timespec {
            tv_sec: 0,
            tv_nsec: span.subsec_nanos().into(),
        };
        let mut fds = [PollFd::new(&*self.edge, PollFlags::IN)];
        let _ = rustix::event::poll(&mut fds, Some(&timeout));
        let mut count = [0; 8];
        let _ = rustix::io::read(&*self.edge, &mut count);
        Ok(Reading {
            at: self.clock.now(),
            signals: Signals {
                estop_open: self.estop.load(Ordering::Acquire),
                ..Signals::default()
            },
            turn: None,
        })
    }

    fn set_permit(&mut self, level: bool) -> Result<(), PinsError> {
        if level {
            self.permit_pulses.fetch_add(1, Ordering::AcqRel);
        } else {
            self.low_since_us
                .store(self.clock.now().as_us(), Ordering::Release);
        }
        Ok(())
    }
}

struct Bench {
    guard: GuardHandle,
    reports: tokio::sync::mpsc::Receiver<FromGuard>,
    wire: File,
    edge: Arc<OwnedFd>,
    estop: Arc<AtomicBool>,
    pulses: Arc<AtomicU64>,
    clock: Monotonic,
}

impl Bench {
    fn new() -> Self {
        let flags = EventfdFlags::NONBLOCK | EventfdFlags::CLOEXEC;
        let edge = Arc::new(rustix::event::eventfd(0, flags).expect("an eventfd"));
        let clock = Monotonic::starting_now();
        let estop = Arc::new(AtomicBool::new(false));
        let pulses = Arc::new(AtomicU64::new(0));
        let pins = FakePins {
            clock,
            edge: Arc::clone(&edge),
            estop: Arc::clone(&estop),
            permit_pulses: Arc::clone(&pulses),
            low_since_us: Arc::default(),
        };
        let (guard, reports) =
            guard_thread::start(GuardSettings::default(), vec![0x9C, 0x87], Box::new(pins))
                .expect("a thread");
        let (read, write) = rustix::pipe::pipe().expect("a pipe");
        guard.tell(ToGuard::Port(Some(File::from(write))));
        Self {
            guard,
            reports,
            wire: File::from(read),
            edge,
            estop,
            pulses,
            clock,
        }
    }

    fn order(&self, order: GuardOrder) {
        self.guard.tell(ToGuard::Order(order));
    }

    fn renew(&self) {
        let until = self.clock.now() + Duration::from_secs(3600);
        self.guard.shared().renew(until);
    }

    /// Brings the permit to pulsing, whatever was before.
    fn arm(&mut self) {
        self.estop.store(false, Ordering::Release);
        EdgeWake(Arc::clone(&self.edge)).wake();
        self.renew();
        let before = self.pulses.load(Ordering::Acquire);
        let mut asked = false;
        while self.pulses.load(Ordering::Acquire) < before + 2 {
            while let Ok(said) = self.reports.try_recv() {
                if let FromGuard::Report(GuardReport::Tripped { epoch, .. }) = said {
                    self.order(GuardOrder::Handled { epoch });
                }
            }
            self.order(GuardOrder::Clear {
                cause: control::Cause::Estop,
            });
            if !asked {
                asked = true;
                self.order(GuardOrder::Phase { phase: Phase::Off });
            }
            self.order(GuardOrder::Phase {
                phase: Phase::Closing,
            });
            std::thread::yield_now();
        }
    }

    /// Opens the e-stop and waits until both take-away bytes are on the wire.
    fn trip(&mut self) -> Duration {
        let start = Instant::now();
        self.estop.store(true, Ordering::Release);
        EdgeWake(Arc::clone(&self.edge)).wake();
        let mut bytes = [0; 2];
        let mut fds = [PollFd::from_borrowed_fd(self.wire.as_fd(), PollFlags::IN)];
        let _ = rustix::event::poll(&mut fds, None);
        self.wire.read_exact(&mut bytes).expect("two bytes");
        assert_eq!(bytes, [0x9C, 0x87]);
        start.elapsed()
    }
}

fn edge_to_take_away(c: &mut Criterion) {
    let mut bench = Bench::new();
    c.bench_function(
        "e-stop edge to permit low and take-away bytes written",
        |b| {
            b.iter_custom(|n| {
                (0..n)
                    .map(|_| {
                        bench.arm();
                        bench.trip()
                    })
                    .sum()
            });
        },
    );
    bench.guard.stop();
}

criterion_group!(benches, edge_to_take_away);
criterion_main!(benches);
