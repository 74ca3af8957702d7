//! Closed forms, a published contour, and two independent libraries.

use super::*;

#[test]
fn a_rectangle_grows_and_shrinks_by_the_closed_form() {
    // 100 x 50 out by 0.75 with round corners: A + P r + pi r^2 = 5226.7671459 (closed form);
    // in by 0.75: 98.5 x 48.5 = 4777.25 (closed form).
    let out = rectangle().offset(0.75);
    near(area(&out), 5_226.767_145_9, 5e-8);
    near(length(&out), 300.0 + core::f64::consts::TAU * 0.75, 1e-9);
    let inward = rectangle().offset(-0.75);
    near(area(&inward), 4_777.25, 1e-9);
    assert_eq!(inward.len(), 4, "inner corners are trimmed, not rounded");
}

/// NISTIR 6556, table 12: the contour N0040 to N0100, with its own G41 and lead-in before it.
const TABLE_12: &str = "\
G21
N0010 G0 X1 Y5
N0015 M3
N0020 G1 Y4 F500
N0030 G3 X2 Y3 I1
N0040 G2 X3 Y2 J-1
N0050 G1 Y-1
N0060 G2 X2 Y-2 I-1
N0070 G1 X-2
N0080 G2 X-2.6 Y-0.2 J1
N0090 G1 X1.4 Y2.8
N0100 G2 X2 Y3 I0.6 J-0.8
N0110 G40
M5
M2
";

#[test]
fn the_contour_of_table_12_grows_by_the_published_values() {
    // Area and perimeter of the programmed contour: 21.141593 and 18.283185; moved out by 0.5:
    // 31.068583 and 21.424778 (A + P r + pi r^2, P + 2 pi r).
    let text = TABLE_12.replace("N0015 M3", "N0015 G41\nM3");
    let cut = cut(&text, 1.0);
    let all = segments(&cut);
    // The first straight move is the tangent from (1,5) to the circle of 0.5 about (1,4): it touches
    // it 60 degrees off the way back. Then round to the lead-in arc's offset: 0.5 about (2,4).
    assert_eq!(cut.pierce, Point::new(1.0, 5.0));
    near(all[0].to().x, 1.0 + 0.5 * 0.75_f64.sqrt(), 1e-9);
    near(all[0].to().y, 4.25, 1e-9);
    near(all[1].to().distance(Point::new(1.5, 4.0)), 0.0, 1e-9);
    near(all[2].radius().unwrap_or(0.0), 0.5, 1e-9);
    let contour = &all[3..];
    assert_eq!(contour.len(), 7, "tangent pieces need no corner");
    near(contour[0].from().distance(contour[6].to()), 0.0, 1e-9);
    near(area(contour), -31.068_583, 5e-7);
    near(length(contour), 21.424_778, 5e-7);
    // Lines of the program stay with what is made of them.
    let lines: Vec<u32> = cut.path.iter().map(|e| e.line).collect();
    assert_eq!(lines, [5, 6, 6, 7, 8, 9, 10, 11, 12, 13]);
}

#[test]
fn the_first_move_of_table_12_is_the_tangent_where_the_corner_is_in_its_way() {
    // NISTIR 6556, appendix B: the first straight move is the tangent to the circle about the
    // programmed place. Here the path turns away round the corner (0,0): from (-10,0) to the right.
    let text = "G21 G0 X-10 Y0\nG41\nM3\nG1 X0 F600\nG1 Y-20\nG1 X-20\nM5 G40\nM2\n";
    let cut = cut(text, 2.0);
    let first = cut.path[0].segment;
    assert_eq!(cut.pierce, Point::new(-10.0, 0.0));
    // The tangent point of a circle of 1 seen from 10 mm: at acos(0.1) from the way back.
    let angle = core::f64::consts::PI - 0.1_f64.acos();
    near(first.to().x, angle.cos(), 1e-9);
    near(first.to().y, angle.sin(), 1e-9);
    let (dx, dy) = first.direction_at(0.0);
    near(dx * first.to().x + dy * first.to().y, 0.0, 1e-9);
    // Then round the corner, to where the next piece starts.
    near(cut.path[1].segment.radius().unwrap_or(0.0), 1.0, 1e-9);
    near(
        cut.path[1].segment.to().distance(Point::new(1.0, 0.0)),
        0.0,
        1e-9,
    );
}

