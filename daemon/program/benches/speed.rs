//! Where the time of reading and vetting goes, by phase, and how much memory it takes: for a million
//! blocks and for 10,010 cuts with everything known, so that every rule judges, and for hostile
//! programs of 64 MiB. Times are of the processor, the best of several runs; the yardstick is looking
//! at every byte once.
//!
//!     cargo bench -p program --bench speed                   all
//!     cargo bench -p program --bench speed -- blocks         one, in this process (for a profiler)
#![allow(
    missing_docs,
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a benchmark reads the clock, runs threads and prints what it has measured"
)]

#[path = "programs/clock.rs"]
mod clock;
#[path = "programs/phases.rs"]
mod phases;
#[path = "programs/mod.rs"]
mod programs;

use clock::{on_processor_s, peak_mb};
use phases::Phases;
use program::{Judging, ReadingRules, Setup, Unwatched, Vetting, read};
use programs::{hot, input};

const RUNS: usize = 5;

/// Name, program, setup, kerf.
type Workload = (&'static str, fn() -> String, fn() -> Setup, f64);

const WORKLOADS: &[Workload] = &[
    (
        "blocks",
        || programs::blocks(programs::BLOCKS),
        programs::blocks_setup,
        1.45,
    ),
    ("cuts", programs::wavy, programs::wavy_setup, 1.5),
    (
        "hostile: short blocks",
        || hostile("X1\nY1\n", "X2\nY3\n"),
        programs::blocks_setup,
        1.5,
    ),
    (
        "hostile: arcs",
        || hostile("G3X1Y0I-1\n", "G2X1Y0I-1\n"),
        programs::blocks_setup,
        1.5,
    ),
    (
        "hostile: torch words",
        || hostile("M3\nM5\n", "M3\nM5\n"),
        programs::blocks_setup,
        1.5,
    ),
    (
        "hostile: noise",
        || hostile("X1,#Y\n", "(a(b)\n"),
        programs::blocks_setup,
        1.5,
    ),
    (
        "hostile: comments",
        || hostile("(qty 5 parts)\n", ";600 x 400\n"),
        programs::blocks_setup,
        1.5,
    ),
    (
        "hostile: long lines",
        || hostile("X1Y", "1F1G1"),
        programs::blocks_setup,
        1.5,
    ),
    (
        "hostile: small squares",
        squares,
        programs::blocks_setup,
        1.5,
    ),
    (
        "hostile: empty lines",
        || hostile("\n", "\n"),
        programs::blocks_setup,
        1.5,
    ),
];

/// 64 MiB of two pieces in turn.
fn hostile(one: &str, other: &str) -> String {
    let mut text = "G21 G90 F1100\nG0 X5 Y5\nM3\nG1\n".to_owned();
    while text.len() + 40 < 64 << 20 {
        text.push_str(one);
        text.push_str(other);
    }
    text.push_str("\nM5\nM2\n");
    text
}

fn squares() -> String {
    let mut text = "G21 G90 F1100\n".to_owned();
    let mut k = 0_u32;
    while text.len() + 100 < 64 << 20 {
        let (x, y) = (f64::from(k % 1200), f64::from(k / 1200 % 1200));
        text.push_str(&format!(
            "G0X{x}Y{y}\nM3\nG1X{}\nY{}\nX{x}\nY{y}\nM5\n",
            x + 1.0,
            y + 1.0
        ));
        k += 1;
    }
    text.push_str("M2\n");
    text
}

fn main() {
    let wanted = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let Some(wanted) = wanted else {
        // Each in a process of its own: a process never gives back what it has held at most.
        let own = std::env::current_exe().expect("this program's own path");
        for (name, ..) in WORKLOADS {
            let status = std::process::Command::new(&own).arg(name).status();
            assert!(status.is_ok_and(|s| s.success()), "{name} failed");
        }
        return;
    };
    for workload in WORKLOADS.iter().filter(|w| w.0 == wanted) {
        measure(workload);
    }
}

fn measure(&(name, text, setup, kerf): &Workload) {
    let (text, setup) = (text(), setup());
    let rules = ReadingRules::default();
    let start = on_processor_s();
    let lines = text.bytes().filter(|&b| b == b'\n').count();
    let yardstick = on_processor_s() - start;
    let before_mb = peak_mb();
    let hostile = name.starts_with("hostile");
    let (mut best_read, mut best_vet, mut phases) = (f64::INFINITY, f64::INFINITY, String::new());
    let mut side_by_side = f64::INFINITY;
    let mut told = String::new();
    for run in 0..if hostile { 1 } else { RUNS } {
        let start = on_processor_s();
        let reading = read(text.as_bytes(), &rules);
        best_read = best_read.min(on_processor_s() - start);
        let hot = hot(reading.cut_list.cuts.len());
        let input = input(&setup, kerf, &hot);
        let watch = Phases::default();
        let start = on_processor_s();
        let judging = Judging::new(&reading, &input, &watch);
        let mut rules = judging.rules();
        let found = judging.judge(|| rules.pop_front());
        let vetting = judging.whole([found]);
        let took = on_processor_s() - start;
        told = summary(&vetting);
        drop(vetting);
        if took < best_vet {
            best_vet = took;
            phases = watch.shown(0.01);
        }
        if run == 0 {
            println!(
                "{name}: {:.1} MB of text, {lines} lines; at most {:.0} MB held besides the text; {told}",
                text.len() as f64 / 1048576.0,
                peak_mb() - before_mb
            );
        }
        if !hostile {
            let start = std::time::Instant::now();
            let judging = Judging::new(&reading, &input, &Unwatched);
            let rules = std::sync::Mutex::new(judging.rules());
            let rules = || rules.lock().expect("no panic");
            let found = std::thread::scope(|s| {
                let one = s.spawn(|| judging.judge(|| rules().pop_front()));
                let other = judging.judge(|| rules().pop_back());
                [one.join().expect("no panic"), other]
            });
            drop(judging.whole(found));
            side_by_side = side_by_side.min(start.elapsed().as_secs_f64());
        }
    }
    println!(
        "  looking at every byte {:.0} ms, read {:.0} ms, vet {:.0} ms, both {:.0} ms; vet on two threads {:.0} ms by the wall's clock",
        yardstick * 1e3,
        best_read * 1e3,
        best_vet * 1e3,
        (best_read + best_vet) * 1e3,
        side_by_side * 1e3
    );
    println!("  {phases}");
    assert!(!told.is_empty());
}

fn summary(vetting: &Vetting) -> String {
    let report = &vetting.report;
    format!(
        "{:?}, {} cuts, {} findings, {} runs of metal",
        report.verdict,
        report.cuts,
        report.findings.len(),
        vetting.pieces.as_ref().map_or(0, |p| p.runs())
    )
}
