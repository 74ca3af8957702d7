//! What holds for any shape.

use super::*;

/// Corners round a circle, so many of them, at angles and radii of their own.
fn convex() -> impl Strategy<Value = Shape> {
    (3_usize..12, 10.0_f64..60.0, 0.0_f64..1.0).prop_map(|(n, r, turn)| {
        let corners: Vec<_> = (0..n)
            .map(|k| {
                let a = (k as f64 + turn + 0.3 * ((k * 7) % 3) as f64 / 3.0)
                    * core::f64::consts::TAU
                    / n as f64;
                let round = |v: f64| (v * 1e4).round() / 1e4;
                (round(r * a.cos()), round(r * a.sin()))
            })
            .collect();
        Shape::polygon(&corners)
    })
}

/// A star-shaped outline with inner corners and, here and there, an arc.
fn wavy() -> impl Strategy<Value = Shape> {
    prop::collection::vec((14.0_f64..30.0, any::<bool>()), 4..9).prop_map(|spokes| {
        let n = spokes.len();
        let at = |k: usize| {
            let a = k as f64 * core::f64::consts::TAU / n as f64;
            let r = spokes[k % n].0;
            let round = |v: f64| (v * 1e4).round() / 1e4;
            Point::new(round(r * a.cos()), round(r * a.sin()))
        };
        let path = (0..n).map(|k| {
            let (from, to) = (at(k), at((k + 1) % n));
            if spokes[k].1 {
                // A flat arc: its centre three chords off the middle, the bow outwards.
                let middle = from.toward(to, 0.5);
                let (dx, dy) = (to.x - from.x, to.y - from.y);
                Segment::Arc {
                    from,
                    to,
                    centre: middle.moved(-dy * 3.0, dx * 3.0),
                    clockwise: false,
                }
            } else {
                Segment::Line { from, to }
            }
        });
        Shape {
            path: path.collect(),
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn the_other_way_round_with_the_other_word_is_the_same_curve(shape in wavy(), by in 0.2_f64..1.2) {
        // Ends nearer than 0.001 mm count as one place, and which of the two goes by direction.
        for by in [by, -by] {
            let (there, back) = (shape.offset(by), shape.reversed().offset(by));
            prop_assert!((area(&there) + area(&back)).abs() < 1e-3 * length(&there));
            prop_assert!((length(&there) - length(&back)).abs() < 1e-2);
            for s in &there {
                for part in [0.0, 0.5, 1.0] {
                    prop_assert!(distance(&back, s.point_at(part * s.length())) < 1.1e-3);
                }
            }
        }
    }

    #[test]
    fn whatever_path_stands_under_the_words_it_comes_out_whole(
        moves in prop::collection::vec((0_u8..6, -12_i32..12, -12_i32..12, 1_i32..9), 1..14),
        kerf in 0.1_f64..6.0,
        off_at in 0_usize..14,
        travels in any::<bool>(),
        left in any::<bool>(),
    ) {
        let word = if left { "G41" } else { "G42" };
        let travel = if travels { "G0 X1 Y1\n" } else { "" };
        let mut text = format!("G21 G91\nG0 X5 Y5\n{word}\n{travel}M3\nF1000\n");
        for (i, (kind, x, y, r)) in moves.iter().enumerate() {
            if i == off_at {
                text += "G40\n";
            }
            text += &match kind {
                0..=2 => format!("G1 X{x} Y{y}\n"),
                3 => format!("G2 X{x} Y{y} R{}\n", r * 5),
                4 => format!("G3 X0 Y0 I{r} J{y}\n"),
                _ => format!("G3 X{x} Y{y} R-{}\n", r * 5),
            };
        }
        text += "G40\nM5\nM2\n";
        for cut in &carried_out(&text, kerf).cut_list.cuts {
            let mut at = cut.pierce;
            for e in &cut.path {
                prop_assert_eq!(e.segment.from(), at);
                at = e.segment.to();
                prop_assert!(at.x.is_finite() && at.y.is_finite());
                prop_assert!(e.segment.length().is_finite() && e.line > 0);
                if let Segment::Arc { from, to, centre, .. } = e.segment {
                    prop_assert!((from.distance(centre) - to.distance(centre)).abs() < 0.1);
                }
            }
        }
    }

    #[test]
    fn an_offset_is_refused_or_is_that_of_the_library(shape in wavy(), by in 0.2_f64..14.0, inward in any::<bool>()) {
        let by = if inward { -by } else { by };
        let reading = carried_out(&shape.program(shape.word(by)), 2.0 * by.abs());
        let theirs = polyline(&shape.path).parallel_offset(-by);
        let cut = &reading.cut_list.cuts[0];
        let told = reading.findings.iter().any(|f| f.rule == "compensation-open");
        match cut.compensation.map(|c| c.carried_out) {
            Some(CarriedOut::Offset { .. }) => {
                prop_assert!(!told);
                prop_assert_eq!(theirs.len(), 1);
                let ours = segments(cut);
                prop_assert!((area(&ours) - theirs[0].area()).abs() <= 1e-4 * length(&ours));
                for v in theirs[0].iter_vertexes() {
                    prop_assert!(distance(&ours, Point::new(v.x, v.y)) <= 0.0021);
                }
            }
            state => {
                prop_assert_eq!(state, Some(CarriedOut::Refused));
                prop_assert!(told);
                // Something of the shape is lost in theirs: in two, gone, or fewer pieces than the
                // shape has (their corner arcs counted off).
                let pieces = theirs.first().map_or(0, |line| {
                    let corner = |p: Point| shape.path.iter().any(|s| (s.from().distance(p) - by.abs()).abs() < 1e-4);
                    line.iter_segments()
                        .filter(|(a, b)| {
                            let s = [Point::new(a.x, a.y), Point::new(b.x, b.y)];
                            !(a.bulge != 0.0 && s.iter().all(|p| corner(*p)))
                        })
                        .count()
                });
                prop_assert!(theirs.len() != 1 || pieces < shape.path.len());
            }
        }
    }

    #[test]
    fn a_wider_kerf_outside_goes_round_more_and_inside_round_less(shape in wavy(), by in 0.2_f64..1.0, more in 0.01_f64..0.2) {
        let grown = |by: f64| area(&shape.offset(by));
        prop_assert!(grown(by + more) > grown(by));
        prop_assert!(grown(by) > shape.area());
        prop_assert!(grown(-by) < shape.area());
        prop_assert!(grown(-by - more) < grown(-by));
    }

    #[test]
    fn round_a_convex_shape_every_place_lies_at_half_the_kerf(shape in convex(), by in 0.2_f64..4.0) {
        let path = shape.offset(by);
        for s in &path {
            for k in 0..=20 {
                let p = s.point_at(s.length() * f64::from(k) / 20.0);
                prop_assert!((distance(&shape.path, p) - by).abs() < 0.01);
            }
        }
        // Straight edges and one full turn of corners in all (small turns stay pointed).
        let round = length(&shape.path) + core::f64::consts::TAU * by;
        prop_assert!((length(&path) - round).abs() < 0.01);
    }
}
