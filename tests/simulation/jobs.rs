//! Jobs cut in the simulation, with every fault at many places.

use std::sync::Arc;
use std::time::Duration;

use control::Cause;
use control::view::{CutState, Phase};
use planning::Job;
use program::Setup;
use simulator::harness::{FaultKind, FaultSpec};
use standclear::config::Config;
use standclear::job::prepare;
use units::Point;

use crate::world::World;

/// The small test piece.
pub fn square(config: &Config) -> Arc<Job> {
    let text = include_bytes!("../fixtures/programs/square.nc");
    let setup = include_str!("../fixtures/programs/square.toml");
    let setup = Setup::from_toml(setup).expect("a setup");
    prepare(config, "square", text, Some(setup))
        .seal(&config.table(), &[])
        .expect("a seal")
}

/// Runs the small test piece with these faults; it must end whole by the table's own ledger.
#[track_caller]
pub fn cut_whole(faults: &[FaultSpec]) -> World {
    finish_whole(world(faults), faults)
}

/// The small test piece on the table, with these faults.
pub fn world(faults: &[FaultSpec]) -> World {
    world_told(true, faults)
}

/// The same, where the emergency stop chain tells the controller, or takes drives and coils alone.
pub fn world_told(told: bool, faults: &[FaultSpec]) -> World {
    let mut config = Config::built_in();
    config.estop.told_to_controller = told;
    let job = square(&config);
    World::new(config, job, 1, faults)
}

/// Runs it to its end, which must be whole.
#[track_caller]
pub fn finish_whole(mut world: World, faults: &[FaultSpec]) -> World {
    let view = world.run(Duration::from_secs(600));
    let story = || format!("{faults:?}\n{}\n{view:#?}", world.story(60));
    assert_eq!(view.phase, Phase::Finished, "{}", story());
    assert!(
        view.cuts.iter().all(|c| c.state == CutState::Done),
        "{}",
        story()
    );
    let truth = world.table.lock().expect("one thread").truth();
    assert_eq!(truth.violations, Vec::<String>::new(), "{}", story());
    assert_eq!(world.watch.wrongs, Vec::<String>::new(), "{}", story());
    assert!(truth.uncut_mm < 0.05, "{truth:?} {}", story());
    assert!(truth.off_path_mm <= 0.05, "{truth:?} {}", story());
    world
}

pub fn fault(kind: FaultKind, cut: usize, mm: impl Into<Option<f64>>) -> FaultSpec {
    FaultSpec {
        kind,
        cut,
        mm: mm.into(),
    }
}

#[test]
fn a_clean_job_has_no_hold_and_no_retry() {
    let world = cut_whole(&[]);
    let view = world.view();
    assert_eq!(view.holds, vec![]);
    assert_eq!(view.retries, vec![]);
    assert_eq!(view.pierces, 2);
}

#[test]
fn a_resume_where_the_end_of_the_path_lies_over_its_start_is_on_the_path() {
    // The lead-in meets the outline 9.4 mm along; the outline ends over that place and beyond it.
    for mm in [14.1, 14.3, 14.5, 15.0, 16.0] {
        cut_whole(&[fault(FaultKind::ArcLost, 2, mm)]);
    }
}

#[test]
fn every_fault_at_every_place_is_recovered_from() {
    let kinds = [
        (FaultKind::ArcLost, Cause::ArcLost),
        (FaultKind::Estop, Cause::Estop),
        (FaultKind::LinkCut, Cause::LinkCut),
        (FaultKind::ControllerReset, Cause::ControllerReset),
    ];
    for (kind, cause) in kinds {
        for (cut, mm) in [
            (1, 1.0),
            (1, 6.0),
            (1, 30.0),
            (1, 41.0),
            (2, 2.0),
            (2, 10.0),
            (2, 90.0),
            (2, 175.0),
        ] {
            for told in [true, false] {
                if !told && kind != FaultKind::Estop {
                    continue;
                }
                let faults = [fault(kind, cut, mm)];
                let world = finish_whole(world_told(told, &faults), &faults);
                let holds = world.view().holds;
                assert!(
                    holds.iter().any(|h| h.cause == cause),
                    "{kind:?} at {cut}:{mm}, told {told}: {holds:?}"
                );
            }
        }
    }
}

#[test]
fn faults_of_the_touch_off_and_the_fire_are_recovered_from() {
    for (kind, cause) in [
        (FaultKind::NoArc, Cause::NoArc),
        (FaultKind::ContactStuck, Cause::ContactStuck),
        (FaultKind::NoContact, Cause::NoContact),
        (FaultKind::Estop, Cause::Estop),
        (FaultKind::LinkCut, Cause::LinkCut),
        (FaultKind::ControllerReset, Cause::ControllerReset),
    ] {
        for cut in [1, 2] {
            let world = cut_whole(&[fault(kind, cut, None)]);
            let holds = world.view().holds;
            assert!(
                holds.iter().any(|h| h.cause == cause),
                "{kind:?} at {cut}: {holds:?}"
            );
        }
    }
}

#[test]
fn two_faults_at_once_are_recovered_from() {
    use FaultKind::{ArcLost, ControllerReset, Estop, LinkCut, NoArc, NoContact};
    for (a, b) in [
        (fault(ArcLost, 2, 60.0), fault(NoArc, 2, 60.0)),
        (fault(ArcLost, 2, 60.0), fault(NoContact, 2, 60.0)),
        (fault(Estop, 2, 60.0), fault(LinkCut, 2, 61.0)),
        (fault(LinkCut, 1, 10.0), fault(ControllerReset, 2, 50.0)),
        (fault(ArcLost, 2, 30.0), fault(ArcLost, 2, 31.0)),
    ] {
        cut_whole(&[a, b]);
    }
}

/// Held in the traverse to the second pierce, so far from it, mm; a piece stands up in its way.
fn held_before_what_stands_there(left_mm: f64) -> World {
    let mut world = world(&[fault(FaultKind::TipOver, 2, None)]);
    let pierce = Point::new(46.0, 13.275);
    loop {
        world.turn();
        let view = world.view();
        let first_done = view.cuts.first().is_some_and(|c| c.state == CutState::Done);
        let near = |p: Point| p.distance(pierce) < left_mm;
        if first_done && view.torch.moving && view.torch.place.is_some_and(near) {
            break;
        }
    }
    world.ask(control::Ask::Hold { press: None });
    finish_whole(world, &[])
}

#[test]
fn a_torch_that_runs_into_something_while_a_hold_brakes_it_is_not_believed() {
    let mut ran_into = 0;
    for left_mm in 4..26 {
        let world = held_before_what_stands_there(f64::from(left_mm));
        let cause = Some(Cause::TorchTouched);
        let doubted = |e: &control::Event| matches!(e, control::Event::PlaceDoubted { cause: c } if *c == cause);
        ran_into += usize::from(world.events.iter().any(|(_, e, _)| doubted(e)));
    }
    assert!(ran_into > 2, "{ran_into}");
}
