//! The journal tells the story of a run.

use serde_json::Value;

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
