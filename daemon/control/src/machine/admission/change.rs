//! What may be asked while torch parts are changed, and what that bars.

use super::no::ChangeNo;
use super::{No, Yes, at_rest};
use crate::ask::{Ask, CheckId};
use crate::machine::{Act, Machine, power, set, volts, wanted_amps};
use crate::view::{ChangeStep, Power};

/// While a change is open nothing else is taken that could move, fire or change the job.
pub(super) fn bars(m: &Machine, ask: &Ask) -> Result<(), No> {
    let kept = matches!(
        ask,
        Ask::Hold { .. }
            | Ask::HandStop
            | Ask::Seen { .. }
            | Ask::Clear { .. }
            | Ask::ConfirmPlace
            | Ask::ChangeBegin
            | Ask::ChangeIsolated
            | Ask::ChangeParts { .. }
            | Ask::ChangeContactByTouch
            | Ask::ChangeSourceOn
            | Ask::ChangeTouch
            | Ask::ChangeEnd
            | Ask::ChangeCancel
    );
    if m.change.is_some() && !kept {
        return Err(ChangeNo::Open.into());
    }
    Ok(())
}

impl From<ChangeNo> for No {
    fn from(no: ChangeNo) -> Self {
        Self::Change(no)
    }
}

/// Judges a request of a change.
pub(super) fn admit(m: &Machine, ask: &Ask) -> Result<Yes, No> {
    match ask {
        Ask::ChangeBegin => {
            if m.change.is_some() {
                return Ok(Yes::AlreadySo);
            }
            at_rest(m)?;
            dead(m)
        }
        Ask::ChangeIsolated => {
            at(m, ChangeStep::Isolate)?;
            dead(m)?;
            match power(m) {
                Power::On if volts(m) => Err(ChangeNo::VoltsThere.into()),
                Power::On => Err(ChangeNo::PowerOn.into()),
                _ if volts(m) => Err(ChangeNo::VoltsThere.into()),
                _ => Ok(Yes::Do),
            }
        }
        Ask::ChangeParts { set: tag, .. } => {
            at(m, ChangeStep::Swap)?;
            let Some(tag) = tag else { return Ok(Yes::Do) };
            let named = set(m, tag).ok_or(ChangeNo::SetMissing)?;
            match wanted_amps(m) {
                Some(amps) if !named.fits(amps) => Err(ChangeNo::SetMisfit.into()),
                _ => Ok(Yes::Do),
            }
        }
        Ask::ChangeContactByTouch => {
            at(m, ChangeStep::Contact)?;
            touch(m)
        }
        Ask::ChangeSourceOn => {
            at(m, ChangeStep::Source)?;
            match m.signals.source_on {
                Some(false) => Err(ChangeNo::PowerOff.into()),
                _ => Ok(Yes::Do),
            }
        }
        Ask::ChangeTouch => {
            at(m, ChangeStep::Touch)?;
            dead(m)?;
            touch(m)
        }
        Ask::ChangeEnd => at(m, ChangeStep::Done).map(|()| Yes::Do),
        Ask::ChangeCancel => {
            if m.change.is_none() {
                return Err(ChangeNo::Closed.into());
            }
            match m.act {
                Act::Changing(_) => Ok(Yes::Do),
                _ => at_rest(m).map(|()| Yes::Do),
            }
        }
        _ => Err(ChangeNo::Closed.into()),
    }
}

/// The change stands at this step, and nothing moves.
fn at(m: &Machine, step: ChangeStep) -> Result<(), No> {
    let open = m.change.as_ref().ok_or(ChangeNo::Closed)?;
    if open.step != step {
        return Err(ChangeNo::OtherStep.into());
    }
    at_rest(m)
}

/// Neither torch nor arc is on.
fn dead(m: &Machine) -> Result<Yes, No> {
    if !m.signals_heard || m.signals.arc_ok {
        return Err(No::Check(CheckId::ArcOkOpen));
    }
    if m.signals.fire_on {
        return Err(No::Check(CheckId::FireOnOpen));
    }
    Ok(Yes::Do)
}

fn touch(m: &Machine) -> Result<Yes, No> {
    if let Some(check) = crate::machine::checks::bars_moving(m) {
        return Err(No::Check(check));
    }
    match m.may_touch() {
        Some(_) => Ok(Yes::Do),
        None => Err(ChangeNo::NoTouch.into()),
    }
}
