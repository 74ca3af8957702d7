//! The automatic operator of a headless practice run.
//!
//! It asks for the same things as a person at the screen and does with its hands at the table what
//! a person would do there. It never asks for what the panel says it would refuse.

mod commission;

use std::sync::Arc;
use std::time::Duration;

use control::commissioning::{Step, Wire};
use control::resume::Way;
use control::view::{ArcView, ChangeStep, ChangeView, Phase, View};
use control::{Ask, Cause, CheckId, HandAxis, HandMove, Part, PressId};
use planning::Job;
use units::{Point, Time};

use crate::runner::Automatic;

/// What can be done at the table itself.
pub trait Hands: Send {
    /// Puts right whatever is wrong at the table now.
    fn set_right(&mut self);
    /// Switches the power source off at its isolator and on again, away from the table.
    fn switch_source_off_and_on(&mut self);
    /// Presses the hold button for a moment, then the emergency stop, and releases it.
    fn try_buttons(&mut self);
    /// Nozzle and electrode are new.
    fn new_parts(&mut self);
    /// Works one of the panel's inputs. Hands that cannot leave it alone.
    fn work(&mut self, _wire: Wire, _how: control::commissioning::Hand) {}
    /// Looks along the torch: where it stands over the sheet as that was drawn, mm; `None`: it cannot
    /// be seen.
    fn torch_on_sheet(&mut self) -> Option<Point>;
}

/// The reason with which it accepts.
const ACCEPTED: &str = "practice";

/// So often is the same thing tried at the same place.
const IN_VAIN: u32 = 5;

/// So often is a torch lifted that touches something before its job, or in a hold of it.
const LIFTS: u32 = 5;
/// By hand it is lifted so far, mm.
const LIFT_MM: f64 = 10.0;
/// Its presses are named from here on: no screen's is so named.
const OWN_PRESS: u64 = 1 << 50;

/// A mark that is off by less looks right, mm.
const RIGHT_MM: f64 = 0.08;
/// One nudge goes so far at most, mm; so many are made over one mark.
const NUDGE_MM: f64 = 9.0;
const NUDGES: u32 = 4;

/// Held so often without an arc at one place: the parts are changed.
const WORN: u32 = 2;

/// So often are the buttons tried: if they are not seen to work then, they do not.
const BUTTONS: u32 = 3;

/// A try of the buttons is over within this.
const BUTTONS_TAKE: Duration = Duration::from_secs(2);

/// So often is a change of torch parts begun: if they cannot be tried, trying on does not help.
const CHANGES: u32 = 5;

/// A trouble that was looked at: holds so far, the phase, why it is held, and when the newest alarm came;
/// and what was seen at the table that bars going on, which may come later and raises no alarm.
type Seen = (usize, Phase, Option<Cause>, Option<u64>, Option<CheckId>);

/// The operator.
pub struct Operator<H> {
    hands: H,
    /// A way on that it takes wherever that is offered; else the best that leaves nothing uncut.
    prefers: Option<Way>,
    /// Nozzle and electrode are to be changed at the next lost arc.
    new_parts: bool,
    changes: u32,
    job: Arc<Job>,
    set_right_for: Option<Seen>,
    /// In a change of parts: the trouble that was seen to last.
    cleaned_for: Option<String>,
    switched_for: Option<f64>,
    lifted: u32,
    /// Nudges over the mark that is looked at.
    nudged: (usize, u32),
    /// How often the buttons were tried, and when last.
    tried: (u32, Time),
    /// Holds of one kind at one place, one after the other.
    vain: u32,
    held_before: Option<(Cause, usize, u64)>,
    seen_holds: usize,
    /// What the open step of commissioning was last helped with: the step, and turns left.
    helped: Option<(Step, usize)>,
    last: Option<(u64, String)>,
}

impl<H: Hands> Operator<H> {
    /// An operator with these hands who wants this job cut.
    pub fn new(hands: H, job: Arc<Job>) -> Self {
        Self {
            hands,
            prefers: None,
            new_parts: false,
            changes: 0,
            job,
            set_right_for: None,
            cleaned_for: None,
            switched_for: None,
            lifted: 0,
            nudged: (0, 0),
            tried: (0, Time::ZERO),
            vain: 0,
            held_before: None,
            seen_holds: 0,
            helped: None,
            last: None,
        }
    }

    /// Takes this way on wherever it is offered.
    pub fn prefer(&mut self, way: Way) {
        self.prefers = Some(way);
    }

    /// Changes nozzle and electrode at the next lost arc.
    pub fn change_parts(&mut self) {
        self.new_parts = true;
    }

