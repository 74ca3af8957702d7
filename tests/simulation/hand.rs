//! The torch moved by hand on the simulated table: it moves only while somebody means it, and comes to
//! stand whatever fails.

use std::time::Duration;

use control::view::Phase;
use control::{Ask, Cause, HandAxis, HandMove, HandPlace, PressId};
use units::{Point, Time};

use crate::jobs::world;
use crate::world::{Who, World};

/// A key that is kept pressed asks again so often.
const RENEWS: Duration = Duration::from_millis(60);
/// The torch stands so long after the last renewal (screens handbook R17).
const STANDS: Duration = Duration::from_millis(200);

/// The axes are referenced, the place is confirmed, and nobody asks for anything more.
fn at_rest() -> World {
    let mut world = world(&[]);
    let end = world.now + Duration::from_secs(120);
    while world.now < end {
        world.turn();
        match world.view().phase {
            // From here on nobody else asks for anything.
            Phase::Homing => world.nobody_asks = true,
            _ if world.nobody_asks => {
                world.ask(Ask::ConfirmPlace);
                assert!(!world.view().doubtful, "{}", world.story(30));
                return world;
            }
            _ => {}
        }
    }
    panic!("never referenced\n{}", world.story(30));
}

fn key(axis: HandAxis, forward: bool, press: u64) -> HandMove {
    HandMove {
        axis,
        forward,
        press: PressId(press),
        step_mm: None,
    }
}

fn torch(world: &World) -> (Point, f64) {
    world.table.lock().expect("one thread").torch()
}

/// How far apart two places of the torch are.
fn apart(a: (Point, f64), b: (Point, f64)) -> f64 {
    a.0.distance(b.0).max((a.1 - b.1).abs())
}

fn turns(world: &mut World, until: Time) {
    while world.now < until {
        world.turn();
    }
}

/// Keeps a key pressed; the moment of the last renewal.
fn press(world: &mut World, asked: HandMove, time: Duration) -> Time {
    let end = world.now + time;
    let mut last = world.now;
    while world.now < end {
        last = world.now;
        world.ask(Ask::HandMove(asked));
        let next = world.now + RENEWS;
        turns(world, next);
    }
    last
}

/// It stands from now on.
fn stays(world: &mut World) {
    let there = torch(world);
    let end = world.now + Duration::from_secs(3);
    while world.now < end {
        world.turn();
        let off = apart(torch(world), there);
        assert!(off < 1e-6, "moved on by {off} mm\n{}", world.story(20));
    }
    assert_ne!(world.view().phase, Phase::Hand, "{}", world.story(20));
}

#[test]
fn a_key_moves_the_torch_as_long_as_it_is_renewed_and_no_longer() {
    for (axis, forward, least_mm) in [
        (HandAxis::X, true, 12.0),
        (HandAxis::Y, true, 12.0),
        (HandAxis::Z, false, 1.5),
        (HandAxis::X, false, 12.0),
    ] {
        let mut world = at_rest();
        // Away from the ends of the travel first.
        for (k, axis) in [HandAxis::X, HandAxis::Y].into_iter().enumerate() {
            press(
                &mut world,
                key(axis, true, k as u64 + 1),
                Duration::from_secs(3),
            );
            let end = world.now + Duration::from_secs(1);
            turns(&mut world, end);
        }
        let from = torch(&world);
        let last = press(&mut world, key(axis, forward, 7), Duration::from_secs(1));
        let moved = apart(torch(&world), from);
        assert!(
            moved > least_mm,
            "{axis:?}: only {moved} mm\n{}",
            world.story(20)
        );
        turns(&mut world, last + STANDS);
        stays(&mut world);
        assert!(world.view().alarms.is_empty(), "{}", world.story(20));
    }
}

#[test]
fn a_key_that_is_let_go_stops_the_torch_before_its_renewal_lapses() {
    let mut world = at_rest();
    press(
        &mut world,
        key(HandAxis::X, true, 1),
        Duration::from_secs(1),
    );
    world.ask(Ask::HandStop);
    let let_go = world.now;
    turns(&mut world, let_go + Duration::from_millis(90));
    stays(&mut world);
}

#[test]
fn a_step_is_as_long_as_it_says() {
    for (k, mm) in [0.1, 1.0, 10.0].into_iter().enumerate() {
        for (axis, forward) in [
            (HandAxis::X, true),
            (HandAxis::Y, true),
            (HandAxis::Z, false),
        ] {
            let mut world = at_rest();
            let from = torch(&world);
            world.ask(Ask::HandMove(HandMove {
                step_mm: Some(mm),
                ..key(axis, forward, k as u64)
            }));
            let end = world.now + Duration::from_secs(6);
            turns(&mut world, end);
            let off = apart(torch(&world), from) - mm;
            assert!(
                off.abs() < 0.01,
                "{axis:?} {mm}: {off}\n{}",
                world.story(20)
            );
            stays(&mut world);
        }
    }
}

