//! Lines and arcs against closed forms, and properties that must hold for all of them.

use core::f64::consts::{PI, TAU};

use proptest::prelude::*;
use units::{Placement, Point, Segment};

fn arc(from: [f64; 2], to: [f64; 2], centre: [f64; 2], clockwise: bool) -> Segment {
    Segment::Arc {
        from: from.into(),
        to: to.into(),
        centre: centre.into(),
        clockwise,
    }
}

#[track_caller]
fn near(a: f64, b: f64) {
    assert!((a - b).abs() < 1e-9, "{a} is not {b}");
}

#[test]
fn quarter_half_and_full_arcs_have_their_closed_form_lengths() {
    near(
        arc([1.0, 0.0], [0.0, 1.0], [0.0, 0.0], false).length(),
        PI / 2.0,
    );
    near(
        arc([1.0, 0.0], [0.0, 1.0], [0.0, 0.0], true).length(),
        1.5 * PI,
    );
    near(arc([1.0, 0.0], [-1.0, 0.0], [0.0, 0.0], true).length(), PI);
    near(
        arc([1.0, 0.0], [1.0, 0.0], [0.0, 0.0], false).length(),
        2.0 * PI,
    );
    near(
        arc([1.0, 0.0], [1.0, 0.0], [0.0, 0.0], true).sweep(),
        -2.0 * PI,
    );
}

#[test]
fn the_arc_of_nistir_6556_3_5_3_2_has_its_sweep_and_length() {
    // NISTIR 6556, 3.5.3.2: from (7,7) clockwise to (10,16) about (10,11), radius 5; sweep and
    // length computed from the closed form.
    let a = arc([7.0, 7.0], [10.0, 16.0], [10.0, 11.0], true);
    near(a.radius().unwrap_or(0.0), 5.0);
    assert!((a.sweep().to_degrees() + 143.130_102_354_2).abs() < 1e-9);
    assert!((a.length() - 12.490_457_723_98).abs() < 1e-9);
}

#[test]
fn the_bounds_of_an_arc_reach_to_its_quadrants() {
    let b = arc([1.0, 0.0], [0.0, -1.0], [0.0, 0.0], false).bounds();
    near(b.low.x, -1.0);
    near(b.low.y, -1.0);
    near(b.high.x, 1.0);
    near(b.high.y, 1.0);
}

/// The rectangle holds the arc at close quarters, and the arc reaches each of its sides. Its extremes
/// are looked for as by somebody who knows nothing of arcs: along it in small steps.
#[track_caller]
fn bounds_are_exact(s: &Segment) {
    const STEPS: u32 = 240;
    let b = s.bounds();
    let length = s.length();
    let mut seen = units::Bounds::of(s.from());
    for k in 0..=STEPS {
        seen.add(s.point_at(length * f64::from(k) / f64::from(STEPS)));
    }
    // Between two samples an arc rises above both by no more than the sagitta of half a step.
    let r = s.radius().unwrap_or(0.0);
    let hidden = r * (1.0 - (s.sweep() / f64::from(STEPS)).cos()) + 1e-9;
    for (bound, sample) in [
        (-b.low.x, -seen.low.x),
        (-b.low.y, -seen.low.y),
        (b.high.x, seen.high.x),
        (b.high.y, seen.high.y),
    ] {
        assert!(sample <= bound + 1e-9, "{s:?} leaves {b:?}: {seen:?}");
        assert!(
            bound <= sample + hidden,
            "{s:?} does not fill {b:?}: {seen:?}"
        );
    }
    // Each side is the start, the end, or a place of the circle that the arc runs through.
    for side in [
        Point::new(b.low.x, f64::NAN),
        Point::new(b.high.x, f64::NAN),
        Point::new(f64::NAN, b.low.y),
        Point::new(f64::NAN, b.high.y),
    ] {
        let touches = |p: Point| (p.x - side.x).abs() < 1e-9 || (p.y - side.y).abs() < 1e-9;
        let extreme = match *s {
            Segment::Arc { centre, .. } => {
                let x = if side.x.is_nan() { centre.x } else { side.x };
                let y = if side.y.is_nan() { centre.y } else { side.y };
                s.nearest(Point::new(x, y)).1 < 1e-9
            }
            Segment::Line { .. } => false,
        };
        assert!(
            touches(s.from()) || touches(s.to()) || extreme,
            "{s:?} {b:?}"
        );
    }
}

#[test]
fn the_bounds_of_arcs_from_every_half_degree_are_exact() {
    let centre = Point::new(103.7, -41.3);
    let sweeps = [
        0.5, 30.0, 89.5, 90.0, 90.5, 135.0, 179.5, 180.0, 180.5, 270.0, 359.5, 360.0,
    ];
    for k in 0..720 {
        let a = f64::from(k) / 2.0;
        for (sweep, r) in sweeps.iter().flat_map(|s| [(*s, 7.5), (*s, 512.0)]) {
            for clockwise in [false, true] {
                let at = |deg: f64| {
                    let (sin, cos) = deg.to_radians().sin_cos();
                    centre.moved(r * cos, r * sin)
                };
                let from = at(a);
                let to = match (sweep < 360.0, clockwise) {
                    (false, _) => from,
                    (true, false) => at(a + sweep),
                    (true, true) => at(a - sweep),
                };
                bounds_are_exact(&Segment::Arc {
                    from,
                    to,
                    centre,
                    clockwise,
                });
            }
        }
    }
}

