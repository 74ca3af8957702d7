//! Levels bar, not edges alone; what must have been seen to work; and words that are true.

use super::rig::Rig;
use super::stories::running;
use crate::ask::{Answer, Ask, CheckId};
use crate::cause::Cause;
use crate::event::Event;
use crate::view::{Phase, Step};
use crate::words;

#[track_caller]
fn refused(rig: &mut Rig, ask: Ask) -> String {
    match rig.ask(ask.clone()) {
        Answer::Refused { says, .. } => says,
        other => panic!("{ask:?}: {other:?}"),
    }
}

fn not_true(check: CheckId) -> String {
    format!("Not true: {}.", words::check(check).says)
}

/// Held in a cut, all read, nothing wrong.
fn held() -> Rig {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.wait(0.3);
    rig
}

/// Puts something wrong at the table.
type Wrong = fn(&mut Rig);

const LEVELS: [(CheckId, Wrong); 5] = [
    (CheckId::HoldReleased, |r| r.table.wrong.hold_button = true),
    (CheckId::GateClosed, |r| r.table.wrong.gate_open = true),
    (CheckId::EstopClosed, |r| r.table.wrong.estop = true),
    (CheckId::TorchSeated, |r| {
        r.bend = Some(|s| s.torch_seated = Some(false));
    }),
    (CheckId::PermitOpen, |r| r.table.wrong.k2_welded = true),
];

#[test]
fn a_level_bars_every_way_to_fire_or_move_by_its_own_words() {
    for (check, bring) in LEVELS {
        let mut rig = Rig::new();
        rig.make_ready();
        bring(&mut rig);
        rig.wait(0.2);
        for ask in [Ask::Start, Ask::Home, Ask::PermitTest] {
            assert_eq!(refused(&mut rig, ask.clone()), not_true(check), "{ask:?}");
        }
        let mut rig = held();
        let resume = rig.accept(&rig.plans(0.0).plans[0].clone());
        bring(&mut rig);
        rig.wait(0.2);
        for ask in [resume, Ask::SkipCut, Ask::Home, Ask::PermitTest] {
            assert_eq!(refused(&mut rig, ask.clone()), not_true(check), "{ask:?}");
        }
        // Nothing moves for a change of parts, nor at the end of the job.
        let place = rig.table.place;
        rig.must(Ask::ChangeBegin);
        rig.wait(1.0);
        rig.must(Ask::ChangeCancel);
        rig.must(Ask::EndJob);
        rig.wait(1.0);
        assert_eq!(rig.table.place, place, "{check:?}");
    }
}

#[test]
fn a_level_bars_the_moves_of_the_datum_check_and_the_touch_of_new_parts() {
    for (check, bring) in LEVELS {
        let mut rig = held();
        rig.must(Ask::Home);
        rig.until(30.0, |r| r.phase() != Phase::Homing);
        rig.must(Ask::DatumGo);
        rig.until(30.0, |r| r.view().datum.is_some_and(|d| d.over));
        bring(&mut rig);
        rig.wait(0.2);
        let nudge = Ask::DatumNudge {
            dx_mm: 1.0,
            dy_mm: 0.0,
        };
        for ask in [Ask::DatumGo, nudge] {
            let says = refused(&mut rig, ask.clone());
            // The emergency stop and the torch's seat put the reference in doubt as well.
            let lost = says == "The axes are not referenced since then.";
            assert!(says == not_true(check) || lost, "{ask:?}: {says}");
        }
        let mut rig = held();
        rig.must(Ask::ChangeBegin);
        rig.until(30.0, |r| r.view().change.is_some_and(|c| !c.moving));
        rig.must(Ask::ChangeIsolated);
        rig.must(Ask::ChangeParts {
            parts: vec![],
            set: None,
        });
        rig.must(Ask::ChangeContactByTouch);
        rig.must(Ask::ChangeSourceOn);
        bring(&mut rig);
        rig.wait(0.2);
        assert_eq!(refused(&mut rig, Ask::ChangeTouch), not_true(check));
    }
}

#[test]
fn a_circuit_that_stays_on_the_torch_bars_firing_and_nothing_else() {
    let mut rig = held();
    rig.table.wrong.k3_stuck = true;
    // As after the traverse: told on, and told off before the fire.
    rig.table.sense = true;
    rig.wait(0.5);
    assert_eq!(
        refused(&mut rig, Ask::SkipCut),
        not_true(CheckId::SenseIsolated)
    );
    rig.must(Ask::Home);
    rig.until(30.0, |r| r.phase() != Phase::Homing);
}

