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
const SEEN: [CheckId; 25] = [
    CheckId::JobSealed,
    CheckId::InputsFresh,
    // Levels before the latches that they set: each has its own words.
    CheckId::EstopClosed,
    CheckId::TorchSeated,
    CheckId::GateClosed,
    CheckId::HoldReleased,
    CheckId::PermitOpen,
    CheckId::SenseIsolated,
    CheckId::NoLatch,
    CheckId::LinkAlive,
    CheckId::HoldButtonWorks,
    CheckId::EstopWorks,
    CheckId::Referenced,
    CheckId::PlaceSure,
    CheckId::ArcOkOpen,
    CheckId::FireOnOpen,
    CheckId::ContactOpen,
    CheckId::AirGood,
    CheckId::SourceOn,
    CheckId::PermitTested,
    CheckId::SelfTested,
    CheckId::Commissioned,
    CheckId::RecordKept,
    CheckId::SetFits,
    CheckId::PartsTested,
];

/// What the operator is asked to vouch for as things are.
pub(crate) fn to_vouch(m: &Machine) -> impl Iterator<Item = CheckId> + use<> {
    // For the permit test alone, while it is due: what is seen off need not be vouched for.
    let for_test = (!m.readiness.permit_tested && m.signals.source_on != Some(false))
        .then_some(CheckId::SourceOff);
    for_test.into_iter().chain(for_start(m))
}

/// ... before a start.
fn for_start(m: &Machine) -> impl Iterator<Item = CheckId> + use<> {
    // A test that nothing has shown proves nothing by itself.
    let unproved = m.readiness.permit_tested
        && !m.readiness.permit_proved
        && m.signals.permit_closed.is_none();
    VOUCHED
        .into_iter()
        .chain(unproved.then_some(CheckId::RelaySeen))
}

/// Seen to work once since switch-on. A run that was started with it is taken up without: a new
/// panel over the same table is no new switch-on.
const fn proof(check: CheckId) -> bool {
    matches!(check, CheckId::HoldButtonWorks | CheckId::EstopWorks)
}

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
        CheckId::NoLatch => Some(Some(!m.alarms.any_latch() && !bars_by_interruption(m))),
        CheckId::InputsFresh => heard(m.inputs_fresh()),
        CheckId::EstopClosed => heard(!s.estop_open),
        CheckId::LinkAlive => Some(Some(m.line.usable())),
        CheckId::Referenced => Some(if m.line.status.is_some() {
            // Since the place was last doubted: an older reference proves nothing.
            Some(
                m.line.referenced(m.reference.homed)
                    && (m.reference.homed || !m.reference.doubtful),
            )
        } else {
            None
        }),
        CheckId::PlaceSure => Some(Some(!m.reference.doubtful && m.line.unproven.is_none())),
        CheckId::ArcOkOpen => heard(!s.arc_ok),
        CheckId::FireOnOpen => heard(!s.fire_on),
        CheckId::ContactOpen => heard(!s.contact),
        CheckId::AirGood => fitted(s.air_ok),
        CheckId::SourceOn => fitted(s.source_on),
        CheckId::TorchSeated => fitted(s.torch_seated),
        CheckId::GateClosed => fitted(s.gate_closed),
        CheckId::PermitOpen => fitted(s.permit_closed.map(|closed| !closed)),
        CheckId::PermitTested => Some(Some(m.readiness.permit_tested)),
        CheckId::SenseIsolated => fitted(s.sense_isolated.map(|_| !m.sense_contradicts())),
        CheckId::HoldReleased => fitted(s.hold_button.map(|pressed| !pressed)),
        CheckId::HoldButtonWorks => fitted(s.hold_button.map(|_| m.since.button.works())),
        CheckId::EstopWorks => heard(m.since.chain.works()),
        CheckId::SelfTested => Some(Some(m.self_test.passed)),
        CheckId::Commissioned => {
            let table = m.settings.commissioning.as_ref()?;
            Some(Some(m.records.first_open(table).is_none()))
        }
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
        .or_else(|| for_start(m).find(|c| !m.readiness.is_confirmed(*c)))
}

/// The first check that is not true and bars taking up a run that was interrupted.
pub(crate) fn bars_taking_up(m: &Machine) -> Option<CheckId> {
    seen(m)
        .filter(|(check, _)| !proof(*check))
        .find(|(_, holds)| *holds != Some(true))
        .map(|(check, _)| check)
        .or_else(|| for_start(m).find(|c| !m.readiness.is_confirmed(*c)))
}

/// The first check that is not true and bars going on from a hold. What the cycle itself tests
/// again (contact) and what was vouched for at the start do not.
pub(crate) fn bars_going_on(m: &Machine) -> Option<CheckId> {
    seen(m)
        .filter(|(check, _)| *check != CheckId::ContactOpen && !proof(*check))
        .find(|(_, holds)| *holds != Some(true))
        .map(|(check, _)| check)
}

/// What bars moving at all, fire apart: levels, not edges alone.
pub(crate) fn bars_moving(m: &Machine) -> Option<CheckId> {
    if let Some(check) = bars_by_level(m) {
        return Some(check);
    }
    if m.alarms.any_latch() {
        return Some(CheckId::NoLatch);
    }
    if !m.line.usable() {
        return Some(CheckId::LinkAlive);
    }
    bars_by_fire(m)
}

/// Levels that bar whatever moves or pulses, each by its own words.
fn bars_by_level(m: &Machine) -> Option<CheckId> {
    let s = &m.signals;
    if !m.inputs_fresh() {
        return Some(CheckId::InputsFresh);
    }
    if s.estop_open {
        return Some(CheckId::EstopClosed);
    }
    if s.torch_seated == Some(false) {
        return Some(CheckId::TorchSeated);
    }
    if s.gate_closed == Some(false) {
        return Some(CheckId::GateClosed);
    }
    if s.hold_button == Some(true) {
        return Some(CheckId::HoldReleased);
    }
    // Nothing asks for the permit: a relay that is closed all the same is no second channel.
    (s.permit_closed == Some(true)).then_some(CheckId::PermitOpen)
}

fn bars_by_fire(m: &Machine) -> Option<CheckId> {
    if m.signals.fire_on {
        return Some(CheckId::FireOnOpen);
    }
    m.signals.arc_ok.then_some(CheckId::ArcOkOpen)
}

/// The source is seen off, or the operator says that it is, or that the start plug is out.
fn source_is_off(m: &Machine) -> bool {
    m.signals.source_on == Some(false) || m.readiness.is_confirmed(CheckId::SourceOff)
}

/// What bars a permit test.
pub(crate) fn bars_permit_test(m: &Machine) -> Option<CheckId> {
    if let Some(check) = bars_by_level(m) {
        return Some(check);
    }
    if m.alarms.latches().any(|c| c != Cause::PermitStuck) {
        return Some(CheckId::NoLatch);
    }
    bars_by_fire(m).or_else(|| (!source_is_off(m)).then_some(CheckId::SourceOff))
}
