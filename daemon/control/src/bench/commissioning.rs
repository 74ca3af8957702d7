//! Nothing is started on a table that is not commissioned.

use super::rig::{Rig, settings};
use super::table::Table;
use crate::ask::{Answer, Ask, CheckId};
use crate::commissioning::{Commissioning, Record, Step};
use crate::event::{Event, Restored};
use crate::machine::Machine;
use crate::view::Phase;

/// The machine file's parts as they are today.
fn table() -> Commissioning {
    let covered = Step::ALL
        .into_iter()
        .map(|s| (s, format!("h{}", s.number())));
    Commissioning {
        covered: covered.collect(),
        ..Commissioning::default()
    }
}

fn made(step: Step, passed: bool) -> Record {
    Record {
        passed,
        measured: "Seen crossed.".into(),
        covered: format!("h{}", step.number()),
        simulated: false,
    }
}

/// A panel on a table that asks for commissioning, with these records.
fn on_record(records: impl IntoIterator<Item = (Step, Record)>) -> Rig {
    let mut restored = Restored::default();
    for (step, record) in records {
        restored.commissioning.put(step, record);
    }
    let mut rig = Rig::with(restored.clone(), Table::new());
    let settings = crate::Settings {
        commissioning: Some(table()),
        ..settings()
    };
    rig.m = Machine::new(settings, super::rig::dialect(), restored);
    rig
}

fn check(rig: &Rig) -> (Option<bool>, String) {
    let view = rig.view();
    let check = view
        .checks
        .iter()
        .find(|c| c.check == CheckId::Commissioned);
    let check = check.expect("the check is shown");
    (check.holds, check.remedy.clone())
}

/// S-26.
#[test]
fn nothing_is_started_before_each_step_that_guards_a_person_stands() {
    let guarding = || Step::guarding().map(|s| (s, made(s, true)));
    let mut rig = on_record(guarding());
    rig.make_ready();
    for step in Step::guarding() {
        let whole = rig.m.records.clone();
        for (bad, says) in [
            (made(step, false), "did not pass. Seen crossed."),
            (
                Record {
                    covered: "as it was".into(),
                    ..made(step, true)
                },
                "lapsed: the machine file was changed.",
            ),
            (
                Record {
                    simulated: true,
                    ..made(step, true)
                },
                "was not made on this table.",
            ),
        ] {
            rig.m.records.put(step, bad);
            rig.wait(0.1);
            assert_eq!(rig.phase(), Phase::Idle, "{step:?}");
            let (holds, remedy) = check(&rig);
            assert_eq!(holds, Some(false));
            let named = format!("Step {}, {}, {says}", step.number(), step.facts().name);
            assert!(remedy.starts_with(&named), "{remedy}");
            let answer = rig.ask(Ask::Start);
            assert!(
                matches!(&answer, Answer::Refused { says, .. } if says == "Not true: table is commissioned."),
                "{answer:?}"
            );
        }
        rig.m.records = whole;
    }
    rig.wait(0.1);
    assert_eq!(check(&rig).0, Some(true));
    rig.must(Ask::Start);
}

#[test]
fn a_table_that_comes_proved_is_so_once_and_by_records_that_say_it() {
    let start = |restored: Restored, comes_proved, simulated| {
        let commissioning = Commissioning {
            comes_proved,
            simulated,
            ..table()
        };
        let settings = crate::Settings {
            commissioning: Some(commissioning),
            ..settings()
        };
        let mut rig = Rig::with(restored.clone(), Table::new());
        rig.m = Machine::new(settings, super::rig::dialect(), restored);
        rig.wait(0.1);
        let came = |e: &&Event| matches!(e, Event::CameCommissioned { .. });
        (
            check(&rig).0,
            rig.events.iter().filter(came).count(),
            rig.events,
        )
    };
    let (holds, told, events) = start(Restored::default(), true, true);
    assert_eq!((holds, told), (Some(true), 1));
    let known = Restored::from_events(events);
    assert_eq!(
        known.commissioning.of(Step::Papers).map(|r| r.simulated),
        Some(true)
    );
    // The next start finds them, and a real table does not take them for its own.
    assert_eq!(start(known.clone(), true, true).1, 0);
    let (holds, told, _) = start(known, false, false);
    assert_eq!((holds, told), (Some(false), 0));
    // What was found wrong is not made good by a new start.
    let mut wrong = Restored::default();
    let failed = Record {
        simulated: true,
        ..made(Step::Inputs, false)
    };
    wrong.commissioning.put(Step::Inputs, failed);
    let (holds, told, _) = start(wrong, true, true);
    assert_eq!((holds, told), (Some(false), 0));
}

