//! Each physical wrong that a panel can do is seen, and told with its time and place.

use crate::panel::{FEED, Panel, square};
use simulator::TableSettings;
use units::Point;

fn standing_on_metal() -> (Panel, f64) {
    let path = square(100.0, 200.0);
    let mut panel = Panel::ready(2, vec![path.clone()]);
    panel.raise();
    panel.go_to(path[0].from());
    let z = panel.touch().expect("metal");
    panel.move_z(z + 3.5);
    (panel, z)
}

#[track_caller]
fn told(panel: &Panel, what: &str) {
    let wrongs = panel.wrongs();
    assert_eq!(wrongs.len(), 1, "{wrongs:?}");
    assert!(wrongs[0].starts_with(what), "{wrongs:?}");
}

#[test]
fn standing_still_with_the_arc_on_after_the_pierce() {
    let (mut panel, z) = standing_on_metal();
    assert!(panel.fire());
    panel.wait(400);
    panel.move_z(z + 1.5);
    panel.say_done(&format!("G1 X120 Y200 F{FEED:.0}"));
    panel.wait(100);
    assert_eq!(panel.wrongs(), Vec::<String>::new());
    panel.wait(100);
    told(
        &panel,
        "arc burning at standstill for over 150 ms after the pierce",
    );
}

#[test]
fn waiting_long_in_the_pierce_is_none() {
    let (mut panel, z) = standing_on_metal();
    assert!(panel.fire());
    panel.wait(2000);
    panel.move_z(z + 1.5);
    panel.say(&format!("G1 X120 Y200 F{FEED:.0}"));
    panel.say_done("M5");
    panel.pulsing = false;
    panel.wait(100);
    assert_eq!(panel.wrongs(), Vec::<String>::new());
}

#[test]
fn lifting_with_the_arc_on() {
    let (mut panel, z) = standing_on_metal();
    assert!(panel.fire());
    panel.move_z(z + 1.5);
    panel.move_z(z + 2.4);
    assert_eq!(panel.wrongs(), Vec::<String>::new());
    panel.move_z(z + 3.5);
    told(&panel, "Z lifted under a live arc");
}

#[test]
fn a_rapid_at_pierce_height() {
    let (mut panel, _) = standing_on_metal();
    panel.say_done("G0 X130 Y200");
    told(&panel, "XY rapid below traverse or hop height");
}

#[test]
fn a_rapid_at_hop_height_is_none() {
    let (mut panel, z) = standing_on_metal();
    panel.move_z(z + 8.0);
    panel.say_done("G0 X130 Y200");
    assert_eq!(panel.wrongs(), Vec::<String>::new());
}

#[test]
fn firing_with_the_sensing_circuit_connected() {
    let (mut panel, _) = standing_on_metal();
    panel.say_done("sense on");
    assert!(panel.fire());
    told(&panel, "fire with the sensing circuit connected");
}

#[test]
fn firing_beside_the_sheet() {
    let mut panel = Panel::ready(2, vec![square(100.0, 200.0)]);
    panel.raise();
    panel.go_to(Point::new(30.0, 30.0));
    panel.move_z(30.0);
    assert!(!panel.fire());
    told(&panel, "fire off the plate");
}

#[test]
fn an_arc_off_every_path_is_measured() {
    let (mut panel, z) = standing_on_metal();
    assert!(panel.fire());
    panel.wait(400);
    panel.move_z(z + 1.5);
    panel.say(&format!("G1 X120 Y204 F{FEED:.0}"));
    panel.say(&format!("G1 X122.5 Y204 F{FEED:.0}"));
    panel.say_done("M5");
    panel.pulsing = false;
    panel.wait(100);
    let truth = panel.table.truth();
    // 4 mm away from the path and 2.5 mm along it: as far as a kerf, and a way of its own beyond.
    assert!((truth.off_path_mm - 1.45).abs() < 0.05, "{truth:?}");
    assert!((truth.entry_mm - 5.05).abs() < 0.1, "{truth:?}");
    assert!((truth.uncut_mm - 158.5).abs() < 0.4, "{truth:?}");
}

#[test]
fn pulses_of_a_dead_panel_end_and_k2_falls_and_the_arc_goes_out() {
    let (mut panel, z) = standing_on_metal();
    assert!(panel.fire());
    panel.wait(400);
    panel.move_z(z + 1.5);
    panel.lines(&square(100.0, 200.0));
    panel.wait(300);
    panel.pulsing = false;
    panel.keeps_alive = false;
    panel.wait(61);
    assert!(!panel.table.levels().permit_closed);
    panel.wait(20);
    assert!(!panel.table.levels().arc_ok);
    // It hangs: the start contact stays closed until the controller misses it.
    assert!(panel.table.levels().fire_on);
    panel.wait(320);
    assert!(!panel.table.levels().fire_on);
    assert!(panel.heard.iter().any(|h| h == "alarm panel silent"));
    assert_eq!(panel.wrongs(), Vec::<String>::new());
}

#[test]
fn a_stuck_permit_level_never_lets_it_fire() {
    let (mut panel, _) = standing_on_metal();
    panel.table.set_permit(panel.table.now(), true);
    panel.say("M3");
    panel.wait(2000);
    assert!(panel.table.levels().fire_on);
    assert!(!panel.table.levels().permit_closed && !panel.table.levels().arc_ok);
}

#[test]
fn a_rough_table_is_seeded_too() {
    let run = |seed| {
        let rough = TableSettings {
            seed,
            rough: true,
            ..TableSettings::default()
        };
        let mut panel = Panel::on(rough, vec![square(100.0, 200.0)]);
        panel.cut(&square(100.0, 200.0));
        (panel.heard, panel.table.truth())
    };
    assert_eq!(run(5), run(5));
    assert_ne!(run(5).0, run(6).0);
}
