//! Whole runs, told from the operator's side.

use super::rig::{Rig, job, job_named};
use crate::ask::{Answer, Ask};
use crate::cause::Cause;
use crate::event::Event;
use crate::resume::Way;
use crate::view::{Choice, Phase, Step, Waiting};

pub(super) fn running() -> Rig {
    let mut rig = Rig::new();
    rig.make_ready();
    rig.must(Ask::Start);
    rig
}

#[test]
fn a_clean_job_is_cut_to_the_end_and_parked() {
    let mut rig = running();
    rig.finish();
    rig.all_is_well();
    let v = rig.view();
    assert_eq!(v.holds, vec![]);
    assert_eq!(v.retries, vec![]);
    assert_eq!(v.pierces, 2);
    assert!(rig.table.place.distance(units::Point::default()) < 0.01);
    assert!(matches!(
        rig.ask(Ask::Start),
        Answer::Refused { reason, .. } if reason == "job-used"
    ));
}

#[test]
fn the_start_record_is_on_the_disk_before_the_fire_is_asked_for() {
    let mut rig = running();
    rig.finish();
    let kept = |f: fn(&Event) -> bool| rig.events.iter().position(f).expect("recorded");
    let started = kept(|e| matches!(e, Event::CutStarted { cut: 1, .. }));
    let fire = kept(|e| matches!(e, Event::FireAsked { cut: 1, .. }));
    assert!(started < fire);
}

#[test]
fn with_a_dead_disk_nothing_fires() {
    let mut rig = running();
    rig.until(20.0, |r| r.view().step == Some(Step::Traverse));
    rig.disk_dead = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::RecordFailed);
    assert_eq!(rig.table.fires, 0);
    rig.disk_dead = false;
    rig.must(Ask::Seen {
        cause: Cause::RecordFailed,
    });
    rig.wait(0.1);
    rig.clear_all();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn hold_now_in_a_cut_stops_and_a_resume_leaves_nothing_uncut() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    assert_eq!(rig.ask_seen(0, Ask::Hold { press: None }), Answer::Accepted);
    let v = rig.until_held();
    assert_eq!(v.phase, Phase::Held);
    let hold = v.hold.expect("held");
    assert_eq!(hold.cause, Cause::Hold);
    assert!(
        (hold.at_mm.expect("a place") - 40.0).abs() < 2.0,
        "{hold:?}"
    );
    assert_eq!(hold.choices[0], Choice::StepBack);
    assert!(rig.table.z > 25.0, "lifted");
    // Pressed again while nothing moves: taken, and nothing comes of it.
    assert_eq!(rig.ask(Ask::Hold { press: None }), Answer::Accepted);
    rig.until(1.0, |r| r.m.line.listens());
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
    let v = rig.view();
    assert_eq!(v.holds.len(), 1);
    let h = v.holds[0];
    assert!(h.resumed_mm.expect("resumed") <= h.at_mm);
}

