//! Whole jobs with a controller that speaks `quill`: no numbers, no checks, no reports unasked, no
//! byte that puts the torch out, no sensing circuit that could be switched, nothing stamped.

use std::time::Duration;

use control::{Ask, Cause, PressId};
use simulator::Tongue;
use simulator::harness::{FaultKind, FaultSpec};
use standclear::config::Config;
use standclear::practice::table;

use crate::jobs::{fault, finish_whole, square};
use crate::world::World;

/// The practice table's machine file with this dialect, as a person would write it.
fn written(dialect: &str, more: &str) -> Result<Config, String> {
    let root = env!("CARGO_MANIFEST_DIR");
    let dir = tempfile::tempdir().expect("a folder");
    let own = dir.path().join("own.toml");
    std::fs::write(&own, dialect).expect("written");
    let text = std::fs::read_to_string(format!("{root}/config/machines/practice.toml"))
        .expect("read")
        .replace("../dialects/plain.toml", &own.display().to_string())
        .replace("../charts", &format!("{root}/config/charts"));
    let file = dir.path().join("machine.toml");
    std::fs::write(&file, text + more).expect("written");
    Config::load(&file).map_err(|e| e.to_string())
}

const QUILL: &str = include_str!("../../config/dialects/quill.toml");
const AGE: &str = "\n[arc_signal]\nreports_ms = 56\n";

#[test]
fn reports_that_are_older_than_the_machine_file_says_are_refused_where_nothing_is_stamped() {
    let wrong = written(QUILL, "").expect_err("26 ms of age, and asked every 50 ms");
    assert!(wrong.contains("arc_signal.reports_ms"), "{wrong}");
    assert!(written(QUILL, AGE).is_ok());
    let quick = QUILL.replace("every_ms = 50", "every_ms = 20");
    assert!(written(&quick, "").is_ok());
}

#[test]
fn practice_speaks_as_the_machine_file_says_or_refuses() {
    let told = |text: &str| table::tongue(&written(text, AGE).expect("a machine file"));
    assert_eq!(told(QUILL), Ok(Tongue::Quill));
    let other = QUILL.replace("name = \"quill\"", "name = \"other\"");
    let why = told(&other).expect_err("nobody speaks it");
    assert!(why.contains("`other`"), "{why}");
}

fn world(faults: &[FaultSpec]) -> World {
    let config = Config::built_in_quill();
    let job = square(&config);
    World::new(config, job, 1, faults)
}

#[test]
fn a_sheet_is_cut_whole() {
    let world = finish_whole(world(&[]), &[]);
    assert!(world.view().holds.is_empty(), "{}", world.story(60));
}

/// Stopped as one of these causes, and gone on with until all is cut.
#[track_caller]
fn recovered(kind: FaultKind, at: Option<f64>, causes: &[Cause]) {
    let faults = [fault(kind, 2, at)];
    let world = finish_whole(world(&faults), &faults);
    let view = world.view();
    let told = view.holds.iter().any(|h| causes.contains(&h.cause))
        || view.retries.iter().any(|r| causes.contains(&r.cause));
    assert!(told, "{kind:?}\n{}", world.story(60));
}

#[test]
fn a_lost_arc_is_told_no_nearer_than_it_was_and_gone_on_with() {
    recovered(FaultKind::ArcLost, Some(12.0), &[Cause::ArcLost]);
}

#[test]
fn an_arc_that_never_came_is_gone_on_with() {
    recovered(FaultKind::NoArc, None, &[Cause::NoArc]);
}

#[test]
fn an_emergency_stop_is_gone_on_with() {
    recovered(FaultKind::Estop, Some(8.0), &[Cause::Estop]);
}

#[test]
fn a_cut_cable_is_gone_on_with() {
    recovered(FaultKind::LinkCut, Some(8.0), &[Cause::LinkCut]);
}

#[test]
fn a_controller_that_starts_anew_is_gone_on_with() {
    // It is silent for longer than the link may be before it greets.
    let silent = [Cause::LinkCut, Cause::ControllerReset];
    recovered(FaultKind::ControllerReset, Some(8.0), &silent);
}

#[test]
fn hold_in_mid_cut_stops_it_and_the_rest_is_cut() {
    let mut world = world(&[]);
    let end = world.now + Duration::from_secs(120);
    while !world.permitting() {
        world.turn();
        assert!(world.now < end, "{}", world.story(60));
    }
    for _ in 0..500 {
        world.turn();
    }
    world.ask(Ask::Hold {
        press: Some(PressId(1)),
    });
    finish_whole(world, &[]);
}
