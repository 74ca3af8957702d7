//! The second opinion on vetting: the simulated sheet loses its metal as it is cut, and what vetting
//! calls clear never comes to a place without any.

use std::path::Path;
use std::time::Duration;

use control::view::{CutState, Phase};
use program::Setup;
use standclear::config::Config;
use standclear::job::prepare;

use crate::world::World;

fn demonstration(name: &str) -> (Vec<u8>, Setup) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo");
    let text = std::fs::read(folder.join(format!("{name}.nc"))).expect("a program");
    let setup = std::fs::read_to_string(folder.join(format!("{name}.toml"))).expect("a setup");
    (text, Setup::from_toml(&setup).expect("a good setup"))
}

/// Cut on the simulated table without a mishap, it has no hold, no retry and nothing left uncut.
#[track_caller]
fn never_lacks_metal(name: &str) {
    let config = Config::built_in();
    let (text, setup) = demonstration(name);
    let job = prepare(&config, name, &text, Some(setup))
        .seal(&config.table(), &[])
        .expect("clear: nothing to accept");
    let mut world = World::new(config, job, 1, &[]);
    let view = world.run(Duration::from_secs(3600));
    assert_eq!(view.phase, Phase::Finished, "{}", world.story(30));
    assert_eq!(view.holds, vec![], "{}", world.story(30));
    assert_eq!(view.retries, vec![], "{}", world.story(30));
    assert!(view.cuts.iter().all(|c| c.state == CutState::Done));
    let truth = world.table.lock().expect("one thread").truth();
    assert_eq!(truth.violations, Vec::<String>::new());
    assert_eq!((truth.uncut_mm, truth.entry_mm), (0.0, 0.0), "{truth:?}");
}

#[test]
fn the_hinge_plates_never_lack_metal() {
    never_lacks_metal("hinge-plates");
}

#[test]
fn the_guard_brackets_never_lack_metal() {
    never_lacks_metal("guard-brackets");
}

#[test]
fn the_latch_plates_never_lack_metal() {
    never_lacks_metal("latch-plates");
}

#[test]
fn the_row_markers_never_lack_metal() {
    never_lacks_metal("row-markers");
}

#[test]
fn the_garden_corners_never_lack_metal() {
    never_lacks_metal("garden-corners");
}
