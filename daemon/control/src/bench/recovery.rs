//! Stories of going on: by the ways of a plan, and after a doubtful place.

use core::time::Duration;

use super::rig::{Rig, job, job_named, settings};
use super::stories::running;
use crate::ask::{Answer, Ask};
use crate::cause::Cause;
use crate::resume::Way;
use crate::view::{Phase, Step};

#[test]
fn a_lost_arc_is_gone_on_with_by_a_new_lead_in_from_the_scrap() {
    let mut rig = running();
    rig.run_to(1, 70.0);
    rig.table.blown_out = true;
    rig.until_held();
    let plan = rig.resume_by(Way::LeadIn);
    assert_eq!(plan.how.entry.len(), 1);
    rig.finish();
    rig.all_is_well();
    let v = rig.view();
    assert_eq!(v.entries, vec![plan.how.entry.clone()]);
    let corner = settings().sheet_corner;
    let at = plan.how.pierce.moved(corner.x, corner.y);
    assert!(rig.table.burnt.iter().any(|b| b.distance(at) < 0.1));
    assert_eq!(v.pierces, 3);
}

#[test]
fn an_arc_lost_again_on_the_new_lead_in_stays_lost_where_it_was() {
    let mut rig = running();
    rig.run_to(1, 70.0);
    rig.table.blown_out = true;
    rig.until_held();
    let first = rig.plans(0.0).stop.lost;
    rig.table.blown_out = false;
    rig.resume_by(Way::LeadIn);
    rig.until(60.0, |r| r.view().step == Some(Step::Cut));
    rig.table.blown_out = true;
    rig.until_held();
    let again = rig.plans(0.0);
    assert_eq!(again.stop.lost, first);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
    assert_eq!(rig.view().entries.len(), 1);
}

#[test]
fn an_arc_without_a_start_contact_is_no_fire_and_no_path_is_gone_without_an_arc() {
    for burns_s in [0.02, 0.04, 0.2, 5.0] {
        let mut rig = running();
        rig.until(20.0, |r| r.view().step == Some(Step::ProbeSlow));
        rig.table.wrong.k1_mirror_open = true;
        rig.until(20.0, |r| r.table.arc);
        rig.wait(burns_s);
        rig.table.blown_out = true;
        let v = rig.until_held();
        assert!(v.cuts[0].done.is_empty(), "{burns_s} s: {:?}", v.cuts[0]);
        assert_eq!(v.hold.expect("held").cause, Cause::Overdue, "{burns_s} s");
        rig.table.wrong.k1_mirror_open = false;
        rig.clear_all();
        // An arc that burned on was one that nobody had asked for: the relays are looked at.
        if !rig.m.readiness.permit_tested {
            rig.must(Ask::Vouch {
                check: crate::CheckId::SourceOff,
                yes: true,
            });
            rig.must(Ask::PermitTest);
            rig.until(2.0, |r| r.m.readiness.permit_tested);
        }
        rig.resume_as_offered();
        rig.finish();
        rig.all_is_well();
    }
}