    /// What a change of torch parts wants next: where one is open, was ordered, or where parts were
    /// touched and not tried since.
    fn see_to_the_parts(&mut self, view: &View) -> Option<Ask> {
        let may = |kind: &str| {
            view.allowed
                .iter()
                .any(|a| a.ask == kind && a.refused.is_none())
        };
        if view.alarms.iter().any(|a| !a.seen || a.latched) {
            return None;
        }
        if let Some(change) = &view.change {
            let ask = change_step(change, self.new_parts)?;
            if let Ask::ChangeParts { parts, .. } = &ask {
                self.new_parts = false;
                if !parts.is_empty() {
                    self.hands.new_parts();
                }
            }
            return Some(ask);
        }
        let lost = view
            .hold
            .as_ref()
            .is_some_and(|h| h.cause == Cause::ArcLost);
        let no_arc = view.hold.as_ref().is_some_and(|h| h.cause == Cause::NoArc);
        self.new_parts |= no_arc && self.vain >= WORN;
        let due = ((lost || no_arc) && self.new_parts) || !view.parts.tested;
        // The sheet is touched with the new parts: the axes must be known.
        let loaded = view.seal.as_deref() == Some(self.job.seal.hash());
        let known = view.link.referenced && !view.doubtful && view.datum.is_none();
        if !(due && loaded && known && may("change-begin")) || self.changes >= CHANGES {
            return None;
        }
        self.changes += 1;
        Some(Ask::ChangeBegin)
    }

    /// Sees to the table alone: somebody else does the asking.
    pub fn look_after(&mut self, view: &View) {
        self.see_to_the_table(view);
    }

    /// Does by hand what the open step asks for, and answers its questions.
    fn help(&mut self, open: &control::view::OpenStepView) -> Option<Ask> {
        let this = (open.step, open.left);
        if self.helped == Some(this) {
            return None;
        }
        self.helped = Some(this);
        if let Some((wire, how)) = open.wire {
            self.hands.work(wire, how);
        }
        open.answer.then_some(Ask::CommissionAnswer { yes: true })
    }

    /// Looks once at each new trouble and puts right what is wrong at the table.
    fn see_to_the_table(&mut self, view: &View) {
        let trouble = matches!(view.phase, Phase::Held | Phase::Latched | Phase::NoLink)
            || view.alarms.iter().any(|a| !a.gone)
            || (view.phase == Phase::Idle && amiss(view).is_some());
        if view.torch.arc == ArcView::On {
            // Nobody goes to a table with the arc on.
            self.put_a_stuck_arc_out(view);
            return;
        }
        let troubled = view.change.as_ref().and_then(|c| c.trouble.clone());
        if troubled != self.cleaned_for {
            if troubled.is_some() {
                self.hands.set_right();
            }
            self.cleaned_for = troubled;
        }
        if !trouble {
            return;
        }
        let first = view.alarms.first().map(|a| a.cause);
        let cause = view.hold.as_ref().map(|h| h.cause).or(first);
        // An alarm that comes to a hold is looked at as well: another thing is wrong then.
        let newest = view.alarms.iter().map(|a| a.at_s).max_by(f64::total_cmp);
        let newest = newest.map(f64::to_bits);
        // What was looked at and is no longer amiss is no new trouble.
        let bars = amiss(view).or(self.set_right_for.and_then(|s| s.4));
        let this = (view.holds.len(), view.phase, cause, newest, bars);
        if self.set_right_for != Some(this) {
            self.set_right_for = Some(this);
            self.hands.set_right();
        }
    }
}

impl<H: Hands> Operator<H> {
    /// A torch that was left standing on the sheet bars the start: referencing begins by lifting it. In a
    /// hold it keeps the self-test from passing, and is lifted by hand. If that does not help, doing it
    /// again will not either.
    fn lift(&mut self, view: &View) -> Option<Ask> {
        let touches = |c: &control::view::CheckView| {
            c.check == CheckId::ContactOpen && c.holds == Some(false)
        };
        let quiet = view.alarms.iter().all(|a| a.seen && !a.latched);
        let may = |kind: &str| {
            let mut allowed = view.allowed.iter();
            allowed.any(|a| a.ask == kind && a.refused.is_none())
        };
        let at_start = view.phase == Phase::Idle && may("home") && view.checks.iter().any(touches);
        let mut items = view.self_test.items.iter();
        let bars_test = items.any(|i| i.name == "torch contact" && i.holds == Some(false));
        let in_hold =
            view.phase == Phase::Held && view.change.is_none() && bars_test && may("hand-move");
        if !(quiet && (at_start || in_hold)) || self.lifted >= LIFTS {
            return None;
        }
        self.lifted += 1;
        if at_start {
            return Some(Ask::Home);
        }
        Some(Ask::HandMove(HandMove {
            axis: HandAxis::Z,
            forward: true,
            press: PressId(OWN_PRESS + u64::from(self.lifted)),
            step_mm: Some(LIFT_MM),
        }))
    }

