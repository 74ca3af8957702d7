//! Each fault that can be ordered, with a controller that speaks either dialect: held with its cause (or
//! cured by itself), taken up again, and in the end a whole sheet.

use crate::rig::{
    PATIENT, Ran, Speaks, assert_whole, number, practise, practise_speaking, standclear,
};
use serde_json::Value;

/// Practises with one fault, once in each dialect; the run must end whole and have held once with this
/// cause. Gives the holds.
#[track_caller]
fn held_once(fault: &str, cause: &str) -> [Value; 2] {
    Speaks::BOTH.map(|speaks| held_once_speaking(speaks, fault, cause))
}

#[track_caller]
fn held_once_speaking(speaks: Speaks, fault: &str, cause: &str) -> Value {
    let ran = practise_speaking(speaks, &["--fault", fault]);
    let told = assert_whole(&ran);
    let holds = told["holds"].as_array().cloned().unwrap_or_default();
    assert_eq!(holds.len(), 1, "{speaks:?} {told:#}");
    assert_eq!(holds[0]["cause"], cause, "{speaks:?} {told:#}");
    holds[0].clone()
}

#[test]
fn a_lost_arc_is_taken_up_again_at_or_before_the_place() {
    // Where nothing is stamped the place hangs on the age of the reports.
    for (hold, off_mm) in held_once("arc-lost@2:60", "arc-lost")
        .iter()
        .zip([2.0, 3.0])
    {
        assert_eq!(hold["cut"], 2);
        assert!((number(&hold["at_mm"]) - 60.0).abs() < off_mm, "{hold}");
        assert!(number(&hold["resumed_mm"]) <= 60.0, "{hold}");
    }
}

#[test]
fn a_lost_arc_on_a_small_hole_is_taken_up_again() {
    held_once("arc-lost@1:20", "arc-lost");
}

#[test]
fn the_lost_arc_of_the_demo_sheet_is_taken_up_again() {
    let ran = Ran::of(
        standclear()
            .args(["practice", "--headless", "--format", "json"])
            .args(["--speed", "100", "--fault", "arc-lost@31:200"])
            .args(PATIENT),
    );
    let told = assert_whole(&ran);
    let holds = told["holds"].as_array().cloned().unwrap_or_default();
    assert_eq!(holds.len(), 1, "{told:#}");
    assert_eq!(holds[0]["cause"], "arc-lost");
    assert_eq!(holds[0]["cut"], 31);
    assert!(number(&holds[0]["resumed_mm"]) <= 200.0, "{told:#}");
}

#[test]
fn a_source_that_is_not_switched_on_gives_no_arc() {
    for hold in held_once("no-arc@1", "no-arc") {
        assert_eq!(hold["cut"], 1);
    }
}

#[test]
fn a_contact_that_stays_on_is_held_before_the_touch_off() {
    held_once_speaking(Speaks::Plain, "contact-stuck@2", "contact-stuck");
    // Where the circuit is on for a touch-off alone, it is met there, far above the sheet.
    held_once_speaking(Speaks::Quill, "contact-stuck@2", "plate-moved");
}

#[test]
fn a_plate_that_is_not_found_is_held() {
    held_once("no-contact@2", "no-contact");
}

#[test]
fn an_emergency_stop_in_mid_cut_is_recovered_from() {
    for hold in held_once("estop@2:80", "estop") {
        assert!(number(&hold["resumed_mm"]) <= 80.0, "{hold}");
    }
}

#[test]
fn an_emergency_stop_at_a_pierce_is_recovered_from() {
    held_once("estop@2", "estop");
}

#[test]
fn a_cut_serial_cable_in_mid_cut_is_recovered_from() {
    held_once("link-cut@2:50", "link-cut");
}

#[test]
fn a_controller_that_restarts_in_mid_cut_is_recovered_from() {
    held_once("controller-reset@2:50", "controller-reset");
}

#[test]
fn two_faults_in_one_job_are_both_recovered_from() {
    for speaks in Speaks::BOTH {
        let faults = ["--fault", "arc-lost@1:20", "--fault", "estop@2:100"];
        let told = assert_whole(&practise_speaking(speaks, &faults));
        let holds = told["holds"].as_array().map(Vec::len);
        assert_eq!(holds, Some(2), "{speaks:?} {told:#}");
    }
}

#[test]
fn a_fault_at_a_place_that_does_not_exist_is_a_usage_error() {
    for place in ["arc-lost@3", "arc-lost@2:100000", "arc-lost@0"] {
        let ran = practise(&["--fault", place]);
        assert_eq!(ran.code, Some(2), "{place}: {}", ran.stderr);
    }
}

#[test]
fn a_fault_nobody_knows_is_a_usage_error() {
    let ran = practise(&["--fault", "moon-falls@1"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("moon-falls"), "{}", ran.stderr);
}
