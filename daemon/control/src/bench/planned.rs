//! Stories of planned stops, and of what is watched over a while: queue, line, screen.

use std::sync::Arc;

use planning::{Job, JobElement, PlannedStop, StopFor};
use units::{Point, Segment};

use super::causes::clears;
use super::rig::Rig;
use super::stories::running;
use crate::ask::{Answer, Ask};
use crate::cause::{AlarmLevel, Cause};
use crate::io::Input;
use crate::machine::admission::{No, admit};
use crate::view::{CutState, Phase, Step};

pub(super) fn started(job: Job) -> Rig {
    let mut rig = Rig::new();
    rig.until(5.0, |r| r.phase() == Phase::Idle && r.m.line.usable());
    rig.must(Ask::Load { job: Arc::new(job) });
    rig.make_ready();
    rig.must(Ask::Start);
    rig
}

/// A job that stands before its second cut.
pub(super) fn with_wait(cause: StopFor, wait_s: f64) -> Rig {
    let mut job = (*super::rig::job()).clone();
    job.waits = vec![PlannedStop {
        cause,
        before_cut: 2,
        wait_s,
    }];
    started(job)
}

/// The line is noisy until the torch stands over its pierce.
pub(super) fn noise_before_the_fire(rig: &mut Rig) {
    rig.table.wrong.noisy = true;
    rig.until(60.0, |r| r.view().step == Some(Step::Ready));
    rig.table.wrong.noisy = false;
}

/// The second cut is a line of many short pieces.
pub(super) fn in_pieces() -> Rig {
    let mut job = (*super::rig::job()).clone();
    let p = |k: u32| Point::new(200.0 + 0.3 * f64::from(k), 50.0);
    job.cuts[1].path = (0..300)
        .map(|k| JobElement {
            segment: Segment::Line {
                from: p(k),
                to: p(k + 1),
            },
            feed_mm_s: 20.0,
            line: 1,
        })
        .collect();
    let mut rig = started(job);
    rig.table.wrong.shallow = true;
    rig
}

#[test]
fn a_planned_stop_stands_between_two_cuts_and_goes_on_when_asked_after_its_time() {
    for stop in [StopFor::AirWait, StopFor::DutyWait] {
        let (mut rig, cause) = (with_wait(stop, 20.0), Cause::from(stop));
        let v = rig.until_held();
        let hold = v.hold.expect("held");
        assert_eq!((hold.cause, hold.cut), (cause, Some(2)));
        assert_eq!(v.alarms[0].level, AlarmLevel::Notice);
        assert_eq!(rig.table.fires, 1);
        rig.read();
        rig.wait(19.0);
        assert!(matches!(
            rig.ask(Ask::SkipCut),
            Answer::Refused { reason, .. } if reason == "still-there"
        ));
        rig.wait(1.5);
        assert_eq!(rig.phase(), Phase::Held, "nothing goes on by itself");
        rig.resume_as_offered();
        rig.finish();
        rig.all_is_well();
    }
}

/// The panel dies, is back, and has the same job loaded and everything checked.
fn back_with_its_job(rig: Rig, job: Arc<Job>) -> Rig {
    let mut rig = rig.restart();
    rig.until(5.0, |r| r.phase() != Phase::Starting && r.m.line.usable());
    rig.must(Ask::Load { job });
    rig.make_ready();
    rig
}

fn job_with_wait(wait_s: f64) -> Arc<Job> {
    let mut job = (*super::rig::job()).clone();
    job.waits = vec![PlannedStop {
        cause: StopFor::AirWait,
        before_cut: 2,
        wait_s,
    }];
    Arc::new(job)
}