#[test]
fn the_bounds_of_half_circles_as_programs_write_them_are_exact() {
    // Four decimals: the two ends lie opposite each other but for the last digit, which decides
    // nothing. Two halves make a circle, and the bounds must be the circle's.
    let four = |v: f64| (v * 1e4).round() / 1e4;
    for k in 0..720 {
        let (sin, cos) = (f64::from(k) / 2.0).to_radians().sin_cos();
        let (dx, dy) = (four(25.0 * cos), four(25.0 * sin));
        let centre = Point::new(200.0, 100.0);
        let (p, q) = (centre.moved(dx, dy), centre.moved(-dx, -dy));
        for clockwise in [false, true] {
            let half = |from, to| Segment::Arc {
                from,
                to,
                centre,
                clockwise,
            };
            let (one, other) = (half(p, q), half(q, p));
            bounds_are_exact(&one);
            bounds_are_exact(&other);
            let (mut b, r) = (one.bounds(), p.distance(centre));
            b.join(&other.bounds());
            near(b.low.x, 200.0 - r);
            near(b.low.y, 100.0 - r);
            near(b.high.x, 200.0 + r);
            near(b.high.y, 100.0 + r);
        }
    }
}

#[test]
fn quarter_turns_are_exact() {
    let quarter = Placement {
        origin: Point::new(10.0, 20.0),
        rotation_deg: 90.0,
    };
    assert_eq!(quarter.place(Point::new(3.0, 4.0)), Point::new(6.0, 23.0));
}

#[test]
fn a_flattened_circle_keeps_to_its_sagitta() {
    // r 10, chord error 0.01 mm: n > 70.24, so 71 (computed from r (1 - cos(pi/n))).
    let circle = arc([10.0, 0.0], [10.0, 0.0], [0.0, 0.0], false);
    assert_eq!(circle.flatten(0.01).len(), 71);
}

#[test]
fn an_empty_part_of_an_arc_is_no_full_circle() {
    let circle = arc([10.0, 0.0], [10.0, 0.0], [0.0, 0.0], false);
    near(circle.part(5.0, 5.0).length(), 0.0);
    near(circle.part(0.0, circle.length()).length(), circle.length());
    near(circle.part(circle.length(), 1e9).length(), 0.0);
}

fn places() -> impl Strategy<Value = Point> {
    (-500.0..500.0, -500.0..500.0).prop_map(|(x, y)| Point::new(x, y))
}

fn segments() -> impl Strategy<Value = Segment> {
    let line = (places(), places()).prop_map(|(from, to)| Segment::Line { from, to });
    let arcs = (places(), 0.1..300.0, 0.0..TAU, -6.2..6.2_f64).prop_map(|(centre, r, a, sweep)| {
        let at = |a: f64| centre.moved(r * a.cos(), r * a.sin());
        Segment::Arc {
            from: at(a),
            to: at(a + sweep),
            centre,
            clockwise: sweep < 0.0,
        }
    });
    prop_oneof![line, arcs]
}

proptest! {
    #[test]
    fn a_place_on_a_segment_is_its_own_nearest(s in segments(), part in 0.0..1.0) {
        let along = s.length() * part;
        let (found, off) = s.nearest(s.point_at(along));
        prop_assert!(off < 1e-6);
        prop_assert!(s.point_at(found).distance(s.point_at(along)) < 1e-6);
    }

    #[test]
    fn parts_add_up_to_the_whole(s in segments(), part in 0.05..0.95) {
        let cut = s.length() * part;
        let (a, b) = (s.part(0.0, cut), s.part(cut, s.length()));
        prop_assert!((a.length() + b.length() - s.length()).abs() < 1e-6 * (1.0 + s.length()));
    }

    #[test]
    fn placing_keeps_lengths(s in segments(), at in places(), turn in -360.0..360.0) {
        let placed = s.placed(&Placement { origin: at, rotation_deg: turn });
        prop_assert!((placed.length() - s.length()).abs() < 1e-6 * (1.0 + s.length()));
    }

    #[test]
    fn bounds_hold_every_place(s in segments(), part in 0.0..1.0) {
        let b = s.bounds();
        let p = s.point_at(s.length() * part);
        prop_assert!(p.x >= b.low.x - 1e-6 && p.x <= b.high.x + 1e-6);
        prop_assert!(p.y >= b.low.y - 1e-6 && p.y <= b.high.y + 1e-6);
    }

    #[test]
    fn bounds_of_any_segment_are_exact(s in segments()) {
        bounds_are_exact(&s);
    }

    #[test]
    fn directions_point_along_the_way(s in segments(), part in 0.01..0.99) {
        prop_assume!(s.length() > 0.01);
        let at = s.length() * part;
        let step = s.length() * 1e-5;
        let (p, q) = (s.point_at(at), s.point_at(at + step));
        let (dx, dy) = s.direction_at(at);
        let along = (q.x - p.x) * dx + (q.y - p.y) * dy;
        prop_assert!((along / step - 1.0).abs() < 1e-2, "{along} of {step}");
    }
}