/// At rest and tested, every step but the dry fire on record.
pub(super) fn at_rest() -> Rig {
    let before = Step::guarding().filter(|s| *s != Step::DryFire);
    let mut rig = on_record(before.map(|s| (s, made(s, true))));
    rig.until(5.0, |r| r.m.line.usable() && r.phase() == Phase::Idle);
    rig.be_tested();
    rig.reference();
    rig
}

pub(super) fn begin(rig: &mut Rig, step: Step) {
    rig.must(Ask::CommissionStep { step });
}

pub(super) fn asks(rig: &Rig) -> bool {
    let open = rig.view().commissioning.and_then(|c| c.open);
    open.is_some_and(|o| o.answer)
}

/// Answers every question by yes until the step is over; how it went.
#[track_caller]
fn yes_to_all(rig: &mut Rig) -> (bool, String) {
    rig.until(90.0, |r| asks(r) || r.m.commission.is_none());
    while rig.m.commission.is_some() {
        rig.must(Ask::CommissionAnswer { yes: true });
        rig.until(90.0, |r| asks(r) || r.m.commission.is_none());
    }
    last_record(rig)
}

#[track_caller]
fn last_record(rig: &Rig) -> (bool, String) {
    let record = rig.events.iter().rev().find_map(|e| match e {
        Event::Commissioned {
            passed, measured, ..
        } => Some((*passed, measured.clone())),
        _ => None,
    });
    record.expect("it was recorded")
}

#[test]
fn the_permit_step_measures_how_long_the_relay_holds_and_finds_one_that_does_not_follow() {
    let mut rig = at_rest();
    begin(&mut rig, Step::Permit);
    let (passed, measured) = yes_to_all(&mut rig);
    assert!(passed, "{measured}");
    assert_eq!(
        measured.matches("ms after the pulses").count(),
        3,
        "{measured}"
    );
    assert!(rig.m.readiness.permit_tested);
    // A relay that is surely held for less than the machine file says.
    let mut rig = at_rest();
    rig.m.settings.guard.relay_holds_ms = 99;
    begin(&mut rig, Step::Permit);
    let (passed, measured) = yes_to_all(&mut rig);
    assert!(
        !passed && measured.contains("guard.relay_holds_ms is 99"),
        "{measured}"
    );
    let mut rig = at_rest();
    begin(&mut rig, Step::Permit);
    rig.table.wrong.k2_welded = true;
    rig.wait(0.1);
    let (passed, measured) = yes_to_all(&mut rig);
    assert!(
        !passed && measured.contains("permit relay is open"),
        "{measured}"
    );
    assert_eq!(
        rig.m.records.standing(Step::Permit, &table()),
        crate::commissioning::Standing::Failed
    );
    // A no is a no.
    let mut rig = at_rest();
    begin(&mut rig, Step::Permit);
    rig.must(Ask::CommissionAnswer { yes: false });
    rig.wait(0.1);
    assert_eq!(
        last_record(&rig),
        (false, "The source was not isolated.".into())
    );
    assert!(
        !rig.permits.contains(&crate::guard::Phase::Test),
        "nothing pulsed"
    );
}

/// The source answers with its open circuit, and no arc passes over.
pub(super) fn pilot(rig: &mut Rig) {
    rig.table.wrong.source_off = true;
    rig.bend = Some(|s| {
        if s.fire_on && s.permit_closed == Some(true) {
            s.volts = Some(260.0);
        }
    });
}

fn firings(rig: &Rig) -> usize {
    let fires = rig
        .permits
        .iter()
        .filter(|p| **p == crate::guard::Phase::Firing);
    fires.count()
}

#[test]
fn a_dry_fire_is_made_three_times_each_after_its_record_and_leaves_all_off() {
    let mut rig = at_rest();
    rig.test_permit();
    pilot(&mut rig);
    begin(&mut rig, Step::DryFire);
    let (passed, measured) = yes_to_all(&mut rig);
    assert!(passed, "{measured}");
    assert_eq!(
        measured.matches("260 V open circuit").count(),
        3,
        "{measured}"
    );
    assert_eq!(firings(&rig), 3);
    assert_eq!(
        rig.events.iter().filter(|e| **e == Event::DryFire).count(),
        3
    );
    assert!(!rig.table.signals().fire_on && !rig.m.alarms.any_latch());
    rig.wait(0.5);
    assert_eq!(rig.table.signals().permit_closed, Some(false));
}

/// The step's first fire has its record written, and the disk takes its time with it.
fn its_record_is_late(seconds: u64) -> Rig {
    let mut rig = at_rest();
    rig.test_permit();
    pilot(&mut rig);
    rig.disk_late = Some(core::time::Duration::from_secs(seconds));
    begin(&mut rig, Step::DryFire);
    rig.must(Ask::CommissionAnswer { yes: true });
    rig.must(Ask::CommissionAnswer { yes: true });
    rig.until(5.0, |r| r.events.contains(&Event::DryFire));
    rig
}

