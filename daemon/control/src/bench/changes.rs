//! Torch parts changed in the middle of a run and between runs, told from the operator's side.

use super::rig::{Rig, job};
use crate::Cause;
use crate::ask::{Answer, Ask, CheckId};
use crate::event::Event;
use crate::guard::Phase as Permit;
use crate::parts::{Part, Used};
use crate::view::{ChangeStep, Phase, Power};

/// An arc was lost in the second cut.
fn lost() -> Rig {
    let mut rig = Rig::new();
    rig.make_ready();
    rig.must(Ask::Start);
    rig.run_to(2, 30.0);
    rig.table.blown_out = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::ArcLost);
    rig.wait(0.3);
    rig
}

fn step(rig: &Rig) -> Option<ChangeStep> {
    rig.view().change.map(|c| c.step)
}

fn parts(set: &str) -> Ask {
    Ask::ChangeParts {
        parts: vec![Part::Nozzle, Part::Electrode],
        set: Some(set.into()),
    }
}

#[track_caller]
fn to(rig: &mut Rig, wanted: ChangeStep) {
    rig.until(30.0, |r| step(r) == Some(wanted));
}

#[track_caller]
fn begin(rig: &mut Rig) {
    rig.must(Ask::ChangeBegin);
    to(rig, ChangeStep::Isolate);
}

#[track_caller]
fn swap(rig: &mut Rig) {
    begin(rig);
    rig.must(Ask::ChangeIsolated);
    rig.must(parts("40"));
}

#[track_caller]
fn try_by_hand(rig: &mut Rig) {
    rig.wait(0.5);
    rig.table.wrong.metal_at_nozzle = true;
    rig.wait(0.3);
    assert!(rig.view().change.expect("open").contact_seen);
    rig.table.wrong.metal_at_nozzle = false;
    to(rig, ChangeStep::Source);
}

fn refused(rig: &mut Rig, ask: Ask) -> String {
    match rig.ask(ask) {
        Answer::Refused { reason, .. } => reason,
        other => panic!("not refused: {other:?}"),
    }
}

fn permits_in_change(rig: &Rig) -> bool {
    rig.permits.iter().any(|p| *p != Permit::Off)
}

#[test]
fn parts_are_changed_in_a_hold_and_the_run_goes_on_whole() {
    let mut rig = lost();
    let before = rig.view().parts.parts[0];
    assert_eq!((before.starts, before.lost), (2, 1));
    rig.permits.clear();
    begin(&mut rig);
    assert!(rig.table.place.distance(units::Point::new(20.0, 10.0)) < 0.1);
    rig.must(Ask::ChangeIsolated);
    rig.must(parts("40"));
    try_by_hand(&mut rig);
    rig.must(Ask::ChangeSourceOn);
    rig.must(Ask::ChangeTouch);
    to(&mut rig, ChangeStep::Done);
    let done = rig.view().change.expect("open");
    assert!(done.tested && done.trouble.is_none());
    assert!(done.off_mm.expect("compared").abs() < 0.1, "{done:?}");
    assert_eq!(done.before[0].starts, 2);
    assert!(!permits_in_change(&rig), "{:?}", rig.permits);
    rig.must(Ask::ChangeEnd);
    let v = rig.view();
    assert_eq!(v.phase, Phase::Held);
    assert_eq!(v.hold.as_ref().expect("held").cause, Cause::ArcLost);
    assert_eq!(v.parts.parts[0].starts, 0);
    assert_eq!(v.parts.parts[2].starts, 2, "the shield was not changed");
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
    assert_eq!(rig.view().parts.parts[0].starts, 1);
}

