//! Firing waits for its start record: a disk that is late for a time, one that is late for ever, one that
//! dies in a cut.

use std::time::Duration;

use control::Cause;
use control::view::{CutState, Phase};
use simulator::harness::FaultKind;
use units::Time;

use crate::jobs::{fault, finish_whole, world};
use crate::world::{Dead, Dying, World};

fn fires(world: &World) -> usize {
    let is = |e: &control::Event| matches!(e, control::Event::FireAsked { .. });
    world.events.iter().filter(|(_, e, _)| is(e)).count()
}

#[test]
fn with_a_disk_that_is_late_for_a_time_each_fire_waits_for_its_record() {
    for late_ms in [3, 150, 1200, 2900] {
        let mut world = world(&[]);
        world.disk.late = Some(Duration::from_millis(late_ms));
        // The watcher sees each fire and whether its record was on the disk.
        let world = finish_whole(world, &[]);
        assert_eq!(fires(&world), 2, "{late_ms} ms");
    }
}

#[test]
fn with_a_disk_that_never_writes_nothing_fires_and_it_is_held() {
    let mut world = world(&[]);
    world.run(Duration::from_secs(2));
    world.disk.late = Some(Duration::from_secs(1_000_000));
    let end = world.now + Duration::from_secs(60);
    while world.now < end && world.view().hold.is_none() {
        world.turn();
    }
    let view = world.view();
    assert_eq!(view.hold.expect("held").cause, Cause::RecordFailed);
    assert_eq!(fires(&world), 0);
    // The disk writes again: the job is gone on with, and ends whole.
    world.disk.late = None;
    let world = finish_whole(world, &[]);
    assert_eq!(world.view().phase, Phase::Finished);
}

#[test]
fn a_panel_that_is_killed_over_a_late_disk_is_gone_on_with_from_where_the_torch_stood() {
    // At 18 mm/s the last record on the disk is up to 45 mm behind the torch.
    for late_ms in [400, 1900] {
        for mm in [12.0, 60.0, 90.0, 140.0] {
            let faults = [fault(FaultKind::PanelKilled, 2, mm)];
            let mut world = world(&faults);
            world.disk.late = Some(Duration::from_millis(late_ms));
            world.disk.forgets = true;
            // The watcher compares what is told of the place with the ledger.
            finish_whole(world, &faults);
        }
    }
}

/// The disk dies in the first cut (12.0 to 15.8 s).
fn dies_in_a_cut(how: Dead, until: Option<Time>) -> World {
    let mut world = world(&[]);
    world.disk.dying = Some(Dying {
        at: Time::from_ms(13_000),
        how,
        until,
    });
    world
}

#[test]
fn a_disk_that_dies_in_a_cut_lets_it_be_finished_starts_nothing_and_is_told() {
    for how in [Dead::Told, Dead::Untold, Dead::Gone] {
        let mut world = dies_in_a_cut(how, None);
        let view = world.run(Duration::from_secs(600));
        assert_eq!(view.cuts[0].state, CutState::Done, "{how:?}: {view:#?}");
        assert_ne!(view.cuts[1].state, CutState::Done, "{how:?}: {view:#?}");
        // HOLD is answered, and the alarm or the hold says why nothing goes on.
        world.settle_dead_disk();
        assert_eq!(fires(&world), 1, "{how:?}");
        assert_eq!(world.watch.wrongs, Vec::<String>::new(), "{how:?}");
        let view = world.view();
        let alarm = view.alarms.iter().any(|a| a.cause == Cause::RecordFailed);
        let held = view.holds.iter().any(|h| h.cause == Cause::RecordFailed);
        assert!(alarm || held, "{how:?}: {view:#?}");
    }
}

#[test]
fn a_disk_that_comes_back_lets_the_job_be_gone_on_with_and_it_ends_whole() {
    for how in [Dead::Told, Dead::Untold] {
        for until_ms in [13_400, 14_900, 15_300, 19_000, 40_000] {
            let world = dies_in_a_cut(how, Some(Time::from_ms(until_ms)));
            let world = finish_whole(world, &[]);
            assert_eq!(fires(&world), 2, "{how:?} until {until_ms} ms");
        }
    }
}
