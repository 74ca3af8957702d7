//! Whether the torch may be moved by hand now.

use super::{No, Yes, at_rest};
use crate::ask::{CheckId, HandAxis, HandMove};
use crate::machine::hand::{Hand, STEP_MM};
use crate::machine::{Act, Machine, checks};

/// A press that goes on, or one that begins.
pub(super) fn moves(m: &Machine, asked: &HandMove) -> Result<Yes, No> {
    if m.renews(asked) {
        return Ok(Yes::Do);
    }
    if m.press_is_over(asked.press) {
        return Err(No::PressOver);
    }
    stands(m)?;
    let away = asked.axis == HandAxis::Z && asked.forward;
    if m.signals.contact && !away {
        return Err(No::Check(CheckId::ContactOpen));
    }
    let down = asked.axis == HandAxis::Z && !asked.forward;
    if down && !m.line.switches_sense() {
        return Err(No::ContactUnseen);
    }
    // What is no number is no length within it either.
    if !asked.step_mm.is_none_or(|mm| mm > 0.0 && mm <= STEP_MM) {
        return Err(No::StepTooLong);
    }
    if !m.has_room(asked) {
        return Err(No::EndOfTravel);
    }
    Ok(Yes::Do)
}

/// Only takes away.
pub(super) fn stops(m: &Machine) -> Yes {
    match m.act {
        Act::Hand(Hand::Pressed(_) | Hand::Going(_)) => Yes::Do,
        _ => Yes::AlreadySo,
    }
}

/// Some way is open; which ones are, is seen when one is asked for.
pub(super) fn may_begin(m: &Machine) -> Result<Yes, No> {
    stands(m).map(|()| Yes::Do)
}

pub(super) fn goes(m: &Machine) -> Result<Yes, No> {
    stands(m)?;
    if m.signals.contact {
        return Err(No::Check(CheckId::ContactOpen));
    }
    Ok(Yes::Do)
}

/// The machine stands, knows where, and nothing bars moving.
fn stands(m: &Machine) -> Result<(), No> {
    at_rest(m)?;
    if let Some(check) = checks::bars_moving(m) {
        return Err(No::Check(check));
    }
    if !m.reference.homed || !m.line.referenced(m.reference.homed) || m.settings.travel.is_none() {
        return Err(No::NotHomed);
    }
    if !m.line.at_rest() {
        return Err(No::Running);
    }
    Ok(())
}
