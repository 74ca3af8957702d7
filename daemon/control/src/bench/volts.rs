//! Volts that say something of their own wires, divider or converter rather than of the arc.

use core::time::Duration;

use process::VoltsInput;

use super::rig::Rig;
use super::stories::running;
use crate::ask::{Ask, CheckId};
use crate::cause::Cause;
use crate::machine::admission::{No, admit};
use crate::view::{HoldView, Step};

/// A run that is held with these volts wherever an arc burns.
fn held_with(volts: f64, at_pierce: bool) -> HoldView {
    let mut rig = running();
    if !at_pierce {
        rig.run_to(2, 30.0);
    }
    rig.table.wrong.volts = Some(volts);
    let hold = rig.until_held().hold.expect("held");
    rig.table.wrong.volts = None;
    rig.clear_all();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
    hold
}

#[test]
fn volts_of_the_wrong_sign_are_told_as_swapped_wires_and_not_as_a_double_arc() {
    for at_pierce in [true, false] {
        let hold = held_with(-112.0, at_pierce);
        assert_eq!(hold.cause, Cause::VoltsOdd, "{}", hold.why);
        assert!(hold.why.contains("-112 V"), "{}", hold.why);
        assert!(hold.remedy.contains("Swap"), "{}", hold.remedy);
        assert!(!hold.why.contains("double arc"), "{}", hold.why);
    }
}

/// What is told when no arc came, with these levels while it was waited for.
fn no_arc_with(bend: fn(&mut crate::Signals)) -> HoldView {
    let mut rig = running();
    rig.table.wrong.source_off = true;
    for _ in 0..2 {
        rig.until(60.0, |r| r.view().step == Some(Step::AwaitArc));
        rig.bend = Some(bend);
        rig.until(5.0, |r| r.m.stopping());
        rig.bend = None;
    }
    let hold = rig.until_held().hold.expect("held");
    assert_eq!(hold.cause, Cause::NoArc);
    hold
}

#[test]
fn no_arc_with_volts_of_the_wrong_sign_or_above_any_open_circuit_is_not_laid_on_the_source() {
    let swapped = no_arc_with(|s| s.volts = Some(-118.0));
    assert!(swapped.remedy.contains("Swap"), "{}", swapped.remedy);
    let divider = no_arc_with(|s| s.volts = Some(470.0));
    assert!(divider.remedy.contains("divider"), "{}", divider.remedy);
    assert!(divider.why.contains("470"), "{}", divider.why);
}

#[test]
fn volts_that_nobody_reads_bar_a_start_and_are_told_at_rest_with_what_to_look_at() {
    let mut rig = Rig::new();
    rig.volts_read = Some(rig.now);
    for _ in 0..40 {
        rig.wait(0.05);
        rig.volts_read = Some(rig.now);
    }
    let stale = Some(No::Check(CheckId::InputsFresh));
    assert_ne!(admit(&rig.m, &Ask::Home).err(), stale);
    // The converter is dead from here on.
    rig.wait(0.1);
    assert_eq!(admit(&rig.m, &Ask::Home).err(), stale);
    assert!(rig.view().alarms.is_empty(), "not for a moment's silence");
    rig.wait(1.1);
    let alarm = rig.view().alarms.remove(0);
    assert_eq!(alarm.cause, Cause::InputsStale);
    assert!(alarm.why.contains("volts"), "{}", alarm.why);
    assert!(alarm.remedy.contains("converter"), "{}", alarm.remedy);
}

#[test]
fn volts_that_go_silent_in_a_cut_stop_it_within_three_of_their_intervals() {
    let mut rig = running();
    rig.volts_read = Some(rig.now);
    while rig.view().cut != Some(2) || rig.view().step != Some(Step::Cut) {
        rig.volts_read = Some(rig.now);
        rig.tick();
    }
    let silent = rig.now;
    rig.until(1.0, |r| r.m.stopping());
    let limit = Duration::from_millis(3 * 20);
    let after = rig.now.since(silent);
    assert!(
        after >= limit && after <= limit + Duration::from_millis(50),
        "{after:?}"
    );
    rig.volts_read = None;
    let hold = rig.until_held().hold.expect("held");
    assert_eq!(hold.cause, Cause::InputsStale, "{}", hold.why);
    assert!(hold.why.contains("volts"), "{}", hold.why);
    assert!(hold.remedy.contains("converter"), "{}", hold.remedy);
}

#[test]
fn a_loose_wire_of_the_volts_bars_the_fire_and_the_self_test_and_is_named() {
    let loose = |s: &mut crate::Signals| {
        (s.volts, s.volts_input) = (Some(-25.0), VoltsInput::WireOff);
    };
    let mut rig = Rig::new();
    rig.bend = Some(loose);
    rig.wait(3.0);
    assert!(!rig.m.self_test.passed);
    let near = rig.view().near;
    assert!(!near.safe && near.why.contains("wire"), "{}", near.why);

    // It comes off between the self-test and the fire.
    let mut rig = running();
    rig.until(60.0, |r| r.view().step == Some(Step::ClearTest));
    rig.bend = Some(loose);
    let hold = rig.until_held().hold.expect("held");
    assert_eq!(rig.table.fires, 0);
    assert_eq!(hold.cause, Cause::VoltsOdd, "{}", hold.why);
    assert!(hold.remedy.contains("wire"), "{}", hold.remedy);

    // It comes off in the cut.
    let mut rig = running();
    rig.run_to(2, 30.0);
    rig.bend = Some(loose);
    let hold = rig.until_held().hold.expect("held");
    assert_eq!(hold.cause, Cause::VoltsOdd, "{}", hold.why);
    assert!(hold.remedy.contains("back on"), "{}", hold.remedy);
    rig.bend = None;
    rig.clear_all();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn volts_that_stand_still_under_the_arc_stop_it_and_at_rest_they_may() {
    let mut rig = running();
    rig.bend = Some(|s| {
        if !s.arc_ok {
            s.volts_input = VoltsInput::Unmoving;
        }
    });
    rig.finish();
    rig.all_is_well();

    let mut rig = running();
    rig.run_to(2, 30.0);
    rig.bend = Some(|s| s.volts_input = VoltsInput::Unmoving);
    let hold = rig.until_held().hold.expect("held");
    assert_eq!(hold.cause, Cause::VoltsOdd, "{}", hold.why);
    assert!(hold.why.contains("113"), "{}", hold.why);
    assert!(hold.remedy.contains("converter"), "{}", hold.remedy);
    rig.bend = None;
    rig.clear_all();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}
