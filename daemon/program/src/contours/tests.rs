use units::Placement;

use super::*;
use crate::geometry::plane::Placer;
use crate::vetting::rules::frame;
use crate::{ReadingRules, read};

const KERF: f64 = 1.45;

fn contours(text: &str) -> Contours {
    let reading = read(text.as_bytes(), &ReadingRules::default());
    let flat = Polylines::new(&reading.cut_list, &Placer::new(&Placement::default()));
    Contours::new(&flat, KERF)
}

fn near(a: f64, b: f64, within: f64) {
    assert!((a - b).abs() <= within, "{a} is not {b}");
}

#[test]
fn the_frame_has_a_hole_in_an_outline() {
    let c = contours(frame::PROGRAM);
    let [hole, outline] = c.all.as_slice() else {
        panic!("{c:?}")
    };
    assert_eq!(
        (hole.kind, hole.depth, hole.parent),
        (Kind::Hole, 1, Some(1))
    );
    assert_eq!(
        (outline.kind, outline.depth, outline.parent),
        (Kind::Outline, 0, None)
    );
    assert!(!hole.clockwise() && outline.clockwise());
    near(hole.joint_mm, 5.0, 0.1);
    near(hole.overlap_mm, 0.0, 0.1);
    // A lead-in of 17.9 mm at 27 degrees: so flat it seems to run along for a while.
    near(outline.joint_mm, 17.89, 0.35);
    near(outline.overlap_mm, 2.0, 0.35);
    near(outline.area_mm2, -8000.0, 15.0);
    let circle = hole.circle.expect("round");
    near(circle.radius_mm, 10.0, 0.02);
    near(hole.hole_mm(KERF).expect("round"), 20.0 + KERF, 0.04);
    assert!(circle.centre.distance(Point::new(40.0, 40.0)) < 0.02);
    assert!(outline.circle.is_none());
}

/// A square of 50 mm cut from a lead-in of 5 mm, ending where `end` says.
fn square(end: &str) -> Contours {
    contours(&format!(
        "G21 G0 X0 Y-5\nM3\nG1 X0 Y0 F600\nG1 Y50\nG1 X50\nG1 Y0\n{end}\nM5\nM2\n"
    ))
}

#[test]
fn an_end_within_one_kerf_closes_and_one_beyond_does_not() {
    let short = square("G1 X1.4");
    near(short.all[0].overlap_mm, -1.4, 1e-9);
    near(short.all[0].closed_mm, 5.0 + 198.6, 1e-9);
    let held = square("G1 X1.5");
    near(held.all[0].tab_mm, 1.5, 1e-9);
    near(held.gap_mm(0).expect("open"), 1.5, 1e-9);
    assert_eq!(short.all[0].tab_mm, 0.0);
    near(square("G1 X18").all[0].tab_mm, 18.0, 1e-9);
    // A tenth of the path at most.
    let open = square("G1 X19");
    assert!(open.all.is_empty());
    assert!(open.gap_mm(0).is_some());
    near(square("G1 X0").all[0].overlap_mm, 0.0, 0.1);
}

#[test]
fn an_over_burn_round_the_corner_and_a_lead_out_are_told_apart() {
    let over = square("G1 X0\nG1 Y3");
    near(over.all[0].overlap_mm, 3.0, 0.15);
    near(over.all[0].lead_out_mm, 0.0, 1e-9);
    let out = square("G1 X0\nG1 X-6 Y-6");
    near(out.all[0].lead_out_mm, 8.5, 0.3);
    near(out.all[0].area_mm2, -2500.0, 20.0);
    let both = square("G1 X0\nG1 Y3\nG1 X-6 Y9");
    near(both.all[0].overlap_mm, 3.0, 0.3);
    near(both.all[0].lead_out_mm, 8.5, 0.3);
}

#[test]
fn a_part_in_a_hole_of_a_part_is_an_outline() {
    let ring = |r: f64, way: &str| format!("G0 X{r} Y0\nM3\n{way} X{r} Y0 I-{r} J0 F600\nM5\n");
    let text = format!(
        "G21\n{}{}{}{}M2\n",
        ring(10.0, "G3"),
        ring(20.0, "G2"),
        ring(50.0, "G3"),
        ring(70.0, "G2")
    );
    let c = contours(&text);
    let kinds: Vec<_> = c.all.iter().map(|c| (c.depth, c.kind, c.parent)).collect();
    assert_eq!(
        kinds,
        [
            (3, Kind::Hole, Some(1)),
            (2, Kind::Outline, Some(2)),
            (1, Kind::Hole, Some(3)),
            (0, Kind::Outline, None)
        ]
    );
}