#[test]
fn nothing_is_dry_fired_that_was_spoken_against_after_its_record_was_written() {
    type Wrong = fn(&mut crate::Signals);
    let cases: [(&str, Wrong); 4] = [
        ("volts", |s| s.volts = Some(5.0)),
        ("contact", |s| s.contact = true),
        ("air", |s| s.air_ok = Some(false)),
        ("source", |s| s.source_on = Some(false)),
    ];
    for (what, bend) in cases {
        let mut rig = its_record_is_late(2);
        let answers = rig.bend.replace(bend);
        // Longer than the disk takes, shorter than it is waited for.
        rig.wait(12.0);
        assert_eq!(firings(&rig), 0, "{what}");
        rig.bend = answers;
        if rig.m.commission.is_some() {
            let (passed, measured) = yes_to_all(&mut rig);
            assert!(passed, "{what}: {measured}");
        }
        // What never goes away is waited for no longer than its limit.
        let mut rig = its_record_is_late(2);
        rig.bend = Some(bend);
        rig.wait(40.0);
        assert_eq!(firings(&rig), 0, "{what}");
        assert!(rig.m.commission.is_none(), "{what}");
        let (passed, measured) = last_record(&rig);
        assert!(!passed, "{what}: {measured}");
    }
}

#[test]
fn each_stage_of_a_dry_fire_has_its_own_time_and_the_guard_is_told_of_each_torch_off_once() {
    // The record takes most of the time that it may take; relay and start contact have theirs after it.
    let mut rig = its_record_is_late(15);
    let told = rig.torch_off_told;
    let (passed, measured) = yes_to_all(&mut rig);
    assert!(passed, "{measured}");
    assert_eq!(firings(&rig), 3);
    assert_eq!(rig.torch_off_told - told, 3);
}

#[test]
fn volts_of_before_a_dry_fire_say_nothing_of_it() {
    let mut rig = its_record_is_late(2);
    // Less than would count as a fire that nobody asked for, and the wrong way round.
    rig.bend = Some(|s| s.volts = Some(-40.0));
    rig.wait(1.0);
    rig.bend = Some(|s| s.volts = Some(0.0));
    let (passed, measured) = yes_to_all(&mut rig);
    assert!(
        !passed && measured.contains("0 V open circuit"),
        "{measured}"
    );
}

#[test]
fn a_dry_fire_is_not_begun_where_it_would_be_barred_and_the_view_says_why() {
    let refused = |rig: &Rig| {
        let view = rig.view().commissioning.expect("it is asked for");
        let row = view.steps.into_iter().find(|s| s.step == Step::DryFire);
        row.and_then(|r| r.refused)
    };
    let mut rig = at_rest();
    let says = refused(&rig).expect("the permit was not tested");
    assert!(
        says.contains(crate::words::check(CheckId::PermitTested).says),
        "{says}"
    );
    let answer = rig.ask(Ask::CommissionStep {
        step: Step::DryFire,
    });
    assert!(matches!(&answer, Answer::Refused { reason, .. } if reason == "check"));
    assert!(
        rig.m.records.of(Step::DryFire).is_none(),
        "nothing is on record"
    );
    rig.test_permit();
    assert_eq!(refused(&rig), None);
    begin(&mut rig, Step::DryFire);
    assert!(refused(&rig).is_some_and(|says| says.contains("step of commissioning is open")));
}

#[test]
fn a_question_says_what_the_panel_does_by_itself_after_a_yes() {
    use crate::view::Follows;
    let follows = |rig: &Rig| {
        let open = rig.view().commissioning.and_then(|c| c.open);
        open.and_then(|o| o.follows)
    };
    let mut rig = at_rest();
    begin(&mut rig, Step::Permit);
    assert_eq!(follows(&rig), Some(Follows::Pulses));
    rig.must(Ask::CommissionAnswer { yes: true });
    assert_eq!(follows(&rig), None, "it is at work");
    let mut rig = at_rest();
    rig.test_permit();
    begin(&mut rig, Step::DryFire);
    assert_eq!(follows(&rig), None, "another question comes first");
    rig.must(Ask::CommissionAnswer { yes: true });
    assert_eq!(follows(&rig), Some(Follows::Fires));
}