#[test]
fn a_resume_never_begins_beyond_what_is_surely_cut() {
    let mut rig = running();
    rig.run_to(1, 60.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    let lost = rig
        .m
        .run
        .as_ref()
        .and_then(|r| r.lost())
        .expect("on the path");
    let plan = rig.resume_as_offered();
    // Two half rounds of the kerf meet: no bridge can stay.
    assert!(
        plan.how.from_mm - 1.45 / 2.0 <= lost.low_mm + 1.45 / 2.0,
        "{plan:?}"
    );
    rig.finish();
    rig.all_is_well();
}

#[test]
fn hold_after_this_cut_stands_between_the_cuts() {
    let mut rig = running();
    rig.run_to(1, 10.0);
    rig.must(Ask::HoldAfterCut);
    let v = rig.until_held();
    assert_eq!(v.cut, Some(2));
    assert_eq!(v.hold.expect("held").choices[0], Choice::CarryOn);
    assert_eq!(v.pierces, 1);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_hold_before_the_arc_tries_the_cut_again() {
    let mut rig = running();
    rig.until(20.0, |r| r.view().step == Some(Step::ProbeSlow));
    rig.must(Ask::Hold { press: None });
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").choices[0], Choice::CarryOn);
    assert_eq!(rig.resume_as_offered().how.way, Way::Restart);
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_lost_arc_is_held_at_its_place_and_resumed_from_the_open_kerf() {
    let mut rig = running();
    rig.run_to(1, 70.0);
    rig.table.blown_out = true;
    let v = rig.until_held();
    let hold = v.hold.expect("held");
    assert_eq!(hold.cause, Cause::ArcLost);
    let at = hold.at_mm.expect("a place");
    assert!((at - 70.5).abs() < 1.0, "{at}");
    let stop = hold.stop.expect("it can be gone on with");
    let lost = stop.lost.expect("on the path");
    assert!(lost.low_mm < at && at < lost.high_mm, "{lost:?}");
    assert!(hold.ran_on_mm.expect("it ran on") > 0.2, "{hold:?}");
    assert_eq!(v.marks.len(), 1);
    assert_eq!(v.marks[0].between_mm, Some([lost.low_mm, lost.high_mm]));
    assert_eq!(v.alarms[0].cause, Cause::ArcLost);
    let plan = rig.resume_as_offered();
    assert_eq!(plan.how.way, Way::KerfEnd, "{plan:?}");
    rig.finish();
    rig.all_is_well();
    assert_eq!(rig.view().holds[0].resumed_mm, Some(plan.how.from_mm));
}

#[test]
fn an_arc_lost_at_the_very_start_of_a_path_is_gone_on_with() {
    let mut rig = running();
    rig.run_to(2, 1.0);
    rig.table.blown_out = true;
    rig.until_held();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn no_arc_is_tried_once_more_by_itself_and_then_held_with_the_reason_told_by_volts() {
    let mut rig = running();
    rig.table.wrong.source_off = true;
    let v = rig.until_held();
    let hold = v.hold.expect("held");
    assert_eq!(hold.cause, Cause::NoArc);
    assert!(
        hold.why
            .contains("the power source is not switched on, or its start wire is off"),
        "{}",
        hold.why
    );
    assert_eq!(rig.table.fires, 2);
    assert_eq!(v.holds.len(), 1);
    rig.table.wrong.source_off = false;
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_second_try_that_cures_no_arc_is_a_retry_and_no_hold() {
    let mut rig = running();
    rig.table.wrong.source_off = true;
    rig.until(20.0, |r| r.phase() == Phase::Stopping);
    rig.table.wrong.source_off = false;
    rig.finish();
    rig.all_is_well();
    let v = rig.view();
    assert_eq!(v.holds, vec![]);
    assert_eq!(v.retries.len(), 1);
    assert_eq!(v.retries[0].cause, Cause::NoArc);
}

#[test]
fn an_arc_lost_in_the_pierce_is_tried_once_more() {
    let mut rig = running();
    rig.until(20.0, |r| r.view().step == Some(Step::Pierce));
    rig.table.blown_out = true;
    rig.finish();
    rig.all_is_well();
    assert_eq!(rig.view().retries[0].cause, Cause::ArcLost);
}

#[test]
fn a_stuck_contact_is_looked_at_twice_and_then_held() {
    let mut rig = running();
    rig.table.wrong.contact_stuck = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::ContactStuck);
    assert_eq!(rig.table.fires, 0);
    rig.table.wrong.contact_stuck = false;
    rig.wait(0.1);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_plate_that_is_not_found_is_held_and_nothing_fires() {
    let mut rig = running();
    rig.table.wrong.no_metal = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::NoContact);
    assert_eq!(rig.table.fires, 0);
    rig.table.wrong.no_metal = false;
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn the_emergency_stop_latches_and_the_place_is_doubtful_until_confirmed() {
    let mut rig = running();
    rig.run_to(1, 50.0);
    rig.table.wrong.estop = true;
    let v = rig.until_held();
    assert_eq!(v.phase, Phase::Latched);
    assert_eq!(v.waiting_for, Waiting::EstopToBeCleared);
    assert_eq!(v.hold.expect("held").cause, Cause::Estop);
    assert!(v.doubtful);
    assert!(matches!(
        rig.ask(Ask::Clear {
            cause: Cause::Estop
        }),
        Answer::Refused { reason, .. } if reason == "still-there"
    ));
    rig.table.wrong.estop = false;
    rig.wait(0.1);
    assert!(matches!(rig.ask(Ask::Home), Answer::Refused { .. }));
    rig.clear_all();
    assert_eq!(rig.phase(), Phase::Held);
    assert!(matches!(
        rig.ask(Ask::Resume { splice: None }),
        Answer::Refused { .. }
    ));
    rig.reference();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_cut_link_is_held_and_the_place_is_proven_when_it_is_back() {
    let mut rig = running();
    rig.run_to(2, 50.0);
    rig.unplug();
    rig.wait(2.0);
    assert!(!rig.table.arc);
    rig.until_held();
    rig.wait(5.0);
    let hold = rig.view().hold.expect("held");
    assert_eq!(hold.cause, Cause::LinkCut);
    // What was measured is that it ended, not a silence longer than its limit.
    assert!(
        hold.why.starts_with("The line itself ended: hung up."),
        "{hold:?}"
    );
    rig.table.wrong.unplugged = false;
    rig.until(3.0, |r| r.m.line.usable());
    assert!(!rig.view().doubtful);
    rig.clear_all();
    rig.until(3.0, |r| r.m.line.usable());
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_controller_that_was_reset_is_held_as_such_and_must_be_referenced() {
    let mut rig = running();
    rig.run_to(1, 80.0);
    rig.table.reset();
    rig.wait(3.0);
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::ControllerReset);
    assert_eq!(v.holds[0].cause, Cause::ControllerReset);
    assert!(v.doubtful);
    rig.clear_all();
    rig.reference();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn an_arc_that_will_not_go_out_latches_and_the_torch_is_lifted_to_snap_it() {
    let mut rig = running();
    rig.run_to(1, 100.0);
    rig.table.wrong.arc_stuck = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::ArcStuck);
    assert_eq!(v.phase, Phase::Latched);
    assert!(rig.table.z > 25.0, "lifted");
    rig.table.wrong.arc_stuck = false;
    rig.wait(0.2);
    rig.clear_all();
    rig.test_permit();
    rig.until(2.0, |r| r.phase() == Phase::Held);
    rig.wait(0.2);
    rig.resume_as_offered();
    rig.finish();
    // The lift under the arc was meant.
    rig.table
        .violations
        .retain(|v| v != "lifted under a live arc");
    rig.all_is_well();
}

#[test]
fn a_second_cut_whose_arc_will_not_go_out_is_done_all_the_same() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.table.wrong.arc_stuck = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::ArcStuck);
    assert_eq!(v.cuts[1].state, crate::view::CutState::Done);
}

#[test]
fn a_welded_start_contact_latches_as_unasked_fire_and_the_permit_puts_the_arc_out() {
    let mut rig = running();
    rig.run_to(1, 100.0);
    rig.table.wrong.k1_welded = true;
    let v = rig.until_held();
    assert_eq!(v.phase, Phase::Latched);
    assert!(v.alarms.iter().any(|a| a.cause == Cause::UnaskedFire));
    assert!(!rig.table.arc);
}

#[test]
fn an_open_gate_holds_and_must_be_closed_and_confirmed() {
    let mut rig = running();
    rig.run_to(2, 30.0);
    rig.table.wrong.gate_open = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::GateOpen);
    rig.table.wrong.gate_open = false;
    rig.wait(0.1);
    assert!(matches!(rig.ask(Ask::SkipCut), Answer::Refused { .. }));
    rig.clear_all();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn the_hold_button_holds_without_a_latch() {
    let mut rig = running();
    rig.run_to(2, 30.0);
    rig.table.wrong.hold_button = true;
    rig.wait(0.2);
    rig.table.wrong.hold_button = false;
    let v = rig.until_held();
    assert_eq!(v.phase, Phase::Held);
    assert_eq!(v.hold.expect("held").cause, Cause::Hold);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn low_air_holds_and_going_on_waits_for_it() {
    let mut rig = running();
    rig.run_to(2, 30.0);
    rig.table.wrong.air_low = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::AirLow);
    assert!(matches!(rig.ask(Ask::SkipCut), Answer::Refused { .. }));
    rig.table.wrong.air_low = false;
    rig.wait(4.9);
    assert!(matches!(
        rig.ask(Ask::SkipCut),
        Answer::Refused { reason, .. } if reason == "still-there"
    ));
    rig.wait(0.2);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn skipping_the_last_cut_finishes_the_run_with_it_left_out() {
    let mut rig = running();
    rig.run_to(2, 30.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.must(Ask::SkipCut);
    rig.finish();
    let v = rig.view();
    assert_eq!(v.cuts[1].state, crate::view::CutState::Skipped);
    assert_eq!(v.holds[0].resumed_mm, None);
}

#[test]
fn ending_a_held_job_parks_and_tells_what_was_cut() {
    let mut rig = running();
    rig.run_to(2, 30.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.must(Ask::EndJob);
    rig.finish();
    assert!(rig.events.iter().any(|e| matches!(
        e,
        Event::RunEnded {
            outcome: crate::Outcome::Ended,
            cuts_done: 1,
            ..
        }
    )));
}

#[test]
fn a_new_service_offers_to_go_on_from_the_place_surely_cut() {
    let mut rig = running();
    rig.run_to(2, 60.0);
    let mut rig = rig.restart();
    rig.until(5.0, |r| r.phase() != Phase::Starting && r.m.line.usable());
    let v = rig.view();
    assert!(!v.doubtful, "the controller never lost count");
    assert_eq!(v.alarms[0].cause, Cause::Interrupted);
    rig.must(Ask::Load { job: job() });
    let hold = rig.view().hold.expect("offered");
    assert_eq!(hold.cause, Cause::Interrupted);
    assert_eq!(hold.cut, Some(2));
    rig.make_ready();
    assert!(
        matches!(rig.ask(Ask::Start), Answer::Refused { reason, .. } if reason == "interrupted")
    );
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
    let v = rig.view();
    assert_eq!(v.holds[0].cause, Cause::Interrupted);
    assert_eq!(v.run, Some(1), "it is the same run");
}

#[test]
fn the_cut_at_which_a_run_was_interrupted_may_be_left_and_the_rest_is_cut() {
    let mut rig = running();
    rig.run_to(1, 60.0);
    let mut rig = rig.restart();
    rig.until(5.0, |r| r.phase() != Phase::Starting && r.m.line.usable());
    rig.must(Ask::Load { job: job() });
    assert!(
        matches!(rig.ask(Ask::SkipCut), Answer::Refused { .. }),
        "not before it was read and the checks hold"
    );
    rig.make_ready();
    rig.must(Ask::SkipCut);
    rig.finish();
    let v = rig.view();
    assert_eq!(v.run, Some(1), "it is the same run");
    let states: Vec<_> = v.cuts.iter().map(|c| c.state).collect();
    assert_eq!(
        states,
        [crate::view::CutState::Skipped, crate::view::CutState::Done]
    );
}

#[test]
fn another_job_starts_only_after_the_interrupted_run_was_read_and_left() {
    let mut rig = running();
    rig.run_to(1, 60.0);
    let mut rig = rig.restart();
    rig.until(5.0, |r| r.phase() != Phase::Starting && r.m.line.usable());
    rig.must(Ask::Load {
        job: job_named("another", "bb22"),
    });
    assert!(matches!(rig.ask(Ask::Start), Answer::Refused { .. }));
    let cause = Cause::Interrupted;
    assert!(
        matches!(rig.ask(Ask::Clear { cause }), Answer::Refused { reason, .. } if reason == "not-seen")
    );
    rig.must(Ask::Seen { cause });
    rig.must(Ask::Clear { cause });
    rig.make_ready();
    rig.must(Ask::Start);
    rig.finish();
    assert_eq!(rig.view().run, Some(2));
}

#[test]
fn latches_and_doubt_come_back_with_a_new_service() {
    let mut rig = running();
    rig.run_to(1, 60.0);
    rig.table.wrong.estop = true;
    rig.until_held();
    rig.table.wrong.estop = false;
    let mut rig = rig.restart();
    rig.until(5.0, |r| r.phase() != Phase::Starting);
    let v = rig.view();
    assert_eq!(v.phase, Phase::Latched);
    assert!(v.doubtful);
    assert!(rig.guard.latches().any(|c| c == Cause::Estop));
}

#[test]
fn a_request_that_saw_an_older_state_is_refused_but_hold_is_not() {
    let mut rig = running();
    rig.run_to(1, 20.0);
    let generation = rig.m.generation();
    assert!(matches!(
        rig.ask_seen(generation - 1, Ask::HoldAfterCut),
        Answer::Refused { reason, .. } if reason == "stale"
    ));
    assert_eq!(rig.m.generation(), generation, "a position is no news");
    assert_eq!(
        rig.ask_seen(generation - 1, Ask::Hold { press: None }),
        Answer::Accepted
    );
}

#[test]
fn a_latch_that_is_cleared_while_the_panel_starts_leaves_no_controller_in_its_fault() {
    let mut rig = running();
    rig.run_to(1, 50.0);
    rig.table.wrong.estop = true;
    rig.wait(0.01);
    let mut rig = rig.restart();
    // The line is opened, and the controller stays in its fault: the chain is still open.
    rig.wait(0.3);
    assert_eq!(rig.phase(), Phase::Starting);
    rig.table.wrong.estop = false;
    rig.wait(0.1);
    rig.must(Ask::Clear {
        cause: Cause::Estop,
    });
    rig.until(5.0, |r| r.phase() != Phase::Starting);
    rig.until(5.0, |r| r.m.line.usable());
}
