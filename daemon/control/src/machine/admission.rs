//! Whether a request may be carried out now. It performs nothing.

mod change;
mod commission;
mod hand;
pub(crate) mod no;

use crate::ask::{Ask, CheckId, PressId};
use crate::cause::Cause;
use crate::commissioning::Step;
use crate::machine::alarms::Alarmed;
use crate::machine::checks;
use crate::machine::datum::NUDGE_MM;
use crate::machine::run::Found;
use crate::machine::{Act, Machine};
use crate::resume::Stop;
use crate::view::{ChangeStep, Phase};
pub(crate) use commission::no_step;
pub(crate) use no::No;

/// How it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Yes {
    Do,
    AlreadySo,
}

/// What only takes away, or only silences, is taken whatever state the asker saw.
/// A press that goes on was begun in the state before it.
pub(crate) fn any_generation(m: &Machine, ask: &Ask) -> bool {
    match ask {
        Ask::Hold { .. } | Ask::Seen { .. } | Ask::HandStop => true,
        Ask::HandMove(asked) => m.renews(asked),
        _ => false,
    }
}

/// The request's `kind`.
pub(crate) fn kind(ask: &Ask) -> &'static str {
    match ask {
        Ask::Load { .. } => "load",
        Ask::Unload => "unload",
        Ask::Vouch { .. } => "vouch",
        Ask::Start => "start",
        Ask::Hold { .. } => "hold",
        Ask::HoldAfterCut => "hold-after-cut",
        Ask::Resume { .. } => "resume",
        Ask::SkipCut => "skip-cut",
        Ask::EndJob => "end-job",
        Ask::Seen { .. } => "seen",
        Ask::Clear { .. } => "clear",
        Ask::Home => "home",
        Ask::ConfirmPlace => "confirm-place",
        Ask::DatumGo => "datum-go",
        Ask::DatumNudge { .. } => "datum-nudge",
        Ask::DatumHere => "datum-here",
        Ask::HandMove(_) => "hand-move",
        Ask::HandStop => "hand-stop",
        Ask::HandGo { .. } => "hand-go",
        Ask::PermitTest => "permit-test",
        Ask::LampTest => "lamp-test",
        Ask::ChangeBegin => "change-begin",
        Ask::ChangeIsolated => "change-isolated",
        Ask::ChangeParts { .. } => "change-parts",
        Ask::ChangeContactByTouch => "change-contact-by-touch",
        Ask::ChangeSourceOn => "change-source-on",
        Ask::ChangeTouch => "change-touch",
        Ask::ChangeEnd => "change-end",
        Ask::ChangeCancel => "change-cancel",
        Ask::CommissionStep { .. } => "commission-step",
        Ask::CommissionAnswer { .. } => "commission-answer",
        Ask::CommissionLeave => "commission-leave",
    }
}

