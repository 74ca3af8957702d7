//! Whole jobs with a controller that speaks `quill`: no numbers, no checks, no reports unasked, no
//! byte that puts the torch out, no sensing circuit that could be switched, nothing stamped.

use std::time::Duration;

use control::view::{ChangeStep, Phase};
use control::{Answer, Ask, Cause, Effect, Event, HandAxis, HandMove, Input, Part, PressId};
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

#[test]
fn a_controller_that_cannot_touch_off_or_reference_its_axes_is_refused_for_nothing_can_be_cut() {
    let plain = include_str!("../../config/dialects/plain.toml");
    for (left_out, key) in [
        ("touch_off = \"", "commands.touch_off"),
        ("home = \"home\"", "commands.home"),
    ] {
        let lines = plain.lines().filter(|l| !l.starts_with(left_out));
        let less = lines.collect::<Vec<_>>().join("\n");
        assert_ne!(less.len(), plain.len() - 1, "{key} was there");
        let wrong = written(&less, "").expect_err("it has no words for that");
        assert!(wrong.contains(key), "{wrong}");
    }
}

#[test]
fn touch_offs_are_not_skipped_where_nothing_watches_the_way_down() {
    let skips = format!("{AGE}\n[cycle]\nskip_touch_mm = 40\n");
    let wrong = written(QUILL, &skips).expect_err("the sensing circuit cannot be switched");
    assert!(wrong.contains("cycle.skip_touch_mm"), "{wrong}");
    let plain = include_str!("../../config/dialects/plain.toml");
    assert!(written(plain, &skips).is_ok());
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

fn turn_until(world: &mut World, what: impl Fn(&World) -> bool) {
    let end = world.now + Duration::from_secs(120);
    while !what(world) {
        world.turn();
        assert!(world.now < end, "{}", world.story(60));
    }
}

fn held_in_mid_cut() -> World {
    let mut world = world(&[]);
    let lit = |(_, e, _): &(_, Event, _)| matches!(e, Event::ArcOn { .. });
    turn_until(&mut world, |w| w.events.iter().any(lit));
    for _ in 0..500 {
        world.turn();
    }
    world.ask(Ask::Hold {
        press: Some(PressId(1)),
    });
    world
}

#[test]
fn hold_in_mid_cut_stops_it_and_the_rest_is_cut() {
    finish_whole(held_in_mid_cut(), &[]);
}

#[test]
fn new_torch_parts_are_tried_by_the_sheet_for_no_hand_can_close_a_circuit_that_is_off() {
    let mut world = held_in_mid_cut();
    world.nobody_asks = true;
    turn_until(&mut world, |w| w.view().phase == Phase::Held);
    let step = |w: &World| w.view().change.map(|c| c.step);
    world.ask(Ask::ChangeBegin);
    turn_until(&mut world, |w| step(w) == Some(ChangeStep::Isolate));
    world.ask(Ask::ChangeIsolated);
    world.ask(Ask::ChangeParts {
        parts: vec![Part::Nozzle],
        set: None,
    });
    assert_eq!(
        step(&world),
        Some(ChangeStep::Source),
        "{:?}",
        world.view().change
    );
    world.ask(Ask::ChangeSourceOn);
    world.ask(Ask::ChangeTouch);
    turn_until(&mut world, |w| step(w) == Some(ChangeStep::Done));
    assert!(world.view().parts.tested, "{}", world.story(40));
    world.nobody_asks = false;
    finish_whole(world, &[]);
}

#[test]
fn the_torch_is_not_brought_down_by_hand_where_no_contact_would_be_seen() {
    let mut world = held_in_mid_cut();
    world.nobody_asks = true;
    turn_until(&mut world, |w| w.view().phase == Phase::Held);
    let mut moved = |axis, forward, press| {
        let asked = HandMove {
            axis,
            forward,
            press: PressId(press),
            step_mm: Some(1.0),
        };
        let id = control::AskId(press);
        let generation = world.machine.generation();
        let ask = Ask::HandMove(asked);
        let effects = world.machine.step(
            world.now,
            Input::Ask {
                id,
                generation,
                ask,
            },
        );
        effects.0.into_iter().find_map(|e| match e {
            Effect::Answer { answer, .. } => Some(answer),
            _ => None,
        })
    };
    let down = moved(HandAxis::Z, false, 5);
    let refused =
        |a: &Answer| matches!(a, Answer::Refused { reason, .. } if reason == "no-contact-seen");
    assert!(down.as_ref().is_some_and(refused), "{down:?}");
    assert_eq!(moved(HandAxis::Z, true, 6), Some(Answer::Accepted));
}