#[test]
fn a_planned_stop_in_which_the_panel_died_is_made_again_in_full() {
    let mut rig = with_wait(StopFor::AirWait, 20.0);
    rig.until_held();
    rig.wait(5.0);
    let mut rig = back_with_its_job(rig, job_with_wait(20.0));
    rig.resume_as_offered();
    let hold = rig.until_held().hold.expect("held");
    assert_eq!((hold.cause, hold.cut), (Cause::AirWait, Some(2)));
    assert_eq!(rig.table.fires, 1, "nothing has fired");
    rig.read();
    rig.wait(19.0);
    assert!(matches!(rig.ask(Ask::SkipCut), Answer::Refused { .. }));
    rig.wait(1.5);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_planned_stop_that_was_gone_on_from_is_not_made_again_after_a_restart() {
    let mut rig = with_wait(StopFor::AirWait, 2.0);
    rig.until_held();
    rig.read();
    rig.wait(2.5);
    rig.resume_as_offered();
    rig.run_to(2, 60.0);
    let mut rig = back_with_its_job(rig, job_with_wait(2.0));
    rig.resume_as_offered();
    rig.finish();
    let again = rig
        .view()
        .holds
        .iter()
        .any(|h| h.cause == Cause::AirWait && h.resumed_mm.is_none());
    assert!(!again, "{:?}", rig.view().holds);
    rig.all_is_well();
}

#[test]
fn parts_that_are_due_are_changed_or_the_operator_says_that_they_go_on() {
    let mut rig = with_wait(StopFor::ChangeDue, 0.0);
    rig.until_held();
    assert!(admit(&rig.m, &Ask::SkipCut) == Err(No::NotSeen));
    rig.must(Ask::ChangeBegin);
    rig.until(30.0, |r| r.view().change.is_some_and(|c| !c.moving));
    rig.must(Ask::ChangeIsolated);
    rig.must(Ask::ChangeParts {
        parts: vec![crate::parts::Part::Nozzle],
        set: None,
    });
    rig.must(Ask::ChangeCancel);
    assert_eq!(clears(&rig.m, Cause::ChangeDue), Ok(()));
    let mut rig = with_wait(StopFor::ChangeDue, 0.0);
    rig.until_held();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_planned_stop_is_made_too_when_the_cut_before_it_is_left() {
    let mut rig = with_wait(StopFor::AirWait, 5.0);
    rig.run_to(1, 20.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.must(Ask::SkipCut);
    assert_eq!(rig.view().hold.expect("held").cause, Cause::AirWait);
    rig.wait(5.5);
    rig.resume_as_offered();
    rig.finish();
    assert_eq!(rig.view().holds.len(), 2);
}

#[test]
fn a_queue_of_many_short_pieces_and_the_end_of_a_path_are_not_starved() {
    let mut rig = in_pieces();
    rig.finish();
    assert_eq!(rig.view().holds, vec![]);
}

#[test]
fn noise_never_stops_a_cut_and_is_told_once() {
    let mut rig = running();
    noise_before_the_fire(&mut rig);
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::LinkNoise);
    assert_eq!((rig.table.fires, v.cuts[0].state), (1, CutState::Done));
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
    assert_eq!(rig.view().holds.len(), 1);
}

#[test]
fn a_screen_that_is_lost_holds_at_once_or_after_the_cut_where_a_button_is_fitted() {
    for after_cut in [false, true] {
        let mut rig = running();
        rig.m.settings.screen_lost_after_cut = after_cut;
        rig.run_to(1, 40.0);
        rig.step(Input::Screen { there: false });
        rig.wait(1.9);
        assert_eq!(rig.phase(), Phase::Running);
        let v = rig.until_held();
        assert_eq!(v.hold.expect("held").cause, Cause::ScreenLost);
        let done = v.cuts[0].state == CutState::Done;
        assert_eq!(done, after_cut);
        rig.wait(5.0);
        assert!(admit(&rig.m, &Ask::SkipCut) == Err(No::StillThere(Cause::ScreenLost)));
        rig.step(Input::Screen { there: true });
        rig.wait(5.0);
        assert_eq!(rig.phase(), Phase::Held, "nothing goes on by itself");
        rig.resume_as_offered();
        rig.finish();
        rig.all_is_well();
        assert_eq!(rig.view().holds.len(), 1);
    }
}

#[test]
fn a_screen_that_is_back_in_time_holds_nothing() {
    let mut rig = running();
    rig.run_to(1, 40.0);
    rig.step(Input::Screen { there: false });
    rig.wait(1.9);
    rig.step(Input::Screen { there: true });
    rig.finish();
    rig.all_is_well();
    assert_eq!(rig.view().holds, vec![]);
}
