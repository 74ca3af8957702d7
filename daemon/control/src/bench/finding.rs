//! Finding the plate, and what else the sensing circuit tells.

use super::rig::Rig;
use super::stories::running;
use crate::ask::Ask;
use crate::cause::Cause;
use crate::event::Event;
use crate::view::{Phase, Step};

fn floating() -> Rig {
    let mut rig = Rig::new();
    rig.table.floats = true;
    rig.make_ready();
    rig.must(Ask::Start);
    rig
}

/// The heights at which the sheet was found, and whether by the float switch alone.
fn found(rig: &Rig) -> Vec<(f64, bool)> {
    let told = |e: &Event| match e {
        Event::TouchedOff { z_mm, by_float, .. } => Some((*z_mm, *by_float)),
        _ => None,
    };
    rig.events.iter().filter_map(told).collect()
}

#[track_caller]
fn held_for(rig: &mut Rig, cause: Cause) {
    let v = rig.until_held();
    assert_eq!(v.hold.as_ref().map(|h| h.cause), Some(cause), "{v:#?}");
}

#[test]
fn the_sensing_circuit_is_on_in_every_traverse_and_off_before_every_fire() {
    let mut rig = running();
    let mut traverses = 0;
    while rig.phase() != Phase::Finished {
        rig.tick();
        if rig.view().step == Some(Step::Traverse) && rig.view().torch.moving {
            let lifting = rig.table.z < 30.0;
            assert!(lifting || rig.table.sense, "{:?}", rig.view().torch);
            traverses += usize::from(rig.table.sense);
        }
        assert!(!(rig.table.torch && rig.table.sense), "fire with it on");
    }
    assert!(traverses > 100, "{traverses}");
    rig.wait(0.1);
    assert!(!rig.table.sense, "off when the job is done");
    rig.all_is_well();
}

#[test]
fn what_touches_the_torch_in_a_traverse_stops_it_and_the_place_is_doubtful() {
    let mut rig = running();
    rig.run_to(1, 20.0);
    rig.until(30.0, |r| {
        r.view().cut == Some(2) && r.view().step == Some(Step::Traverse) && r.table.place.x > 190.0
    });
    rig.table.wrong.tipped = true;
    rig.until(5.0, |r| r.phase() == Phase::Latched);
    assert!(rig.m.alarms.is_latched(Cause::TorchTouched));
    assert!(rig.view().doubtful);
    assert!(
        matches!(rig.ask(Ask::Clear { cause: Cause::TorchTouched }), crate::Answer::Refused { reason, .. } if reason == "still-there")
    );
}

#[test]
fn what_touches_the_torch_when_it_stands_still_is_no_collision() {
    let mut rig = running();
    rig.run_to(1, 20.0);
    rig.until(30.0, |r| {
        r.view().cut == Some(2) && r.view().step == Some(Step::Traverse) && r.table.place.x > 190.0
    });
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.table.wrong.tipped = true;
    rig.wait(1.0);
    assert!(!rig.m.alarms.is_latched(Cause::TorchTouched));
    assert!(!rig.view().doubtful);
}

