//! One thing of the start circuit that does not obey: a relay that welds or opens late, a mirror that
//! lies, at moments all over a job. It is stopped as it should be, and gone on with once it is set right.

use std::panic::{AssertUnwindSafe, catch_unwind};

use units::Time;

use crate::jobs::{finish_whole, world};
use crate::world::Disobeys;

/// Moments all over the test piece: before the first fire, under it, between the cuts, and in the second.
const AT_MS: [u64; 8] = [
    9_000, 11_000, 12_300, 13_000, 15_200, 19_600, 22_000, 26_000,
];

fn obeys_not(which: &[Disobeys]) {
    let mut wrong = Vec::new();
    for (what, at_ms) in which.iter().flat_map(|w| AT_MS.map(|at| (*w, at))) {
        let mut world = world(&[]);
        world.disobeys = vec![(Time::from_ms(at_ms), what)];
        let ended = catch_unwind(AssertUnwindSafe(|| drop(finish_whole(world, &[]))));
        if let Err(panic) = ended {
            let says = panic.downcast_ref::<String>().cloned().unwrap_or_default();
            wrong.push(format!("{what:?} at {at_ms} ms: {says}"));
        }
    }
    let first = wrong.first().cloned().unwrap_or_default();
    assert!(wrong.is_empty(), "{}: {first}", wrong.len());
}

#[test]
fn a_start_relay_that_welds_or_opens_late_is_stopped_and_gone_on_with() {
    obeys_not(&Disobeys::HARD[..4]);
}

#[test]
fn a_mirror_that_lies_is_stopped_and_gone_on_with() {
    obeys_not(&Disobeys::HARD[4..]);
}
