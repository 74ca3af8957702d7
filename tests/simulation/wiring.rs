//! The simulated table is commissioned by the operator's hand: wired right it is and then cuts; wired
//! wrong, the right step finds it, says so, and START stays shut.

use std::time::Duration;

use control::commissioning::{Standing, Step};
use control::{CheckId, Event};
use simulator::harness::{Input, WireFault};
use standclear::config::Config;

use crate::jobs::{finish_whole, square};
use crate::world::World;

/// Long enough for the whole of it, with an input that never answers.
const LIMIT: Duration = Duration::from_secs(900);

/// The small test piece on a table that is not on record as commissioned.
fn not_on_record(faults: &[WireFault]) -> World {
    let mut config = Config::built_in();
    config.commissioning.comes_proved = false;
    let job = square(&config);
    let mut world = World::new(config, job, 1, &[]);
    for fault in faults {
        world.table.lock().expect("one thread").wire(*fault);
    }
    world.wired_wrong = !faults.is_empty();
    world
}

/// Lets it be commissioned; the step that did not pass, and what it says.
fn found(fault: WireFault) -> Result<(Step, String), String> {
    let mut world = not_on_record(&[fault]);
    let end = world.now + LIMIT;
    let failed = |world: &World| {
        world.events.iter().find_map(|(_, e, _)| match e {
            Event::Commissioned {
                step,
                passed: false,
                measured,
                ..
            } => Some((*step, measured.clone())),
            _ => None,
        })
    };
    while world.now < end && failed(&world).is_none() {
        world.turn();
    }
    let Some((step, says)) = failed(&world) else {
        return Err(world.story(30));
    };
    // Whatever the operator tries, nothing is started, and the check says which step it is.
    let end = world.now + Duration::from_secs(60);
    while world.now < end {
        world.turn();
    }
    let view = world.view();
    assert_eq!(view.run, None, "{}", fault.name());
    let mut checks = view.checks.iter();
    let check = checks.find(|c| c.check == CheckId::Commissioned);
    let check = check.expect("it is shown");
    assert_eq!(check.holds, Some(false), "{}", fault.name());
    let named = format!("Step {}, {},", step.number(), step.facts().name);
    assert!(check.remedy.starts_with(&named), "{}", check.remedy);
    assert!(check.remedy.contains(&says), "{}", check.remedy);
    let mut allowed = view.allowed.iter();
    let start = allowed.find(|a| a.ask == "start").expect("it is told");
    assert!(start.refused.is_some(), "{}", fault.name());
    let truth = world.table.lock().expect("one thread").truth();
    assert_eq!(truth.pierces, 0, "{}", fault.name());
    assert_eq!(truth.violations, Vec::<String>::new(), "{}", fault.name());
    Ok((step, says))
}

#[track_caller]
fn finds(name: &str, step: Step, words: &str) {
    let fault = WireFault::named(name).expect("a fault");
    match found(fault) {
        Ok((by, says)) => {
            assert_eq!(by, step, "{name}: {says}");
            assert!(says.contains(words), "{name}: {says}");
        }
        Err(story) => panic!("{name} was not found\n{story}"),
    }
}

/// S-26.
#[test]
fn a_table_that_is_wired_right_is_commissioned_step_by_step_and_then_cuts() {
    let world = finish_whole(not_on_record(&[]), &[]);
    let table = world.view().commissioning.expect("it is asked for");
    for row in table.steps.iter().filter(|s| s.step.facts().guards) {
        assert_eq!(row.standing, Standing::Stands, "{row:?}");
        assert!(row.simulated && row.measured.is_some(), "{row:?}");
    }
    let made = |e: &Event| matches!(e, Event::Commissioned { .. });
    let at = |is: &dyn Fn(&Event) -> bool| world.events.iter().rposition(|(_, e, _)| is(e));
    let last = at(&made).expect("steps were made");
    let start = at(&|e| matches!(e, Event::RunStarted { .. })).expect("a run");
    assert!(last < start, "nothing was started before");
    assert_eq!(
        world
            .events
            .iter()
            .filter(|(_, e, _)| *e == Event::DryFire)
            .count(),
        3
    );
}

#[test]
fn inputs_that_are_crossed_are_found_in_the_walk() {
    for (i, a) in BY_HAND.into_iter().enumerate() {
        for b in BY_HAND.into_iter().skip(i + 1) {
            let name = WireFault::Crossed(a, b).name();
            finds(&name, Step::Inputs, "their wires are crossed");
        }
    }
}

/// The inputs of the simulated table that a hand works.
const BY_HAND: [Input; 7] = [
    Input::FireOn,
    Input::ArcOk,
    Input::Contact,
    Input::Estop,
    Input::HoldButton,
    Input::AirOk,
    Input::TorchSeated,
];

#[test]
fn inputs_that_are_dead_stuck_inverted_or_bouncing_are_found_in_the_walk() {
    for input in BY_HAND {
        let name = input.name();
        let rest_closed = matches!(input, Input::Estop | Input::AirOk | Input::TorchSeated);
        let (stuck, dead) = (
            format!("{name} is stuck: it reads"),
            format!("{name} did not change when it was worked"),
        );
        let (open, closed) = if rest_closed {
            (&stuck, &dead)
        } else {
            (&dead, &stuck)
        };
        finds(&format!("{name}:open"), Step::Inputs, open);
        finds(&format!("{name}:closed"), Step::Inputs, closed);
        finds(
            &format!("{name}:bouncing"),
            Step::Inputs,
            &format!("{name} bounced for"),
        );
        finds(
            &format!("{name}:inverted"),
            Step::Inputs,
            &format!("{name} is inverted"),
        );
    }
}

#[test]
fn relays_that_do_not_follow_are_found_by_the_step_that_works_them() {
    finds(
        "k1-welded",
        Step::Inputs,
        "fire_on is stuck: it reads closed",
    );
    finds("k2-welded", Step::Inputs, "permit_closed reads closed");
    finds("k3-stuck", Step::Contact, "the relay is stuck");
    finds("permit_closed:open", Step::Permit, "did not follow");
    finds(
        "permit_closed:closed",
        Step::Inputs,
        "permit_closed reads closed",
    );
    finds(
        "permit_closed:inverted",
        Step::Inputs,
        "permit_closed reads closed",
    );
    finds(
        "sense_isolated:open",
        Step::Contact,
        "its mirror says otherwise",
    );
    finds(
        "sense_isolated:closed",
        Step::Contact,
        "its mirror says otherwise",
    );
    finds(
        "sense_isolated:inverted",
        Step::Contact,
        "its mirror says otherwise",
    );
}

#[test]
fn what_only_a_fire_can_show_is_found_by_the_dry_fire() {
    finds(
        "start-open",
        Step::DryFire,
        "the source is off, or the divider wrong",
    );
    finds("volts-inverted", Step::DryFire, "inverted");
    finds("volts-open", Step::DryFire, "0 V open circuit");
    finds("volts-ratio", Step::DryFire, "the divider wrong");
}
