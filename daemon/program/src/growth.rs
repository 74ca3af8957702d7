//! What vetting costs must grow no faster than n log n as programs and setups grow. Judged by counts of
//! elementary operations (`work`), which are the same on every machine; `--bench growth` draws the
//! same families against the clock.

#[path = "../benches/programs/families.rs"]
mod families;
#[path = "../benches/programs/mod.rs"]
mod programs;

use std::collections::BTreeMap;

use families::{ALL, Family};
use programs::{hot, input};

use crate::work::by_phase;
use crate::{Judging, ReadingRules};

/// The whole may grow as n to this power: n log n over a doubling at these sizes is about n to the 1.1.
const MOST: f64 = 1.3;
/// So may a phase that takes this part of the whole or more: what is quadratic there would hide behind
/// the rest. The limit is wider, since what begins to lie near something as the sheet fills adds to it.
const PHASE_PART: f64 = 0.1;
const PHASE_MOST: f64 = 1.6;
/// Counting that counts nothing shows nothing: each thing takes at least so many operations.
const LEAST_EACH: u64 = 2;

/// The operations of reading and vetting, by phase.
fn costs(family: &Family, size: usize) -> BTreeMap<&'static str, u64> {
    let (text, setup) = (family.make)(size);
    let hot = hot(0);
    let phases = by_phase(|watch| {
        let reading = crate::read(text.as_bytes(), &ReadingRules::default());
        watch.phase("compensation");
        let reading = crate::compensated(reading, Some(1.5));
        let input = input(&setup, 1.5, &hot);
        let judging = Judging::new(&reading, &input, watch);
        let mut rules = judging.rules();
        let found = judging.judge(|| rules.pop_front());
        std::hint::black_box(judging.whole([found]));
    });
    let mut all = BTreeMap::new();
    for (phase, operations) in phases {
        *all.entry(phase).or_insert(0) += operations;
        *all.entry(WHOLE).or_insert(0) += operations;
    }
    all
}

const WHOLE: &str = "the whole";

/// What grows too fast in a family from one size to its double, in words.
fn too_fast(family: &Family) -> Vec<String> {
    let size = family.counted;
    let (small, large) = (costs(family, size), costs(family, 2 * size));
    let whole = large[WHOLE];
    assert!(whole > LEAST_EACH * size as u64, "{}: {whole}", family.name);
    let mut wrong = Vec::new();
    for (phase, after) in &large {
        let before = small.get(phase).copied().unwrap_or(0).max(1);
        let power = (*after as f64 / before as f64).log2();
        let most = if *phase == WHOLE { MOST } else { PHASE_MOST };
        if power > most && *after as f64 >= PHASE_PART * whole as f64 {
            wrong.push(format!(
                "{}: {phase}: {before} operations at {size}, {after} of {whole} at {}: n^{power:.2}",
                family.name,
                2 * size
            ));
        }
    }
    wrong
}

/// Families whose names begin so.
fn judged(kind: &str) {
    let of_kind = ALL.iter().filter(|f| f.name.starts_with(kind));
    let (mut families, mut wrong) = (0, Vec::new());
    for family in of_kind {
        families += 1;
        wrong.extend(too_fast(family));
    }
    assert!(families > 0, "no family is named {kind}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn cost_grows_no_faster_than_n_log_n_in_cuts() {
    judged("cuts");
}

#[test]
fn cost_grows_no_faster_than_n_log_n_in_contours() {
    judged("contours");
}

#[test]
fn cost_grows_no_faster_than_n_log_n_in_repeats() {
    judged("repeats");
}

#[test]
fn cost_grows_no_faster_than_n_log_n_in_keep_outs() {
    judged("keep-outs");
}

#[test]
fn cost_grows_no_faster_than_n_log_n_in_tabs() {
    judged("tabs");
}

#[test]
fn cost_grows_no_faster_than_n_log_n_in_used_areas() {
    judged("used areas");
}

#[test]
fn cost_grows_no_faster_than_n_log_n_in_compensated_contours_and_findings() {
    judged("compensated");
    judged("findings");
}