#[test]
fn a_bridge_of_slag_after_a_cut_is_no_collision_but_a_stuck_contact() {
    let mut rig = running();
    rig.run_to(1, 40.0);
    rig.table.wrong.contact_stuck = true;
    held_for(&mut rig, Cause::ContactStuck);
    assert!(!rig.view().doubtful);
    assert!(!rig.m.alarms.is_latched(Cause::TorchTouched));
    rig.table.wrong.contact_stuck = false;
    rig.wait(0.1);
    rig.clear_all();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn over_paint_the_float_switch_finds_the_plate_and_the_journal_says_degraded() {
    let mut rig = floating();
    rig.table.wrong.painted = true;
    rig.finish();
    rig.all_is_well();
    let found = found(&rig);
    assert_eq!(found.len(), 2);
    for (z, by_float) in found {
        assert!(by_float);
        assert!((z - rig.table.plate_z).abs() < 0.05, "{z}");
    }
}

#[test]
fn three_touches_in_a_row_without_contact_ask_for_a_clean_shield() {
    let mut rig = floating();
    rig.table.wrong.painted = true;
    // Each time that a cut is begun again it is touched again.
    for _ in 0..3 {
        assert!(rig.view().alarms.is_empty());
        rig.until(30.0, |r| r.view().step == Some(Step::PierceHeight));
        if rig.view().alarms.is_empty() {
            rig.must(Ask::Hold { press: None });
            rig.until_held();
            rig.resume_as_offered();
        }
    }
    let alarm = rig.view().alarms[0].clone();
    assert_eq!(alarm.cause, Cause::TouchUnsure);
    assert!(alarm.why.contains("3 touches in a row"), "{alarm:?}");
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_contact_that_does_not_open_on_backing_off_is_left_to_the_float_switch() {
    let mut rig = floating();
    rig.until(30.0, |r| r.view().step == Some(Step::Validate));
    rig.table.wrong.contact_stuck = true;
    rig.until(30.0, |r| !found(r).is_empty());
    let (z, by_float) = found(&rig)[0];
    assert!(by_float && (z - rig.table.plate_z).abs() < 0.05, "{z}");
    rig.table.wrong.contact_stuck = false;
    rig.finish();
    rig.all_is_well();
}

#[test]
fn without_a_float_switch_a_contact_that_does_not_open_is_held() {
    let mut rig = running();
    rig.until(30.0, |r| r.view().step == Some(Step::Validate));
    rig.table.wrong.contact_stuck = true;
    held_for(&mut rig, Cause::TouchUnsure);
    assert_eq!(rig.table.fires, 0);
}

#[test]
fn touches_that_differ_are_made_a_third_time_and_two_that_agree_decide() {
    let mut rig = running();
    rig.until(30.0, |r| r.view().step == Some(Step::Validate));
    rig.table.plate_z += 0.3;
    rig.until(30.0, |r| !found(r).is_empty());
    let (z, _) = found(&rig)[0];
    assert!((z - (rig.table.plate_z - 0.05)).abs() < 0.05, "{z}");
    rig.finish();
}

#[test]
fn a_sheet_that_sank_between_two_cuts_is_held_and_found_anew_after_a_look() {
    let mut rig = running();
    rig.run_to(1, 40.0);
    rig.until(30.0, |r| r.view().cut == Some(2));
    rig.table.plate_z -= 4.0;
    held_for(&mut rig, Cause::PlateMoved);
    assert_eq!(rig.table.fires, 1);
    rig.clear_all();
    // It may have been shoved as well: what is cut of it shows where it lies. The axes know.
    assert!(rig.view().doubtful && rig.m.reference.homed);
    rig.check_datum(|_| (0.0, 0.0));
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn over_what_stands_up_from_the_sheet_the_torch_travels_and_looks_higher() {
    let mut rig = running();
    rig.run_to(1, 40.0);
    rig.until(30.0, |r| r.view().cut == Some(2));
    rig.table.plate_z += 12.0;
    held_for(&mut rig, Cause::PlateMoved);
    let up = rig.table.plate_z;
    // It does not stay pressed on it, whatever is in doubt.
    rig.until(10.0, |r| r.table.z > up + 20.0);
    rig.clear_all();
    for _ in 0..rig.view().datum.expect("a check is due").marks.len() {
        rig.must(Ask::DatumGo);
        rig.until(30.0, |r| r.view().datum.is_some_and(|d| d.over));
        assert!(rig.table.z > up + 4.0, "{} over {up}", rig.table.z);
        rig.must(Ask::DatumHere);
    }
    assert!(!rig.view().doubtful);
}

#[test]
fn a_sheet_of_which_nothing_is_cut_is_only_found_again() {
    let mut rig = running();
    rig.until(30.0, |r| r.view().step == Some(Step::ProbeFast));
    rig.table.plate_z += 12.0;
    held_for(&mut rig, Cause::PlateMoved);
    rig.clear_all();
    assert!(!rig.view().doubtful);
    rig.table.plate_z -= 12.0;
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn volts_that_no_arc_has_stop_a_cut_and_it_is_gone_on_with() {
    for volts in [30.0, 240.0] {
        let mut rig = running();
        rig.run_to(2, 30.0);
        rig.table.wrong.volts = Some(volts);
        held_for(&mut rig, Cause::VoltsOdd);
        rig.table.wrong.volts = None;
        rig.clear_all();
        rig.resume_as_offered();
        rig.finish();
        rig.all_is_well();
    }
}

#[test]
fn a_double_arc_in_the_pierce_is_stopped_and_a_try_is_counted() {
    let mut rig = running();
    rig.table.wrong.volts = Some(30.0);
    held_for(&mut rig, Cause::ArcLost);
    assert_eq!(rig.table.fires, 2, "as many tries as are set");
    assert!(rig.view().alarms[0].why.contains("double arc"));
}

#[test]
fn what_was_vouched_for_lapses_when_nothing_is_started_for_ten_minutes() {
    let mut rig = Rig::new();
    rig.make_ready();
    rig.wait(598.0);
    assert_eq!(rig.phase(), Phase::Ready);
    rig.wait(3.0);
    assert_eq!(rig.phase(), Phase::Idle);
    assert!(rig.m.readiness.confirmed_at().is_none());
    assert!(
        rig.events
            .iter()
            .any(|e| matches!(e, Event::Vouched { yes: false, .. }))
    );
}
