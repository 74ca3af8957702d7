//! Each condition by itself: what makes it true, false or not known, and what it bars.

use core::time::Duration;
use std::sync::Arc;

use super::rig::{Rig, job};
use super::stories::running;
use crate::ask::{Ask, CheckId};
use crate::cause::Cause;
use crate::event::{Event, Restored};
use crate::machine::Machine;
use crate::machine::checks::{
    VOUCHED, bars_going_on, bars_moving, bars_permit_test, bars_start, bars_taking_up, seen,
    to_vouch,
};
use crate::parts::SetTag;

/// A table with everything fitted, ready to start.
fn ready() -> Rig {
    let mut rig = Rig::new();
    rig.make_ready();
    let s = &mut rig.m.signals;
    s.air_ok = Some(true);
    s.source_on = Some(true);
    s.torch_seated = Some(true);
    s.gate_closed = Some(true);
    s.permit_closed = Some(false);
    s.sense_isolated = Some(true);
    s.hold_button = Some(false);
    rig.m.parts.fitted = Some(set(40.0));
    rig
}

fn set(amps: f64) -> SetTag {
    SetTag {
        tag: format!("{amps}"),
        amps,
    }
}

fn holds(m: &Machine, check: CheckId) -> Option<Option<bool>> {
    seen(m).find(|(c, _)| *c == check).map(|(_, holds)| holds)
}

type Change = fn(&mut Machine);
type Question = fn(&Machine) -> Option<CheckId>;

/// A condition that is not true: by what, and whether it bars a start, taking up an interrupted run, going
/// on from a hold, moving, and the permit test.
struct Case {
    check: CheckId,
    by: Change,
    bars: [bool; 5],
}

const fn bars(check: CheckId, by: Change, bars: [bool; 5]) -> Case {
    Case { check, by, bars }
}

const ALL: [bool; 5] = [true; 5];
const TO_CUT: [bool; 5] = [true, true, true, false, false];

const CASES: [Case; 26] = [
    bars(CheckId::JobSealed, |m| m.loaded = None, TO_CUT),
    bars(
        CheckId::JobSealed,
        |m| {
            let loaded = m.loaded.as_mut().expect("loaded");
            let mut empty = (*loaded.job).clone();
            empty.cuts.clear();
            loaded.job = Arc::new(empty);
        },
        TO_CUT,
    ),
    bars(
        CheckId::InputsFresh,
        |m| m.now += Duration::from_secs(9),
        ALL,
    ),
    bars(CheckId::EstopClosed, |m| m.signals.estop_open = true, ALL),
    bars(
        CheckId::TorchSeated,
        |m| m.signals.torch_seated = Some(false),
        ALL,
    ),
    bars(
        CheckId::GateClosed,
        |m| m.signals.gate_closed = Some(false),
        ALL,
    ),
    bars(
        CheckId::HoldReleased,
        |m| m.signals.hold_button = Some(true),
        ALL,
    ),
    bars(
        CheckId::PermitOpen,
        |m| m.signals.permit_closed = Some(true),
        ALL,
    ),
    bars(
        CheckId::NoLatch,
        |m| {
            m.alarms.latch(Cause::TorchTouched, m.now);
        },
        ALL,
    ),
    bars(
        CheckId::NoLatch,
        |m| {
            m.alarms.latch(Cause::PermitStuck, m.now);
        },
        [true, true, true, true, false],
    ),
    bars(
        CheckId::NoLatch,
        |m| m.interrupted = Some(interrupted("another")),
        TO_CUT,
    ),
    bars(
        CheckId::LinkAlive,
        |m| m.line.status.as_mut().expect("reported").doing = link::Doing::Faulted,
        [true, true, true, true, false],
    ),
    bars(
        CheckId::HoldButtonWorks,
        |m| m.since.button = Default::default(),
        [true, false, false, false, false],
    ),
    bars(
        CheckId::EstopWorks,
        |m| m.since.chain = Default::default(),
        [true, false, false, false, false],
    ),
    bars(
        CheckId::Referenced,
        |m| m.line.status.as_mut().expect("reported").referenced = Some(false),
        TO_CUT,
    ),
    bars(CheckId::PlaceSure, |m| m.reference.doubtful = true, TO_CUT),
    bars(
        CheckId::PlaceSure,
        |m| m.line.unproven = Some((None, m.now)),
        TO_CUT,
    ),
    bars(CheckId::ArcOkOpen, |m| m.signals.arc_ok = true, ALL),
    bars(CheckId::FireOnOpen, |m| m.signals.fire_on = true, ALL),
    bars(
        CheckId::ContactOpen,
        |m| m.signals.contact = true,
        [true, true, false, false, false],
    ),
    bars(CheckId::AirGood, |m| m.signals.air_ok = Some(false), TO_CUT),
    bars(
        CheckId::PermitTested,
        |m| m.readiness.permit_tested = false,
        TO_CUT,
    ),
    bars(CheckId::SelfTested, |m| m.self_test.passed = false, TO_CUT),
    bars(CheckId::RecordKept, |m| m.keeping.failing = true, TO_CUT),
    bars(
        CheckId::SetFits,
        |m| m.parts.fitted = Some(set(55.0)),
        TO_CUT,
    ),
    bars(CheckId::PartsTested, |m| m.parts.untested = true, TO_CUT),
];

