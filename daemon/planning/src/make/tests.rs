use std::f64::consts::PI;

use units::{Point, Segment};

use super::{MadeCut, MakeSettings, Shape};

fn settings() -> MakeSettings {
    MakeSettings {
        thickness_mm: 5.0,
        kerf_mm: 1.45,
        feed_mm_min: 1100.0,
        row: "x".into(),
        material: "mild-steel".into(),
    }
}

fn cuts(shape: Shape) -> Vec<MadeCut> {
    let settings = settings();
    shape.check(&settings).expect("it can be cut");
    shape
        .cuts(&settings, Point::new(600.0, 400.0))
        .expect("made")
}

/// What a contour encloses, by Green's theorem: the chords' trapezoids and the arcs' segments.
/// Anticlockwise positive.
fn area(contour: &[Segment]) -> f64 {
    contour
        .iter()
        .map(|s| {
            let (a, b) = (s.from(), s.to());
            let chord = (a.x * b.y - b.x * a.y) / 2.0;
            let r = s.radius().unwrap_or(0.0);
            let sweep = s.sweep();
            chord + r * r / 2.0 * (sweep - sweep.sin())
        })
        .sum()
}

fn length(contour: &[Segment]) -> f64 {
    contour.iter().map(Segment::length).sum()
}

/// By Steiner's formula a convex shape of area A and girth P, grown by d, has the area
/// A + P d + pi d^2 and the girth P + 2 pi d; shrunk, with -d where its corners stay round.
fn sized(contour: &[Segment], area_mm2: f64, girth_mm: f64, d: f64) {
    let is = area(contour).abs();
    let wanted = area_mm2 + girth_mm * d + PI * d * d;
    let girth = girth_mm + 2.0 * PI * d;
    // 0.01 mm all round.
    assert!((is - wanted).abs() < 0.01 * girth_mm, "{is} for {wanted}");
    assert!((length(contour) - girth).abs() < 0.06, "{girth}");
}

#[test]
fn half_a_kerf_from_the_path_lie_the_finished_sizes() {
    let half = 1.45 / 2.0;
    for d in [12.0, 57.3, 250.0] {
        let disc = cuts(Shape::Disc { diameter: d });
        sized(disc[0].contour(), PI * d * d / 4.0, PI * d, half);
    }
    let (w, h) = (120.0, 80.0);
    for r in [0.0, 6.0, 40.0] {
        let shape = Shape::Rectangle {
            width: w,
            height: h,
            radius: r,
        };
        let made = cuts(shape);
        let area_mm2 = w * h - (4.0 - PI) * r * r;
        let girth = 2.0 * (w + h) - (8.0 - 2.0 * PI) * r;
        sized(made[0].contour(), area_mm2, girth, half);
    }
    let (l, s) = (60.0, 12.0);
    let slot = cuts(Shape::Slot {
        length: l,
        width: s,
        angle: 33.0,
    });
    let area_mm2 = (l - s) * s + PI * s * s / 4.0;
    sized(slot[0].contour(), area_mm2, 2.0 * (l - s) + PI * s, -half);
    let ring = cuts(Shape::Ring {
        outer: 90.0,
        inner: 30.0,
    });
    sized(ring[0].contour(), PI * 225.0, PI * 30.0, -half);
    sized(ring[1].contour(), PI * 2025.0, PI * 90.0, half);
}

#[test]
fn paths_have_no_gaps_holes_go_first_and_anticlockwise_outlines_clockwise() {
    let ring = cuts(Shape::Ring {
        outer: 90.0,
        inner: 30.0,
    });
    assert!(area(ring[0].contour()) > 0.0 && area(ring[1].contour()) < 0.0);
    assert_eq!(ring[0].feed_mm_min, 660.0);
    assert_eq!(ring[1].feed_mm_min, 1100.0);
    for cut in &ring {
        for two in cut.path.windows(2) {
            assert!(two[0].to().distance(two[1].from()) < 1e-9);
        }
        let (first, last) = (cut.contour()[0], cut.contour()[cut.contour().len() - 1]);
        assert!(first.from().distance(last.to()) < 1e-9);
    }
}

#[test]
fn the_kerf_of_a_line_lies_on_the_waste() {
    let (from, to) = (Point::new(50.0, 100.0), Point::new(250.0, 100.0));
    for (keep_left, y) in [(false, 100.725), (true, 99.275)] {
        let line = cuts(Shape::Line {
            from,
            to,
            keep_left,
            trim: false,
        });
        assert_eq!(line[0].pierce().y, y);
        // What is kept is right of travel.
        assert_eq!(line[0].path[0].to().x < 100.0, keep_left);
    }
}

#[test]
fn what_cannot_come_out_is_refused_by_the_rule_and_no_number_panics() {
    let rule = |shape: Shape| match shape.check(&settings()) {
        Err(why) => why.rule,
        Ok(()) => panic!("{shape:?} passes"),
    };
    let slot = |length, width| Shape::Slot {
        length,
        width,
        angle: 0.0,
    };
    let holes = |diameter, pitch| Shape::Holes {
        count: 3,
        diameter,
        pitch,
        angle: 0.0,
        rows: 1,
        row_pitch: 0.0,
    };
    assert_eq!(rule(holes(3.0, 40.0)), Some("hole-too-small"));
    assert_eq!(rule(holes(20.0, 22.0)), Some("web-too-thin"));
    assert_eq!(rule(slot(60.0, 1.0)), Some("hole-too-small"));
    assert_eq!(
        rule(Shape::Ring {
            outer: 40.0,
            inner: 35.0
        }),
        Some("web-too-thin")
    );
    for bad in [f64::NAN, f64::INFINITY, -5.0, 0.0, 1e300] {
        assert_eq!(rule(Shape::Disc { diameter: bad }), None);
        assert_eq!(
            rule(Shape::Rectangle {
                width: 50.0,
                height: bad,
                radius: 0.0
            }),
            None
        );
        assert_eq!(rule(slot(bad, 10.0)), None);
        assert_eq!(rule(holes(bad, 40.0)), None);
        assert_eq!(rule(holes(20.0, bad)), None);
        let (from, to) = (Point::new(bad, bad), Point::new(1.0, 1.0));
        let line = Shape::Line {
            from,
            to,
            keep_left: false,
            trim: false,
        };
        assert!(bad == 0.0 || bad == -5.0 || rule(line).is_none());
    }
}
