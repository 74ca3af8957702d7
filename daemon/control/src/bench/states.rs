//! The whole table of states against kinds of input, as a snapshot that a person reviews. States
//! are reached by replaying recorded inputs, which shows by the way that a replay comes to the
//! same state.

use std::fmt::Write as _;

use planning::StopFor;
use units::Time;

use super::planned::with_wait;
use super::rig::{Rig, dialect, job, planned, settings};
use crate::ask::{Answer, Ask, AskId, CheckId, HandAxis, HandMove, HandPlace, PressId};
use crate::cause::Cause;
use crate::event::Restored;
use crate::guard::{EdgeInput, GuardOrder, GuardReport};
use crate::io::{Effect, Effects, Input, RecordId};
use crate::machine::Machine;
use crate::parts::Part;
use crate::signals::Signals;
use crate::view::{ChangeStep, Phase, Step};

/// A state by name, and how many of the recorded inputs lead to it.
struct Reached {
    name: String,
    log: Vec<(Time, Input)>,
}

pub(super) fn replay(log: &[(Time, Input)]) -> Machine {
    let mut m = Machine::new(settings(), dialect(), Restored::default());
    for (at, input) in log {
        let _ = m.step(*at, input.clone());
    }
    m
}

fn states() -> Vec<Reached> {
    let mut all = Vec::new();
    let mut rig = Rig::new();
    let mut note = |name: &str, rig: &Rig| {
        all.push(Reached {
            name: name.into(),
            log: rig.log.clone(),
        });
    };
    rig.wait(0.5);
    note("starting", &rig);
    rig.until(5.0, |r| r.phase() == Phase::Idle);
    note("idle, nothing loaded", &rig);
    rig.prove_buttons();
    rig.must(Ask::Load { job: job() });
    rig.wait(0.1);
    note("idle, loaded, not referenced", &rig);
    rig.must(Ask::Home);
    rig.wait(0.2);
    note("homing", &rig);
    rig.until(30.0, |r| r.phase() != Phase::Homing);
    note("idle, place to be confirmed", &rig);
    rig.must(Ask::ConfirmPlace);
    rig.must(Ask::Vouch {
        check: CheckId::SourceOff,
        yes: true,
    });
    rig.must(Ask::PermitTest);
    rig.wait(0.02);
    note("permit test", &rig);
    rig.until(2.0, |r| r.m.readiness.permit_tested);
    rig.wait(0.2);
    rig.vouch();
    rig.be_tested();
    note("ready", &rig);
    rig.must(Ask::Start);
    let mut seen: Vec<Step> = Vec::new();
    rig.until(120.0, |r| r.phase() == Phase::Running);
    while rig.phase() != Phase::Finished {
        rig.tick();
        if let Some(step) = rig.m.cycle_step()
            && !seen.contains(&step)
        {
            seen.push(step);
            rig.wait(0.005);
            if rig.m.cycle_step() == Some(step) {
                note(&format!("running: {step:?}"), &rig);
            }
        }
    }
    rig.wait(0.1);
    note("finished", &rig);

    let cut = |mm| {
        let mut rig = Rig::new();
        rig.make_ready();
        rig.must(Ask::Start);
        rig.run_to(2, mm);
        rig
    };
    let mut rig = cut(40.0);
    rig.must(Ask::Hold { press: None });
    rig.wait(0.005);
    note("stopping", &rig);
    rig.until_held();
    rig.wait(0.1);
    note("held by the operator", &rig);
    rig.table.wrong.hold_button = true;
    rig.wait(0.3);
    note("held, the button kept pressed", &rig);
    let mut rig = cut(40.0);
    rig.table.wrong.estop = true;
    rig.until_held();
    note("latched, emergency stop open", &rig);
    rig.table.wrong.estop = false;
    rig.wait(0.1);
    note("latched, emergency stop released", &rig);
    rig.clear_all();
    rig.wait(0.2);
    note("held, place doubtful", &rig);
    rig.must(Ask::Home);
    rig.until(30.0, |r| r.phase() != Phase::Homing);
    note("held, the sheet to be checked", &rig);
    rig.must(Ask::DatumGo);
    rig.wait(0.1);
    note("on the way to a mark", &rig);
    rig.until(30.0, |r| r.view().datum.is_some_and(|d| d.over));
    note("over a mark", &rig);
    rig.must(Ask::HandMove(key(5)));
    rig.wait(0.05);
    note("moved by hand", &rig);
    changing(cut(40.0), &mut note);
    let mut rig = with_wait(StopFor::AirWait, 20.0);
    rig.until_held();
    note("planned stop, its time not over", &rig);
    rig.wait(20.1);
    note("planned stop, its time over", &rig);
    let mut rig = cut(40.0);
    rig.step(Input::Screen { there: false });
    rig.until_held();
    note("held, the screen is lost", &rig);
    let mut rig = cut(40.0);
    rig.table.wrong.air_low = true;
    rig.until_held();
    rig.table.wrong.air_low = false;
    rig.wait(0.1);
    note("held, air good again for a moment", &rig);
    let mut rig = cut(40.0);
    rig.unplug();
    rig.wait(6.0);
    note("link cut in a run", &rig);
    let mut rig = Rig::new();
    rig.until(5.0, |r| r.phase() == Phase::Idle);
    rig.unplug();
    rig.wait(1.0);
    note("no link", &rig);
    all
}

