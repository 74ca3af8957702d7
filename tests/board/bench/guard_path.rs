//! From the edge of the emergency stop to the permit's line low and the take-away bytes written: the real
//! guard's thread on the kernel's lines and a real terminal, in the board's own time.
//!
//! Whoever measures comes after the guard and before all else. It is told the moment at which it sees the line
//! low and the bytes there, so every figure is an upper bound.

use std::fs::File;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use control::Cause;
use control::guard::{GuardOrder, GuardReport, Phase};
use rustix::fs::OFlags;
use simulator::Table;
use standclear::guard_thread::{self, FromGuard, GuardHandle, ToGuard};
use standclear::practice::table::table_settings;
use units::Time;

use crate::judge::PULSE_ENDS;
use crate::set_up;
use crate::world::{World, as_all_others, before_the_panel_and_after_its_guard, say};

/// So many edges, idle and beside a busy loop.
const EDGES: usize = 1_000;
/// The line is watched so long after an edge: two periods of the pulses.
const WATCHED: Duration = Duration::from_millis(20);
/// The permit pulses by then, or the guard bars it for good.
const ARMED_WITHIN: Duration = Duration::from_secs(2);
/// The moments of the edges lie anywhere in a period of this, us.
const PERIOD_US: u64 = 10_000;

struct Bench {
    guard: GuardHandle,
    reports: tokio::sync::mpsc::Receiver<FromGuard>,
    world: World,
    take_away: usize,
}

/// What one edge came to.
struct Took {
    line_low: Duration,
    bytes: Duration,
}

/// Measures and prints; gives how many of the two measurements failed.
pub fn measure(chip: &str) -> Result<usize, String> {
    if !before_the_panel_and_after_its_guard() {
        return Err("no priority for whoever measures".into());
    }
    let mut failed = 0;
    for (name, busy) in [("idle", false), ("beside a busy loop", true)] {
        let went = Bench::new(chip).and_then(|bench| bench.edges(busy));
        match went.and_then(|took| judge(name, &took)) {
            Ok(()) => say(&format!(
                "CASE edges-{} passed",
                if busy { "busy" } else { "idle" }
            )),
            Err(says) => {
                failed += 1;
                say(&format!("CASE edges FAILED {name}: {says}"));
            }
        }
    }
    Ok(failed)
}

fn judge(name: &str, took: &[Took]) -> Result<(), String> {
    let low = figures(
        &format!("e-stop edge to permit line low, {name}"),
        took.iter().map(|t| t.line_low),
    );
    let bytes = figures(
        &format!("e-stop edge to take-away bytes written, {name}"),
        took.iter().map(|t| t.bytes),
    );
    if low.max(bytes) > PULSE_ENDS {
        return Err(format!("later than {PULSE_ENDS:?}"));
    }
    Ok(())
}

/// Prints the percentiles; gives the greatest.
fn figures(name: &str, times: impl Iterator<Item = Duration>) -> Duration {
    let mut times: Vec<Duration> = times.collect();
    times.sort_unstable();
    let at = |part: f64| {
        let k = ((times.len() as f64 * part).ceil() as usize).clamp(1, times.len());
        times[k - 1]
    };
    let ms = |part: f64| at(part).as_secs_f64() * 1e3;
    say(&format!(
        "  {name}: p50 {:.3}, p99 {:.3}, p99.9 {:.3}, max {:.3} ms of {}",
        ms(0.5),
        ms(0.99),
        ms(0.999),
        ms(1.0),
        times.len()
    ));
    at(1.0)
}

impl Bench {
    fn new(chip: &str) -> Result<Self, String> {
        let config = set_up::config()?;
        let wire = Path::new("/tmp/wire");
        // The table stands still: its levels are those of rest, and nobody turns it.
        let table = Table::new(table_settings(&config, 1, false));
        let mut world = World::new(table, &config, chip, wire, false).map_err(|e| e.to_string())?;
        world.drive();
        let pins = standclear::board::open(&config.pins).map_err(|e| e.to_string())?;
        let take_away = config.link.dialect.take_away_bytes();
        let count = take_away.len();
        let (guard, reports) =
            guard_thread::start(config.guard, take_away, pins, None).map_err(|e| e.to_string())?;
        guard.tell(ToGuard::Port(Some(open(wire)?)));
        Ok(Self {
            guard,
            reports,
            world,
            take_away: count,
        })
    }

