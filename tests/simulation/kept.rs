//! Firing waits for its start record: a disk that is late for a time, and one that is late for ever.

use std::time::Duration;

use control::Cause;
use control::view::Phase;

use crate::jobs::{finish_whole, world};

fn fires(world: &crate::world::World) -> usize {
    let is = |e: &control::Event| matches!(e, control::Event::FireAsked { .. });
    world.events.iter().filter(|(_, e, _)| is(e)).count()
}

#[test]
fn with_a_disk_that_is_late_for_a_time_each_fire_waits_for_its_record() {
    for late_ms in [3, 150, 1200, 2900] {
        let mut world = world(&[]);
        world.disk_late = Some(Duration::from_millis(late_ms));
        // The watcher sees each fire and whether its record was on the disk.
        let world = finish_whole(world, &[]);
        assert_eq!(fires(&world), 2, "{late_ms} ms");
    }
}

#[test]
fn with_a_disk_that_never_writes_nothing_fires_and_it_is_held() {
    let mut world = world(&[]);
    world.run(Duration::from_secs(2));
    world.disk_late = Some(Duration::from_secs(1_000_000));
    let end = world.now + Duration::from_secs(60);
    while world.now < end && world.view().hold.is_none() {
        world.turn();
    }
    let view = world.view();
    assert_eq!(view.hold.expect("held").cause, Cause::RecordFailed);
    assert_eq!(fires(&world), 0);
    // The disk writes again: the job is gone on with, and ends whole.
    world.disk_late = None;
    let world = finish_whole(world, &[]);
    assert_eq!(world.view().phase, Phase::Finished);
}
