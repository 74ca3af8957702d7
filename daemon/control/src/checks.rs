//! The conditions of a start, and which of them bar going on from a hold.

use crate::ask::CheckId;
use crate::cause::Cause;
use crate::machine::Machine;

/// What the operator vouches for before every start.
pub(crate) const VOUCHED: [CheckId; 8] = [
    CheckId::ClampOnSkeleton,
    CheckId::SheetFixed,
    CheckId::SlatsClear,
    CheckId::EyesAndEars,
    CheckId::NobodyInside,
    CheckId::ExtractionOn,
    CheckId::FireWatch,
    CheckId::RightParts,
];

/// What the machine sees. Those that are not fitted are left out by [`seen`].
const SEEN: [CheckId; 19] = [
    CheckId::JobSealed,
    CheckId::NoLatch,
    CheckId::InputsFresh,
    CheckId::EstopClosed,
    CheckId::LinkAlive,
    CheckId::Referenced,
    CheckId::PlaceSure,
    CheckId::ArcOkOpen,
    CheckId::FireOnOpen,
    CheckId::ContactOpen,
    CheckId::AirGood,
    CheckId::SourceOn,
    CheckId::TorchSeated,
    CheckId::GateClosed,
    CheckId::PermitOpen,
    CheckId::PermitTested,
    CheckId::RecordKept,
    CheckId::SetFits,
    CheckId::PartsTested,
];

/// Each check that the machine sees on this table: true, false, or not known.
pub(crate) fn seen(m: &Machine) -> impl Iterator<Item = (CheckId, Option<bool>)> + '_ {
    SEEN.into_iter()
        .filter_map(|check| see(m, check).map(|holds| (check, holds)))
}

/// `None`: not fitted. `Some(None)`: not known, which is no.
fn see(m: &Machine, check: CheckId) -> Option<Option<bool>> {
    let s = &m.signals;
    let heard = |level: bool| Some(m.signals_heard.then_some(level));
    let fitted = |level: Option<bool>| level.map(Some);
    match check {
        CheckId::JobSealed => Some(Some(job_ready(m))),
        CheckId::NoLatch => Some(Some(m.latches.is_empty() && !bars_by_interruption(m))),
        CheckId::InputsFresh => heard(m.inputs_fresh()),
        CheckId::EstopClosed => heard(!s.estop_open),
        CheckId::LinkAlive => Some(Some(m.line.usable())),
        CheckId::Referenced => Some(if m.line.status.is_some() {
            // Since the place was last doubted: an older reference proves nothing.
            Some(m.line.referenced(m.homed) && (m.homed || !m.doubtful))
        } else {
            None
        }),
        CheckId::PlaceSure => Some(Some(!m.doubtful && m.line.unproven.is_none())),
        CheckId::ArcOkOpen => heard(!s.arc_ok),
        CheckId::FireOnOpen => heard(!s.fire_on),
        CheckId::ContactOpen => heard(!s.contact),
        CheckId::AirGood => fitted(s.air_ok),
        CheckId::SourceOn => fitted(s.source_on),
        CheckId::TorchSeated => fitted(s.torch_seated),
        CheckId::GateClosed => fitted(s.gate_closed),
        CheckId::PermitOpen => fitted(s.permit_closed.map(|closed| !closed)),
        CheckId::PermitTested => Some(Some(m.permit_tested)),
        CheckId::RecordKept => Some(Some(!m.keeping.failing)),
        // Where the operator never said which set is fitted, he vouches for it.
        CheckId::SetFits => {
            let (fitted, loaded) = (m.parts.fitted.as_ref()?, m.loaded.as_ref()?);
            Some(Some(fitted.fits(loaded.job.row.amps)))
        }
        // Parts that nobody touched need no test.
        CheckId::PartsTested => m.parts.untested.then_some(Some(false)),
        _ => None,
    }
}

/// A job is loaded, has cuts, and was not run since it was loaded.
fn job_ready(m: &Machine) -> bool {
    m.loaded.as_ref().is_some_and(|l| !l.job.cuts.is_empty())
        && m.run.as_ref().is_none_or(|r| !r.over())
}

/// An interrupted run bars another job until it was read and left.
fn bars_by_interruption(m: &Machine) -> bool {
    match (&m.interrupted, &m.loaded) {
        (Some(u), Some(loaded)) => u.seal != loaded.job.seal.hash(),
        (Some(_), None) => true,
        (None, _) => false,
    }
}

/// The first check that is not true and bars a start.
pub(crate) fn bars_start(m: &Machine) -> Option<CheckId> {
    seen(m)
        .find(|(_, holds)| *holds != Some(true))
        .map(|(check, _)| check)
        .or_else(|| VOUCHED.into_iter().find(|c| !m.vouched.contains(c)))
}

/// The first check that is not true and bars going on from a hold. What the cycle itself tests
/// again (contact) and what was vouched for at the start do not.
pub(crate) fn bars_going_on(m: &Machine) -> Option<CheckId> {
    seen(m)
        .filter(|(check, _)| *check != CheckId::ContactOpen)
        .find(|(_, holds)| *holds != Some(true))
        .map(|(check, _)| check)
}

/// What bars moving at all, fire apart.
pub(crate) fn bars_homing(m: &Machine) -> Option<CheckId> {
    if !m.latches.is_empty() {
        return Some(CheckId::NoLatch);
    }
    let s = &m.signals;
    if !m.inputs_fresh() {
        return Some(CheckId::InputsFresh);
    }
    if s.estop_open {
        return Some(CheckId::EstopClosed);
    }
    if !m.line.usable() {
        return Some(CheckId::LinkAlive);
    }
    if s.fire_on {
        return Some(CheckId::FireOnOpen);
    }
    if s.arc_ok {
        return Some(CheckId::ArcOkOpen);
    }
    if s.torch_seated == Some(false) {
        return Some(CheckId::TorchSeated);
    }
    if s.gate_closed == Some(false) {
        return Some(CheckId::GateClosed);
    }
    None
}

/// What bars a permit test.
pub(crate) fn bars_permit_test(m: &Machine) -> Option<CheckId> {
    if m.latches.keys().any(|c| *c != Cause::PermitStuck) {
        return Some(CheckId::NoLatch);
    }
    let s = &m.signals;
    if !m.inputs_fresh() {
        return Some(CheckId::InputsFresh);
    }
    if s.estop_open {
        return Some(CheckId::EstopClosed);
    }
    if s.fire_on {
        return Some(CheckId::FireOnOpen);
    }
    if s.arc_ok {
        return Some(CheckId::ArcOkOpen);
    }
    if s.permit_closed == Some(true) {
        return Some(CheckId::PermitOpen);
    }
    None
}