/// A run of a job with this seal, interrupted.
fn interrupted(seal: &str) -> crate::event::Unfinished {
    let started = Event::RunStarted {
        run: 7,
        seal: seal.into(),
        name: "invented".into(),
        cuts: 2,
    };
    Restored::from_events([started])
        .unfinished
        .expect("not ended")
}

#[test]
fn each_condition_bars_what_it_is_for_and_nothing_else() {
    let questions: [(&str, Question); 5] = [
        ("a start", bars_start),
        ("taking up", bars_taking_up),
        ("going on", bars_going_on),
        ("moving", bars_moving),
        ("a permit test", bars_permit_test),
    ];
    let mut ready = ready();
    assert!(seen(&ready.m).all(|(_, holds)| holds == Some(true)));
    assert_eq!(
        seen(&ready.m).count(),
        23,
        "all but what is not fitted: parts to be tested"
    );
    // The test is made with the source off, which its own contact shows.
    assert_eq!(bars_permit_test(&ready.m), Some(CheckId::SourceOff));
    ready.m.signals.source_on = Some(false);
    assert_eq!(bars_permit_test(&ready.m), None);
    assert_eq!(bars_start(&ready.m), Some(CheckId::SourceOn));
    assert_eq!(bars_going_on(&ready.m), Some(CheckId::SourceOn));
    for case in CASES {
        let mut rig = self::ready();
        for (what, question) in &questions[..4] {
            assert_eq!(question(&rig.m), None, "{what}, with all as it should be");
        }
        (case.by)(&mut rig.m);
        assert_eq!(
            holds(&rig.m, case.check),
            Some(Some(false)),
            "{:?}",
            case.check
        );
        for ((what, question), bars) in questions.iter().zip(case.bars) {
            if *what == "a permit test" {
                rig.m.signals.source_on = Some(false);
            }
            assert_eq!(
                question(&rig.m),
                bars.then_some(case.check),
                "{what}, {:?}",
                case.check
            );
        }
    }
}

#[test]
fn what_is_not_fitted_is_no_condition_and_what_was_not_heard_is_not_true() {
    let mut rig = ready();
    let s = &mut rig.m.signals;
    s.air_ok = None;
    s.source_on = None;
    s.torch_seated = None;
    s.gate_closed = None;
    s.permit_closed = None;
    s.sense_isolated = None;
    s.hold_button = None;
    rig.m.parts.fitted = None;
    let not_fitted = [
        CheckId::AirGood,
        CheckId::SourceOn,
        CheckId::TorchSeated,
        CheckId::GateClosed,
        CheckId::PermitOpen,
        CheckId::SenseIsolated,
        CheckId::HoldReleased,
        CheckId::HoldButtonWorks,
        CheckId::SetFits,
        CheckId::PartsTested,
    ];
    for check in not_fitted {
        assert_eq!(holds(&rig.m, check), None, "{check:?}");
    }
    rig.m.signals_heard = false;
    let unheard = [
        CheckId::InputsFresh,
        CheckId::EstopClosed,
        CheckId::EstopWorks,
        CheckId::ArcOkOpen,
        CheckId::FireOnOpen,
        CheckId::ContactOpen,
    ];
    for check in unheard {
        assert_eq!(holds(&rig.m, check), Some(None), "{check:?}");
    }
    assert_eq!(bars_start(&rig.m), Some(CheckId::InputsFresh));
    rig.m.line.status = None;
    assert_eq!(holds(&rig.m, CheckId::Referenced), Some(None));
    assert_eq!(holds(&rig.m, CheckId::LinkAlive), Some(Some(false)));
}

#[test]
fn an_older_reference_proves_nothing_once_the_place_was_doubted() {
    for (says, homed, doubtful, good) in [
        (Some(true), true, false, true),
        (Some(true), true, true, true),
        (Some(true), false, false, true),
        (Some(true), false, true, false),
        (Some(false), true, false, false),
        (None, true, true, true),
        (None, false, false, false),
    ] {
        let mut rig = ready();
        rig.m.line.status.as_mut().expect("reported").referenced = says;
        rig.m.reference.homed = homed;
        rig.m.reference.doubtful = doubtful;
        let case = format!("{says:?}, homed {homed}, doubtful {doubtful}");
        assert_eq!(
            holds(&rig.m, CheckId::Referenced),
            Some(Some(good)),
            "{case}"
        );
        assert_eq!(
            holds(&rig.m, CheckId::PlaceSure),
            Some(Some(!doubtful)),
            "{case}"
        );
    }
}

