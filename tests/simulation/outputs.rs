//! Beacon, sounder and extraction as the table's own wires saw them over whole runs.

use std::time::Duration;

use control::view::Phase;
use simulator::harness::{FaultKind, FaultSpec, OutputWires, Truth};

use crate::jobs::{fault, world};
use crate::world::World;

/// The permit test is over by then, s: it lights the lamp as well.
const TESTED_S: f64 = 2.0;

fn run(faults: &[FaultSpec]) -> (World, Truth) {
    let mut world = world(faults);
    let view = world.run(Duration::from_secs(900));
    let truth = world.table.lock().expect("one thread").truth();
    assert_eq!(view.phase, Phase::Finished, "{}", world.story(40));
    (world, truth)
}

/// The wires at a moment, s.
fn at(truth: &Truth, s: f64) -> OutputWires {
    let before = truth.outputs.changes.iter().rev().find(|(t, _)| *t <= s);
    before.map_or_else(OutputWires::default, |(_, w)| *w)
}

#[test]
fn over_a_clean_run_lamp_and_fan_are_on_for_longer_than_the_arc_and_one_note_ends_it() {
    let (world, truth) = run(&[]);
    let log = &truth.outputs;
    assert!(
        log.beacon_s > truth.arc_on_s && log.extraction_s >= log.beacon_s,
        "{log:?}"
    );
    let end = at(&truth, world.now.as_s());
    assert!(!end.beacon && end.sounder && end.extraction, "{log:?}");
    let notes = log.changes.iter().filter(|(_, w)| w.sounder).count();
    assert!(notes >= 1, "{log:?}");
}

#[test]
fn a_lost_arc_is_sounded_and_the_fan_runs_on_through_the_hold() {
    let (clean, lost) = (run(&[]).1, run(&[fault(FaultKind::ArcLost, 2, 60.0)]).1);
    assert!(
        lost.outputs.notes > clean.outputs.notes,
        "{:?}",
        lost.outputs
    );
    // From the first arming to the end nothing of the hold is longer than the time that the fan runs on.
    let fan = lost.outputs.changes.iter().map(|(t, w)| (*t, w.extraction));
    let armed = fan.skip_while(|(t, on)| *t < TESTED_S || !on);
    assert!(
        armed.clone().count() > 1 && armed.clone().all(|(_, on)| on),
        "{:?}",
        lost.outputs
    );
    let lamp = lost.outputs.changes.windows(2);
    let went_dark = lamp.filter(|w| w[0].1.beacon && !w[1].1.beacon).count();
    assert!(
        went_dark >= 2,
        "dark in the hold and at the end: {:?}",
        lost.outputs
    );
}

#[test]
fn the_wires_of_a_panel_that_is_killed_fall_and_the_next_one_airs_what_it_did_not_see_end() {
    let (_, truth) = run(&[fault(FaultKind::PanelKilled, 2, 60.0)]);
    let changes = &truth.outputs.changes;
    let fell = changes.windows(2).rev().find_map(|w| {
        let all = w[0].1.beacon && w[0].1.extraction;
        (all && w[1].1 == OutputWires::default()).then_some(w[1].0)
    });
    let fell = fell.unwrap_or_else(|| panic!("all fall at once: {changes:?}"));
    let next = changes
        .iter()
        .find(|(t, _)| *t > fell)
        .expect("another panel");
    assert!(
        next.1.extraction && !next.1.beacon && next.0 - fell < 5.0,
        "{changes:?}"
    );
}