#[test]
fn a_lone_hole_in_the_sheet_is_known_by_its_lead_in_and_its_direction() {
    let hole = |way: &str, from: f64| {
        let text = format!("G21 G0 X{from} Y0\nM3\nG1 X10 F600\n{way} X10 Y0 I-10 J0\nM5\nM2\n");
        contours(&text).all[0].kind
    };
    assert_eq!(hole("G3", 5.0), Kind::Hole);
    assert_eq!(hole("G2", 5.0), Kind::Outline);
    assert_eq!(hole("G3", 15.0), Kind::Outline);
}

#[test]
fn a_square_is_no_circle_and_a_fine_polygon_is_one() {
    assert!(square("G1 X0").all[0].circle.is_none());
    let gon = |n: u32| {
        let mut text = "G21 G0 X10 Y0\nM3\n".to_owned();
        for k in 1..=n {
            let a = core::f64::consts::TAU * f64::from(k) / f64::from(n);
            text += &format!("G1 X{:.4} Y{:.4} F600\n", 10.0 * a.cos(), 10.0 * a.sin());
        }
        contours(&(text + "M5\nM2\n")).all[0].circle.is_some()
    };
    assert!(gon(60));
    assert!(!gon(6));
}

/// Depth and parent by comparing every contour with every other, as the rule has it: what lies round
/// a contour is larger and holds most of five places of it.
/// One that is cut again counts once, and lies where it was cut first.
fn one_by_one(all: &[Contour], i: usize) -> (usize, Option<f64>) {
    let inner = &all[all[i].twin_of.unwrap_or(i)];
    let n = inner.points.len();
    let round: Vec<&Contour> = all
        .iter()
        .filter(|o| o.twin_of.is_none())
        .filter(|o| o.area_mm2.abs() > 1.001 * inner.area_mm2.abs())
        .filter(|o| o.in_bounds(inner.points[0]))
        .filter(|o| {
            (0..5)
                .filter(|k| o.contains(inner.points[k * n / 5]))
                .count()
                >= 3
        })
        .collect();
    let least = round.iter().map(|o| o.area_mm2.abs()).reduce(f64::min);
    (round.len(), least)
}

proptest::proptest! {
    #[test]
    fn nesting_is_that_of_comparing_each_with_each(
        squares in proptest::collection::vec((0_i32..60, 0_i32..60, 1_i32..40, 0_usize..4), 1..40),
        rings in proptest::collection::vec((0_i32..60, 0_i32..60, 3_i32..30), 0..20),
    ) {
        // Corners on whole numbers touch each other often; rings are of many corners.
        let mut text = "G21\n".to_owned();
        for (x, y, s, copies) in squares {
            let square = format!(
                "G0 X{x} Y{y}\nM3\nG1 X{} F600\nG1 Y{}\nG1 X{x}\nG1 Y{y}\nM5\n", x + s, y + s
            );
            text += &square.repeat(1 + copies / 3);
        }
        for (x, y, r) in rings {
            text += &format!("G0 X{} Y{y}\nM3\nG3 X{} Y{y} I-{r} F600\nM5\n", x + r, x + r);
        }
        let reading = read(text.as_bytes(), &ReadingRules::default());
        let flat = Polylines::new(&reading.cut_list, &Placer::new(&Placement::default()));
        let found = Contours::new(&flat, 0.2);
        for (i, c) in found.all.iter().enumerate() {
            let parent = c.parent.map(|p| found.all[p].area_mm2.abs());
            proptest::prop_assert_eq!((c.depth, parent), one_by_one(&found.all, i), "contour {}", i);
        }
        for k in 0..40_u32 {
            let p = Point::new(f64::from(k * 13 % 83) + 0.37, f64::from(k * 29 % 71) + 0.41);
            let round = found.firsts().filter(|c| c.contains(p)).count();
            proptest::prop_assert_eq!(found.in_part(&flat, p), round % 2 == 1);
        }
    }
}
