//! An operator who is not careful: he holds, changes his mind, presses what is not for now, acts on
//! what an old screen showed. What he does is allowed to a person, so nothing of it may do harm.

use std::sync::Arc;
use std::time::Duration;

use control::resume::Splice;
use control::view::{Allowed, ChangeStep, CheckView, Phase, View};
use control::{Ask, Cause, CheckId, Part};
use planning::Job;
use units::Time;

use crate::chance::Chance;

/// What he does.
pub enum Odd {
    /// Asks for something; `old`: so much older is the state that he has seen.
    Ask { ask: Ask, old: u64 },
    /// Holds a piece of metal to the nozzle for a moment.
    Metal,
}

fn fresh(ask: Ask) -> Odd {
    Odd::Ask { ask, old: 0 }
}

/// The operator, for as many acts as he has in him; then the careful one is alone.
pub struct Restless {
    chance: Chance,
    left: u32,
    next: Time,
    /// A way on that he took once: he tries it again later.
    kept: Option<Arc<Splice>>,
    /// Whether he may leave cuts out and end the job.
    pub leaves: bool,
    /// Whether he may take a way that leaves something uncut.
    pub tabs: bool,
}

impl Restless {
    pub fn new(chance: Chance, left: u32, leaves: bool, tabs: bool) -> Self {
        let mut restless = Self {
            chance,
            left,
            next: Time::ZERO,
            kept: None,
            leaves,
            tabs,
        };
        restless.rest(Time::ZERO);
        restless
    }

    fn rest(&mut self, now: Time) {
        let s = if self.chance.happens(0.3) {
            self.chance.within(0.0, 0.4)
        } else {
            self.chance.within(0.4, 25.0)
        };
        self.next = now + Duration::from_secs_f64(s);
    }

    /// What he does now, if anything.
    pub fn act(&mut self, now: Time, view: &View, job: &Job) -> Option<Odd> {
        if let Some(change) = &view.change {
            // What was begun is seen to its end, or left.
            return self.go_through(now, view, change.step);
        }
        if now < self.next || view.phase == Phase::Finished {
            return None;
        }
        // New parts that were never tried bar everything: only a change that is seen through helps.
        let untried = |c: &CheckView| c.check == CheckId::PartsTested && c.holds == Some(false);
        if self.left == 0 && view.checks.iter().any(untried) {
            self.rest(now);
            return Some(fresh(Ask::ChangeBegin));
        }
        if self.left == 0 {
            return None;
        }
        self.left -= 1;
        self.rest(now);
        let ask = match view.phase {
            Phase::Running => self.in_a_run(),
            Phase::Held => self.in_a_hold(view, job),
            _ => None,
        };
        let ask = ask.unwrap_or_else(|| self.nonsense(view));
        let old = if self.chance.happens(0.15) { 1 } else { 0 };
        Some(Odd::Ask { ask, old })
    }

    fn in_a_run(&mut self) -> Option<Ask> {
        match self.chance.below(10) {
            0..=3 => Some(Ask::Hold { press: None }),
            4 | 5 => Some(Ask::HoldAfterCut),
            _ => None,
        }
    }

    fn in_a_hold(&mut self, view: &View, job: &Job) -> Option<Ask> {
        match self.chance.below(10) {
            0..=5 => self.some_way_on(view, job),
            6 if self.leaves => Some(Ask::SkipCut),
            7 if self.leaves && self.chance.happens(0.3) => Some(Ask::EndJob),
            8 => Some(Ask::ChangeBegin),
            _ => None,
        }
    }

