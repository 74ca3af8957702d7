//! Jobs of chance: a seed draws the program, what goes wrong, the wire and the operators, and every
//! job is watched at every step and settled with the table's ledger at its end.
//!
//! `STANDCLEAR_SEEDS=17` repeats one seed, `STANDCLEAR_SEEDS=1-10000` runs many; those above 10,000
//! draw odd shapes as well, those above 20,000 everything that does not obey, those above 2,000,000,000
//! keys that move the torch by hand, those above 4,000,000,000 the controller's dialect. `tests/seeds`
//! draws new ones and keeps those that fail.

pub mod account;
pub mod case;
mod ends;
mod odd;
mod programs;
mod requests;
pub mod restless;
pub mod wishes;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use case::Case;
use wishes::Seen;

/// Seeds that run when none are named.
const SEEDS: [(u64, u64); 5] = [
    (1, 150),
    (programs::ODD_ABOVE + 1, programs::ODD_ABOVE + 150),
    // Everything that does not obey.
    (20_101, 20_200),
    // And keys that move the torch by hand.
    (case::HANDS_ABOVE + 1, case::HANDS_ABOVE + 60),
    // And controllers that speak another dialect.
    (case::DIALECTS_ABOVE + 1, case::DIALECTS_ABOVE + 60),
];
/// Seeds that once showed a mistake, and which.
const SHOWN: [(u64, &str); 9] = [
    (
        3065,
        "held on the way home after the job was ended in mid-cut: told as nothing cut",
    ),
    (
        12_403,
        "taken from a mark of the datum check to park, the torch was still believed to stand over it",
    ),
    (
        10_594,
        "an arc stuck on over a lost line burned to where the torch stood, and that was not believed",
    ),
    (
        5066,
        "a cut lost on its own lead-in was led into along that",
    ),
    (
        5789,
        "left as a tab where nobody knew how much of the path was still uncut",
    ),
    (
        3666,
        "an arc stuck on over a dead panel burned further than the next one believed",
    ),
    (
        819,
        "killed before the place of a hold was settled: cut again further than was told",
    ),
    (
        2266,
        "at the end of a full circle the torch was taken for one that had never moved",
    ),
    (
        1164,
        "a collision while a hold braked a traverse went unseen",
    ),
];

/// Which requests were made at which states of a job; or what went wrong in it.
fn run(case: &Case) -> Result<Seen, String> {
    catch_unwind(AssertUnwindSafe(|| case.run())).unwrap_or_else(|panic| {
        let says = panic
            .downcast_ref::<String>()
            .cloned()
            .or_else(|| panic.downcast_ref::<&str>().map(|s| (*s).to_owned()));
        Err(format!("panicked: {}", says.unwrap_or_default()))
    })
}

/// The simplest case of that seed that still goes wrong, and how.
fn simplest(case: Case, mut why: String) -> (Case, String) {
    let mut simplest = case;
    while let Some((simpler, says)) = simplest
        .simpler()
        .into_iter()
        .find_map(|c| run(&c).err().map(|says| (c, says)))
    {
        (simplest, why) = (simpler, says);
    }
    (simplest, why)
}

/// The seeds that a variable of the environment names, if it is there: `17`, or `1-10000`.
pub fn seeds_of(variable: &str) -> Option<Vec<u64>> {
    let named = std::env::var(variable).ok()?;
    let (from, to) = named.split_once('-').unwrap_or((&named, &named));
    let number = |s: &str| {
        s.trim()
            .parse::<u64>()
            .expect("a seed, or two as in 1-10000")
    };
    Some((number(from)..=number(to)).collect())
}

/// Seeds that `tests/seeds` has kept.
fn kept() -> Vec<u64> {
    let lines = include_str!("kept.txt").lines();
    let said = lines.filter(|l| !l.starts_with('#') && !l.trim().is_empty());
    said.filter_map(|l| l.split_whitespace().next())
        .map(|seed| {
            seed.parse()
                .expect("a seed at the beginning of each line of kept.txt")
        })
        .collect()
}

/// Writes a seed that failed into the file that `STANDCLEAR_KEEP` names, if it is not there.
fn keep(seed: u64) {
    let Ok(path) = std::env::var("STANDCLEAR_KEEP") else {
        return;
    };
    let mut text = std::fs::read_to_string(&path).unwrap_or_default();
    let there = text
        .lines()
        .any(|l| l.split_whitespace().next() == Some(&seed.to_string()));
    if !there {
        text.push_str(&format!("{seed}\n"));
        std::fs::write(&path, text).expect("the file of kept seeds can be written");
    }
}

fn seeds() -> Vec<u64> {
    seeds_of("STANDCLEAR_SEEDS").unwrap_or_else(|| {
        let shown = SHOWN.iter().map(|(seed, _)| *seed).chain(kept());
        let drawn = SEEDS.iter().flat_map(|(from, to)| *from..=*to);
        shown.chain(drawn).collect()
    })
}

#[test]
fn random_jobs_end_as_the_ledger_and_the_journal_both_say() {
    let seeds = seeds();
    let next = AtomicU64::new(0);
    let failed = Mutex::new(Vec::new());
    let began = std::time::Instant::now();
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let k = next.fetch_add(1, Ordering::Relaxed) as usize;
                    let Some(seed) = seeds.get(k) else {
                        return;
                    };
                    if k > 0 && k.is_multiple_of(500) {
                        let minutes = began.elapsed().as_secs_f64() / 60.0;
                        eprintln!("{k} jobs, {:.0} a minute", k as f64 / minutes);
                    }
                    let case = Case::of(*seed);
                    if seeds.len() == 1 {
                        eprintln!("{case:?}");
                    }
                    if let Err(why) = run(&case) {
                        let first = why.lines().next().unwrap_or_default();
                        let second = why.lines().nth(1).unwrap_or_default();
                        eprintln!("seed {seed} fails: {first}{second}\n{case:?}");
                        if seeds.len() == 1 {
                            eprintln!("{why}");
                        }
                        let (case, why) = simplest(case, why);
                        eprintln!(
                            "{case:?}\n{why}\nAgain: STANDCLEAR_SEEDS={seed} cargo test --test \
                             simulation random_jobs -- --nocapture\n"
                        );
                        let mut failed = failed.lock().expect("no panic");
                        keep(*seed);
                        failed.push(*seed);
                    }
                }
            });
        }
    });
    let mut failed = failed.into_inner().expect("no panic");
    failed.sort_unstable();
    let minutes = began.elapsed().as_secs_f64() / 60.0;
    eprintln!(
        "{} jobs, {:.0} a minute",
        seeds.len(),
        seeds.len() as f64 / minutes
    );
    assert!(failed.is_empty(), "{} seeds: {failed:?}", failed.len());
}