    /// Tries hold button and emergency stop once, before the axes are referenced: a stop takes the
    /// place away. `true`: that is under way.
    fn try_buttons(&mut self, now: Time, view: &View) -> bool {
        let quiet = view.phase == Phase::Idle && view.alarms.is_empty() && view.hold.is_none();
        let (times, last) = self.tried;
        if times > 0 && now < last + BUTTONS_TAKE {
            return quiet;
        }
        if !quiet || !untried(view) || times >= BUTTONS {
            return false;
        }
        self.tried = (times + 1, now);
        self.hands.try_buttons();
        true
    }

    /// The torch stands over a mark: it is nudged until it stands right.
    fn over_a_mark(&mut self, view: &View) -> Option<Ask> {
        let may = view
            .allowed
            .iter()
            .any(|a| a.ask == "datum-here" && a.refused.is_none());
        let datum = view.datum.as_ref().filter(|_| may)?;
        let mark = datum.marks.get(datum.seen)?;
        if self.nudged.0 != datum.seen {
            self.nudged = (datum.seen, 0);
        }
        let at = self.hands.torch_on_sheet()?;
        let off = at.distance(mark.place);
        if off <= RIGHT_MM || self.nudged.1 >= NUDGES {
            self.nudged = (usize::MAX, 0);
            return Some(Ask::DatumHere);
        }
        self.nudged.1 += 1;
        let part = (NUDGE_MM / off).min(1.0);
        Some(Ask::DatumNudge {
            dx_mm: (mark.place.x - at.x) * part,
            dy_mm: (mark.place.y - at.y) * part,
        })
    }

    /// Counts how often it was held in the same way at the same place.
    fn count_in_vain(&mut self, view: &View) {
        if view.holds.len() == self.seen_holds {
            return;
        }
        self.seen_holds = view.holds.len();
        let held = view
            .holds
            .last()
            .map(|h| (h.cause, h.cut, h.at_mm.to_bits()));
        self.vain = if held == self.held_before {
            self.vain + 1
        } else {
            1
        };
        self.held_before = held;
    }

    /// What does not get better by trying is left: the next cut may go.
    fn leave(&self, view: &View) -> Option<Ask> {
        let may = view
            .allowed
            .iter()
            .any(|a| a.ask == "skip-cut" && a.refused.is_none());
        let quiet = view.alarms.iter().all(|a| a.seen && !a.latched);
        (self.vain >= IN_VAIN && may && quiet && view.phase == Phase::Held).then_some(Ask::SkipCut)
    }

    /// An arc that burns under an alarm which says that it should not: the source goes off.
    fn put_a_stuck_arc_out(&mut self, view: &View) {
        let stuck = |c: Cause| matches!(c, Cause::ArcStuck | Cause::UnaskedFire);
        let told = view.alarms.iter().find(|a| stuck(a.cause)).map(|a| a.at_s);
        if told.is_some() && self.switched_for != told {
            self.switched_for = told;
            self.hands.switch_source_off_and_on();
        }
    }
}

/// The hold button or the chain was not seen to work since switch-on.
pub(super) fn untried(view: &View) -> bool {
    let proof = |check| matches!(check, CheckId::HoldButtonWorks | CheckId::EstopWorks);
    view.checks
        .iter()
        .any(|c| proof(c.check) && c.holds == Some(false))
}

/// What the panel sees at the table and keeps a job from its start or from being gone on with.
fn amiss(view: &View) -> Option<CheckId> {
    let at_the_table = |check: CheckId| {
        let contact = check == CheckId::ContactOpen && view.phase == Phase::Idle;
        contact
            || matches!(
                check,
                CheckId::EstopClosed
                    | CheckId::LinkAlive
                    | CheckId::AirGood
                    | CheckId::SourceOn
                    | CheckId::TorchSeated
                    | CheckId::GateClosed
                    | CheckId::PermitOpen
                    | CheckId::FireOnOpen
                    | CheckId::SenseIsolated
                    | CheckId::HoldReleased
            )
    };
    let mut checks = view.checks.iter();
    checks
        .find(|c| at_the_table(c.check) && c.holds == Some(false))
        .map(|c| c.check)
}