#[test]
fn a_circuit_that_comes_on_from_ready_on_latches_and_nothing_fires() {
    for step in [Step::Ready, Step::AwaitArc, Step::Pierce, Step::Cut] {
        let mut rig = running();
        rig.until(60.0, |r| r.view().step == Some(step));
        let burnt = rig.table.burnt.len();
        rig.bend = Some(|s| s.sense_isolated = Some(false));
        rig.wait(0.03);
        assert!(!rig.guard.pulsing(), "{step:?}");
        let v = rig.until_held();
        assert_eq!(v.phase, Phase::Latched);
        assert_eq!(v.hold.expect("held").cause, Cause::SenseOn, "{step:?}");
        let before_the_arc = matches!(step, Step::Ready | Step::AwaitArc);
        assert!(
            !before_the_arc || rig.table.burnt.len() == burnt,
            "{step:?}"
        );
        rig.read();
        assert!(
            refused(
                &mut rig,
                Ask::Clear {
                    cause: Cause::SenseOn
                }
            )
            .contains("cause stands")
        );
        rig.bend = None;
        rig.wait(0.2);
        rig.clear_all();
        rig.wait(0.3);
        rig.resume_as_offered();
        rig.finish();
        rig.all_is_well();
    }
}

#[test]
fn a_relay_that_never_takes_the_circuit_off_is_told_as_that() {
    let mut rig = running();
    rig.until(60.0, |r| r.view().step == Some(Step::ProbeSlow));
    rig.table.wrong.k3_stuck = true;
    let v = rig.until_held();
    assert_eq!(v.hold.expect("held").cause, Cause::SenseOn);
    assert_eq!(rig.table.fires, 0);
}

#[test]
fn a_start_wants_hold_button_and_chain_seen_to_work_since_switch_on() {
    let mut rig = Rig::new();
    rig.until(5.0, |r| r.phase() == Phase::Idle);
    let wants = |rig: &Rig| {
        let v = rig.view();
        let open = |c: &&crate::view::CheckView| c.holds != Some(true);
        let all: Vec<CheckId> = v.checks.iter().filter(open).map(|c| c.check).collect();
        [CheckId::HoldButtonWorks, CheckId::EstopWorks].map(|c| all.contains(&c))
    };
    assert_eq!(wants(&rig), [true, true]);
    rig.table.wrong.hold_button = true;
    rig.wait(0.1);
    assert_eq!(wants(&rig), [true, true], "pressed is not released");
    rig.table.wrong.hold_button = false;
    rig.wait(0.1);
    assert_eq!(wants(&rig), [false, true]);
    // What cannot be read shows nothing.
    rig.bend = Some(|s| {
        s.estop_open = true;
        s.unreadable = true;
    });
    rig.wait(0.1);
    rig.bend = None;
    rig.wait(0.1);
    assert_eq!(wants(&rig), [false, true]);
    rig.table.wrong.estop = true;
    rig.wait(0.1);
    rig.table.wrong.estop = false;
    rig.wait(0.1);
    assert_eq!(wants(&rig), [false, false]);
}

#[test]
fn a_permit_test_wants_the_source_seen_off_or_the_operators_word_once() {
    let mut rig = Rig::new();
    rig.until(5.0, |r| r.phase() == Phase::Idle);
    let word = |yes| Ask::Vouch {
        check: CheckId::SourceOff,
        yes,
    };
    for contact in [None, Some(true)] {
        rig.table.wrong.source_on = contact;
        rig.wait(0.1);
        assert_eq!(
            refused(&mut rig, Ask::PermitTest),
            not_true(CheckId::SourceOff)
        );
    }
    rig.must(word(true));
    rig.must(Ask::PermitTest);
    rig.until(2.0, |r| r.m.readiness.permit_tested);
    rig.wait(0.2);
    assert_eq!(
        refused(&mut rig, Ask::PermitTest),
        not_true(CheckId::SourceOff),
        "the word was for one test"
    );
    rig.table.wrong.source_on = Some(false);
    rig.wait(0.1);
    rig.must(Ask::PermitTest);
}

