//! From the e-stop's edge to the permit pin low and the take-away bytes written, through the real
//! guard thread. The pins are a pair of eventfds: the edge is a write, the permit a stored moment.
//! 100,000 edges with the machine idle and beside two busy loops, and a yardstick in the same run.

use std::fs::File;
use std::io::Read as _;
use std::os::fd::OwnedFd;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use control::Signals;
use control::guard::{GuardOrder, GuardReport, GuardSettings, Phase};
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
            opened: control::Opened::default(),
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
    wire: Listener,
    edge: Arc<OwnedFd>,
    estop: Arc<AtomicBool>,
    pulses: Arc<AtomicU64>,
    clock: Monotonic,
}

/// Stamps the moment at which two bytes have come. It must not wait for its turn itself, so it has
/// real-time priority where that is granted.
struct Listener(std::sync::mpsc::Receiver<Instant>);

impl Listener {
    fn new(wire: OwnedFd) -> Self {
        let (to, from) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            if !guard_thread::come_first() {
                println!(
                    "no real-time priority here: the figures beside busy loops are the measurer's"
                );
            }
            let mut wire = File::from(wire);
            let mut bytes = [0; 2];
            while wire.read_exact(&mut bytes).is_ok() {
                let at = Instant::now();
                assert_eq!(bytes, [0x9C, 0x87]);
                if to.send(at).is_err() {
                    return;
                }
            }
        });
        Self(from)
    }

    fn next(&mut self) -> Instant {
        self.0.recv().expect("two bytes")
    }
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
        let (guard, reports) = guard_thread::start(
            GuardSettings::default(),
            vec![0x9C, 0x87],
            Box::new(pins),
            None,
        )
        .expect("a thread");
        let (read, write) = rustix::pipe::pipe().expect("a pipe");
        guard.tell(ToGuard::Port(Some(File::from(write))));
        Self {
            guard,
            reports,
            wire: Listener::new(read),
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
        while self.pulses.load(Ordering::Acquire) < before + 1 {
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

    /// Opens the e-stop; until both take-away bytes are on the wire.
    fn trip(&mut self) -> Duration {
        let start = Instant::now();
        self.estop.store(true, Ordering::Release);
        EdgeWake(Arc::clone(&self.edge)).wake();
        self.wire.next().saturating_duration_since(start)
    }
}

/// Percentiles of a sorted list.
fn told(name: &str, mut times: Vec<Duration>) {
    times.sort_unstable();
    let at = |part: f64| {
        let k = ((times.len() as f64 * part).ceil() as usize).clamp(1, times.len());
        times[k - 1].as_secs_f64() * 1e3
    };
    println!(
        "{name:<44} p50 {:.3}  p99 {:.3}  p99.9 {:.3}  max {:.3} ms  ({} edges)",
        at(0.5),
        at(0.99),
        at(0.999),
        at(1.0),
        times.len()
    );
}

/// The yardstick: how long a plain thread, of no priority, that is blocked takes to answer the same kind of edge on
/// this machine, with nothing in between.
fn yardstick(n: usize) -> Vec<Duration> {
    let flags = EventfdFlags::CLOEXEC;
    let ask = Arc::new(rustix::event::eventfd(0, flags).expect("an eventfd"));
    let (read, write) = rustix::pipe::pipe().expect("a pipe");
    let asked = Arc::clone(&ask);
    let answering = std::thread::spawn(move || {
        let mut count = [0; 8];
        for _ in 0..n {
            let _ = rustix::io::read(&*asked, &mut count);
            let _ = rustix::io::write(&write, &[0x9C, 0x87]);
        }
    });
    let mut answer = Listener::new(read);
    let times = (0..n)
        .map(|_| {
            let start = Instant::now();
            EdgeWake(Arc::clone(&ask)).wake();
            answer.next().saturating_duration_since(start)
        })
        .collect();
    answering.join().expect("it answers");
    times
}

/// Loops that take a processor each until they are told to end.
struct Busy {
    stop: Arc<AtomicBool>,
    loops: Vec<std::thread::JoinHandle<u64>>,
}

impl Busy {
    fn start(n: usize) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let loops = (0..n)
            .map(|_| {
                let stop = Arc::clone(&stop);
                std::thread::spawn(move || {
                    let mut x = 1_u64;
                    while !stop.load(Ordering::Relaxed) {
                        x = std::hint::black_box(x.wrapping_mul(6_364_136_223_846_793_005) | 1);
                    }
                    x
                })
            })
            .collect();
        Self { stop, loops }
    }

    fn end(self) {
        self.stop.store(true, Ordering::Relaxed);
        for l in self.loops {
            let _ = l.join();
        }
    }
}

fn edges(n: usize) -> Vec<Duration> {
    let mut bench = Bench::new();
    let times = (0..n)
        .map(|_| {
            bench.arm();
            bench.trip()
        })
        .collect();
    bench.guard.stop();
    times
}

fn main() {
    // `cargo test --benches` only wants to know that it runs.
    let measured = std::env::args().any(|a| a == "--bench");
    let n = if measured { 100_000 } else { 50 };
    told("yardstick, idle", yardstick(n));
    told("edge to bytes on the wire, idle", edges(n));
    let busy = Busy::start(2);
    told("yardstick, two busy loops", yardstick(n));
    told("edge to bytes on the wire, two busy loops", edges(n));
    busy.end();
}
