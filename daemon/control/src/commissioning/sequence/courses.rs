//! The turns of each step.

use super::{Step, Turn, Wire};
use crate::signals::Signals;

/// The turns of a step on a table with these inputs; `None`: the panel does not make it.
pub(super) fn of(step: Step, levels: &Signals, fitted: &[Wire], senses: bool) -> Option<Vec<Turn>> {
    Some(match step {
        Step::Papers => papers(),
        Step::Inputs => walk(fitted),
        Step::Estop => estop(),
        Step::Permit => permit(levels.permit_closed.is_some()),
        Step::Contact if !senses => contact_by_meter(),
        Step::Contact => contact(levels.sense_isolated.is_some()),
        Step::DryFire => dry_fire(),
        _ => return None,
    })
}

fn papers() -> Vec<Turn> {
    vec![
        Turn::Say(
            "Does each line of the wiring list stand for a wire that you have followed by hand?",
            "The wiring list is not signed.",
        ),
        Turn::Say(
            "Is the stop category chosen, written down and signed (stop category 0 or 1)?",
            "No stop category is signed.",
        ),
        Turn::Say(
            "Is the earthing measured, source, table and panel to one star point, and signed?",
            "The earthing is not signed.",
        ),
    ]
}

fn walk(fitted: &[Wire]) -> Vec<Turn> {
    let mut turns = vec![
        Turn::Only(
            "Is the power source isolated at its supply, and locked?",
            "The source was not isolated.",
        ),
        Turn::Rest,
    ];
    for &wire in fitted {
        turns.extend([Turn::Work(wire), Turn::LetGo(wire)]);
        // Of an open contact a wire that is off changes nothing: the machine file sees to how it reads.
        if wire.closed_at_rest() {
            turns.extend([Turn::WireOff(wire), Turn::WireOn(wire)]);
        }
    }
    turns
}

fn estop() -> Vec<Turn> {
    let mut turns = vec![Turn::Rest];
    for _ in 0..5 {
        turns.extend([Turn::Work(Wire::Estop), Turn::LetGo(Wire::Estop)]);
    }
    turns.extend([
        Turn::Say(
            "Did the drives go dead each time, within 0.3 s?",
            "The emergency stop did not take the drives each time.",
        ),
        Turn::Say(
            "Did nothing start again by itself when it was released?",
            "Something started again when the emergency stop was released.",
        ),
    ]);
    turns
}

fn permit(mirror: bool) -> Vec<Turn> {
    let mut turns = vec![
        Turn::Only(
            "Is the source isolated, or the start plug out?",
            "The source was not isolated.",
        ),
        Turn::PermitTest,
        Turn::PermitTest,
        Turn::PermitTest,
    ];
    if !mirror {
        turns.push(Turn::Say(
            "No contact shows the relay: did you measure that it pulled, and opened within 100 ms?",
            "The relay was not measured.",
        ));
    }
    turns.extend([
        Turn::Say(
            "Measured at the relay: open within 100 ms of the panel's process being killed in a test?",
            "The relay did not open in time when the process was killed.",
        ),
        Turn::Say(
            "Measured at the relay: open within 300 ms of the process being stopped (SIGSTOP) in a test?",
            "The relay did not open in time when the process was stopped.",
        ),
        Turn::Say(
            "Measured at the relay: open within 350 ms of the serial plug being pulled in a test?",
            "The relay did not open in time when the serial plug was pulled.",
        ),
    ]);
    turns
}

fn contact(mirror: bool) -> Vec<Turn> {
    let c = Wire::Contact;
    let mut turns = vec![
        Turn::Only(
            "Is the power source isolated at its supply, and locked?",
            "The source was not isolated.",
        ),
        Turn::Rest,
        Turn::Work(c),
        Turn::LetGo(c),
        Turn::Still(
            c,
            "Hold a wet rag between nozzle and sheet for some seconds. Done?",
        ),
        Turn::Say(
            "Take the wire of the torch contact off. Is it off?",
            "The wire was not taken off.",
        ),
        Turn::Still(c, "Touch the nozzle with the metal again. Done?"),
        Turn::Say("Put the wire back. Is it on?", "The wire was not put back."),
        Turn::Work(c),
        Turn::LetGo(c),
    ];
    if mirror {
        turns.push(Turn::SenseTest);
    }
    turns
}

/// Where the controller alone connects the circuit, for a touch-off.
fn contact_by_meter() -> Vec<Turn> {
    vec![
        Turn::Only(
            "Is the power source isolated at its supply, and locked?",
            "The source was not isolated.",
        ),
        Turn::Say(
            "By a meter at the input: open in the air, closed on metal, open again with its wire off?",
            "The contact's circuit was not proved by a meter.",
        ),
    ]
}

fn dry_fire() -> Vec<Turn> {
    vec![
        Turn::Only(
            "Does the torch stand 20 mm over heavy scrap with the clamp on it, and is everybody clear?",
            "The torch was not over scrap.",
        ),
        Turn::Only(
            "Is the source on, and are eyes covered?",
            "The source was not on.",
        ),
        Turn::DryFire,
        Turn::DryFire,
        Turn::DryFire,
        Turn::Say(
            "Did a pilot arc strike each time, and go out by itself?",
            "No pilot arc was seen, or it did not go out.",
        ),
    ]
}