impl<H: Hands> Automatic for Operator<H> {
    fn consider(&mut self, now: Time, view: &View) -> Option<Ask> {
        if let Some(open) = view.commissioning.as_ref().and_then(|c| c.open.as_ref()) {
            return self.help(open);
        }
        self.helped = None;
        self.see_to_the_table(view);
        // The walk works them all: before it they are left alone.
        if !commission::walk_due(view) && self.try_buttons(now, view) {
            return None;
        }
        self.count_in_vain(view);
        let ask = self
            .lift(view)
            .or_else(|| commission::step_due(view))
            .or_else(|| self.see_to_the_parts(view))
            .or_else(|| self.leave(view))
            .or_else(|| self.over_a_mark(view))
            .or_else(|| next(view, &self.job, self.prefers))?;
        // The same request is not made twice of the same state: a refusal stands.
        let this = (view.generation, key(&ask));
        if self.last.as_ref() == Some(&this) {
            return None;
        }
        self.last = Some(this);
        Some(ask)
    }
}

/// What a careful operator asks for next.
fn next(view: &View, job: &Arc<Job>, prefers: Option<Way>) -> Option<Ask> {
    let may = |kind: &str| {
        view.allowed
            .iter()
            .any(|a| a.ask == kind && a.refused.is_none())
    };
    if let Some(alarm) = view.alarms.iter().find(|a| !a.seen) {
        return Some(Ask::Seen { cause: alarm.cause });
    }
    if let Some(alarm) = view.alarms.iter().find(|a| a.latched && a.gone) {
        return Some(Ask::Clear { cause: alarm.cause });
    }
    let holds = |check: CheckId| {
        view.checks
            .iter()
            .find(|c| c.check == check)
            .and_then(|c| c.holds)
    };
    if may("load") && view.seal.as_deref() != Some(job.seal.hash()) {
        return Some(Ask::Load {
            job: Arc::clone(job),
        });
    }
    if may("home") && holds(CheckId::Referenced) != Some(true) {
        return Some(Ask::Home);
    }
    if may("datum-here") {
        // Referencing leaves no error on the simulated table: the torch stands over the mark.
        return Some(Ask::DatumHere);
    }
    if may("datum-go") {
        return Some(Ask::DatumGo);
    }
    if may("confirm-place") {
        return Some(Ask::ConfirmPlace);
    }
    if may("permit-test") && holds(CheckId::PermitTested) == Some(false) {
        return Some(Ask::PermitTest);
    }
    if let Some(check) = view
        .checks
        .iter()
        .find(|c| c.vouched && c.holds != Some(true))
        .filter(|_| may("vouch"))
    {
        return Some(Ask::Vouch {
            check: check.check,
            yes: true,
        });
    }
    if may("resume")
        && let Some(ask) = go_on(view, job, prefers)
    {
        return Some(ask);
    }
    // Nothing is left to go on with: the cut is left.
    if view.hold.is_some() && may("skip-cut") {
        return Some(Ask::SkipCut);
    }
    (view.phase == Phase::Ready && may("start")).then_some(Ask::Start)
}

/// The step of a change that is due. Nobody stands at the simulated table with metal in a hand: the
/// touch of the sheet tries the contact.
fn change_step(change: &ChangeView, new_parts: bool) -> Option<Ask> {
    if change.moving {
        return None;
    }
    let parts = if new_parts {
        vec![Part::Nozzle, Part::Electrode]
    } else {
        Vec::new()
    };
    Some(match change.step {
        ChangeStep::Park => return None,
        // New parts that could not be tried would bar everything.
        ChangeStep::Isolate if new_parts && !change.may_touch => Ask::ChangeCancel,
        ChangeStep::Isolate => Ask::ChangeIsolated,
        ChangeStep::Swap => Ask::ChangeParts { parts, set: None },
        ChangeStep::Contact if change.may_touch => Ask::ChangeContactByTouch,
        ChangeStep::Contact => Ask::ChangeCancel,
        ChangeStep::Source => Ask::ChangeSourceOn,
        ChangeStep::Touch => Ask::ChangeTouch,
        ChangeStep::Done => Ask::ChangeEnd,
    })
}

/// Goes on by the best of the ways that leave nothing uncut, and only if there is none by another.
fn go_on(view: &View, job: &Job, prefers: Option<Way>) -> Option<Ask> {
    let mut plans = control::plans(job, view, 0.0)?.plans;
    let preferred = plans.iter().position(|p| Some(p.how.way) == prefers);
    let whole = preferred
        .or_else(|| plans.iter().position(|p| p.how.uncut_mm <= 0.0))
        .unwrap_or(0);
    if whole >= plans.len() {
        return None;
    }
    let splice = plans.swap_remove(whole).seal(job, ACCEPTED).ok()?;
    Some(Ask::Resume {
        splice: Some(Arc::new(splice)),
    })
}

/// Tells requests apart without the weight of a job.
fn key(ask: &Ask) -> String {
    match ask {
        Ask::Load { job } => job.seal.hash().to_owned(),
        Ask::Resume {
            splice: Some(splice),
        } => splice.seal().hash().to_owned(),
        other => format!("{other:?}"),
    }
}
