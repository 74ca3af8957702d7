//! The journal tells the story of a run.

use control::trace::Level;
use serde_json::Value;
use standclear::traces;

use crate::rig::{Ran, assert_whole, practise, standclear};

#[test]
fn the_log_of_a_run_with_a_lost_arc_tells_the_story_in_order() {
    let state = tempfile::tempdir().expect("a folder");
    let dir = state.path().to_string_lossy().into_owned();
    assert_whole(&practise(&["--state", &dir, "--fault", "arc-lost@2:60"]));

    let log = Ran::of(
        standclear()
            .args(["log", "--state", &dir, "--run", "last"])
            .args(["--format", "json"]),
    );
    assert_eq!(log.code, Some(0), "{}", log.stderr);
    let told = log.json();
    let events = told["events"].as_array().cloned().unwrap_or_default();
    let names: Vec<&str> = events.iter().filter_map(|e| e["name"].as_str()).collect();
    let mut at = 0;
    for expected in [
        "run-started",
        "cut-started",
        "arc-on",
        "cut-done",
        "cut-started",
        "arc-on",
        "held",
        "resumed",
        "arc-on",
        "cut-done",
        "run-ended",
    ] {
        at += names[at..]
            .iter()
            .position(|n| *n == expected)
            .unwrap_or_else(|| panic!("no {expected} after {at} in {names:?}"))
            + 1;
    }
    let held: Vec<&Value> = events.iter().filter(|e| e["name"] == "held").collect();
    assert_eq!(held.len(), 1);
    assert!(held[0].to_string().contains("arc-lost"), "{}", held[0]);

    let text = Ran::of(standclear().args(["log", "--state", &dir]));
    assert_eq!(text.code, Some(0));
    assert!(text.stdout.lines().count() >= names.len());
}

#[test]
fn a_log_without_a_journal_says_so() {
    let state = tempfile::tempdir().expect("a folder");
    let dir = state.path().join("never").to_string_lossy().into_owned();
    let ran = Ran::of(standclear().args(["log", "--state", &dir]));
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains(&dir), "{}", ran.stderr);
}

/// The curves about a lost arc: the arc goes out while the torch is asked for, in the sample of the moment that
/// the journal tells, with what came before and after.
#[test]
fn the_trace_of_a_lost_arc_shows_the_arc_going_out_at_its_moment() {
    let state = tempfile::tempdir().expect("a folder");
    let dir = state.path().to_string_lossy().into_owned();
    assert_whole(&practise(&["--state", &dir, "--fault", "arc-lost@2:60"]));

    let names = traces::list(state.path());
    assert_eq!(names.len(), 1, "one fault, one trace: {names:?}");
    let text = traces::read(state.path(), names[0]).expect("it is there");
    let form: traces::Form = serde_json::from_slice(&text).expect("our form");
    let zero = form.faults_us[0] - form.from_us;
    let span = |to: Option<&u64>| to.copied().unwrap_or_default();
    assert!(zero > 5_000_000, "the cut before it is in it: {zero}");
    assert!(zero <= 20_000_000);
    assert!(
        span(form.t_us.last()) >= zero + 9_900_000,
        "ten seconds after it"
    );
    assert!(form.t_us.len() > 1000, "{} samples", form.t_us.len());

    let level = |level: Level, i: usize| {
        let bit = 1 << level as u16;
        (form.known[i] & bit != 0).then_some(form.on[i] & bit != 0)
    };
    let at = |us: u64| form.t_us.partition_point(|t| *t <= us) - 1;
    let before = at(zero - 1_000_000);
    assert_eq!(level(Level::ArcOk, before), Some(true), "it burnt");
    assert_eq!(level(Level::Fire, before), Some(true));
    assert_eq!(level(Level::Permit, before), Some(true));
    assert_eq!(level(Level::Hold, before), Some(false));
    assert_eq!(form.cut[before], 2);
    assert!(
        form.volts[before].is_some_and(|v| v > 60.0),
        "{:?}",
        form.volts[before]
    );
    assert!(form.speed_mm_s[before].is_some_and(|v| v > 1.0));
    let lost = (before..form.t_us.len())
        .find(|&i| level(Level::ArcOk, i) == Some(false))
        .expect("it went out");
    // The guard tells of it after its debounce and filter; the stop follows in the same step.
    let late_us = zero.saturating_sub(form.t_us[lost]);
    assert!(late_us < 300_000, "out {late_us} us before it was held");
    let after = at(zero + 500_000);
    assert_eq!(level(Level::Hold, after), Some(true));
    assert_eq!(level(Level::Permit, after), Some(false));
    assert!(form.height_mm[after] > form.height_mm[before], "it lifted");
}

#[test]
fn a_run_without_a_fault_leaves_no_trace() {
    let state = tempfile::tempdir().expect("a folder");
    let dir = state.path().to_string_lossy().into_owned();
    assert_whole(&practise(&["--state", &dir]));
    assert_eq!(traces::list(state.path()), []);
}
