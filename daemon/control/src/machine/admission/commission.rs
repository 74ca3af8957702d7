//! What may be asked of commissioning, and what an open step bars.

use super::{No, Yes, at_rest, held};
use crate::ask::{Ask, CheckId};
use crate::cause::Cause;
use crate::commissioning::{Step, has_course};
use crate::machine::Machine;

/// While a step is open nothing else is taken that could move, fire or change the job.
pub(super) fn bars(m: &Machine, ask: &Ask) -> Result<(), No> {
    let kept = matches!(
        ask,
        Ask::Hold { .. }
            | Ask::HandStop
            | Ask::Seen { .. }
            | Ask::Clear { .. }
            | Ask::CommissionStep { .. }
            | Ask::CommissionAnswer { .. }
            | Ask::CommissionLeave
    );
    if m.commission.is_some() && !kept {
        return Err(No::StepOpen);
    }
    Ok(())
}

/// Judges a request of commissioning.
pub(super) fn admit(m: &Machine, ask: &Ask) -> Result<Yes, No> {
    match ask {
        Ask::CommissionStep { step } => begin(m, *step),
        Ask::CommissionAnswer { .. } => answer(m),
        _ if m.commission.is_none() => Ok(Yes::AlreadySo),
        _ => at_rest(m).map(|()| Yes::Do),
    }
}

/// Some step may be begun; which one, is seen when one is asked for.
pub(super) fn begin(m: &Machine, step: Step) -> Result<Yes, No> {
    if m.settings.commissioning.is_none() || !has_course(step) {
        return Err(No::StepNotHere);
    }
    at_rest(m)?;
    if held(m) || m.interrupted.is_some() {
        return Err(No::Held);
    }
    if !m.inputs_fresh() {
        return Err(No::Check(CheckId::InputsFresh));
    }
    let by_controller = matches!(
        step,
        Step::Inputs | Step::Permit | Step::Contact | Step::DryFire
    );
    if by_controller && !m.line.usable() {
        return Err(No::Check(CheckId::LinkAlive));
    }
    // A step that would fail by an alarm alone is not begun: its record would say so for nothing.
    let mut latches = m.alarms.latches();
    let bars = match step {
        Step::Permit => latches.any(|c| c != Cause::PermitStuck),
        Step::Contact | Step::DryFire => latches.next().is_some(),
        _ => false,
    };
    if bars {
        return Err(No::Check(CheckId::NoLatch));
    }
    if step == Step::DryFire {
        let before = Step::guarding().filter(|s| *s != Step::DryFire);
        let table = m.settings.commissioning.as_ref();
        let open = |s: &Step| table.is_none_or(|t| !m.records.stands(*s, t));
        if before.into_iter().any(|s| open(&s)) {
            return Err(No::StepsBefore);
        }
        if let Some(check) = m.bars_dry_fire() {
            return Err(No::Check(check));
        }
    }
    Ok(Yes::Do)
}

/// Why a step cannot be begun now; `None`: it can.
pub(crate) fn no_step(m: &Machine, step: Step) -> Option<No> {
    if m.commission.is_some() {
        return Some(No::StepOpen);
    }
    begin(m, step).err()
}

pub(super) fn answer(m: &Machine) -> Result<Yes, No> {
    let open = m.commission.as_ref().ok_or(No::StepNotOpen)?;
    if !open.asks() {
        return Err(No::StepNotOpen);
    }
    at_rest(m).map(|()| Yes::Do)
}