#[test]
fn a_plan_is_for_its_own_stop_alone() {
    let mut rig = running();
    rig.run_to(2, 20.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    let old = rig.accept(&rig.plans(0.0).plans[0].clone());
    rig.resume_as_offered();
    rig.run_to(2, 50.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    for ask in [old, Ask::Resume { splice: None }] {
        assert!(matches!(
            rig.ask(ask),
            Answer::Refused { reason, .. } if reason == "no-plan"
        ));
    }
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

/// A run that an emergency stop has ended in its second cut, referenced again.
fn doubtful() -> Rig {
    let mut rig = running();
    rig.run_to(2, 60.0);
    rig.table.wrong.estop = true;
    rig.until_held();
    rig.table.wrong.estop = false;
    rig.wait(0.1);
    rig.clear_all();
    rig.must(Ask::Home);
    rig.until(30.0, |r| r.phase() != Phase::Homing);
    rig
}

#[test]
fn after_a_doubtful_place_the_sheet_itself_must_show_where_it_lies() {
    let mut rig = doubtful();
    assert!(matches!(
        rig.ask(Ask::ConfirmPlace),
        Answer::Refused { reason, .. } if reason == "sheet-to-check"
    ));
    assert!(
        matches!(rig.ask(Ask::DatumHere), Answer::Refused { reason, .. } if reason == "not-over-mark")
    );
    rig.check_datum(|_| (0.0, 0.0));
    assert!(!rig.view().doubtful);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_job_that_was_ended_in_mid_cut_and_held_on_the_way_home_goes_on_from_where_it_was() {
    let mut rig = running();
    rig.run_to(2, 60.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.must(Ask::EndJob);
    rig.until(30.0, |r| r.phase() == Phase::Running);
    rig.must(Ask::Hold { press: None });
    let held = rig.until_held().hold.expect("held");
    assert!(
        held.at_mm.is_some_and(|mm| (mm - 60.0).abs() < 5.0),
        "{held:?}"
    );
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_torch_that_was_taken_away_from_a_mark_stands_over_none() {
    let mut rig = doubtful();
    rig.must(Ask::DatumGo);
    rig.until(30.0, |r| r.view().datum.is_some_and(|d| d.over));
    rig.must(Ask::ChangeBegin);
    rig.until(30.0, |r| r.view().change.is_some_and(|c| c.parked));
    rig.must(Ask::ChangeCancel);
    assert!(
        matches!(rig.ask(Ask::DatumHere), Answer::Refused { reason, .. } if reason == "not-over-mark")
    );
    let at = rig.m.reference.sheet_at;
    rig.check_datum(|_| (0.0, 0.0));
    assert_eq!(rig.m.reference.sheet_at, at);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_sheet_that_is_found_elsewhere_is_cut_on_where_it_lies() {
    let mut rig = doubtful();
    let n = rig.table.burnt.len();
    rig.check_datum(|_| (0.8, -0.6));
    assert!(!rig.view().doubtful);
    rig.resume_as_offered();
    rig.finish();
    let corner = settings().sheet_corner;
    let end = job().cuts[1]
        .point_at(1e9)
        .moved(corner.x + 0.8, corner.y - 0.6);
    assert!(rig.table.burnt[n..].iter().any(|b| b.distance(end) < 0.05));
}

#[test]
fn referencing_again_forgets_where_a_check_has_found_the_sheet() {
    let mut rig = doubtful();
    rig.check_datum(|_| (1.0, 1.0));
    assert!(!rig.view().doubtful);
    let at = rig.m.reference.sheet_at;
    rig.must(Ask::Home);
    rig.until(30.0, |r| r.phase() != Phase::Homing);
    assert!(rig.view().doubtful && rig.view().datum.is_some());
    assert_ne!(rig.m.reference.sheet_at, at);
    assert_eq!(rig.m.reference.sheet_at.origin, settings().sheet_corner);
}

#[test]
fn an_interrupted_run_is_checked_on_its_sheet_whatever_is_loaded_first() {
    let mut rig = running();
    rig.run_to(2, 60.0);
    rig.table.wrong.estop = true;
    rig.until_held();
    rig.table.wrong.estop = false;
    let mut rig = rig.restart();
    rig.until(5.0, |r| r.phase() != Phase::Starting && r.m.line.usable());
    let causes: Vec<Cause> = rig.view().alarms.iter().map(|a| a.cause).collect();
    for cause in causes.into_iter().filter(|c| *c != Cause::Interrupted) {
        rig.must(Ask::Seen { cause });
        rig.must(Ask::Clear { cause });
        rig.wait(0.1);
    }
    rig.must(Ask::Home);
    rig.until(30.0, |r| r.phase() != Phase::Homing);
    let refused = |rig: &mut Rig, ask: Ask| match rig.ask(ask) {
        Answer::Refused { reason, .. } => reason,
        other => panic!("{other:?}"),
    };
    // Its place cannot be vouched for before its job is there, nor with another in its stead.
    assert_eq!(refused(&mut rig, Ask::ConfirmPlace), "sheet-to-check");
    assert_eq!(refused(&mut rig, Ask::DatumGo), "no-job");
    let other = job_named("another", "bb22");
    rig.must(Ask::Load { job: other });
    assert_eq!(refused(&mut rig, Ask::ConfirmPlace), "sheet-to-check");
    assert_eq!(refused(&mut rig, Ask::DatumGo), "other-job");
    rig.must(Ask::Load { job: job() });
    assert_eq!(refused(&mut rig, Ask::ConfirmPlace), "sheet-to-check");
    rig.check_datum(|_| (0.0, 0.0));
    assert!(!rig.view().doubtful);
    rig.make_ready();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

/// How far a cut may have come at most for a panel that finds it, its place in doubt.
fn may_have_come_to(arc_stuck: bool) -> f64 {
    let mut rig = running();
    rig.run_to(2, 60.0);
    rig.table.wrong.arc_stuck = arc_stuck;
    // The panel is dead for a while: only the table goes on.
    for _ in 0..300 {
        rig.now += Duration::from_millis(1);
        rig.table.tick(rig.now);
    }
    rig.table.wrong.estop = true;
    let mut rig = rig.restart();
    rig.until(5.0, |r| r.phase() != Phase::Starting && r.m.line.listens());
    rig.must(Ask::Load { job: job() });
    let stop = rig.view().hold.and_then(|h| h.stop).expect("interrupted");
    assert!(rig.view().doubtful);
    stop.lost.expect("something is cut").high_mm
}

#[test]
fn an_arc_that_is_still_on_when_a_panel_comes_back_may_have_burned_to_the_end() {
    let end = job().cuts[1].length_mm();
    assert!((may_have_come_to(true) - end).abs() < 1e-9);
    assert!(may_have_come_to(false) < 100.0);
}
