//! Old levels: nothing starts or moves on them, they stop what moves, and a panel that was blind does
//! not know whether the chain has opened.

use core::time::Duration;

use super::rig::{Rig, dialect, settings};
use super::stories::running;
use crate::ask::{Ask, CheckId};
use crate::cause::Cause;
use crate::event::{Event, Restored};
use crate::machine::Machine;
use crate::machine::admission::{No, admit};
use crate::settings::EstopProof;
use crate::view::{Phase, Step};

/// Why it is refused now.
fn refused(rig: &Rig, ask: &Ask) -> Option<No> {
    admit(&rig.m, ask).err()
}

const STALE: Option<No> = Some(No::Check(CheckId::InputsFresh));

#[test]
fn nothing_homes_tests_or_starts_on_levels_of_before() {
    let mut rig = Rig::new();
    rig.make_ready();
    assert_eq!(refused(&rig, &Ask::Start), None);
    rig.asleep = rig.now + Duration::from_secs(60);
    // Somebody opens the gate, and nobody looks.
    rig.table.wrong.gate_open = true;
    rig.wait(0.2);
    for ask in [Ask::Home, Ask::PermitTest, Ask::Start] {
        assert_eq!(refused(&rig, &ask), STALE, "{ask:?}");
    }
    rig.asleep = rig.now;
    rig.wait(0.1);
    assert_eq!(
        refused(&rig, &Ask::Home),
        Some(No::Check(CheckId::GateClosed)),
        "the gate is seen"
    );
}

#[test]
fn nothing_goes_on_from_a_hold_on_levels_of_before() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    assert_eq!(refused(&rig, &Ask::SkipCut), None);
    rig.asleep = rig.now + Duration::from_secs(60);
    rig.wait(0.2);
    assert_eq!(refused(&rig, &Ask::SkipCut), STALE);
}

#[test]
fn old_levels_stop_a_traverse_within_their_bound() {
    let mut rig = running();
    rig.until(60.0, |r| r.view().step == Some(Step::Traverse));
    let from = rig.now;
    rig.asleep = from + Duration::from_secs(60);
    rig.until(1.0, |r| r.m.stopping());
    assert!(rig.now.since(from).as_millis() <= 151, "{}", rig.now);
    assert_eq!(
        rig.view().holds.last().map(|h| h.cause),
        Some(Cause::InputsStale)
    );
    // The bytes were written on control's own handle: the guard has not been there.
    rig.until(2.0, |r| {
        r.m.line
            .status
            .as_ref()
            .is_some_and(|s| s.feed_mm_s == Some(0.0))
    });
    // Nothing is lifted on them either.
    let z = rig.table.z;
    rig.wait(6.0);
    assert_eq!(rig.table.z.to_bits(), z.to_bits());
}

#[test]
fn at_rest_old_levels_are_told_after_a_second_and_are_gone_when_seen_afresh_for_one() {
    let mut rig = Rig::new();
    rig.make_ready();
    rig.asleep = rig.now + Duration::from_secs(60);
    rig.wait(0.9);
    assert!(rig.view().alarms.is_empty());
    rig.wait(0.4);
    let told = |r: &Rig| {
        r.view()
            .alarms
            .iter()
            .any(|a| a.cause == Cause::InputsStale)
    };
    assert!(told(&rig));
    rig.asleep = rig.now;
    rig.wait(0.9);
    assert!(!rig.m.gone(Cause::InputsStale));
    assert_ne!(rig.phase(), Phase::Ready);
    rig.wait(0.3);
    assert!(rig.m.gone(Cause::InputsStale));
    assert!(told(&rig), "nothing clears by time");
}

/// A new panel over a run that was begun to be cut; the first word of the controller has come.
fn over_a_run(estop: EstopProof) -> Rig {
    let mut rig = running();
    rig.run_to(2, 40.0);
    let restored = Restored::from_events(rig.events.iter().cloned());
    assert!(!restored.doubtful);
    let mut rig = rig.restart();
    rig.m = Machine::new(
        crate::Settings {
            estop,
            ..settings()
        },
        dialect(),
        restored,
    );
    rig.until(5.0, |r| r.phase() != Phase::Starting && r.m.line.usable());
    rig
}

#[test]
fn a_panel_that_was_dead_doubts_the_place_unless_the_chain_is_proved_to_have_stayed_closed() {
    for (latching, told_to_controller, doubtful) in [
        (false, false, true),
        (true, false, false),
        (false, true, false),
    ] {
        let rig = over_a_run(EstopProof {
            latching,
            told_to_controller,
        });
        let doubts = rig.events.iter().filter(
            |e| matches!(e, Event::PlaceDoubted { cause } if *cause == Some(Cause::Interrupted)),
        );
        assert_eq!(
            (rig.view().doubtful, doubts.count() > 0),
            (doubtful, doubtful),
            "latching {latching}, told {told_to_controller}"
        );
    }
}
