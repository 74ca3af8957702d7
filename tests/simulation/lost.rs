//! Arcs lost at places of chance in 5 mm plate, and gone on with by each way, judged by the table's
//! own ledger: no bridge, no gap, and a tab as long as it was planned.

use std::time::Duration;

use control::Event;
use control::resume::Way;
use control::view::{CutState, Phase};
use simulator::harness::{FaultKind, Truth};

use crate::chance::Chance;
use crate::jobs::{fault, world};
use crate::world::World;

/// Lengths of the small test piece's two cuts, mm.
const LENGTHS_MM: [f64; 2] = [41.2, 176.0];
/// Most that a place lost may be told wrong by, mm: 5 mm plate at 1100 mm/min, stamped places.
const TOLD_WITHIN_MM: f64 = 0.3;

/// A cut and a place on it, mm.
fn place(chance: &mut Chance) -> (usize, f64) {
    let all: f64 = LENGTHS_MM.iter().sum();
    let mm = chance.next() * all;
    if mm < LENGTHS_MM[0] {
        (1, mm)
    } else {
        (2, mm - LENGTHS_MM[0])
    }
}

/// Loses the arc there and goes on, by a certain way where it is offered.
fn lose(cut: usize, mm: f64, way: Option<Way>) -> (World, Truth) {
    let mut world = world(&[fault(FaultKind::ArcLost, cut, mm)]);
    if let Some(way) = way {
        world.prefer(way);
    }
    let view = world.run(Duration::from_secs(600));
    let truth = world.table.lock().expect("one thread").truth();
    let story = || format!("{way:?} at {cut}:{mm:.2}\n{truth:?}\n{}", world.story(40));
    assert_eq!(view.phase, Phase::Finished, "{}", story());
    assert!(
        view.cuts.iter().all(|c| c.state == CutState::Done),
        "{}",
        story()
    );
    assert_eq!(truth.violations, Vec::<String>::new(), "{}", story());
    (world, truth)
}

fn plans(world: &World) -> Vec<control::Plan> {
    let plans = world.events.iter().filter_map(|(_, e, _)| match e {
        Event::Resumed { plan, .. } => plan.as_deref().cloned(),
        _ => None,
    });
    plans.collect()
}

#[test]
fn two_hundred_lost_arcs_leave_no_bridge_and_no_gap() {
    let mut chance = Chance(5);
    for k in 0..200 {
        let (cut, mm) = place(&mut chance);
        // Most by the best way, some by a new lead-in wherever there is room for one.
        let way = (k % 4 == 0).then_some(Way::LeadIn);
        let (world, truth) = lose(cut, mm, way);
        let story = || format!("{cut}:{mm:.2} {way:?}: {truth:?}\n{:#?}", plans(&world));
        assert!(truth.uncut_mm < 0.05, "{}", story());
        let offered: f64 = plans(&world).iter().map(|p| p.how.overlap_mm).sum();
        // A lead-in runs into the path under a small angle: its last bit counts on the path.
        let leads = plans(&world)
            .iter()
            .filter(|p| !p.how.entry.is_empty())
            .count();
        assert!(
            truth.recut_mm <= offered + 0.3 + leads as f64,
            "{}",
            story()
        );
        for held in world.view().holds {
            assert!(
                (held.at_mm - mm).abs() < TOLD_WITHIN_MM,
                "{held:?} {}",
                story()
            );
        }
    }
}

#[test]
fn a_tab_that_is_left_is_as_long_as_it_was_said() {
    let mut chance = Chance(11);
    let mut left = 0;
    for _ in 0..40 {
        let (cut, mm) = place(&mut chance);
        for way in [Way::Tab, Way::Leave] {
            let (world, truth) = lose(cut, mm, Some(way));
            let said = world.events.iter().filter_map(|(_, e, _)| match e {
                Event::TabLeft { tab_mm, .. } => Some(*tab_mm),
                _ => None,
            });
            let tab_mm: f64 = said.sum();
            left += usize::from(tab_mm > 0.0);
            if way == Way::Tab && tab_mm > 0.0 {
                assert_eq!(world.view().cuts[cut - 1].done.len(), 2, "{cut}:{mm:.2}");
            }
            assert!(
                (truth.uncut_mm - tab_mm).abs() <= 0.3,
                "{way:?} {cut}:{mm:.2}: {truth:?}\n{:#?}\n{}",
                plans(&world),
                world.story(40)
            );
        }
    }
    assert!(left > 20, "{left}");
}
