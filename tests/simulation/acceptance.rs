//! What the handbook wants of the whole simulated table before it may teach anybody: a clean sheet is cut
//! whole whatever the seed, and a seed tells one story.

use std::time::Duration;

use control::view::Phase;
use standclear::config::Config;
use standclear::practice::table::table_settings;

use crate::jobs::square;
use crate::world::World;

const SEEDS: u64 = 20;

fn cut(seed: u64, rough: bool) -> World {
    let config = Config::built_in();
    let job = square(&config);
    let settings = table_settings(&config, seed, rough);
    let mut world = World::on(config, job, settings, &[]);
    world.run(Duration::from_secs(1800));
    world
}

#[test]
fn a_clean_sheet_is_cut_whole_without_a_hold_in_twenty_seeds() {
    for seed in 1..=SEEDS {
        let world = cut(seed, false);
        let view = world.view();
        assert_eq!(view.phase, Phase::Finished, "seed {seed}");
        assert_eq!(
            (view.holds.len(), view.retries.len()),
            (0, 0),
            "seed {seed}"
        );
        let truth = world.table.lock().expect("one thread").truth();
        assert_eq!(truth.uncut_mm, 0.0, "seed {seed}: {truth:?}");
        assert_eq!(truth.violations, Vec::<String>::new(), "seed {seed}");
        // At the chart's height and feed with new parts, but for corners, holes and the sheet's bow.
        assert!((0.15..0.35).contains(&truth.bevel_mm), "{truth:?}");
        assert!((0.0..2.0).contains(&truth.dross), "{truth:?}");
    }
}

#[test]
fn the_same_seed_tells_the_same_story_twenty_times() {
    let told = || {
        let world = cut(7, true);
        let truth = format!("{:?}", world.table.lock().expect("one thread").truth());
        let events: Vec<String> = world.events.iter().map(|e| format!("{e:?}")).collect();
        (events, truth)
    };
    let first = told();
    assert!(first.0.len() > 20, "{first:?}");
    for _ in 1..SEEDS {
        assert_eq!(told(), first);
    }
    let other = cut(8, true);
    let events: Vec<String> = other.events.iter().map(|e| format!("{e:?}")).collect();
    assert_ne!(events, first.0, "another seed tells another story");
}