fn changing(mut rig: Rig, note: &mut impl FnMut(&str, &Rig)) {
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.must(Ask::ChangeBegin);
    rig.wait(0.05);
    note("on the way to the change of parts", &rig);
    rig.until(30.0, |r| r.view().change.is_some_and(|c| !c.moving));
    note("change: source to be isolated", &rig);
    rig.must(Ask::ChangeIsolated);
    note("change: parts to be changed", &rig);
    rig.must(Ask::ChangeParts {
        parts: vec![Part::Nozzle],
        set: None,
    });
    rig.wait(0.5);
    note("change: contact to be tried", &rig);
    rig.must(Ask::ChangeContactByTouch);
    note("change: source to be switched on", &rig);
    rig.must(Ask::ChangeSourceOn);
    note("change: sheet to be touched", &rig);
    rig.must(Ask::ChangeTouch);
    rig.wait(0.5);
    note("change: touching the sheet", &rig);
    rig.until(60.0, |r| {
        r.view().change.is_some_and(|c| c.step == ChangeStep::Done)
    });
    note("change: to be ended", &rig);
}

fn frame(body: &str) -> Input {
    let mut t = super::table::Table::new();
    let _ = t.take_out();
    t.say(body);
    Input::Bytes {
        bytes: t.take_out(),
    }
}

fn trip(cause: Cause, at: Time, latched: bool) -> Input {
    Input::Guard {
        report: GuardReport::Tripped {
            cause,
            at,
            epoch: 900,
            latched,
            unread: false,
        },
    }
}

const fn levels(signals: Signals) -> Input {
    Input::Signals {
        signals,
        seen: None,
    }
}

/// What the guard may say of itself.
fn trips(now: Time) -> Vec<(&'static str, Input)> {
    vec![
        ("trip no-arc", trip(Cause::NoArc, now, false)),
        ("trip arc-lost", trip(Cause::ArcLost, now, false)),
        ("trip fire-dropped", trip(Cause::FireDropped, now, false)),
        ("trip hold", trip(Cause::Hold, now, false)),
        ("latch estop", trip(Cause::Estop, now, true)),
        ("latch gate-open", trip(Cause::GateOpen, now, true)),
        (
            "latch torch-unseated",
            trip(Cause::TorchUnseated, now, true),
        ),
        ("latch torch-touched", trip(Cause::TorchTouched, now, true)),
        ("latch arc-stuck", trip(Cause::ArcStuck, now, true)),
        ("latch unasked-fire", trip(Cause::UnaskedFire, now, true)),
        ("latch lease-lapsed", trip(Cause::LeaseLapsed, now, true)),
        ("latch sense-on", trip(Cause::SenseOn, now, true)),
    ]
}

