//! Torch parts are changed in the middle of a job: the run goes on and ends whole, and what each part
//! has been through is counted right, whatever becomes of the panel meanwhile.

use std::path::Path;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::killed::{OwnTable, panel, start};
use crate::rig::{Ran, assert_whole, number, practise, standclear};

fn events(state: &Path) -> Vec<Value> {
    let log = Ran::of(
        standclear()
            .args(["log", "--format", "json", "--state"])
            .arg(state),
    );
    // Before the first record there is no journal yet.
    let told: Value = serde_json::from_str(&log.stdout).unwrap_or_default();
    told["events"].as_array().cloned().unwrap_or_default()
}

fn places(events: &[Value], name: &str) -> Vec<usize> {
    let named = events.iter().enumerate().filter(|(_, e)| e["name"] == name);
    named.map(|(at, _)| at).collect()
}

/// What nozzle and electrode have been through by the panel's own count of this journal.
fn counted(state: &Path) -> process::Set {
    let new = process::Set {
        starts: 0.0,
        minutes: 0.0,
        losses: 0.0,
        ..standclear::config::Config::built_in()
            .supplies
            .expect("the built-in machine file reckons with wear")
    };
    standclear::journal::counted(state, Some(new)).expect("a journal")
}

/// The counts of new parts are the fires and the arcs after the change: no more and no fewer.
#[track_caller]
fn counts_begin_at(events: &[Value], changed: usize, state: &Path) {
    let after = &events[changed..];
    let fires = places(after, "fire-asked").len();
    let arc_s: f64 = after
        .iter()
        .filter(|e| e["name"] == "arc-off")
        .map(|e| number(&e["fields"]["arc_s"]))
        .sum();
    let counts = counted(state);
    assert!(fires > 0, "nothing was cut with the new parts");
    assert_eq!(counts.starts, fires as f64, "{counts:?}");
    assert!(
        (counts.minutes * 60.0 - arc_s).abs() < 0.01,
        "{counts:?}, {arc_s} s by the record"
    );
    assert_eq!(counts.losses, 0.0, "the arc was lost with the old parts");
}

#[test]
fn parts_changed_at_a_lost_arc_begin_anew_and_the_cut_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().to_str().expect("a plain path");
    let ran = practise(&[
        "--fault",
        "arc-lost@2:60",
        "--change-parts",
        "--state",
        state,
    ]);
    let told = assert_whole(&ran);
    assert_eq!(told["holds"].as_array().map(Vec::len), Some(1), "{told:#}");

    let events = events(folder.path());
    let order = [
        "held",
        "change-begun",
        "source-isolated",
        "parts-changed",
        "source-back",
        "contact-tested",
        "change-ended",
        "run-ended",
    ];
    let at: Vec<usize> = order
        .iter()
        .map(|name| {
            *places(&events, name)
                .first()
                .unwrap_or_else(|| panic!("no {name}"))
        })
        .collect();
    assert!(at.is_sorted(), "{order:?} at {at:?}");
    let changed = &events[at[3]]["fields"];
    assert!(
        changed.to_string().contains(r#"["nozzle","electrode"]"#),
        "{changed}"
    );
    counts_begin_at(&events, at[3], folder.path());
    // Nothing fires while a change is open.
    assert_eq!(
        places(&events[at[1]..at[6]], "fire-asked"),
        Vec::<usize>::new()
    );
}

#[test]
fn a_panel_killed_in_the_middle_of_a_change_keeps_the_counts_and_wants_the_parts_tried() {
    let mut own = OwnTable::at_speed("5");
    let (dir, state, hands) = (&own.dir, &own.state, &mut own.hands);
    let mut first = start(panel(dir, state).args(["--change-parts", "--fault", "arc-lost@2:60"]));
    let end = Instant::now() + Duration::from_secs(120);
    while places(&events(state), "parts-changed").is_empty() {
        let ended = first.0.try_wait().expect("it can be asked");
        assert_eq!(ended, None, "it ended before it changed parts");
        assert!(Instant::now() < end, "parts are never changed");
    }
    first.0.kill().expect("SIGKILL");
    first.0.wait().expect("reaped");
    let before = events(state);
    let changed = places(&before, "parts-changed")[0];
    println!("{} records after the change", before.len() - changed - 1);
    let tried = !places(&before[changed..], "contact-tested").is_empty();

    assert_whole(&Ran::of(&mut panel(dir, state)));
    let truth = hands.truth().expect("the table answers");
    assert_eq!(truth.violations, Vec::<String>::new());
    let events = events(state);
    assert_eq!(
        &events[..before.len()],
        &before[..],
        "what was recorded stays"
    );
    counts_begin_at(&events, changed, state);
    let fired = places(&events, "fire-asked").into_iter();
    let next = fired.filter(|at| *at > changed).min().expect("it went on");
    let tests = places(&events[changed..next], "contact-tested");
    assert!(tried || !tests.is_empty(), "it fired with parts not tried");
    let said = places(&events, "parts-changed");
    for again in &said[1..] {
        let fields = events[*again]["fields"].to_string();
        assert!(
            !fields.contains("nozzle"),
            "counts began anew twice: {fields}"
        );
    }
}