#[derive(Deserialize)]
struct Reference {
    source: String,
    shapes: Vec<Known>,
}

#[derive(Deserialize)]
struct Known {
    name: String,
    start: Point,
    path: Vec<Piece>,
    area_mm2: f64,
    length_mm: f64,
    offsets: Vec<Moved>,
}

#[derive(Deserialize)]
struct Piece {
    to: Point,
    centre: Option<Point>,
    #[serde(default)]
    clockwise: bool,
}

#[derive(Deserialize)]
struct Moved {
    by_mm: f64,
    whole: bool,
    #[serde(default)]
    area_mm2: f64,
    #[serde(default)]
    length_mm: f64,
    #[serde(default)]
    samples: Vec<Point>,
}

fn reference() -> Vec<(Known, Shape)> {
    let text = include_str!("../../../../tests/reference/offsets.json");
    let reference: Reference = serde_json::from_str(text).expect("the reference can be read");
    assert!(
        reference.source.starts_with("shapely 2."),
        "{}",
        reference.source
    );
    let shape = |k: Known| {
        let mut at = k.start;
        let path = k.path.iter().map(|p| {
            let (from, to) = (at, p.to);
            at = to;
            match p.centre {
                None => Segment::Line { from, to },
                Some(centre) => Segment::Arc {
                    from,
                    to,
                    centre,
                    clockwise: p.clockwise,
                },
            }
        });
        let shape = Shape {
            path: path.collect(),
        };
        (k, shape)
    };
    reference.shapes.into_iter().map(shape).collect()
}

#[test]
fn every_reference_shape_comes_out_as_in_the_independent_polygon_library() {
    let mut compared = 0;
    for (known, shape) in reference() {
        // The library works on chords within 0.0002 mm of the arcs.
        let chords = |length: f64| 0.0004 * length + 1e-3;
        near(shape.area(), known.area_mm2, chords(known.length_mm));
        for moved in &known.offsets {
            for shape in [shape.clone(), shape.reversed()] {
                let what = format!("{} by {}", known.name, moved.by_mm);
                let text = shape.program(shape.word(moved.by_mm));
                if !moved.whole {
                    refused_as_too_small(&text, 2.0 * moved.by_mm.abs(), &what);
                    continue;
                }
                let path = shape.offset(moved.by_mm);
                let (a, l) = (area(&path).abs(), length(&path));
                assert!(
                    (a - moved.area_mm2).abs() <= chords(moved.length_mm),
                    "{what}: area {a}"
                );
                assert!((l - moved.length_mm).abs() <= 0.01, "{what}: length {l}");
                for p in &moved.samples {
                    let off = distance(&path, *p);
                    assert!(off <= 0.001, "{what}: ({}, {}) is {off} off", p.x, p.y);
                }
                compared += 1;
            }
        }
    }
    assert!(compared >= 150, "{compared}");
}

#[track_caller]
#[test]
fn every_reference_shape_comes_out_as_in_a_library_that_offsets_lines_and_arcs() {
    for (known, shape) in reference() {
        for moved in known.offsets.iter().filter(|m| m.whole) {
            // Above 0 is to the left: of an anticlockwise shape, inwards.
            let theirs = polyline(&shape.path).parallel_offset(-moved.by_mm);
            assert_eq!(theirs.len(), 1, "{} by {}", known.name, moved.by_mm);
            let ours = shape.offset(moved.by_mm);
            let what = format!("{} by {}", known.name, moved.by_mm);
            // Small turns stay pointed here, by at most 0.002 mm.
            let allowed = 1e-4 * length(&ours);
            assert!((area(&ours) - theirs[0].area()).abs() <= allowed, "{what}");
            assert!(
                (length(&ours) - theirs[0].path_length()).abs() <= 2e-2,
                "{what}"
            );
            for v in theirs[0].iter_vertexes() {
                let off = distance(&ours, Point::new(v.x, v.y));
                assert!(off <= 0.0021, "{what}: ({}, {}) is {off} off", v.x, v.y);
            }
        }
    }
}