#[test]
fn without_a_mirror_the_test_proves_nothing_and_a_start_wants_the_operators_word() {
    let mut rig = Rig::new();
    rig.table.wrong.no_mirrors = true;
    rig.until(5.0, |r| r.phase() == Phase::Idle);
    rig.prove_buttons();
    rig.must(Ask::Load {
        job: super::rig::job(),
    });
    rig.reference();
    rig.test_permit();
    let told = rig
        .events
        .iter()
        .find(|e| matches!(e, Event::PermitTested { .. }));
    assert!(told.expect("recorded").says().contains("Not proved"));
    rig.be_tested();
    rig.vouch();
    assert_eq!(refused(&mut rig, Ask::Start), not_true(CheckId::RelaySeen));
    rig.must(Ask::Vouch {
        check: CheckId::RelaySeen,
        yes: true,
    });
    rig.read();
    rig.must(Ask::Start);
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_stop_in_a_permit_test_says_nothing_of_the_relay() {
    let stops: [(Cause, Wrong); 3] = [
        (Cause::Estop, |r| r.table.wrong.estop = true),
        (Cause::Hold, |r| r.table.wrong.hold_button = true),
        (Cause::GateOpen, |r| r.table.wrong.gate_open = true),
    ];
    for (cause, stop) in stops {
        let mut rig = Rig::new();
        rig.until(5.0, |r| r.phase() == Phase::Idle);
        rig.must(Ask::Vouch {
            check: CheckId::SourceOff,
            yes: true,
        });
        rig.must(Ask::PermitTest);
        rig.wait(0.01);
        stop(&mut rig);
        rig.wait(3.0);
        let alarms = rig.view().alarms;
        assert!(
            alarms.iter().all(|a| a.cause != Cause::PermitStuck),
            "{alarms:?}"
        );
        assert!(
            rig.events
                .contains(&Event::PermitTestBroken { cause: Some(cause) })
        );
        assert!(!rig.m.readiness.permit_tested);
    }
}

#[test]
fn inputs_that_cannot_be_read_are_told_as_that_and_stop_like_an_emergency_stop() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.bend = Some(|s| {
        s.estop_open = true;
        s.unreadable = true;
    });
    let v = rig.until_held();
    let hold = v.hold.expect("held");
    assert_eq!(hold.cause, Cause::Estop);
    assert!(v.doubtful);
    assert_eq!(hold.what, "The panel cannot read its inputs.");
    assert!(hold.why.contains("could not be read"), "{}", hold.why);
    for event in &rig.events[rig.events.len() - 12..] {
        let told = matches!(event, Event::Held { .. } | Event::LatchSet { .. });
        assert!(
            !told || event.says().contains("could not be read"),
            "{event:?}"
        );
    }
    rig.bend = None;
    rig.wait(0.1);
    rig.clear_all();
    // Pressed now, it is told as pressed.
    rig.table.wrong.estop = true;
    rig.wait(0.1);
    rig.table.wrong.estop = false;
    rig.wait(0.1);
    let alarm = rig.view().alarms.remove(0);
    assert_eq!(alarm.what, "Emergency stop was pressed.");
    assert!(!alarm.why.contains("is open"), "{}", alarm.why);
}

#[test]
fn what_to_do_about_no_arc_follows_from_the_volts_while_it_was_waited_for() {
    let seen: [(Option<f64>, &str, &str); 4] = [
        (Some(0.4), "Switch the power source on", "clamp"),
        (Some(262.0), "electrode and air", "clamp"),
        (Some(112.0), "arc signal's wire", "clamp"),
        (None, "power source is on", "trigger"),
    ];
    for (volts, says, never) in seen {
        let mut rig = running();
        rig.table.wrong.source_off = true;
        if volts.is_none() {
            rig.bend = Some(|s| s.volts = None);
        }
        for _ in 0..2 {
            rig.until(60.0, |r| r.view().step == Some(Step::AwaitArc));
            rig.bend = match volts {
                None => rig.bend,
                Some(v) if v > 200.0 => Some(|s| s.volts = Some(262.0)),
                Some(v) if v > 60.0 => Some(|s| s.volts = Some(112.0)),
                _ => None,
            };
            rig.until(5.0, |r| r.m.stopping());
            if volts.is_some() {
                rig.bend = None;
            }
        }
        let hold = rig.until_held().hold.expect("held");
        assert_eq!(hold.cause, Cause::NoArc);
        assert!(hold.remedy.contains(says), "{volts:?}: {}", hold.remedy);
        assert!(!hold.remedy.contains(never), "{volts:?}: {}", hold.remedy);
        let held = rig.events.iter().find(|e| matches!(e, Event::Held { .. }));
        let advice = held.expect("recorded").advice().expect("advice");
        assert!(advice.contains(says), "in the journal: {advice}");
    }
}

#[test]
fn a_panel_that_stood_still_for_two_seconds_is_not_told_as_a_reset_of_the_controller() {
    for s in [1.5, 2.0, 8.0] {
        let mut rig = held();
        rig.stand_still(s);
        rig.wait(1.0);
        let v = rig.view();
        assert!(
            v.alarms.iter().all(|a| a.cause != Cause::ControllerReset),
            "{s} s: {:?}",
            v.alarms
        );
        assert!(!v.doubtful, "{s} s: the count was never broken");
        rig.resume_as_offered();
        rig.finish();
        rig.all_is_well();
    }
}
