//! What reading and vetting cost as programs and setups grow: the curve of each family, with the
//! exponent of its growth. Ends with an error when one grows faster than n to the power of
//! [`MOST`] (n log n over a doubling at these sizes is about n to the 1.1).
//!
//!     cargo bench -p program --bench growth                 every family
//!     cargo bench -p program --bench growth -- rings tabs   those with one of these words
//!     cargo bench -p program --bench growth -- rings at=400 where the time goes at that size
#![allow(
    missing_docs,
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a benchmark reads the clock and prints what it has measured"
)]

#[path = "programs/clock.rs"]
mod clock;
#[path = "programs/families.rs"]
mod families;
#[path = "programs/phases.rs"]
mod phases;
#[path = "programs/mod.rs"]
mod programs;

use clock::on_processor_s;
use families::{ALL, Family};
use phases::Phases;
use program::Judging;
use programs::{hot, input};

/// Cost may grow as n to this power.
const MOST: f64 = 1.3;
/// A curve is drawn from its least size on, doubling, until one run takes so long, s...
const LONG_S: f64 = 0.5;
/// ... but over so many sizes at least and no more than these; its exponent is that of the last four.
const SIZES: core::ops::RangeInclusive<usize> = 5..=13;
/// A run longer than this is stopped being enlarged whatever the number of sizes, s.
const STALL_S: f64 = 4.0;

fn main() -> std::process::ExitCode {
    let (at, wanted): (Vec<String>, Vec<String>) = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with('-'))
        .partition(|a| a.starts_with("at="));
    let at: Option<usize> = at.first().and_then(|a| a["at=".len()..].parse().ok());
    let mut failed = Vec::new();
    for family in ALL {
        let named = wanted.is_empty() || wanted.iter().any(|w| family.name.contains(w.as_str()));
        if let (true, Some(size)) = (named, at) {
            told(family, size);
        } else if named && curve(family) > MOST {
            failed.push(family.name);
        }
    }
    if failed.is_empty() {
        return std::process::ExitCode::SUCCESS;
    }
    println!("grow faster than n to the {MOST}: {}", failed.join("; "));
    std::process::ExitCode::FAILURE
}

/// Draws a family's curve; its exponent.
fn curve(family: &Family) -> f64 {
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut size = family.least;
    print!("{:<44}", family.name);
    while points.len() < *SIZES.end() {
        let (text, setup) = (family.make)(size);
        // A larger program is refused unread.
        if text.len() > program::LARGEST_BYTES {
            break;
        }
        let seconds = cost(&text, &setup);
        print!(" {size}:{:.1}ms", seconds * 1e3);
        points.push((size as f64, seconds));
        let enough = points.len() >= *SIZES.start() && seconds > LONG_S;
        if enough || seconds > STALL_S {
            break;
        }
        size *= 2;
    }
    let last = &points[points.len().saturating_sub(4)..];
    // One point makes no curve: the least size was too much already.
    let exponent = if last.len() < 2 {
        f64::INFINITY
    } else {
        exponent(last)
    };
    println!(
        "  n^{exponent:.2}{}",
        if exponent > MOST { "  TOO FAST" } else { "" }
    );
    exponent
}

/// Prints where the time goes at one size.
fn told(family: &Family, size: usize) {
    let (text, setup) = (family.make)(size);
    let hot = hot(0);
    let start = on_processor_s();
    let reading = program::read(text.as_bytes(), &program::ReadingRules::default());
    let read_s = on_processor_s() - start;
    let input = input(&setup, 1.5, &hot);
    let watch = Phases::default();
    let judging = Judging::new(&reading, &input, &watch);
    let mut rules = judging.rules();
    let found = judging.judge(|| rules.pop_front());
    let report = judging.whole([found]).report;
    println!(
        "{} at {size}: read {:.1} ms, {} findings",
        family.name,
        read_s * 1e3,
        report.findings.len()
    );
    println!("  {}", watch.shown(0.01));
}

/// The slope of the least-squares line through the logarithms.
fn exponent(points: &[(f64, f64)]) -> f64 {
    let logs = || points.iter().map(|(n, t)| (n.ln(), t.ln()));
    let count = points.len() as f64;
    let (mx, my) = logs().fold((0.0, 0.0), |s, (x, y)| (s.0 + x / count, s.1 + y / count));
    let (mut over, mut under) = (0.0, 0.0);
    for (x, y) in logs() {
        over += (x - mx) * (y - my);
        under += (x - mx) * (x - mx);
    }
    over / under
}

/// The best of several runs, s of processor time.
fn cost(text: &str, setup: &program::Setup) -> f64 {
    let hot = hot(0);
    let rules = program::ReadingRules::default();
    let once = || {
        let before = on_processor_s();
        let report = program::vet(
            &program::read(text.as_bytes(), &rules),
            &input(setup, 1.5, &hot),
        );
        std::hint::black_box(report);
        on_processor_s() - before
    };
    let mut best = once();
    for _ in 0..2 {
        if best < 1.0 {
            best = best.min(once());
        }
    }
    best
}