fn kinds(m: &Machine, now: Time) -> Vec<(&'static str, Input)> {
    let ask = |ask| Input::Ask {
        id: AskId(77),
        generation: m.generation(),
        ask,
    };
    let edge = |input, level| Input::Guard {
        report: GuardReport::Edge {
            input,
            level,
            at: now,
            after: None,
        },
    };
    let mut air = m.signals;
    air.air_ok = Some(false);
    let mut all = vec![
        ("tick", Input::Tick),
        ("signals as before", levels(m.signals)),
        ("air dips", levels(air)),
        (
            "garbage",
            Input::Bytes {
                bytes: b"#!?\n".to_vec(),
            },
        ),
        ("greeting", frame("hello 7 plain")),
        ("controller's alarm, 21 ms later", frame("alarm limit X")),
        ("link lost", Input::LinkLost { why: "gone".into() }),
        ("link opened", Input::LinkOpened),
        (
            "all records kept",
            Input::Durable {
                id: RecordId(u64::MAX),
            },
        ),
        ("record failed", Input::RecordFailed { why: "full".into() }),
    ];
    all.extend(trips(now));
    all.extend([
        ("fire edge on", edge(EdgeInput::FireOn, true)),
        ("fire edge off", edge(EdgeInput::FireOn, false)),
        ("arc edge on", edge(EdgeInput::ArcOk, true)),
        ("arc edge off", edge(EdgeInput::ArcOk, false)),
        ("contact edge on", edge(EdgeInput::Contact, true)),
        ("permit edge on", edge(EdgeInput::PermitClosed, true)),
        ("chain edge open", edge(EdgeInput::EstopOpen, true)),
        ("button edge on", edge(EdgeInput::HoldButton, true)),
        ("screen gone", Input::Screen { there: false }),
        ("screen there", Input::Screen { there: true }),
        (
            "guard cleared estop",
            Input::Guard {
                report: GuardReport::Cleared {
                    cause: Cause::Estop,
                },
            },
        ),
        (
            "permit test passed",
            Input::Guard {
                report: GuardReport::Tested { passed: Some(true) },
            },
        ),
        ("ask load", ask(Ask::Load { job: job() })),
        ("ask unload", ask(Ask::Unload)),
        (
            "ask vouch",
            ask(Ask::Vouch {
                check: CheckId::SlatsClear,
                yes: true,
            }),
        ),
        ("ask start", ask(Ask::Start)),
        ("ask hold", ask(Ask::Hold { press: None })),
        ("ask hold-after-cut", ask(Ask::HoldAfterCut)),
        (
            "ask resume",
            ask(Ask::Resume {
                splice: planned(m, now, 0, 0.0),
            }),
        ),
        (
            "ask resume without a plan",
            ask(Ask::Resume { splice: None }),
        ),
        ("ask skip-cut", ask(Ask::SkipCut)),
        ("ask end-job", ask(Ask::EndJob)),
        (
            "ask seen estop",
            ask(Ask::Seen {
                cause: Cause::Estop,
            }),
        ),
        (
            "ask clear estop",
            ask(Ask::Clear {
                cause: Cause::Estop,
            }),
        ),
        ("ask home", ask(Ask::Home)),
        ("ask confirm-place", ask(Ask::ConfirmPlace)),
        ("ask permit-test", ask(Ask::PermitTest)),
    ]);
    all.extend(asks_of_steps(m));
    all
}

/// A key that is kept pressed.
fn key(press: u64) -> HandMove {
    HandMove {
        axis: HandAxis::X,
        forward: true,
        press: PressId(press),
        step_mm: None,
    }
}

