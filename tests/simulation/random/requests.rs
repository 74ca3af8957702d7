//! Each request at each state of the machine: HOLD, hold after this cut, go on, leave this cut and end
//! the job, at every step of a job, of its stops and second tries and of a change of torch parts. Each
//! job is watched and settled as any job of chance, and a cell that was never come to fails.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::case::Case;
use super::run;
use super::wishes::{CELLS, Seen, never};

/// A cell that a seed did not come to, because somebody left a change of parts early, is tried with so
/// many others.
const ROUNDS: u64 = 8;

/// Runs these seeds; what went wrong.
fn round(seeds: &[u64], seen: &Mutex<Seen>) -> Vec<String> {
    let next = AtomicUsize::new(0);
    let wrong = Mutex::new(Vec::new());
    let work = || {
        while let Some(seed) = seeds.get(next.fetch_add(1, Ordering::Relaxed)) {
            let case = Case::asking(*seed);
            match run(&case) {
                Ok(cells) => {
                    let mut seen = seen.lock().expect("no panic");
                    for (cell, times) in cells {
                        *seen.entry(cell).or_default() += times;
                    }
                }
                Err(why) => {
                    let told = format!("seed {seed}: {case:?}\n{why}");
                    wrong.lock().expect("no panic").push(told);
                }
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(work);
        }
    });
    wrong.into_inner().expect("no panic")
}

#[test]
fn every_request_at_every_state_is_answered_and_the_job_ends_as_it_is_told() {
    let seen = Mutex::new(Seen::new());
    let mut open: Vec<(u64, String)> = never(&Seen::new());
    for k in 0..ROUNDS {
        let seeds: Vec<u64> = open.iter().map(|(cell, _)| cell + k * CELLS).collect();
        let wrong = round(&seeds, &seen);
        let first = wrong.first().cloned().unwrap_or_default();
        assert!(wrong.is_empty(), "{} jobs: {first}", wrong.len());
        open = never(&seen.lock().expect("no panic"));
    }
    assert!(open.is_empty(), "{} never asked: {open:#?}", open.len());
}
