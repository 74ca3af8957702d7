//! What the automatic operator does for the commissioning of the simulated table.

use control::commissioning::{Standing, Step};
use control::view::{Alarm, StepView, View};
use control::{Ask, Cause, CheckId, HandAxis, HandMove, HandPlace, PressId};

/// A step of commissioning that guards a person and was not made yet. What did not pass is not made
/// again: somebody has to see to the wires first.
pub(super) fn step_due(view: &View) -> Option<Ask> {
    let may = |kind: &str| {
        let mut all = view.allowed.iter();
        all.any(|a| a.ask == kind && a.refused.is_none())
    };
    let holds = |check: CheckId| {
        let mut all = view.checks.iter();
        all.all(|c| c.check != check || c.holds == Some(true))
    };
    let table = view.commissioning.as_ref()?;
    if !may("commission-step") || view.hold.is_some() {
        return None;
    }
    let guarding = || table.steps.iter().filter(|s| s.step.facts().guards);
    let due = guarding().find(|s| s.standing != Standing::Stands)?;
    if due.standing == Standing::Failed {
        return None;
    }
    // An input that reads wrong may keep its alarm; the walk is there to find it. What can be cleared is
    // cleared first.
    let quiet = match due.step {
        Step::Permit => {
            let stuck = |a: &Alarm| a.seen && a.cause == Cause::PermitStuck;
            view.alarms.iter().all(stuck)
        }
        Step::Papers | Step::Inputs | Step::Estop => {
            view.alarms.iter().all(|a| a.seen && !(a.latched && a.gone))
        }
        _ => view.alarms.is_empty(),
    };
    if !quiet {
        return None;
    }
    // The dry fire wants all that a start wants of the table itself.
    let ready = [
        CheckId::Referenced,
        CheckId::PlaceSure,
        CheckId::PermitTested,
        CheckId::SelfTested,
        CheckId::AirGood,
        CheckId::ContactOpen,
    ];
    if due.step == Step::DryFire && !ready.into_iter().all(holds) {
        return None;
    }
    // Over the sheet: the scrap of the simulated table.
    if due.step == Step::DryFire && over_the_corner(view) {
        return may("hand-move").then(|| {
            Ask::HandMove(HandMove {
                axis: if view.torch.place.is_some_and(|p| p.x < INSIDE_MM) {
                    HandAxis::X
                } else {
                    HandAxis::Y
                },
                forward: true,
                press: PressId(view.generation),
                step_mm: Some(10.0),
            })
        });
    }
    if due.step == Step::DryFire && !over_the_sheet(view) {
        return may("hand-go").then_some(Ask::HandGo {
            to: HandPlace::Corner,
        });
    }
    Some(Ask::CommissionStep { step: due.step })
}

/// The inputs were never walked through, or did not pass.
pub(super) fn walk_due(view: &View) -> bool {
    let walked = |s: &StepView| {
        let walk = matches!(s.step, Step::Inputs | Step::Estop);
        !walk || s.standing == Standing::Stands
    };
    let table = view.commissioning.as_ref();
    table.is_some_and(|t| !t.steps.iter().all(walked))
}

/// So far inside the sheet's edges it is surely over metal, mm.
const INSIDE_MM: f64 = 9.0;

fn over_the_corner(view: &View) -> bool {
    let near = |v: f64| (-1.0..=INSIDE_MM + 11.0).contains(&v);
    let at = view.torch.place;
    at.is_some_and(|p| near(p.x) && near(p.y) && (p.x < INSIDE_MM || p.y < INSIDE_MM))
}

fn over_the_sheet(view: &View) -> bool {
    let near = |v: f64| (INSIDE_MM..=INSIDE_MM + 11.0).contains(&v);
    view.torch.place.is_some_and(|p| near(p.x) && near(p.y))
}