#[test]
fn hold_ends_a_press_and_the_key_that_is_still_down_begins_nothing() {
    let mut world = at_rest();
    let asked = key(HandAxis::X, true, 3);
    press(&mut world, asked, Duration::from_secs(1));
    world.ask(Ask::Hold { press: None });
    let end = world.now + Duration::from_secs(10);
    while world.now < end {
        world.ask(Ask::HandMove(asked));
        let next = world.now + RENEWS;
        turns(&mut world, next);
    }
    stays(&mut world);
    let there = torch(&world);
    press(&mut world, asked, Duration::from_secs(1));
    assert!(apart(torch(&world), there) < 1e-6, "{}", world.story(20));
    // A new press is another matter.
    press(
        &mut world,
        key(HandAxis::X, true, 4),
        Duration::from_secs(1),
    );
    assert!(apart(torch(&world), there) > 10.0, "{}", world.story(20));
}

#[test]
fn a_panel_that_stands_still_leaves_a_torch_that_comes_to_stand() {
    for who in [Who::Runner, Who::Process, Who::Wire] {
        let mut world = at_rest();
        press(
            &mut world,
            key(HandAxis::X, true, 1),
            Duration::from_millis(700),
        );
        world.stall(who, Duration::from_secs(3));
        let there = torch(&world);
        let end = world.now + Duration::from_millis(500);
        turns(&mut world, end);
        let ran = apart(torch(&world), there);
        assert!(
            ran < 8.0,
            "{who:?}: ran on for {ran} mm\n{}",
            world.story(20)
        );
        let there = torch(&world);
        let end = world.now + Duration::from_millis(2400);
        turns(&mut world, end);
        assert!(
            apart(torch(&world), there) < 1e-6,
            "{who:?}\n{}",
            world.story(20)
        );
    }
}

#[test]
fn a_torch_that_comes_down_on_the_sheet_stops_there_and_goes_only_up() {
    let mut world = at_rest();
    world.ask(Ask::HandGo {
        to: HandPlace::Corner,
    });
    let end = world.now + Duration::from_secs(30);
    turns(&mut world, end);
    for (press_id, axis) in [(1, HandAxis::X), (2, HandAxis::Y)] {
        press(
            &mut world,
            key(axis, true, press_id),
            Duration::from_secs(2),
        );
        let end = world.now + Duration::from_secs(1);
        turns(&mut world, end);
    }
    press(
        &mut world,
        key(HandAxis::Z, false, 3),
        Duration::from_secs(40),
    );
    stays(&mut world);
    let (_, z) = torch(&world);
    assert!(world.view().signals.contact, "{z}\n{}", world.story(20));
    for asked in [key(HandAxis::Z, false, 4), key(HandAxis::X, true, 5)] {
        press(&mut world, asked, Duration::from_secs(1));
        assert!((torch(&world).1 - z).abs() < 1e-6, "{}", world.story(20));
    }
    press(
        &mut world,
        key(HandAxis::Z, true, 6),
        Duration::from_secs(3),
    );
    assert!(torch(&world).1 > z + 3.0, "{}", world.story(20));
    assert!(!world.view().signals.contact, "{}", world.story(20));
}

#[test]
fn metal_in_the_way_of_a_hand_move_is_a_torch_that_was_touched() {
    let mut world = at_rest();
    press(
        &mut world,
        key(HandAxis::X, true, 1),
        Duration::from_millis(600),
    );
    world.metal_until = world.now + Duration::from_secs(1);
    press(
        &mut world,
        key(HandAxis::X, true, 1),
        Duration::from_millis(400),
    );
    stays(&mut world);
    let view = world.view();
    let touched = view
        .alarms
        .iter()
        .any(|a| a.cause == Cause::TorchTouched && a.latched);
    assert!(touched, "{}", world.story(20));
    assert!(view.doubtful);
}

#[test]
fn the_torch_is_taken_to_a_place_up_first() {
    let mut world = at_rest();
    let (_, top) = torch(&world);
    press(
        &mut world,
        key(HandAxis::Z, false, 1),
        Duration::from_secs(3),
    );
    let end = world.now + Duration::from_secs(1);
    turns(&mut world, end);
    let (from, low) = torch(&world);
    assert!(low < top - 3.0, "{low}");
    world.ask(Ask::HandGo {
        to: HandPlace::Corner,
    });
    let end = world.now + Duration::from_secs(30);
    while world.now < end {
        world.turn();
        let (place, z) = torch(&world);
        assert!(
            z > top - 0.1 || place.distance(from) < 0.01,
            "{z} of {top} at {place:?}, from {from:?}\n{}",
            world.story(20)
        );
    }
    stays(&mut world);
    let corner = standclear::config::Config::built_in().sheet_corner;
    assert!(
        torch(&world).0.distance(corner) < 0.01,
        "{}",
        world.story(20)
    );
}