/// The asks of the datum check and of the change of parts.
fn asks_of_steps(m: &Machine) -> Vec<(&'static str, Input)> {
    let ask = |ask| Input::Ask {
        id: AskId(77),
        generation: m.generation(),
        ask,
    };
    vec![
        ("ask datum-go", ask(Ask::DatumGo)),
        (
            "ask datum-nudge",
            ask(Ask::DatumNudge {
                dx_mm: 1.0,
                dy_mm: 0.0,
            }),
        ),
        ("ask datum-here", ask(Ask::DatumHere)),
        ("ask hand-move", ask(Ask::HandMove(key(1)))),
        ("ask hand-stop", ask(Ask::HandStop)),
        (
            "ask hand-go",
            ask(Ask::HandGo {
                to: HandPlace::Park,
            }),
        ),
        ("ask change-begin", ask(Ask::ChangeBegin)),
        ("ask change-isolated", ask(Ask::ChangeIsolated)),
        (
            "ask change-parts",
            ask(Ask::ChangeParts {
                parts: vec![Part::Nozzle],
                set: None,
            }),
        ),
        (
            "ask change-contact-by-touch",
            ask(Ask::ChangeContactByTouch),
        ),
        ("ask change-source-on", ask(Ask::ChangeSourceOn)),
        ("ask change-touch", ask(Ask::ChangeTouch)),
        ("ask change-end", ask(Ask::ChangeEnd)),
        ("ask change-cancel", ask(Ask::ChangeCancel)),
    ]
}

/// What a step did, in few words.
fn told(effects: &Effects, before: &str, m: &Machine) -> String {
    let mut words: Vec<String> = Vec::new();
    for e in &effects.0 {
        match e {
            Effect::Guard {
                order: GuardOrder::Phase { phase },
            } => {
                words.push(format!("permit {phase:?}").to_lowercase());
            }
            Effect::Guard {
                order: GuardOrder::Clear { .. },
            } => words.push("guard: clear".into()),
            Effect::Guard { .. } => {}
            Effect::Write {
                take_away: true, ..
            } => words.push("take away".into()),
            Effect::Write { .. } => words.push("lines".into()),
            Effect::OpenLink => words.push("open link".into()),
            Effect::CloseLink => words.push("close link".into()),
            Effect::Record { event, .. } => match event.name() {
                "held" | "retry" | "latch-set" | "place-doubted" | "run-ended" => {
                    words.push(event.name().into());
                }
                _ => {}
            },
            Effect::Outputs { .. } | Effect::Publish => {}
            Effect::Answer { answer, .. } => words.insert(
                0,
                match answer {
                    Answer::Accepted => "accepted".into(),
                    Answer::AlreadySo => "already so".into(),
                    Answer::Refused { reason, says, .. } if reason == "check" => {
                        format!("refused: {}", says.trim_start_matches("Not true: "))
                    }
                    Answer::Refused { reason, .. } => format!("refused: {reason}"),
                },
            ),
        }
    }
    let after = name(m);
    if after != before {
        words.push(format!("-> {after}"));
    }
    if words.is_empty() {
        words.push("nothing".into());
    }
    words.join(", ")
}

fn name(m: &Machine) -> String {
    match m.cycle_step() {
        Some(step) => format!("{:?} {step:?}", m.phase()),
        None => format!("{:?}", m.phase()),
    }
}

#[test]
fn every_state_against_every_kind_of_input() {
    let mut page = String::new();
    for state in states() {
        let end = state.log.last().map_or(Time::ZERO, |(t, _)| *t);
        let now = end + core::time::Duration::from_micros(10);
        let base = replay(&state.log);
        let before = name(&base);
        let _ = writeln!(page, "{} [{before}]", state.name);
        let mut rows: Vec<(String, Vec<&str>)> = Vec::new();
        for (kind, input) in kinds(&base, now) {
            let mut m = replay(&state.log);
            let mut effects = m.step(now, input);
            if kind.contains("alarm") {
                // A complaint waits a moment for a better cause from the guard.
                let later = now + core::time::Duration::from_millis(21);
                effects.0.extend(m.step(later, Input::Tick).0);
            }
            let says = told(&effects, &before, &m);
            match rows.iter_mut().find(|(s, _)| *s == says) {
                Some((_, kinds)) => kinds.push(kind),
                None => rows.push((says, vec![kind])),
            }
        }
        for (says, kinds) in rows {
            let _ = writeln!(page, "    {}\n        {says}", kinds.join(" | "));
        }
        page.push('\n');
    }
    insta::assert_snapshot!(page);
}
