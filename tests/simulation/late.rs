//! Somebody is kept from going on for a while: the guard's thread, the runner, the wire, the whole
//! process. Whatever happens meanwhile is seen late, and nothing of it may be believed too early.

use std::time::Duration;

use control::view::{Phase, Step, View};
use control::{Cause, Event};
use simulator::harness::FaultKind;

use crate::jobs::{fault, finish_whole, world, world_told};
use crate::world::{Who, World};

/// Where it is kept from going on.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Place {
    Home,
    Traverse,
    Touch,
    Await,
    Pierce,
    /// So far along the second cut, mm.
    Path(f64),
}

/// The outline is 176 mm long: in the lead-in, before a corner, in the middle, where it runs over its
/// own start, and just before its end.
const PLACES: [Place; 10] = [
    Place::Home,
    Place::Traverse,
    Place::Touch,
    Place::Await,
    Place::Pierce,
    Place::Path(3.0),
    Place::Path(90.0),
    Place::Path(168.0),
    Place::Path(174.5),
    Place::Path(175.5),
];

/// On both sides of what the relay holds (30 ms), pins may age (100 ms), the lease lasts (200 ms), the
/// line may be silent and the controller misses the panel (250, 300 ms).
const SPANS_MS: [u64; 12] = [10, 20, 29, 36, 60, 95, 130, 210, 300, 500, 1000, 3000];

fn is_there(place: Place, view: &View) -> bool {
    let second = view.cut == Some(2);
    match place {
        Place::Home => view.phase == Phase::Homing,
        Place::Traverse => second && view.step == Some(Step::Traverse),
        Place::Touch => second && view.step == Some(Step::ProbeSlow),
        Place::Await => second && view.step == Some(Step::AwaitArc),
        Place::Pierce => second && view.step == Some(Step::Pierce),
        Place::Path(mm) => second && view.station_mm.is_some_and(|s| s >= mm),
    }
}

/// Under the permit.
const fn is_hot(place: Place) -> bool {
    matches!(place, Place::Pierce | Place::Path(_))
}

/// Runs to that place.
fn at(mut world: World, place: Place) -> World {
    for _ in 0..2_000_000 {
        world.turn();
        if is_there(place, &world.view()) {
            return world;
        }
    }
    panic!("never came to {place:?}\n{}", world.story(30));
}

fn stalled(who: Who, span_ms: u64, place: Place) -> World {
    let mut world = at(world(&[]), place);
    world.stall(who, Duration::from_millis(span_ms));
    finish_whole(world, &[])
}

fn causes(world: &World) -> Vec<Cause> {
    world.view().holds.iter().map(|h| h.cause).collect()
}

/// Every length at every place: the job ends whole by the table's own ledger.
fn sweep(who: Who, told: fn(Place, u64) -> Option<Cause>) {
    for place in PLACES {
        for span_ms in SPANS_MS {
            let world = stalled(who, span_ms, place);
            if let Some(cause) = told(place, span_ms) {
                let causes = causes(&world);
                assert_eq!(
                    causes.first(),
                    Some(&cause),
                    "{who:?} {span_ms} ms at {place:?}: {causes:?}\n{}",
                    world.story(40)
                );
            }
            let reset = |e: &Event| matches!(e, Event::LatchSet { cause, .. } if *cause == Cause::ControllerReset);
            assert!(
                !world.events.iter().any(|(_, e, _)| reset(e)),
                "{who:?} {span_ms} ms at {place:?}: told as a controller that was reset\n{}",
                world.story(40)
            );
        }
    }
}

#[test]
fn a_guard_that_is_kept_from_its_steps_leaves_nothing_uncut() {
    sweep(Who::Guard, |place, ms| match place {
        p if is_hot(p) && ms >= 36 => Some(Cause::GuardLate),
        Place::Traverse | Place::Touch if ms >= 130 => Some(Cause::InputsStale),
        _ => None,
    });
}

