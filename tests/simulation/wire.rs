//! What the wire carries of a fine path: as much as vetting reckons, and a torch that falters for it is told.

use std::fmt::Write as _;
use std::sync::Arc;
use std::time::Duration;

use control::Event;
use control::view::{CutState, Phase};
use planning::Job;
use program::Setup;
use standclear::config::Config;
use standclear::job::prepare;
use units::Time;

use crate::world::World;

const SETUP: &str = "material = \"mild-steel\"\nthickness = 2\nsheet = [160, 160]\norigin = [0, 0]\n\
                     clamp = [150, 80]\nchart = \"mild-steel 2 mm 40 A\"\n";
/// The row's feed.
const FEED_MM_MIN: f64 = 3300.0;
/// Radius of the round path, mm: no corner of it is taken slower than the feed.
const RADIUS: f64 = 50.0;

fn config(quill: bool, baud: u32) -> Config {
    let mut config = if quill {
        Config::built_in_quill()
    } else {
        Config::built_in()
    };
    config.link.baud = baud;
    config
}

/// Half a round in straight pieces of so many mm, and whether vetting found that it starves.
fn round(config: &Config, piece_mm: f64) -> (Arc<Job>, bool) {
    let count = (core::f64::consts::PI * RADIUS / piece_mm).round();
    let mut text = String::from("G21 G90\nG0 X20 Y80\nM3\n");
    for k in 1..=count as u32 {
        let (sin, cos) = (core::f64::consts::PI * f64::from(k) / count).sin_cos();
        let (x, y) = (70.0 - RADIUS * cos, 80.0 + RADIUS * sin);
        let _ = writeln!(text, "G1 X{x:.4} Y{y:.4} F{FEED_MM_MIN}");
    }
    text.push_str("M5\nM2\n");
    let setup = Setup::from_toml(SETUP).expect("a setup");
    let prepared = prepare(config, "round", text.as_bytes(), Some(setup));
    let starves = prepared
        .report
        .findings
        .iter()
        .any(|f| f.rule == "link-starved");
    let accepted = prepared.report.accepted_for("a test");
    (
        prepared.seal(&config.table(), &accepted).expect("a seal"),
        starves,
    )
}

/// Pieces of which the feed asks so many times what is carried.
fn asking(config: &Config, times: f64) -> f64 {
    let lines_s = config.link.dialect.carried(config.link.baud).lines_s();
    FEED_MM_MIN / 60.0 / (times * lines_s)
}

fn cut(config: Config, job: Arc<Job>) -> World {
    let mut world = World::new(config, job, 1, &[]);
    let view = world.run(Duration::from_secs(300));
    assert_eq!(view.phase, Phase::Finished, "{}", world.story(40));
    assert!(
        view.cuts.iter().all(|c| c.state == CutState::Done),
        "{}",
        world.story(40)
    );
    assert_eq!(view.holds, vec![], "{}", world.story(40));
    assert_eq!(world.watch.wrongs, Vec::<String>::new());
    world
}

/// When each line of the path left the panel, s.
fn path_lines(world: &World) -> Vec<f64> {
    let mut line = Vec::new();
    let mut left = Vec::new();
    for (at, bytes) in &world.sent {
        for byte in bytes {
            if !matches!(byte, b'\r' | b'\n') {
                line.push(*byte);
                continue;
            }
            let has = |what: &[u8]| line.windows(what.len()).any(|w| w == what);
            if has(b" X") && !has(b"G0 ") && !has(b"G00") {
                left.push(at.as_us() as f64 / 1e6);
            }
            line.clear();
        }
    }
    left
}

#[test]
fn what_vetting_reckons_is_what_the_table_carries_and_a_torch_that_falters_is_told() {
    for (quill, baud) in [
        (false, 115_200),
        (false, 57_600),
        (false, 38_400),
        (true, 115_200),
    ] {
        let config = config(quill, baud);
        let carried = config.link.dialect.carried(baud).lines_s();
        let (job, starves) = round(&config, asking(&config, 1.25));
        assert!(starves, "{baud}: vetting tells");
        let world = cut(config, job);
        // Numbers and places of other lengths than usual make a line a byte shorter or longer: 3 %.
        let lines = path_lines(&world);
        let (from, to) = (lines.len() / 4, lines.len() * 3 / 4);
        let took = (to - from) as f64 / (lines[to] - lines[from]);
        println!(
            "quill {quill}, {baud} baud: reckoned {carried:.1} lines a second, took {took:.1}"
        );
        assert!(
            (took / carried - 1.0).abs() < 0.05,
            "{baud}: {took} and {carried}"
        );
        let told = |e: &&(Time, Event, bool)| matches!(e.1, Event::Faltered { .. });
        assert_eq!(
            world.events.iter().filter(told).count(),
            1,
            "{}",
            world.story(40)
        );
        let faltered = world.view().faltered;
        assert_eq!(faltered.len(), 1);
        let share = faltered[0].mm_s / faltered[0].wanted_mm_s;
        assert!((0.7..0.9).contains(&share), "{faltered:?}");
    }
}

#[test]
fn what_is_carried_is_neither_warned_of_nor_told_as_faltering() {
    for (quill, baud) in [(false, 115_200), (false, 38_400), (true, 115_200)] {
        let config = config(quill, baud);
        let (job, starves) = round(&config, asking(&config, 0.94));
        assert!(!starves, "{baud}");
        let world = cut(config, job);
        assert_eq!(world.view().faltered, vec![], "{}", world.story(40));
    }
}

/// The controller's queue never empties in mid-cut while the wire could have filled it.
#[test]
fn a_path_that_the_wire_carries_never_runs_dry() {
    let mut dry = Vec::new();
    for (quill, baud) in [
        (false, 38_400),
        (false, 57_600),
        (false, 115_200),
        (true, 115_200),
    ] {
        let config = config(quill, baud);
        let (job, _) = round(&config, asking(&config, 0.94));
        let world = cut(config, job);
        let times = world.table.lock().expect("one thread").ran_dry();
        println!("quill {quill}, {baud} baud: ran dry {times} times");
        if times > 0 {
            dry.push((quill, baud, times));
        }
    }
    assert_eq!(dry, []);
}
