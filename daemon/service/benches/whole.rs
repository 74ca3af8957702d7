//! From the text of a program to a prepared one, as command and service do it: read, placed, predicted
//! and vetted by every rule on two threads, with the built-in machine file and its chart. By the wall's
//! clock, the best of several runs, and the most memory held besides the text.
//!
//!     cargo bench -p standclear --bench whole            all
//!     cargo bench -p standclear --bench whole -- blocks  one, in this process (for a profiler)
#![allow(missing_docs, reason = "a benchmark")]

#[path = "../../program/benches/programs/clock.rs"]
mod clock;
#[path = "../../program/benches/programs/mod.rs"]
mod programs;

use std::sync::Arc;

use program::Setup;
use standclear::config::Config;
use standclear::job::unwatched;

const RUNS: usize = 5;

type Workload = (&'static str, fn() -> String, fn() -> Setup);

const WORKLOADS: [Workload; 2] = [
    (
        "blocks",
        || programs::blocks(programs::BLOCKS),
        programs::blocks_setup,
    ),
    ("cuts", programs::wavy, programs::wavy_setup),
];

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
    for (name, text, setup) in WORKLOADS.iter().filter(|w| w.0 == wanted) {
        let (config, text, mut setup) = (Config::built_in(), text(), setup());
        let row = config
            .chart
            .iter()
            .find(|r| r.material == setup.material && r.thickness_mm == setup.thickness);
        setup.chart = Some(row.expect("a row for this sheet").name.clone());
        let text: Arc<[u8]> = text.into_bytes().into();
        let before_mb = clock::peak_mb();
        let (mut best, mut held, mut told) = (f64::INFINITY, 0.0, String::new());
        for run in 0..RUNS {
            let start = std::time::Instant::now();
            let prepared = unwatched(&config, name, Arc::clone(&text), Some(setup.clone()), false);
            best = best.min(start.elapsed().as_secs_f64());
            if run == 0 {
                held = clock::peak_mb() - before_mb;
            }
            let report = &prepared.report;
            told = format!(
                "{:?}, {} cuts, {} findings, {:.0} s predicted, {} rules not judged",
                report.verdict,
                report.cuts,
                report.findings.len(),
                report.time_s.expect("predicted"),
                report.not_judged.len()
            );
        }
        println!(
            "{name}: {:.1} MB of text; {best:.2} s, {held:.0} MB besides the text; {told}",
            text.len() as f64 / 1048576.0
        );
    }
}