#[test]
fn a_runner_that_is_kept_from_its_steps_leaves_nothing_uncut() {
    sweep(Who::Runner, |place, ms| match place {
        Place::Path(mm) if mm < 170.0 && ms >= 210 => Some(Cause::LeaseLapsed),
        Place::Traverse | Place::Touch if ms >= 130 => Some(Cause::InputsStale),
        _ => None,
    });
}

#[test]
fn bytes_that_the_wire_does_not_take_leave_nothing_uncut() {
    sweep(Who::Wire, |_, _| None);
}

#[test]
fn a_process_that_is_stopped_and_goes_on_is_told_by_what_was_measured() {
    sweep(Who::Process, |place, ms| match place {
        p if is_hot(p) && ms >= 36 => Some(Cause::GuardLate),
        Place::Traverse | Place::Touch if ms >= 130 => Some(Cause::InputsStale),
        _ => None,
    });
}

#[test]
fn an_arc_that_is_lost_while_nobody_looks_is_found_again_where_it_was_lost() {
    for who in [Who::Guard, Who::Runner, Who::Process] {
        for span_ms in [40, 90, 300, 1000] {
            for mm in [20.0, 90.0, 170.0, 175.0] {
                let faults = [fault(FaultKind::ArcLost, 2, mm)];
                let mut world = at(self::world(&faults), Place::Path(mm - 0.6));
                world.stall(who, Duration::from_millis(span_ms));
                finish_whole(world, &faults);
            }
        }
    }
}

#[test]
fn pins_that_keep_no_edges_leave_the_place_in_doubt_after_a_stall_unless_the_chain_is_proved() {
    for (told, doubted) in [(true, false), (false, true)] {
        let mut world = crate::jobs::world_told(told, &[]);
        world.polled = true;
        let mut world = at(world, Place::Path(90.0));
        world.stall(Who::Guard, Duration::from_millis(300));
        let world = finish_whole(world, &[]);
        let doubts = world.events.iter().filter(|(_, e, _)| {
            matches!(
                e,
                Event::PlaceDoubted {
                    cause: Some(Cause::InputsStale)
                }
            )
        });
        assert_eq!(doubts.count() > 0, doubted, "{told}: {}", world.story(40));
    }
}

#[test]
fn a_chain_that_opened_and_closed_while_nobody_looked_is_an_emergency_stop() {
    let faults = [fault(FaultKind::Estop, 2, 91.0)];
    for told in [true, false] {
        let mut world = at(crate::jobs::world_told(told, &faults), Place::Path(90.0));
        world.stall(Who::Guard, Duration::from_millis(400));
        let open = |w: &World| w.table.lock().expect("one thread").levels().estop_open;
        while !open(&world) {
            world.turn();
        }
        world
            .table
            .lock()
            .expect("one thread")
            .remedy(Some(FaultKind::Estop));
        let world = finish_whole(world, &faults);
        let latched =
            |e: &Event| matches!(e, Event::LatchSet { cause, .. } if *cause == Cause::Estop);
        assert!(
            world.events.iter().any(|(_, e, _)| latched(e)),
            "{}",
            world.story(40)
        );
    }
}

#[test]
fn a_chain_that_opened_for_less_than_a_step_is_an_emergency_stop() {
    let world = at(world(&[]), Place::Path(90.0));
    let opened = simulator::harness::OpenedBriefly {
        estop: true,
        ..Default::default()
    };
    world.table.lock().expect("one thread").open_briefly(opened);
    let world = finish_whole(world, &[]);
    assert_eq!(causes(&world), vec![Cause::Estop]);
}

#[test]
fn an_emergency_stop_whose_controller_counts_on_is_gone_on_with_from_where_the_torch_stood() {
    // The chain takes the drives and does not tell; the hold byte comes late; the arc may be stuck on.
    for stuck in [false, true] {
        let mut faults = vec![fault(FaultKind::Estop, 2, 90.0)];
        if stuck {
            faults.push(fault(FaultKind::ArcStuck, 2, None));
        }
        let mut world = at(world_told(false, &faults), Place::Path(88.0));
        world.stall(Who::Wire, Duration::from_millis(1800));
        finish_whole(world, &faults);
    }
}