/// Judges a request. A refusal is an answer.
pub(crate) fn admit(m: &Machine, ask: &Ask) -> Result<Yes, No> {
    change::bars(m, ask)?;
    commission::bars(m, ask)?;
    match ask {
        Ask::Load { job } => {
            at_rest(m)?;
            if held(m) {
                return Err(No::Held);
            }
            if job.cuts.is_empty() {
                return Err(No::EmptyJob);
            }
            Ok(Yes::Do)
        }
        Ask::Unload => {
            at_rest(m)?;
            if held(m) {
                return Err(No::Held);
            }
            Ok(if m.loaded.is_some() {
                Yes::Do
            } else {
                Yes::AlreadySo
            })
        }
        Ask::Vouch { check, yes } => {
            let for_test = *check == CheckId::SourceOff;
            if !(for_test || *check == CheckId::RelaySeen || checks::VOUCHED.contains(check)) {
                return Err(No::NotVouched);
            }
            let vouched = m.readiness.is_confirmed(*check);
            if vouched == *yes {
                return Ok(Yes::AlreadySo);
            }
            // The permit test may be what a held run waits for.
            if for_test {
                return at_rest(m).map(|()| Yes::Do);
            }
            vouch(m)
        }
        Ask::Start => start(m),
        Ask::Hold { press } => Ok(hold(m, *press)),
        Ask::HoldAfterCut => hold_after(m),
        Ask::Resume { splice } => {
            resume(m)?;
            let job = m.loaded.as_ref().map(|l| &l.job);
            let fits = splice
                .as_ref()
                .zip(job)
                .is_some_and(|(s, job)| s.is_of(job) && m.stop_now() == Some(s.plan().stop));
            if fits {
                Ok(Yes::Do)
            } else {
                Err(No::PlanMissing)
            }
        }
        // Leaving a cut is a way on like any other, from a run that was interrupted too.
        Ask::SkipCut => resume(m),
        Ask::EndJob => {
            if m.stopping() {
                return Err(No::Running);
            }
            if held(m) && !m.active() {
                Ok(Yes::Do)
            } else {
                Err(No::NotHeld)
            }
        }
        Ask::Seen { cause } => match m.alarms.of(*cause) {
            None => Err(No::AlarmMissing),
            Some(a) if a.seen => Ok(Yes::AlreadySo),
            Some(_) => Ok(Yes::Do),
        },
        Ask::Clear { cause } => clear(m, *cause),
        Ask::Home => {
            at_rest(m)?;
            match checks::bars_moving(m) {
                Some(check) => Err(No::Check(check)),
                None => Ok(Yes::Do),
            }
        }
        Ask::ConfirmPlace => confirm_place(m),
        Ask::DatumGo => datum(m),
        Ask::DatumNudge { dx_mm, dy_mm } => {
            over_mark(m)?;
            let far = dx_mm.hypot(*dy_mm);
            // What is no number is no distance within it either.
            if far <= NUDGE_MM {
                Ok(Yes::Do)
            } else {
                Err(No::NudgeTooLong)
            }
        }
        Ask::DatumHere => over_mark(m),
        Ask::HandMove(asked) => hand::moves(m, asked),
        Ask::HandStop => Ok(hand::stops(m)),
        Ask::HandGo { .. } => hand::goes(m),
        Ask::PermitTest => {
            at_rest(m)?;
            match checks::bars_permit_test(m) {
                Some(check) => Err(No::Check(check)),
                None => Ok(Yes::Do),
            }
        }
        Ask::LampTest => lamp_test(m),
        Ask::CommissionStep { .. } | Ask::CommissionAnswer { .. } | Ask::CommissionLeave => {
            commission::admit(m, ask)
        }
        _ => change::admit(m, ask),
    }
}

/// The torch is where the screen says, and nothing is cut yet that could show otherwise.
fn confirm_place(m: &Machine) -> Result<Yes, No> {
    at_rest(m)?;
    if !m.reference.doubtful {
        return Err(No::NotDoubtful);
    }
    if !m.line.usable() {
        return Err(No::Check(CheckId::LinkAlive));
    }
    if !m.reference.homed || !m.line.referenced(m.reference.homed) {
        return Err(No::NotHomed);
    }
    if m.needs_datum() {
        return Err(No::SheetToCheck);
    }
    Ok(Yes::Do)
}

/// Lamps are tried where nothing moves, burns or is to be said.
fn lamp_test(m: &Machine) -> Result<Yes, No> {
    if !m.settings.outputs.any() {
        return Err(No::OutputMissing);
    }
    at_rest(m)?;
    if m.sounds_alarm() {
        return Err(No::NotSeen);
    }
    Ok(if m.outputs.testing() {
        Yes::AlreadySo
    } else {
        Yes::Do
    })
}

fn at_rest(m: &Machine) -> Result<(), No> {
    match m.act {
        Act::Rest => Ok(()),
        Act::Starting => Err(No::Starting),
        _ => Err(No::Running),
    }
}

fn held(m: &Machine) -> bool {
    m.run.as_ref().is_some_and(|r| !r.over())
}

fn vouch(m: &Machine) -> Result<Yes, No> {
    at_rest(m)?;
    if m.loaded.is_none() {
        return Err(No::JobMissing);
    }
    if held(m) {
        return Err(No::Held);
    }
    Ok(Yes::Do)
}

fn start(m: &Machine) -> Result<Yes, No> {
    at_rest(m)?;
    if m.loaded.is_none() {
        return Err(No::JobMissing);
    }
    if m.run.as_ref().is_some_and(|r| r.over()) {
        return Err(No::JobUsed);
    }
    if held(m) {
        return Err(No::Held);
    }
    if m.interrupted_here().is_some() {
        return Err(No::Interrupted);
    }
    match checks::bars_start(m) {
        Some(check) => Err(No::Check(check)),
        None => causes_gone(m).map(|()| Yes::Do),
    }
}

/// HOLD is always taken. A press that is sent again is the same press.
fn hold(m: &Machine, press: Option<PressId>) -> Yes {
    if press.is_some_and(|p| m.presses.knows(p)) {
        Yes::AlreadySo
    } else {
        Yes::Do
    }
}

