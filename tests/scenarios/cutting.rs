//! Clean jobs.

use crate::rig::{PATIENT, Ran, assert_whole, number, practise, standclear};

#[test]
fn the_demo_sheet_is_cut_whole_and_on_time() {
    let ran = Ran::of(
        standclear()
            .args(["practice", "--headless", "--format", "json"])
            .args(["--speed", "100"])
            .args(PATIENT),
    );
    let told = assert_whole(&ran);
    assert_eq!(told["cuts"], 36);
    assert_eq!(told["pierces"], 36);
    assert_eq!(told["holds"], serde_json::json!([]));
    assert_eq!(told["retries"], serde_json::json!([]));
    let (planned, run) = (number(&told["planned_s"]), number(&told["run_s"]));
    assert!((planned - run).abs() <= 0.05 * run, "{planned} and {run}");
    assert!(number(&told["truth"]["recut_mm"]) < 36.0 * 4.0);
}

#[test]
fn the_same_seed_gives_the_same_run() {
    let once = practise(&["--seed", "7"]);
    let again = practise(&["--seed", "7"]);
    assert_whole(&once);
    assert_eq!(once.json(), again.json());
}

#[test]
fn a_program_that_cannot_be_opened_is_a_usage_error() {
    let ran = Ran::of(standclear().args(["practice", "/nowhere/at-all.nc", "--headless"]));
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("/nowhere/at-all.nc"), "{}", ran.stderr);
    assert_eq!(ran.stdout, "");
}