#[test]
fn while_a_change_is_open_nothing_that_could_fire_move_or_reference_is_taken() {
    let mut rig = lost();
    rig.permits.clear();
    let asks = [
        Ask::Resume { splice: None },
        Ask::Start,
        Ask::PermitTest,
        Ask::Home,
        Ask::SkipCut,
        Ask::EndJob,
        Ask::Load { job: job() },
        Ask::Unload,
    ];
    let at_each = |rig: &mut Rig, wanted: ChangeStep| {
        to(rig, wanted);
        for ask in asks.clone() {
            let said = refused(rig, ask.clone());
            assert_eq!(said, "change-open", "{ask:?} at {wanted:?}");
        }
        let v = rig.view();
        for name in [
            "resume",
            "start",
            "permit-test",
            "home",
            "skip-cut",
            "end-job",
            "load",
        ] {
            let a = v.allowed.iter().find(|a| a.ask == name).expect("listed");
            assert!(a.refused.is_some(), "{name} at {wanted:?}");
        }
        assert_eq!(v.torch.arc, crate::view::ArcView::LockedOut);
    };
    rig.must(Ask::ChangeBegin);
    at_each(&mut rig, ChangeStep::Park);
    at_each(&mut rig, ChangeStep::Isolate);
    rig.must(Ask::ChangeIsolated);
    at_each(&mut rig, ChangeStep::Swap);
    rig.must(parts("40"));
    at_each(&mut rig, ChangeStep::Contact);
    try_by_hand(&mut rig);
    at_each(&mut rig, ChangeStep::Source);
    rig.must(Ask::ChangeSourceOn);
    at_each(&mut rig, ChangeStep::Touch);
    rig.must(Ask::ChangeTouch);
    at_each(&mut rig, ChangeStep::Done);
    assert!(!permits_in_change(&rig), "{:?}", rig.permits);
}

#[test]
fn a_source_that_is_seen_on_is_not_isolated_by_a_word() {
    let mut rig = lost();
    rig.table.wrong.source_on = Some(true);
    begin(&mut rig);
    assert_eq!(rig.view().change.expect("open").power, Power::On);
    assert_eq!(refused(&mut rig, Ask::ChangeIsolated), "power-on");
    rig.table.wrong.source_on = Some(false);
    rig.wait(0.1);
    let v = rig.view().change.expect("open");
    assert_eq!(v.power, Power::Off);
    assert!(v.power_at_s.is_some());
    rig.must(Ask::ChangeIsolated);
    let seen = |e: &Event| matches!(e, Event::SourceIsolated { seen: true, .. });
    assert!(rig.events.iter().any(seen));
    rig.must(parts("40"));
    try_by_hand(&mut rig);
    assert_eq!(refused(&mut rig, Ask::ChangeSourceOn), "power-off");
    rig.table.wrong.source_on = Some(true);
    rig.wait(0.1);
    rig.must(Ask::ChangeSourceOn);
}

#[test]
fn power_that_comes_on_over_bare_hands_takes_the_change_back_to_the_isolator() {
    for in_step in [ChangeStep::Swap, ChangeStep::Contact] {
        let mut rig = lost();
        rig.table.wrong.source_on = Some(false);
        begin(&mut rig);
        rig.must(Ask::ChangeIsolated);
        if in_step == ChangeStep::Contact {
            rig.must(parts("40"));
        }
        rig.table.wrong.source_on = Some(true);
        to(&mut rig, ChangeStep::Isolate);
        assert!(rig.view().change.expect("open").trouble.is_some());
        rig.table.wrong.source_on = Some(false);
        rig.wait(0.1);
        rig.must(Ask::ChangeIsolated);
        assert_eq!(
            step(&rig),
            Some(in_step),
            "what was said is not asked again"
        );
    }
}

#[test]
fn a_set_for_another_current_is_barred_for_this_job() {
    let mut rig = lost();
    begin(&mut rig);
    rig.must(Ask::ChangeIsolated);
    assert_eq!(refused(&mut rig, parts("55")), "set-misfit");
    assert_eq!(refused(&mut rig, parts("60")), "no-such-set");
    rig.must(parts("40"));

    // Between jobs it may be fitted: then it bars the start of a job for another current.
    let mut rig = Rig::new();
    rig.make_ready();
    rig.must(Ask::Unload);
    swap_at_rest(&mut rig, "55");
    rig.must(Ask::Load { job: job() });
    rig.vouch();
    rig.wait(0.1);
    let fits = rig
        .view()
        .checks
        .into_iter()
        .find(|c| c.check == CheckId::SetFits);
    assert_eq!(fits.expect("shown").holds, Some(false));
    assert_eq!(refused(&mut rig, Ask::Start), "check");
}