    fn edges(mut self, busy: bool) -> Result<Vec<Took>, String> {
        let stop = Arc::new(AtomicBool::new(false));
        let beside = busy.then(|| busy_until(&stop));
        let mut chance = 1_u64;
        let mut took = Vec::with_capacity(EDGES);
        for k in 0..EDGES {
            // Anywhere in a period; the same in every run.
            chance = chance
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            let phase = Duration::from_micros((chance >> 33) % PERIOD_US);
            let went = self.arm().and_then(|()| {
                std::thread::park_timeout(phase);
                self.trip()
            });
            took.push(went.map_err(|says| format!("edge {k}: {says}"))?);
        }
        self.guard.stop();
        stop.store(true, Ordering::Relaxed);
        if let Some(beside) = beside {
            beside.join().map_err(|_| "the busy loop panicked")?;
        }
        Ok(took)
    }

    /// Brings the permit to pulsing, whatever was before.
    fn arm(&mut self) -> Result<(), String> {
        self.world.off.clear();
        self.world.drive();
        self.guard
            .tell(ToGuard::Order(GuardOrder::Phase { phase: Phase::Off }));
        let until = self.world.now() + ARMED_WITHIN;
        while !self.world.permit_level() {
            // The guard's clock began a little after this one: an hour makes no difference.
            self.guard
                .shared()
                .renew(self.world.now() + Duration::from_secs(3_600));
            while let Ok(said) = self.reports.try_recv() {
                if let FromGuard::Report(GuardReport::Tripped { epoch, .. }) = said {
                    self.guard
                        .tell(ToGuard::Order(GuardOrder::Handled { epoch }));
                }
            }
            self.guard.tell(ToGuard::Order(GuardOrder::Clear {
                cause: Cause::Estop,
            }));
            self.guard.tell(ToGuard::Order(GuardOrder::Phase {
                phase: Phase::Closing,
            }));
            if self.world.now() > until {
                return Err("the permit does not pulse".into());
            }
            std::thread::park_timeout(Duration::from_millis(1));
        }
        let _of_before = self.world.heard();
        Ok(())
    }

    /// Opens the chain, and looks until the line has been low for two periods and the bytes are there.
    fn trip(&mut self) -> Result<Took, String> {
        let at = self.world.now();
        self.world.off.insert("estop".into());
        self.world.drive();
        let (mut low, mut bytes, mut heard): (Option<Time>, Option<Time>, usize) = (None, None, 0);
        loop {
            let high = self.world.permit_level();
            heard += self.world.heard();
            let now = self.world.now();
            match (high, low) {
                (false, None) => low = Some(now),
                (true, Some(_)) => return Err("the permit rose after the edge".into()),
                _ => {}
            }
            if heard >= self.take_away {
                bytes.get_or_insert(now);
            }
            if now > at + WATCHED {
                break;
            }
            // Closely at first, where the figures are made.
            if now > at + PULSE_ENDS {
                std::thread::park_timeout(Duration::from_millis(1));
            }
        }
        let (Some(low), Some(bytes)) = (low, bytes) else {
            return Err(format!(
                "line low {low:?}, {heard} of {} bytes",
                self.take_away
            ));
        };
        Ok(Took {
            line_low: low.since(at),
            bytes: bytes.since(at),
        })
    }
}

fn open(wire: &Path) -> Result<File, String> {
    use std::os::unix::fs::OpenOptionsExt as _;
    let flags = (OFlags::NOCTTY | OFlags::NONBLOCK).bits();
    File::options()
        .write(true)
        .custom_flags(i32::try_from(flags).map_err(|e| e.to_string())?)
        .open(wire)
        .map_err(|e| format!("{}: {e}", wire.display()))
}

/// A loop that takes all of the processor that nobody with more right to it wants.
fn busy_until(stop: &Arc<AtomicBool>) -> std::thread::JoinHandle<()> {
    let stop = Arc::clone(stop);
    std::thread::spawn(move || {
        as_all_others();
        let mut x = 1_u64;
        while !stop.load(Ordering::Relaxed) {
            x = std::hint::black_box(x.wrapping_mul(6_364_136_223_846_793_005) | 1);
        }
    })
}
