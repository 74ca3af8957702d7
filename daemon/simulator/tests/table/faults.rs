//! What goes wrong by order is seen on the wires and in the words, lasts until it is set right,
//! and the cut can be taken up again.

use simulator::harness::{FaultKind, FaultSpec};
use simulator::{Table, TableSettings};
use units::{Point, Segment, Time};

use crate::panel::{Panel, Went, hole, square};

fn with(kind: FaultKind, mm: Option<f64>) -> (Panel, Vec<Segment>) {
    let path = square(100.0, 200.0);
    let mut panel = Panel::ready(4, vec![hole(120.0, 120.0, 6.0), path.clone()]);
    panel.break_at(kind, 2, mm);
    assert_eq!(
        panel.cut(&hole(120.0, 120.0, 6.0)),
        Went::Whole,
        "cut 1 is not touched"
    );
    (panel, path)
}

/// The rest of a path from station `s` on.
fn rest(path: &[Segment], mut s: f64) -> Vec<Segment> {
    let mut rest = Vec::new();
    for segment in path {
        let length = segment.length();
        if s < length {
            rest.push(segment.part(s.max(0.0), length));
        }
        s -= length;
    }
    rest
}

#[track_caller]
fn whole(panel: &Panel, recut_mm: f64) {
    let truth = panel.table.truth();
    assert_eq!(truth.violations, Vec::<String>::new());
    assert!(truth.uncut_mm < 0.01, "{truth:?}");
    assert!(truth.recut_mm < recut_mm, "{truth:?}");
    assert!(truth.off_path_mm < 0.05, "{truth:?}");
}

#[test]
fn a_lost_arc_is_lost_at_its_place_and_can_be_struck_again() {
    let (mut panel, path) = with(FaultKind::ArcLost, Some(60.0));
    assert_eq!(panel.cut(&path), Went::ArcLost);
    let uncut = panel.table.truth().uncut_mm;
    // The end of the kerf is round, and where the path ends the lead-in has been: half a kerf each.
    assert!((uncut - (166.0 - 60.0 - 1.45)).abs() < 0.4, "{uncut}");
    assert_eq!(panel.cut(&rest(&path, 55.0)), Went::Whole);
    whole(&panel, 5.1);
}

#[test]
fn an_arc_lost_at_the_pierce_counts_no_pierce() {
    let (mut panel, path) = with(FaultKind::ArcLost, None);
    assert_eq!(panel.cut(&path), Went::ArcLost);
    assert_eq!(panel.table.truth().pierces, 1);
    assert_eq!(panel.cut(&path), Went::Whole);
    whole(&panel, 0.01);
}

#[test]
fn without_a_source_there_are_no_volts_and_no_arc_until_it_is_set_right() {
    let (mut panel, path) = with(FaultKind::NoArc, None);
    assert_eq!(panel.cut(&path), Went::NoArc);
    assert!(panel.table.levels().volts.abs() < 1.0);
    assert_eq!(panel.cut(&path), Went::NoArc);
    panel.table.remedy(None);
    assert_eq!(panel.cut(&path), Went::Whole);
    whole(&panel, 0.01);
}

#[test]
fn a_source_that_dies_on_the_way_acts_at_the_next_fire() {
    let (mut panel, path) = with(FaultKind::NoArc, Some(60.0));
    assert_eq!(panel.cut(&path), Went::Whole);
    assert_eq!(panel.cut(&hole(300.0, 120.0, 6.0)), Went::NoArc);
}

#[test]
fn a_stuck_arc_burns_on_until_the_source_is_switched_off_and_is_no_wrong_of_the_panel() {
    let (mut panel, path) = with(FaultKind::ArcStuck, None);
    panel.raise();
    panel.go_to(path[0].from());
    let z = panel.touch().expect("metal");
    panel.move_z(z + 3.5);
    assert!(panel.fire());
    panel.wait(400);
    panel.move_z(z + 1.5);
    panel.lines(&path);
    panel.say_done("M5");
    panel.wait(600);
    assert!(panel.table.levels().arc_ok && !panel.table.levels().fire_on);
    panel.pulsing = false;
    panel.wait(300);
    assert!(panel.table.levels().arc_ok && !panel.table.levels().permit_closed);
    panel.table.remedy(Some(FaultKind::ArcStuck));
    panel.wait(30);
    assert!(!panel.table.levels().arc_ok);
    panel.raise();
    whole(&panel, 0.01);
}

