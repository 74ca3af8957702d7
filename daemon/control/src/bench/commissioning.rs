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