#[test]
fn an_open_step_shows_its_inputs_as_they_read_and_what_has_changed_since_rest() {
    let levels = |rig: &Rig| {
        let open = rig.view().commissioning.and_then(|c| c.open);
        open.map(|o| o.levels).unwrap_or_default()
    };
    let of = |rig: &Rig, wire| levels(rig).into_iter().find(|l| l.wire == wire);
    let mut rig = at_rest();
    begin(&mut rig, Step::Estop);
    let estop = crate::commissioning::Wire::Estop;
    let read = of(&rig, estop).expect("it is fitted");
    assert_eq!(
        (read.closed, read.changed),
        (true, None),
        "rest is not known yet"
    );
    rig.wait(1.0);
    assert_eq!(of(&rig, estop).and_then(|l| l.changed), Some(false));
    rig.bend = Some(|s| s.estop_open = true);
    rig.wait(0.1);
    let read = of(&rig, estop).expect("it is fitted");
    assert_eq!((read.closed, read.changed), (false, Some(true)));
}

/// S-07.
#[test]
fn with_a_dead_disk_no_dry_fire_is_made() {
    let mut rig = at_rest();
    rig.test_permit();
    pilot(&mut rig);
    begin(&mut rig, Step::DryFire);
    rig.must(Ask::CommissionAnswer { yes: true });
    rig.disk_dead = true;
    rig.must(Ask::CommissionAnswer { yes: true });
    rig.wait(30.0);
    assert_eq!(firings(&rig), 0);
    assert!(rig.m.commission.is_none());
}

/// S-08.
#[test]
fn hold_in_a_dry_fire_puts_it_out_and_no_other_follows() {
    for at_ms in [1, 300, 505, 540, 600, 900, 1030, 1200, 1600, 2200] {
        let mut rig = at_rest();
        rig.test_permit();
        pilot(&mut rig);
        begin(&mut rig, Step::DryFire);
        rig.must(Ask::CommissionAnswer { yes: true });
        rig.must(Ask::CommissionAnswer { yes: true });
        rig.wait(f64::from(at_ms) / 1000.0);
        rig.must(Ask::Hold { press: None });
        let fired = firings(&rig);
        rig.wait(10.0);
        assert_eq!(firings(&rig), fired, "at {at_ms} ms");
        assert!(rig.m.commission.is_none() && !rig.table.signals().fire_on);
        let (passed, measured) = last_record(&rig);
        assert!(!passed, "at {at_ms} ms: {measured}");
    }
}

#[test]
fn what_a_dry_fire_shows_is_judged() {
    let judged = |wrong: fn(&mut Rig)| {
        let mut rig = at_rest();
        rig.test_permit();
        pilot(&mut rig);
        wrong(&mut rig);
        begin(&mut rig, Step::DryFire);
        let (passed, measured) = yes_to_all(&mut rig);
        assert!(!passed, "{measured}");
        measured
    };
    let says = judged(|r| {
        r.bend = Some(|s| {
            if s.fire_on {
                s.volts = Some(-260.0)
            }
        })
    });
    assert!(says.contains("inverted"), "{says}");
    let says = judged(|r| r.bend = None);
    assert!(
        says.contains("the source is off, or the divider wrong"),
        "{says}"
    );
    let says = judged(|r| r.table.wrong.source_off = false);
    assert!(says.contains("An arc passed over"), "{says}");
    let says = judged(|r| r.table.wrong.k1_mirror_open = true);
    assert!(says.contains("did not follow torch-on"), "{says}");
}

#[test]
fn a_dry_fire_wants_the_steps_before_it_and_an_open_step_bars_all_else() {
    let mut rig = on_record([]);
    rig.until(5.0, |r| r.m.line.usable() && r.phase() == Phase::Idle);
    let answer = rig.ask(Ask::CommissionStep {
        step: Step::DryFire,
    });
    assert!(matches!(&answer, Answer::Refused { reason, .. } if reason == "steps-before"));
    let answer = rig.ask(Ask::CommissionStep { step: Step::Kerf });
    assert!(matches!(&answer, Answer::Refused { reason, .. } if reason == "step-not-here"));
    begin(&mut rig, Step::Papers);
    for ask in [
        Ask::Home,
        Ask::Start,
        Ask::PermitTest,
        Ask::ChangeBegin,
        Ask::Unload,
    ] {
        let answer = rig.ask(ask.clone());
        assert!(
            matches!(&answer, Answer::Refused { reason, .. } if reason == "step-open"),
            "{ask:?}: {answer:?}"
        );
    }
    // An answer is to the question that was seen.
    let seen = rig.m.generation();
    rig.must(Ask::CommissionAnswer { yes: true });
    rig.wait(0.01);
    let answer = rig.ask_seen(seen, Ask::CommissionAnswer { yes: true });
    assert!(matches!(&answer, Answer::Refused { reason, .. } if reason == "stale"));
    rig.must(Ask::CommissionLeave);
    assert!(rig.m.records.is_empty(), "what was left is not on record");
    rig.wait(0.1);
    assert_eq!(rig.ask(Ask::CommissionLeave), Answer::AlreadySo);
}