#[test]
fn a_bridged_nozzle_keeps_the_contact_closed_until_it_is_cleaned() {
    let (mut panel, path) = with(FaultKind::ContactStuck, None);
    panel.raise();
    panel.go_to(path[0].from());
    panel.say_done("sense on");
    panel.wait(20);
    assert!(panel.table.levels().contact, "25 mm above the sheet");
    panel.table.remedy(None);
    assert!(!panel.table.levels().contact);
    assert_eq!(panel.cut(&path), Went::Whole);
    whole(&panel, 0.01);
}

#[test]
fn a_broken_sensing_wire_finds_no_metal() {
    let (mut panel, path) = with(FaultKind::NoContact, None);
    assert_eq!(panel.cut(&path), Went::NoMetal);
    panel.table.remedy(None);
    assert_eq!(panel.cut(&path), Went::Whole);
    whole(&panel, 0.01);
}

#[test]
fn an_emergency_stop_stops_everything_at_once_and_asks_for_a_new_reference() {
    let (mut panel, path) = with(FaultKind::Estop, Some(80.0));
    assert_eq!(panel.cut(&path), Went::ArcLost);
    assert!(panel.table.levels().estop_open);
    assert!(panel.heard.iter().any(|h| h == "alarm emergency stop"));
    assert_eq!((panel.at.doing.as_str(), panel.at.r), ("fault", 0));
    let number = panel.say("G0 Z50");
    panel.until("refusal", 200, |p| {
        p.heard
            .iter()
            .any(|h| h.starts_with(&format!("refused {number} ")))
    });
    panel.table.remedy(None);
    panel.begin();
    panel.reference();
    assert_eq!(panel.cut(&rest(&path, 78.0)), Went::Whole);
    whole(&panel, 2.1);
}

#[test]
fn a_pulled_cable_is_silence_and_the_controller_puts_the_torch_out_by_itself() {
    let (mut panel, path) = with(FaultKind::LinkCut, Some(50.0));
    panel.raise();
    panel.go_to(path[0].from());
    let z = panel.touch().expect("metal");
    panel.move_z(z + 3.5);
    assert!(panel.fire());
    panel.wait(400);
    panel.lines(&path);
    panel.until("unplugged", 10_000, |p| !p.table.plugged());
    panel.table.take_wire_out();
    // A panel that does not even end its pulses.
    panel.wait(320);
    assert!(!panel.table.levels().fire_on, "300 ms of silence");
    panel.pulsing = false;
    panel.wait(500);
    assert_eq!(panel.table.take_wire_out(), b"");
    panel.table.remedy(Some(FaultKind::LinkCut));
    assert!(panel.table.plugged());
    panel.begin();
    assert_eq!(panel.at.r, 1, "nothing was lost but time");
}

#[test]
fn a_controller_that_restarts_says_hello_and_knows_nothing() {
    let (mut panel, path) = with(FaultKind::ControllerReset, Some(50.0));
    panel.raise();
    panel.go_to(path[0].from());
    let z = panel.touch().expect("metal");
    panel.move_z(z + 3.5);
    assert!(panel.fire());
    panel.wait(400);
    panel.move_z(z + 1.5);
    panel.lines(&path);
    panel.until("hello", 10_000, |p| {
        p.heard.iter().any(|h| h == "hello 2 plain")
    });
    panel.pulsing = false;
    assert!(!panel.table.levels().fire_on);
    let number = panel.say("M3");
    panel.until("refusal", 200, |p| {
        p.heard
            .iter()
            .any(|h| h.starts_with(&format!("refused {number} ")))
    });
    panel.wait(150);
    assert_eq!(
        (panel.at.x, panel.at.y, panel.at.z, panel.at.r),
        (0.0, 0.0, 0.0, 0)
    );
    panel.begin();
    panel.reference();
    assert_eq!(panel.cut(&rest(&path, 48.0)), Went::Whole);
    whole(&panel, 2.2);
}

#[test]
fn low_air_is_told_at_once_and_loses_the_arc_later() {
    let (mut panel, path) = with(FaultKind::AirLow, Some(50.0));
    assert_eq!(panel.cut(&path), Went::ArcLost);
    assert!(!panel.table.levels().air_ok);
    assert_eq!(panel.cut(&rest(&path, 60.0)), Went::NoArc);
    panel.table.remedy(None);
    assert!(panel.table.levels().air_ok);
}