fn hold_after(m: &Machine) -> Result<Yes, No> {
    match (&m.act, &m.run) {
        (Act::Cutting(_), Some(run)) if run.hold_after => Ok(Yes::AlreadySo),
        (Act::Cutting(_), Some(_)) => Ok(Yes::Do),
        _ => Err(No::NotRunning),
    }
}

/// A datum check is due, and the axes may move.
fn datum(m: &Machine) -> Result<Yes, No> {
    at_rest(m)?;
    if !m.needs_datum() {
        return Err(No::NotDoubtful);
    }
    // Without its job nobody knows what was cut where.
    if m.run_here().is_none() {
        return Err(m.loaded.as_ref().map_or(No::JobMissing, |_| No::OtherJob));
    }
    if !m.reference.homed || !m.line.referenced(m.reference.homed) {
        return Err(No::NotHomed);
    }
    match checks::bars_moving(m) {
        Some(check) => Err(No::Check(check)),
        None => Ok(Yes::Do),
    }
}

fn over_mark(m: &Machine) -> Result<Yes, No> {
    datum(m)?;
    if m.reference.checking.as_ref().is_some_and(|c| c.over) {
        Ok(Yes::Do)
    } else {
        Err(No::NotOverMark)
    }
}

/// Going on by a plan: from a hold, or with an interrupted run, for which everything is checked as
/// before a start.
fn resume(m: &Machine) -> Result<Yes, No> {
    if m.interrupted_here().is_none() {
        return go_on(m);
    }
    at_rest(m)?;
    match checks::bars_taking_up(m) {
        Some(check) => Err(No::Check(check)),
        None => causes_gone(m).map(|()| Yes::Do),
    }
}

/// Going on from a hold: the same for every way on.
fn go_on(m: &Machine) -> Result<Yes, No> {
    if !held(m) {
        return Err(No::NotHeld);
    }
    if m.active() {
        return Err(No::Running);
    }
    match checks::bars_going_on(m) {
        Some(check) => Err(No::Check(check)),
        None => causes_gone(m).map(|()| Yes::Do),
    }
}

fn clear(m: &Machine, cause: Cause) -> Result<Yes, No> {
    let Some(alarm) = m.alarms.of(cause) else {
        return Err(No::AlarmMissing);
    };
    if m.active() {
        return Err(No::Running);
    }
    dealt_with(m, alarm)?;
    Ok(Yes::Do)
}

/// Its cause has gone, and who must have looked at it has looked.
fn dealt_with(m: &Machine, alarm: &Alarmed) -> Result<(), No> {
    if !m.gone(alarm.cause) {
        return Err(No::StillThere(alarm.cause));
    }
    if !alarm.seen && m.wants_a_look(alarm.cause) {
        return Err(No::NotSeen);
    }
    Ok(())
}

/// Nothing starts or goes on over a cause that stands, latched or not.
pub(crate) fn causes_gone(m: &Machine) -> Result<(), No> {
    m.alarms.iter().try_for_each(|a| dealt_with(m, a))
}

