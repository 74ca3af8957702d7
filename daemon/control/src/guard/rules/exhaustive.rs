//! Every interleaving of a small control, a small table and the clock, over the real rules.
//!
//! A plain breadth-first search. Time goes in steps that lie on and just beyond the rules' limits;
//! between them the guard is stepped at its own deadlines, as its thread does it. Two states are one
//! when they differ only in what no rule can tell apart any more: ages are kept to the microsecond
//! up to `world::OLD`, which is beyond every limit met here.
//!
//! The guard may be kept from its steps for a while: what happens meanwhile it sees all at once.
//!
//! Left out: permit tests, volts, crossings.

mod world;
mod wrong;

use std::collections::BTreeSet;

use crate::cause::Cause;
use world::{Act, LATCHES, World};
use wrong::Wrong;

/// How many acts deep every order of them is tried.
const DEPTH: u32 = 5;
/// A rule that was made wrong is found within this.
const MUTANT_DEPTH: u32 = 5;

/// What a search met: states, and those with pulses and with latches.
#[derive(Debug, Default)]
struct Met {
    states: usize,
    pulsing: usize,
    latches: BTreeSet<Cause>,
}

/// From where every order of acts is tried: just switched on, at rest, firing, cutting, torch told
/// off, and stopped with the arc still on.
const STARTS: [&[Act]; 6] = [
    &[],
    &[READY],
    &[READY, Act::AskToClose, Act::LetFire, Act::Fire],
    &[
        READY,
        Act::AskToClose,
        Act::LetFire,
        Act::Fire,
        Act::Arc,
        Act::Wait { ms: 200 },
    ],
    &[
        READY,
        Act::AskToClose,
        Act::LetFire,
        Act::Fire,
        Act::Arc,
        Act::Wait { ms: 200 },
        Act::TorchOffDone,
    ],
    &[
        READY,
        Act::AskToClose,
        Act::LetFire,
        Act::Fire,
        Act::Arc,
        Act::Wait { ms: 200 },
        Act::Button,
        Act::Hear,
        Act::Answer,
    ],
];
const READY: Act = Act::Wait { ms: 1500 };

/// Every order of at most `depth` acts; an error is the shortest story that breaks a rule.
fn search(wrong: Wrong, depth: u32) -> Result<Met, String> {
    let mut seen = BTreeSet::new();
    let mut story: Vec<(usize, Option<Act>)> = vec![(0, None)];
    let mut met = Met::default();
    let mut front = Vec::new();
    for so_far in STARTS {
        let mut w = World::new(wrong)?;
        let mut at = 0;
        for &act in so_far {
            story.push((at, Some(act)));
            at = story.len() - 1;
            w.act(act)
                .map_err(|what| format!("{what}, after {:?}", told(&story, at)))?;
        }
        seen.insert(w.key());
        front.push((at, w));
    }
    for _ in 0..depth {
        let mut next = Vec::new();
        for (from, world) in &front {
            for act in world.acts() {
                let mut w = world.clone();
                let done = w.act(act);
                if done.is_ok() && !seen.insert(w.key()) {
                    continue;
                }
                story.push((*from, Some(act)));
                let at = story.len() - 1;
                if let Err(what) = done.and_then(|()| w.probe()) {
                    return Err(format!("{what}, after {:?}", told(&story, at)));
                }
                met.pulsing += usize::from(w.account.pulsing);
                met.latches.extend(&w.account.latches);
                next.push((at, w));
            }
        }
        front = next;
    }
    met.states = seen.len();
    Ok(met)
}

fn told(story: &[(usize, Option<Act>)], mut at: usize) -> Vec<Act> {
    let mut acts = Vec::new();
    while let (from, Some(act)) = story[at] {
        acts.push(act);
        at = from;
    }
    acts.reverse();
    acts
}

#[test]
fn in_every_order_of_acts_the_permit_pulses_only_when_it_may_and_each_latch_has_its_own_way_out() {
    let met = search(Wrong::Nothing, DEPTH).expect("no order of acts breaks a rule");
    // A search that meets nothing shows nothing.
    assert!(met.states > 50_000, "{met:?}");
    assert!(met.pulsing > 1_000, "{met:?}");
    assert_eq!(met.latches, BTreeSet::from(LATCHES));
}

#[test]
fn a_rule_that_is_made_wrong_is_found_by_the_search() {
    for (wrong, says) in [
        (Wrong::EstopClearsItself, "latched"),
        (Wrong::OneClearClearsAll, "latched"),
        (Wrong::ClearsAGateThatIsOpen, "latched"),
        (Wrong::ArcStuckNeverClears, "ArcStuck"),
        (Wrong::LeaseIsForgotten, "a lapsed lease"),
        (Wrong::TripIsNotWaitedFor, "a trip that nobody handled"),
        (Wrong::NeedNotBeSeenOpen, "not seen open since the stop"),
        (Wrong::PulsesUnasked, "nobody asking"),
        (Wrong::PulsesWithALatch, "pulsed with a latch"),
        (Wrong::GapIsForgotten, "a gap in the pulses"),
        (Wrong::GapIsJudgedAfterThePulse, "a pulse after a gap"),
        (Wrong::GapOfTwiceTheHold, "a gap in the pulses"),
        (Wrong::LateIsNotLatched, "a gap in the pulses"),
        (Wrong::PulsesUnderAFire, "fire-on at its first pulse"),
        (Wrong::LateEdgesAreStampedAtWaking, "was at"),
        (Wrong::ShortOpeningsAreMissed, "for a moment"),
    ] {
        match search(wrong, MUTANT_DEPTH) {
            Err(found) => assert!(found.contains(says), "{wrong:?}: {found}"),
            Ok(met) => panic!("{wrong:?} was not found: {met:?}"),
        }
    }
}