    fn some_way_on(&mut self, view: &View, job: &Job) -> Option<Ask> {
        let back_mm = self.chance.pick(&[0.0, 0.0, 1.0, 5.0, 12.0, 1000.0]);
        let mut plans = control::plans(job, view, back_mm)?.plans;
        plans.retain(|p| self.tabs || p.how.uncut_mm <= 0.0);
        if plans.is_empty() {
            return None;
        }
        let plan = plans.swap_remove(self.chance.below(plans.len()));
        let splice = Arc::new(plan.seal(job, "as I like").ok()?);
        self.kept.get_or_insert_with(|| Arc::clone(&splice));
        Some(Ask::Resume {
            splice: Some(splice),
        })
    }

    fn nonsense(&mut self, view: &View) -> Ask {
        let cause = self.chance.pick(&[
            Cause::Estop,
            Cause::ArcLost,
            Cause::NoArc,
            Cause::LinkCut,
            Cause::ArcStuck,
            Cause::UnaskedFire,
            Cause::ControllerReset,
            Cause::Hold,
            Cause::Interrupted,
        ]);
        let listed = (!view.alarms.is_empty())
            .then(|| view.alarms[self.chance.below(view.alarms.len())].cause);
        // A run that was interrupted is given up by clearing it, and the careful operator would then
        // cut the same sheet from its start.
        let clear = listed.filter(|_| self.chance.happens(0.7)).unwrap_or(cause);
        // So is a job that is put away once its run is over, which is let only then (a latch may still keep it
        // from being seen as finished).
        let unload = |a: &Allowed| a.ask == "unload" && a.refused.is_none();
        let over = view.run.is_some() && view.allowed.iter().any(unload);
        match self.chance.below(18) {
            0 => Ask::Home,
            1 => Ask::PermitTest,
            2 => Ask::Start,
            3 => Ask::Vouch {
                check: CheckId::ClampOnSkeleton,
                yes: false,
            },
            4 => Ask::DatumNudge {
                dx_mm: 40.0,
                dy_mm: 0.0,
            },
            5 => Ask::DatumGo,
            6 => Ask::Seen { cause: clear },
            7 | 8 if clear != Cause::Interrupted => Ask::Clear { cause: clear },
            9 => Ask::Resume { splice: None },
            10 | 11 => Ask::Resume {
                splice: self.kept.clone(),
            },
            12 => Ask::ChangeBegin,
            13 => Ask::ChangeParts {
                parts: vec![Part::Nozzle],
                set: None,
            },
            14 => Ask::ChangeTouch,
            15 if !over => Ask::Unload,
            16 => Ask::HoldAfterCut,
            _ => Ask::Hold { press: None },
        }
    }

    /// The steps of a change, one by one.
    fn go_through(&mut self, now: Time, view: &View, step: ChangeStep) -> Option<Odd> {
        if now < self.next {
            return None;
        }
        self.next = now + Duration::from_secs_f64(self.chance.within(0.1, 3.0));
        let may = |kind: &str| {
            let mut allowed = view.allowed.iter();
            allowed.any(|a| a.ask == kind && a.refused.is_none())
        };
        let (kind, ask) = match step {
            ChangeStep::Park => return None,
            ChangeStep::Isolate => ("change-isolated", Ask::ChangeIsolated),
            ChangeStep::Swap => (
                "change-parts",
                Ask::ChangeParts {
                    parts: vec![Part::Nozzle, Part::Electrode],
                    set: None,
                },
            ),
            ChangeStep::Contact if self.chance.happens(0.5) => return Some(Odd::Metal),
            ChangeStep::Contact => ("change-contact-by-touch", Ask::ChangeContactByTouch),
            ChangeStep::Source => ("change-source-on", Ask::ChangeSourceOn),
            ChangeStep::Touch => ("change-touch", Ask::ChangeTouch),
            ChangeStep::Done => ("change-end", Ask::ChangeEnd),
        };
        let ask = if self.chance.happens(0.1) {
            Ask::ChangeCancel
        } else if may(kind) {
            ask
        } else if may("change-cancel") && self.chance.happens(0.05) {
            Ask::ChangeCancel
        } else {
            return None;
        };
        Some(fresh(ask))
    }
}