fn swap_at_rest(rig: &mut Rig, set: &str) {
    begin(rig);
    rig.must(Ask::ChangeIsolated);
    rig.must(parts(set));
    try_by_hand(rig);
    rig.must(Ask::ChangeSourceOn);
    to(rig, ChangeStep::Done);
    rig.must(Ask::ChangeEnd);
}

#[test]
fn without_the_contact_test_nothing_goes_on() {
    let mut rig = lost();
    swap(&mut rig);
    rig.must(Ask::ChangeCancel);
    assert_eq!(rig.phase(), Phase::Held);
    assert_eq!(refused(&mut rig, Ask::Resume { splice: None }), "check");
    // Only the test itself opens it again, and counts stay as they are.
    begin(&mut rig);
    rig.must(Ask::ChangeIsolated);
    rig.must(Ask::ChangeParts {
        parts: vec![],
        set: None,
    });
    try_by_hand(&mut rig);
    rig.must(Ask::ChangeCancel);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_contact_that_is_on_before_metal_is_held_to_it_does_not_pass() {
    let mut rig = lost();
    rig.table.wrong.contact_stuck = true;
    swap(&mut rig);
    rig.wait(0.5);
    assert_eq!(step(&rig), Some(ChangeStep::Contact));
    assert!(rig.view().change.expect("open").trouble.is_some());
    rig.table.wrong.contact_stuck = false;
    rig.wait(0.5);
    assert_eq!(
        step(&rig),
        Some(ChangeStep::Contact),
        "opening alone is no test"
    );
    try_by_hand(&mut rig);
}

#[test]
fn the_touch_of_the_sheet_is_a_contact_test_and_tells_how_far_off_the_new_parts_are() {
    let mut rig = lost();
    swap(&mut rig);
    rig.must(Ask::ChangeContactByTouch);
    rig.must(Ask::ChangeSourceOn);
    // The new parts stand out further: they touch while Z is higher.
    rig.table.plate_z += 0.8;
    rig.must(Ask::ChangeTouch);
    to(&mut rig, ChangeStep::Done);
    let done = rig.view().change.expect("open");
    assert!(done.tested && done.by_touch);
    let off = done.off_mm.expect("compared");
    assert!((off - 0.8).abs() < 0.1, "{off}");
    let told = rig
        .events
        .iter()
        .rev()
        .find(|e| matches!(e, Event::TouchCompared { .. }));
    assert_eq!(told.expect("told").severity(), crate::Severity::Notice);
    let expected = rig
        .m
        .run
        .as_ref()
        .and_then(|r| r.touched_z)
        .expect("touched");
    assert!((expected - rig.table.plate_z).abs() < 0.15, "{expected}");
    rig.must(Ask::ChangeEnd);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_touch_that_finds_nothing_is_told_and_can_be_made_again() {
    let mut rig = lost();
    swap(&mut rig);
    rig.must(Ask::ChangeContactByTouch);
    rig.must(Ask::ChangeSourceOn);
    rig.table.wrong.no_metal = true;
    rig.must(Ask::ChangeTouch);
    rig.until(60.0, |r| {
        r.view()
            .change
            .is_some_and(|c| c.trouble.is_some() && !c.moving)
    });
    assert_eq!(step(&rig), Some(ChangeStep::Touch));
    assert!(!rig.view().change.expect("open").tested);
    rig.table.wrong.no_metal = false;
    rig.must(Ask::ChangeTouch);
    to(&mut rig, ChangeStep::Done);
}

#[test]
fn hold_stops_the_torch_on_its_way_and_the_change_goes_on_where_it_stands() {
    let mut rig = lost();
    rig.must(Ask::ChangeBegin);
    rig.until(10.0, |r| r.view().torch.moving);
    rig.wait(0.2);
    rig.must(Ask::Hold { press: None });
    to(&mut rig, ChangeStep::Isolate);
    assert!(!rig.view().change.expect("open").parked);
    rig.must(Ask::ChangeIsolated);
    rig.must(parts("40"));
    try_by_hand(&mut rig);
}

#[test]
fn a_change_can_be_cancelled_at_each_step_and_leaves_the_hold_as_it_was() {
    type Lead = fn(&mut Rig);
    let ways: [(ChangeStep, Lead); 6] = [
        (ChangeStep::Park, |r| r.must(Ask::ChangeBegin)),
        (ChangeStep::Isolate, begin),
        (ChangeStep::Swap, |r| {
            begin(r);
            r.must(Ask::ChangeIsolated);
        }),
        (ChangeStep::Contact, swap),
        (ChangeStep::Source, |r| {
            swap(r);
            try_by_hand(r);
        }),
        (ChangeStep::Touch, |r| {
            swap(r);
            try_by_hand(r);
            r.must(Ask::ChangeSourceOn);
        }),
    ];
    for (wanted, lead) in ways {
        let mut rig = lost();
        let hold = rig.view().hold.expect("held");
        lead(&mut rig);
        assert_eq!(step(&rig), Some(wanted));
        rig.must(Ask::ChangeCancel);
        rig.until(10.0, |r| r.phase() == Phase::Held);
        let after = rig.view().hold.expect("still held");
        assert_eq!(
            (after.cause, after.at_mm),
            (hold.cause, hold.at_mm),
            "{wanted:?}"
        );
        let ended = |e: &Event| {
            matches!(
                e,
                Event::ChangeEnded {
                    cancelled: true,
                    ..
                }
            )
        };
        assert!(rig.events.iter().any(ended));
    }
}

#[test]
fn a_panel_that_dies_in_the_middle_of_a_change_knows_the_counts_and_bars_what_was_not_tried() {
    let mut rig = lost();
    swap(&mut rig);
    let mut rig = rig.restart();
    rig.until(5.0, |r| r.view().link.alive && r.m.line.usable());
    rig.until(3.0, |r| r.phase() != Phase::Starting);
    let v = rig.view();
    assert_eq!(v.change, None);
    assert_eq!(rig.m.parts.of(Part::Nozzle), Used::default());
    assert_eq!(rig.m.parts.of(Part::Shield).starts, 2);
    assert_eq!(rig.m.parts.of(Part::Shield).lost, 1);
    rig.must(Ask::Load { job: job() });
    if rig.view().doubtful {
        rig.reference();
    }
    rig.test_permit();
    rig.wait(0.2);
    rig.vouch();
    rig.wait(0.1);
    assert_eq!(refused(&mut rig, Ask::Resume { splice: None }), "check");
    begin(&mut rig);
    rig.must(Ask::ChangeIsolated);
    rig.must(Ask::ChangeParts {
        parts: vec![],
        set: None,
    });
    rig.must(Ask::ChangeContactByTouch);
    rig.must(Ask::ChangeSourceOn);
    rig.must(Ask::ChangeTouch);
    to(&mut rig, ChangeStep::Done);
    rig.must(Ask::ChangeEnd);
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn fires_in_the_journal_are_the_counters_of_the_parts() {
    let mut rig = lost();
    swap(&mut rig);
    try_by_hand(&mut rig);
    rig.must(Ask::ChangeCancel);
    rig.resume_as_offered();
    rig.finish();
    let fires = |events: &[Event]| {
        let asked = |e: &&Event| matches!(e, Event::FireAsked { .. });
        events.iter().filter(asked).count() as u32
    };
    let changed = rig
        .events
        .iter()
        .position(|e| matches!(e, Event::PartsChanged { .. }))
        .expect("changed");
    assert_eq!(rig.m.parts.of(Part::Shield).starts, fires(&rig.events));
    assert_eq!(
        rig.m.parts.of(Part::Nozzle).starts,
        fires(&rig.events[changed..])
    );
    assert_eq!(rig.table.fires, fires(&rig.events), "and of the table");
    let arc_s: f64 = rig
        .events
        .iter()
        .map(|e| {
            if let Event::ArcOff { arc_s, .. } = e {
                *arc_s
            } else {
                0.0
            }
        })
        .sum();
    assert!((rig.m.parts.of(Part::Shield).arc_s - arc_s).abs() < 1e-9);
}