#[test]
fn a_sensing_circuit_that_is_on_by_order_is_no_fault() {
    let mut rig = ready();
    rig.m.signals.sense_isolated = Some(false);
    assert_eq!(
        holds(&rig.m, CheckId::SenseIsolated),
        Some(Some(true)),
        "not told off for long"
    );
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.table.wrong.k3_stuck = true;
    rig.table.sense = true;
    rig.wait(0.5);
    assert_eq!(holds(&rig.m, CheckId::SenseIsolated), Some(Some(false)));
}

#[test]
fn a_job_is_run_once_and_may_be_gone_on_with_until_its_run_is_over() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    assert_eq!(holds(&rig.m, CheckId::JobSealed), Some(Some(true)));
    rig.must(Ask::EndJob);
    rig.until(60.0, |r| r.m.run.as_ref().is_none_or(|run| run.over()));
    assert_eq!(holds(&rig.m, CheckId::JobSealed), Some(Some(false)));
}

#[test]
fn an_interrupted_run_bars_every_job_but_its_own() {
    let seal = job().seal.hash().to_owned();
    let mut rig = ready();
    rig.m.interrupted = Some(interrupted(&seal));
    assert_eq!(
        holds(&rig.m, CheckId::NoLatch),
        Some(Some(true)),
        "its own job"
    );
    rig.m.loaded = None;
    assert_eq!(holds(&rig.m, CheckId::NoLatch), Some(Some(false)), "none");
    rig.m.interrupted = None;
    assert_eq!(
        holds(&rig.m, CheckId::NoLatch),
        Some(Some(true)),
        "nothing interrupted"
    );
}

#[test]
fn what_is_vouched_for_bars_a_start_and_taking_up_until_it_is() {
    for check in VOUCHED {
        let mut rig = ready();
        rig.m.readiness.withdraw(check);
        assert_eq!(bars_start(&rig.m), Some(check));
        assert_eq!(bars_taking_up(&rig.m), Some(check));
        assert_eq!(
            bars_going_on(&rig.m),
            None,
            "{check:?} was vouched for at the start"
        );
    }
}

#[test]
fn the_operator_is_asked_about_source_and_relay_where_nothing_else_shows_them() {
    let asked = |change: Change| {
        let mut rig = ready();
        change(&mut rig.m);
        to_vouch(&rig.m).collect::<Vec<_>>()
    };
    let with = |first: Option<CheckId>, last: Option<CheckId>| {
        first
            .into_iter()
            .chain(VOUCHED)
            .chain(last)
            .collect::<Vec<_>>()
    };
    let (source, relay) = (Some(CheckId::SourceOff), Some(CheckId::RelaySeen));
    assert_eq!(asked(|_| ()), with(None, None), "tested");
    assert_eq!(
        asked(|m| m.readiness.permit_tested = false),
        with(source, None)
    );
    let off = asked(|m| {
        m.readiness.permit_tested = false;
        m.signals.source_on = Some(false);
    });
    assert_eq!(off, with(None, None), "its own contact shows it");
    let not_fitted = asked(|m| {
        m.readiness.permit_tested = false;
        m.signals.source_on = None;
    });
    assert_eq!(not_fitted, with(source, None));
    let unseen: Change = |m| {
        m.readiness.permit_proved = false;
        m.signals.permit_closed = None;
    };
    assert_eq!(asked(unseen), with(None, relay), "no mirror");
    assert_eq!(
        asked(|m| m.readiness.permit_proved = false),
        with(None, None),
        "a mirror shows it"
    );
    assert_eq!(
        asked(|m| m.signals.permit_closed = None),
        with(None, None),
        "it was proved"
    );
    let untested = asked(|m| {
        m.readiness.permit_tested = false;
        m.readiness.permit_proved = false;
        m.signals.permit_closed = None;
    });
    assert_eq!(untested, with(source, None), "not tested yet");
    let mut rig = ready();
    unseen(&mut rig.m);
    assert_eq!(bars_start(&rig.m), relay);
    rig.m.readiness.confirm(CheckId::RelaySeen, rig.m.now);
    assert_eq!(bars_start(&rig.m), None);
    // The source: by its own contact, or by the operator's word.
    rig.m.signals.source_on = None;
    assert_eq!(bars_permit_test(&rig.m), source);
    rig.m.readiness.confirm(CheckId::SourceOff, rig.m.now);
    assert_eq!(bars_permit_test(&rig.m), None);
    rig.m.signals.source_on = Some(true);
    assert_eq!(
        bars_permit_test(&rig.m),
        None,
        "the start plug is out, as the operator says"
    );
}
