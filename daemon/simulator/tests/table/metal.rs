//! Metal that was cut away is gone, and what came free and is small has fallen.

use simulator::harness::FaultKind;
use units::{Point, Segment};

use crate::panel::{FEED, Panel, Went, hole};

fn line(from: (f64, f64), to: (f64, f64)) -> Segment {
    Segment::Line {
        from: Point::new(from.0, from.1),
        to: Point::new(to.0, to.1),
    }
}

/// A square part of so many mm about (x, y), from a lead-in of 5 mm.
fn part(x: f64, y: f64, side: f64) -> Vec<Segment> {
    let h = side / 2.0;
    vec![
        line((x, y - h - 5.0), (x, y - h)),
        line((x, y - h), (x + h, y - h)),
        line((x + h, y - h), (x + h, y + h)),
        line((x + h, y + h), (x - h, y + h)),
        line((x - h, y + h), (x - h, y - h)),
        line((x - h, y - h), (x, y - h)),
    ]
}

#[test]
fn a_slug_falls_and_a_touch_off_over_its_hole_finds_no_metal() {
    let cut = hole(120.0, 120.0, 8.0);
    let mut panel = Panel::ready(1, vec![cut.clone()]);
    assert_eq!(panel.cut(&cut), Went::Whole);
    panel.raise();
    panel.go_to(Point::new(120.0, 120.0));
    assert_eq!(panel.touch(), None);
    // Near its rim the nozzle's face still meets the sheet.
    panel.raise();
    panel.go_to(Point::new(126.5, 120.0));
    assert!(panel.touch().is_some());
}

#[test]
fn a_small_outline_before_its_hole_leaves_the_hole_without_metal() {
    let (outline, inner) = (part(120.0, 120.0, 24.0), hole(120.0, 120.0, 5.0));
    let mut panel = Panel::ready(1, vec![outline.clone(), inner.clone()]);
    assert_eq!(panel.cut(&outline), Went::Whole);
    assert_eq!(panel.cut(&inner), Went::NoMetal);

    // The other way round both are cut.
    let mut panel = Panel::ready(1, vec![inner.clone(), outline.clone()]);
    assert_eq!(panel.cut(&inner), Went::Whole);
    assert_eq!(panel.cut(&outline), Went::Whole);
    assert_eq!(panel.table.truth().uncut_mm, 0.0);
}

#[test]
fn a_part_too_large_to_fall_lies_where_it_was_cut() {
    let (outline, inner) = (part(140.0, 140.0, 60.0), hole(140.0, 140.0, 5.0));
    let mut panel = Panel::ready(1, vec![outline.clone(), inner.clone()]);
    assert_eq!(panel.cut(&outline), Went::Whole);
    assert_eq!(panel.cut(&inner), Went::Whole);
}

#[test]
fn a_piece_that_is_held_by_a_bridge_does_not_fall() {
    let mut outline = part(120.0, 120.0, 24.0);
    // The last side ends 3 mm early.
    outline.pop();
    outline.push(line((108.0, 108.0), (117.0, 108.0)));
    let mut panel = Panel::ready(1, vec![outline.clone()]);
    assert_eq!(panel.cut(&outline), Went::Whole);
    panel.raise();
    panel.go_to(Point::new(120.0, 120.0));
    assert!(panel.touch().is_some());
}

#[test]
fn an_arc_that_is_led_over_a_void_goes_out_and_over_a_kerf_it_does_not() {
    let void = hole(120.0, 120.0, 8.0);
    let through = vec![line((100.0, 120.0), (145.0, 120.0))];
    let slot = vec![line((200.0, 100.0), (200.0, 140.0))];
    let across = vec![line((180.0, 120.0), (220.0, 120.0))];
    let cuts = vec![void, through, slot, across];
    let mut panel = Panel::ready(1, cuts.clone());
    let went: Vec<Went> = cuts.iter().map(|c| panel.cut(c)).collect();
    assert_eq!(went, [Went::Whole, Went::ArcLost, Went::Whole, Went::Whole]);
}

#[test]
fn a_fire_over_a_void_does_not_transfer() {
    let void = hole(120.0, 120.0, 8.0);
    let mut panel = Panel::ready(1, vec![void.clone()]);
    assert_eq!(panel.cut(&void), Went::Whole);
    panel.go_to(Point::new(120.0, 120.0));
    panel.move_z(28.0);
    assert!(!panel.fire());
}

#[test]
fn a_bridge_that_a_lost_arc_leaves_is_told_with_its_width() {
    let path = vec![line((100.0, 100.0), (200.0, 100.0))];
    for (gap_mm, bridge_mm) in [(0.5, 0.0), (2.2, 0.3), (3.9, 2.0)] {
        let mut panel = Panel::ready(1, vec![path.clone()]);
        panel.break_at(FaultKind::ArcLost, 1, Some(50.0));
        assert_eq!(panel.cut(&path), Went::ArcLost);
        let rest = vec![line((150.0 + gap_mm, 100.0), (200.0, 100.0))];
        assert_eq!(panel.cut(&rest), Went::Whole);
        let truth = panel.table.truth();
        // The second pierce is about 1.1 mm in radius, the kerf's end 0.73.
        let off = (truth.uncut_mm - bridge_mm).abs();
        assert!(off < 0.25, "{gap_mm}: {truth:?}");
        assert_eq!(truth.uncut_mm > 0.0, bridge_mm > 0.0, "{truth:?}");
    }
}

#[test]
fn a_new_lead_in_through_scrap_is_no_fault_of_the_path() {
    let path = vec![line((100.0, 100.0), (200.0, 100.0))];
    let mut panel = Panel::ready(1, vec![path.clone()]);
    panel.break_at(FaultKind::ArcLost, 1, Some(50.0));
    assert_eq!(panel.cut(&path), Went::ArcLost);
    let resumed = vec![
        line((146.0, 94.0), (148.0, 100.0)),
        line((148.0, 100.0), (200.0, 100.0)),
    ];
    assert_eq!(panel.cut(&resumed), Went::Whole);
    let truth = panel.table.truth();
    assert_eq!(truth.violations, Vec::<String>::new());
    assert_eq!(truth.uncut_mm, 0.0, "{truth:?}");
    assert!((truth.recut_mm - 2.0).abs() < 0.3, "{truth:?}");
    assert!(truth.off_path_mm < 0.05, "{truth:?}");
    assert!((truth.entry_mm - 6.3).abs() < 0.4, "{truth:?}");
}

#[test]
fn an_arc_that_is_far_too_fast_leaves_the_metal() {
    let path = vec![line((100.0, 100.0), (200.0, 100.0))];
    let mut panel = Panel::ready(1, vec![path.clone()]);
    panel.raise();
    panel.go_to(Point::new(100.0, 100.0));
    let z = panel.touch().expect("metal");
    panel.move_z(z + 3.5);
    assert!(panel.fire());
    panel.wait(385);
    panel.move_z(z + 1.5);
    panel.say(&format!("G1 X200 Y100 F{:.0}", FEED * 8.0));
    panel.say_done("M5");
    panel.pulsing = false;
    panel.wait(100);
    let left = panel.table.truth().uncut_mm;
    assert!((70.0..99.0).contains(&left), "{left}");
}
