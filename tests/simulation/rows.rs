//! Rows of the process handbook that hang on the sheet as it really lies: skipped touch-offs, and the
//! touch beside a pierce that met nothing.

use std::path::Path;
use std::time::Duration;

use control::view::Phase;
use control::{Cause, Event};
use planning::Prepared;
use program::Setup;
use simulator::harness::{FaultKind, Plan};
use standclear::config::Config;
use standclear::job::prepare;
use standclear::practice::table;

use crate::jobs::{fault, finish_whole, world};
use crate::world::World;

fn demonstration(config: &Config, name: &str) -> Prepared {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo");
    let text = std::fs::read(folder.join(format!("{name}.nc"))).expect("a program");
    let setup = std::fs::read_to_string(folder.join(format!("{name}.toml"))).expect("a setup");
    let setup = Setup::from_toml(&setup).expect("a good setup");
    prepare(config, name, &text, Some(setup))
}

#[test]
fn touch_offs_that_are_skipped_are_planned_as_they_are_made_and_the_sheet_is_cut_whole() {
    let mut config = Config::built_in();
    config.cycle.skip_touch_mm = 40.0;
    // Its holes lie 35 mm apart; those of the other sheets are further than 40 mm, or the sheet is thin.
    let name = "garden-corners";
    for seed in 1..=3 {
        let prepared = demonstration(&config, name);
        let planned = prepared.planned.as_ref().expect("planned");
        let (planned_s, skips) = (planned.run_s, planned.touches_skipped);
        assert!(skips > 4, "{name}: {skips}");
        let job = prepared.seal(&config.table(), &[]).expect("clear");
        let mut world = World::new(config.clone(), job, seed, &[]);
        let view = world.run(Duration::from_secs(3600));
        assert_eq!(view.phase, Phase::Finished, "{}", world.story(30));
        assert_eq!(view.holds, vec![], "{}", world.story(30));
        let skipped = |e: &&(_, Event, _)| matches!(e.1, Event::TouchSkipped { .. });
        assert_eq!(world.events.iter().filter(skipped).count(), skips, "{name}");
        let run_s = view.run_s.expect("it ran");
        assert!(
            (run_s - planned_s).abs() < 0.01 * run_s,
            "{name}: planned {planned_s}, took {run_s}"
        );
        let truth = world.table.lock().expect("one thread").truth();
        assert_eq!(truth.violations, Vec::<String>::new());
        assert_eq!(truth.uncut_mm, 0.0, "{truth:?}");
    }
}

/// Runs until it is held; why.
#[track_caller]
fn first_hold(world: &mut World) -> (Cause, String) {
    // The operator goes on in the moment in which it is held: a hold that is on its way tells enough.
    for _ in 0..200_000 {
        world.turn();
        if let Some(hold) = world.view().hold {
            return (hold.cause, hold.why);
        }
    }
    panic!("never held: {}", world.story(30));
}

#[test]
fn a_broken_sense_wire_is_told_from_a_sheet_that_is_only_missing_there() {
    let faults = [fault(FaultKind::NoContact, 1, None)];
    let mut broken = world(&faults);
    let (cause, why) = first_hold(&mut broken);
    assert_eq!(cause, Cause::NoContact);
    assert!(why.contains("sheet moved, or sense wire broken"), "{why}");
    finish_whole(broken, &faults);

    // The sheet lies 12 mm further to the right than the panel was told: a pierce 8 mm from its edge
    // stands over none, and 5 mm behind its lead-in there is metal.
    let config = Config::built_in();
    let text = b"G21 G90\nG0 X8 Y60\nM3\nG1 X4 F1100\nM5\nM2\n";
    let setup = Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [200, 120]\norigin = [0, 0]\nclamp = [150, 20]\nchart = \"mild-steel 5 mm 40 A\"\n",
    );
    let prepared = prepare(&config, "edge", text, Some(setup.expect("a setup")));
    let accepted = prepared.report.accepted_for("a test");
    let job = prepared.seal(&config.table(), &accepted).expect("accepted");
    let plan = Plan {
        corner: config.sheet_corner.moved(12.0, 0.0),
        ..table::plan(&job, config.sheet_corner)
    };
    let mut world = World::new(config, job, 1, &[]);
    world.table.lock().expect("one thread").lay(plan);
    let (cause, why) = first_hold(&mut world);
    assert_eq!(cause, Cause::NoContact);
    assert!(why.contains("etal beside it"), "{why}");
}
