//! Every kind of fault with every other, at the start, in the middle and at the end of a cut: at the
//! same place, and in succeeding cuts.

use std::time::Duration;

use control::Event;
use simulator::harness::{FaultKind, FaultSpec};

use crate::jobs::{cut_whole, fault, finish_whole, world_told};
use crate::world::World;

/// Where, as a part of each cut's length; `None`: at its pierce or touch-off.
const PLACES: [Option<f64>; 4] = [None, Some(0.05), Some(0.5), Some(0.98)];
/// Lengths of the two cuts of the test piece, a little less than they are, mm.
const LENGTHS_MM: [f64; 2] = [41.0, 175.5];

fn at(kind: FaultKind, cut: usize, part: Option<f64>) -> FaultSpec {
    fault(kind, cut, part.map(|p| p * LENGTHS_MM[cut - 1]))
}

/// Cuts with these faults; where there is an emergency stop, also on a table whose chain does not tell
/// the controller.
#[track_caller]
fn recovered(faults: &[FaultSpec]) {
    recovered_from(cut_whole(faults), faults);
    let blind = |f: &FaultSpec| matches!(f.kind, FaultKind::Estop | FaultKind::PanelKilled);
    if faults.iter().any(blind) {
        recovered_from(finish_whole(world_told(false, faults), faults), faults);
    }
}

/// The overlap may not be more than what the holds had offered.
#[track_caller]
fn recovered_from(world: World, faults: &[FaultSpec]) {
    let offered: f64 = world
        .events
        .iter()
        .filter_map(|(_, e, _)| match e {
            Event::Resumed { plan, .. } => plan.as_ref().map(|p| p.how.overlap_mm),
            _ => None,
        })
        .sum();
    let truth = world.table.lock().expect("one thread").truth();
    assert!(
        truth.recut_mm <= offered + 1.0,
        "{faults:?}: {truth:?}, offered {offered:.2}: {:?} {:?}",
        world.earlier_holds,
        world.view().holds
    );
}

fn each_with_every_other(of: &[FaultKind]) {
    for a in of {
        let from = FaultKind::ALL.iter().position(|k| k == a).unwrap_or(0);
        for b in &FaultKind::ALL[from..] {
            for part in PLACES {
                recovered(&[at(*a, 2, part), at(*b, 2, part)]);
                recovered(&[at(*a, 1, part), at(*b, 2, part)]);
            }
        }
    }
}

// In four parts, so that they share the processors.
#[test]
fn a_lost_arc_or_none_with_every_other_fault_is_recovered_from() {
    each_with_every_other(&FaultKind::ALL[..2]);
}

#[test]
fn a_stuck_arc_or_contact_with_every_other_fault_is_recovered_from() {
    each_with_every_other(&FaultKind::ALL[2..4]);
}

#[test]
fn no_contact_or_an_emergency_stop_with_every_other_fault_is_recovered_from() {
    each_with_every_other(&FaultKind::ALL[4..6]);
}

#[test]
fn a_lost_line_controller_air_torch_or_panel_with_every_other_fault_is_recovered_from() {
    each_with_every_other(&FaultKind::ALL[6..]);
}

#[test]
fn an_emergency_stop_and_a_dead_panel_are_recovered_from_however_soon_it_is_back() {
    let place = Some(0.5);
    let faults = [
        at(FaultKind::Estop, 2, place),
        at(FaultKind::PanelKilled, 2, place),
    ];
    // Back at once, before the arc is out, or only when the dust has settled.
    for told in [true, false] {
        for dead_ms in [0, 1, 2, 4, 6, 8, 10, 15, 20, 40, 100, 400, 1500] {
            let mut world = world_told(told, &faults);
            world.dead = Duration::from_millis(dead_ms);
            finish_whole(world, &faults);
        }
    }
}

#[test]
fn after_a_power_cut_nothing_uncut_is_told_as_cut_and_what_may_be_cut_twice_is_told() {
    for (cut, length_mm) in [(1, 41.2), (2, 176.0)] {
        for k in 0..24 {
            let mm = length_mm * (f64::from(k) + 0.5) / 24.0;
            let faults = [fault(FaultKind::PanelKilled, cut, mm)];
            let mut world = crate::jobs::world(&faults);
            world.power_cut = true;
            world.run(Duration::from_secs(600));
            let story = || format!("cut {cut} at {mm:.1}: {}", world.story(60));
            let told = world.events.iter().rev().find_map(|(_, e, _)| match e {
                Event::RunInterrupted {
                    sure_mm, cut_off, ..
                } => Some((*sure_mm, *cut_off)),
                _ => None,
            });
            let (sure_mm, cut_off) = told.unwrap_or_else(|| panic!("not interrupted: {}", story()));
            assert!(cut_off, "the last records were lost: {}", story());
            assert!(sure_mm <= mm + 0.5, "{sure_mm} surely: {}", story());
            let world = finish_whole(world, &faults);
            // What is cut again lies within what the plans of the way on said.
            let plans = world.events.iter().filter_map(|(_, e, _)| match e {
                Event::Resumed {
                    plan: Some(plan), ..
                } => Some(plan.how.overlap_mm),
                _ => None,
            });
            let agreed: f64 = plans.sum();
            let truth = world.table.lock().expect("one thread").truth();
            assert!(
                truth.recut_mm <= agreed + 1.5,
                "{} mm cut again, {agreed} agreed: {}",
                truth.recut_mm,
                world.story(60)
            );
        }
    }
}
