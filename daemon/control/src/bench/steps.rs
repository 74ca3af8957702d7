//! What a screen is shown of each step of commissioning that the panel makes, turn by turn, as the machine
//! itself shows it; the browser tests lay every one of these views on each glass. Nobody works an input, so
//! that much is found wrong: the longest that the page may have to show. Then it is left.

use super::commissioning::{at_rest, begin, pilot};
use super::glass::{Shown, fields, kept};
use super::rig::Rig;
use crate::ask::Ask;
use crate::commissioning::Step;

/// After so many wrongs a step is left.
const WRONGS: usize = 3;

/// Every turn of one step, and what is on record after it.
fn turns(step: Step) -> Vec<Shown> {
    let mut rig = at_rest();
    rig.test_permit();
    pilot(&mut rig);
    let key = step.facts().key;
    let mut all = vec![(format!("{key}, before"), fields(&rig.view()))];
    begin(&mut rig, step);
    let open = |rig: &Rig| rig.view().commissioning.and_then(|c| c.open);
    let asked = |rig: &Rig| open(rig).map(|o| (o.says, o.left));
    let mut shown = None;
    while let Some(now) = open(&rig) {
        let this = Some((now.says.clone(), now.left));
        if this != shown {
            let what = if now.says.is_some() {
                "asked"
            } else {
                "at work"
            };
            all.push((
                format!("{key}, {what}, {} left", now.left),
                fields(&rig.view()),
            ));
            shown = this;
        }
        if now.found.len() >= WRONGS {
            rig.must(Ask::CommissionLeave);
            rig.wait(0.1);
            continue;
        }
        if now.answer {
            rig.must(Ask::CommissionAnswer { yes: true });
        }
        rig.until(90.0, |r| asked(r) != shown);
    }
    all.push((format!("{key}, over"), fields(&rig.view())));
    all
}

#[test]
fn the_views_of_every_step_are_as_the_browser_tests_lay_them_on_the_glass() {
    let steps = [
        Step::Papers,
        Step::Inputs,
        Step::Estop,
        Step::Permit,
        Step::Contact,
        Step::DryFire,
    ];
    kept("steps", steps.into_iter().flat_map(turns));
}