/// Whether each kind of request would be accepted now, in the order of [`Ask`].
pub(crate) fn all(m: &Machine) -> Vec<(&'static str, Option<No>)> {
    let no = |r: Result<Yes, No>| r.err();
    let would = |ask: Ask| (kind(&ask), no(admit(m, &ask)));
    let unless_changing = |r: Result<Yes, No>| {
        let open = commission::bars(m, &Ask::Start);
        no(change::bars(m, &Ask::Start).and(open).and(r))
    };
    let load = at_rest(m).and(if held(m) { Err(No::Held) } else { Ok(Yes::Do) });
    let clearable = m
        .alarms
        .iter()
        .map(|a| clear(m, a.cause))
        .reduce(|a, b| if a.is_ok() { a } else { b.or(a) })
        .unwrap_or(Err(No::AlarmMissing));
    let unseen = if m.alarms.iter().any(|a| !a.seen) {
        Ok(Yes::Do)
    } else {
        Err(No::AlarmMissing)
    };
    let unload = load.and(if m.loaded.is_some() {
        Ok(Yes::Do)
    } else {
        Err(No::JobMissing)
    });
    vec![
        ("load", unless_changing(load)),
        ("unload", unless_changing(unload)),
        (
            "vouch",
            unless_changing(vouch(m).or_else(|no| {
                let due = checks::to_vouch(m).any(|c| c == CheckId::SourceOff);
                if due && at_rest(m).is_ok() {
                    Ok(Yes::Do)
                } else {
                    Err(no)
                }
            })),
        ),
        would(Ask::Start),
        ("hold", None),
        would(Ask::HoldAfterCut),
        ("resume", unless_changing(resume(m))),
        would(Ask::SkipCut),
        would(Ask::EndJob),
        ("seen", no(unseen)),
        ("clear", no(clearable)),
        would(Ask::Home),
        would(Ask::ConfirmPlace),
        ("datum-go", unless_changing(datum(m))),
        ("datum-nudge", unless_changing(over_mark(m))),
        ("datum-here", unless_changing(over_mark(m))),
        ("hand-move", unless_changing(hand::may_begin(m))),
        ("hand-stop", None),
        ("hand-go", unless_changing(hand::goes(m))),
        would(Ask::PermitTest),
        // A change that is open takes no second one, though it is answered with "already so".
        (
            "change-begin",
            no(admit(m, &Ask::ChangeBegin).and(change::bars(m, &Ask::Start).map(|()| Yes::Do))),
        ),
        would(Ask::ChangeIsolated),
        would(Ask::ChangeParts {
            parts: Vec::new(),
            set: None,
        }),
        would(Ask::ChangeContactByTouch),
        would(Ask::ChangeSourceOn),
        would(Ask::ChangeTouch),
        would(Ask::ChangeEnd),
        would(Ask::ChangeCancel),
        (
            "commission-step",
            unless_changing(commission::begin(m, Step::Papers)),
        ),
        ("commission-answer", no(commission::answer(m))),
        would(Ask::CommissionLeave),
        would(Ask::LampTest),
    ]
}

/// What a generation stands for: what may be asked, and what it would be asked about.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Fingerprint {
    phase: Option<Phase>,
    asks: Vec<Option<No>>,
    alarms: Vec<(Cause, bool, bool)>,
    checks: Vec<(CheckId, Option<bool>)>,
    vouched: Vec<CheckId>,
    stop: Option<Stop>,
    found: Found,
    seal: Option<String>,
    change: Option<ChangeStep>,
    /// The open step of commissioning, and how many of its turns are left.
    step: Option<(Step, usize)>,
    /// Whoever has not seen the last HOLD has seen an older state, whatever it was pressed in.
    holds: u64,
}

impl Fingerprint {
    /// The big state in it.
    pub(crate) fn phase(&self) -> Option<Phase> {
        self.phase
    }
}

/// Brings the fingerprint up to date, in place: it is asked for at every step. Whether it is another one.
pub(crate) fn renew(old: &mut Fingerprint, m: &Machine) -> bool {
    // While something runs nothing can be started: levels that come and go are no news then.
    let checks = (!m.active()).then(|| checks::seen(m));
    let vouched = checks::to_vouch(m).filter(|c| m.readiness.is_confirmed(*c));
    let alarms = m.alarms.iter().map(|a| (a.cause, a.seen, m.gone(a.cause)));
    let seal = m.loaded.as_ref().map(|l| l.job.seal.hash());
    let mut news = put(&mut old.phase, Some(m.phase()))
        | put_all(&mut old.asks, all(m).into_iter().map(|(_, no)| no))
        | put_all(&mut old.alarms, alarms)
        | put_all(&mut old.checks, checks.into_iter().flatten())
        | put_all(&mut old.vouched, vouched)
        // An interrupted run stands still: only where the torch was found can change its stop.
        | put(&mut old.stop, m.run.as_ref().and_then(|_| m.stop_now()))
        | put(&mut old.found, m.found)
        | put(&mut old.change, m.change.as_ref().map(|c| c.step))
        | put(&mut old.step, m.commission.as_ref().map(|c| (c.step, c.left())))
        | put(&mut old.holds, m.presses.count());
    if old.seal.as_deref() != seal {
        old.seal = seal.map(str::to_owned);
        news = true;
    }
    news
}

fn put<T: PartialEq>(place: &mut T, value: T) -> bool {
    let news = *place != value;
    *place = value;
    news
}

fn put_all<T: PartialEq>(place: &mut Vec<T>, values: impl Iterator<Item = T>) -> bool {
    let mut count = 0;
    let mut news = false;
    for value in values {
        match place.get_mut(count) {
            Some(old) => news |= put(old, value),
            None => {
                place.push(value);
                news = true;
            }
        }
        count += 1;
    }
    news |= place.len() > count;
    place.truncate(count);
    news
}