#[test]
fn a_piece_that_stands_up_is_felt_while_traversing() {
    let (mut panel, path) = with(FaultKind::TipOver, None);
    panel.raise();
    panel.say_done("sense on");
    let p = path[0].from();
    panel.say(&format!("G0 X{} Y{}", p.x, p.y));
    panel.until("contact", 5000, |p| p.table.levels().contact);
    assert!(panel.at.f > 0.0 && panel.table.levels().torch_seated);
    panel.table.remedy(None);
    assert!(!panel.table.levels().contact);
}

#[test]
fn a_piece_that_stands_up_unseats_the_torch_where_nothing_feels_it() {
    let (mut panel, path) = with(FaultKind::TipOver, Some(90.0));
    assert_eq!(panel.cut(&path), Went::ArcLost);
    assert!(!panel.table.levels().torch_seated);
    panel.table.remedy(Some(FaultKind::TipOver));
    assert!(panel.table.levels().torch_seated);
    // Steps were lost: without a new reference it cuts beside the path.
    assert_eq!(panel.cut(&rest(&path, 88.0)), Went::Whole);
    let truth = panel.table.truth();
    assert!(truth.off_path_mm > 0.2, "{truth:?}");
}

#[test]
fn a_place_that_does_not_exist_is_refused_in_words() {
    let mut panel = Panel::ready(1, vec![square(100.0, 200.0)]);
    let mut refused = |cut, mm| {
        let fault = FaultSpec {
            kind: FaultKind::ArcLost,
            cut,
            mm,
        };
        panel
            .table
            .inject(fault)
            .expect_err("no such place")
            .to_string()
    };
    assert!(refused(2, None).contains("no cut 2"));
    assert!(refused(0, None).contains("no cut 0"));
    assert!(refused(1, Some(166.1)).contains("166.0 mm long"));
    assert!(refused(1, Some(f64::NAN)).contains("no place"));
    assert!(refused(1, Some(-1.0)).contains("no place"));
    assert_eq!(panel.table.torch().0, Point::new(0.0, 0.0));
}

#[test]
fn the_place_of_a_lost_arc_is_stamped_at_the_edge_and_told_three_times() {
    let (mut panel, path) = with(FaultKind::ArcLost, Some(60.0));
    panel.heard.clear();
    assert_eq!(panel.cut(&path), Went::ArcLost);
    panel.wait(100);
    let edges: Vec<&String> = panel
        .heard
        .iter()
        .filter(|h| h.starts_with("edge "))
        .collect();
    // Cut 1 has had numbers 1 and 2; this arc came as 3 and went as 4.
    let told = |number: u32| {
        let head = format!("edge {number} arc ");
        edges.iter().filter(|e| e.starts_with(&head)).count()
    };
    assert_eq!(
        [told(2), told(3), told(4), told(5)],
        [0, 3, 3, 0],
        "{edges:?}"
    );
    let last = edges.last().expect("told");
    let words: Vec<&str> = last.split(' ').collect();
    assert_eq!(words[3], "0", "{last}");
    let value = |k: usize| words[k][1..].parse::<f64>().expect("a number");
    // 60 mm along the path is (140, 234); it still moves at 20 mm/s while the contact opens.
    assert!((value(4) - 140.0).abs() < 1e-3, "{last}");
    assert!((234.0..234.5).contains(&value(5)), "{last}");
    let up_s = value(6) / 1000.0;
    let now_s = panel.table.now().as_s();
    assert!(up_s < now_s && up_s > now_s - 5.0, "{last} at {now_s} s");
}

#[test]
fn a_stop_that_is_struck_again_while_it_is_being_freed_is_freed_a_little_later() {
    let mut table = Table::new(TableSettings {
        estop_tells: false,
        ..TableSettings::default()
    });
    table.strike_stop();
    table.advance(Time::from_ms(100));
    // Freed at 1 s at the soonest; struck again before that.
    table.remedy(None);
    table.advance(Time::from_ms(900));
    table.strike_stop();
    table.advance(Time::from_ms(1800));
    assert!(table.levels().estop_open);
    table.advance(Time::from_ms(2000));
    assert!(!table.levels().estop_open);
}
