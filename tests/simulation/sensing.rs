//! The relay of the sensing circuit, and its mirror: stuck, and lying.

use std::time::Duration;

use control::Cause;
use control::view::Step;
use simulator::SenseWrong;
use simulator::harness::FaultKind;

use crate::jobs::{fault, finish_whole, world};
use crate::world::World;

/// Until the second cut has come to this step.
fn up_to(step: Step) -> World {
    let mut world = world(&[]);
    let end = world.now + Duration::from_secs(120);
    while world.now < end {
        world.turn();
        let view = world.view();
        if view.cut == Some(2) && view.step == Some(step) {
            return world;
        }
    }
    panic!("never came to {step:?}\n{}", world.story(30));
}

#[test]
fn a_circuit_that_comes_back_on_from_ready_on_is_stopped_as_that_and_gone_on_with() {
    let on = [
        // The contact itself, and an honest mirror.
        SenseWrong {
            stuck: Some(true),
            mirror: None,
        },
        // A mirror that says so though it is not.
        SenseWrong {
            stuck: None,
            mirror: Some(false),
        },
    ];
    for wrong in on {
        for step in [Step::Ready, Step::AwaitArc, Step::Pierce, Step::Cut] {
            let mut world = up_to(step);
            world.nobody_asks = true;
            world.table.lock().expect("one thread").sense_relay(wrong);
            let end = world.now + Duration::from_millis(60);
            while world.now < end {
                world.turn();
            }
            assert!(!world.permitting(), "{step:?}\n{}", world.story(20));
            let holds = world.view().holds;
            assert_eq!(
                holds.last().expect("held").cause,
                Cause::SenseOn,
                "{step:?}"
            );
            world.nobody_asks = false;
            if wrong.stuck.is_none() {
                // What a contact that sticks does under a fire is a wrong of the table itself.
                finish_whole(world, &[]);
            }
        }
    }
}

#[test]
fn a_circuit_that_never_comes_off_fires_nothing() {
    let mut world = up_to(Step::ProbeSlow);
    world.nobody_asks = true;
    world
        .table
        .lock()
        .expect("one thread")
        .sense_relay(SenseWrong {
            stuck: Some(true),
            mirror: None,
        });
    let pierces = world.view().pierces;
    let end = world.now + Duration::from_secs(15);
    while world.now < end {
        world.turn();
    }
    let view = world.view();
    assert_eq!(view.hold.expect("held").cause, Cause::SenseOn);
    assert_eq!(view.pierces, pierces);
    world.nobody_asks = false;
    finish_whole(world, &[]);
}

#[test]
fn a_nozzle_that_was_cleaned_bars_no_going_on_after_the_check_of_the_sheet() {
    // Held for a contact that stays on; the stop is struck before anybody comes. After the reference
    // and the check of the sheet the torch stands low over a mark.
    let faults = [fault(FaultKind::ContactStuck, 2, None)];
    let mut world = world(&faults);
    for _ in 0..200_000 {
        world.turn();
        let view = world.view();
        if view.hold.is_some_and(|h| h.cause == Cause::ContactStuck) {
            break;
        }
        let second = view.cut == Some(2) && view.step == Some(Step::SenseTest);
        world.nobody_asks |= second;
    }
    world.table.lock().expect("one thread").strike_stop();
    for _ in 0..20 {
        world.turn();
    }
    world.nobody_asks = false;
    finish_whole(world, &faults);
}

#[test]
fn a_mirror_that_comes_to_lie_in_a_hold_is_looked_at_though_it_raises_no_alarm() {
    // The marks of the sheet are looked at: nothing is told to fire, and the mirror is no cause of a stop.
    let faults = [fault(FaultKind::Estop, 2, Some(5.0))];
    let mut world = world(&faults);
    let end = world.now + Duration::from_secs(120);
    while world.now < end && world.view().datum.is_none() {
        world.turn();
    }
    assert!(world.view().datum.is_some(), "{}", world.story(30));
    world
        .table
        .lock()
        .expect("one thread")
        .sense_relay(SenseWrong {
            stuck: None,
            mirror: Some(false),
        });
    finish_whole(world, &faults);
}
