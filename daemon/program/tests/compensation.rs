//! Kerf compensation against closed forms, a published contour, an independent polygon library, and
//! a second library that offsets lines and arcs.

use cavalier_contours::polyline::{PlineSource, PlineSourceMut, PlineVertex, Polyline};
use program::{
    CarriedOut, Cut, Reading, ReadingRules, Setup, Severity, VetInput, compensated, read, vet,
};
use proptest::prelude::*;
use serde::Deserialize;
use units::{Point, Segment};

fn carried_out(text: &str, kerf_mm: f64) -> Reading {
    compensated(
        read(text.as_bytes(), &ReadingRules::default()),
        Some(kerf_mm),
    )
}

/// The one cut of a program that nothing refuses.
fn cut(text: &str, kerf_mm: f64) -> Cut {
    let mut reading = carried_out(text, kerf_mm);
    let refused: Vec<_> = reading
        .findings
        .iter()
        .filter(|f| f.severity == Severity::Refuse)
        .collect();
    assert!(refused.is_empty(), "{text}\n{refused:?}");
    assert_eq!(reading.cut_list.cuts.len(), 1);
    reading.cut_list.cuts.remove(0)
}

#[track_caller]
fn near(a: f64, b: f64, within: f64) {
    assert!((a - b).abs() <= within, "{a} is not {b}");
}

/// Green's theorem over lines and arcs.
fn area(path: &[Segment]) -> f64 {
    path.iter()
        .map(|s| {
            let (a, b) = (s.from(), s.to());
            let chord = (a.x * b.y - b.x * a.y) / 2.0;
            let r = s.radius().unwrap_or(0.0);
            chord + r * r * (s.sweep() - s.sweep().sin()) / 2.0
        })
        .sum()
}

fn length(path: &[Segment]) -> f64 {
    path.iter().map(Segment::length).sum()
}

fn distance(path: &[Segment], p: Point) -> f64 {
    path.iter()
        .map(|s| s.nearest(p).1)
        .fold(f64::INFINITY, f64::min)
}

/// A closed shape, anticlockwise.
#[derive(Clone, Debug)]
struct Shape {
    path: Vec<Segment>,
}

impl Shape {
    fn polygon(corners: &[(f64, f64)]) -> Self {
        let p = |i: usize| {
            let (x, y) = corners[i % corners.len()];
            Point::new(x, y)
        };
        let path = (0..corners.len()).map(|i| Segment::Line {
            from: p(i),
            to: p(i + 1),
        });
        Self {
            path: path.collect(),
        }
    }

    fn reversed(&self) -> Self {
        let path = self.path.iter().rev().map(|s| match *s {
            Segment::Line { from, to } => Segment::Line { from: to, to: from },
            Segment::Arc {
                from,
                to,
                centre,
                clockwise,
            } => Segment::Arc {
                from: to,
                to: from,
                centre,
                clockwise: !clockwise,
            },
        });
        Self {
            path: path.collect(),
        }
    }

    fn area(&self) -> f64 {
        area(&self.path)
    }

    /// The program that cuts it under `word`, pierced on the contour.
    fn program(&self, word: &str) -> String {
        let start = self.path[0].from();
        format!(
            "G21 G90\nG0 X{} Y{}\n{word}\nM3\n{}G40\nM5\nM2\n",
            start.x,
            start.y,
            self.words()
        )
    }

    fn words(&self) -> String {
        let line = |s: &Segment| match *s {
            Segment::Line { to, .. } => format!("G1 X{:.9} Y{:.9} F1000\n", to.x, to.y),
            Segment::Arc {
                from,
                to,
                centre,
                clockwise,
            } => format!(
                "{} X{:.9} Y{:.9} I{:.9} J{:.9} F1000\n",
                if clockwise { "G2" } else { "G3" },
                to.x,
                to.y,
                centre.x - from.x,
                centre.y - from.y
            ),
        };
        self.path.iter().map(line).collect()
    }

    /// The word that moves it outwards (`by_mm` above 0) or inwards.
    fn word(&self, by_mm: f64) -> &'static str {
        if (self.area() > 0.0) == (by_mm > 0.0) {
            "G42"
        } else {
            "G41"
        }
    }

    fn offset(&self, by_mm: f64) -> Vec<Segment> {
        let cut = cut(&self.program(self.word(by_mm)), 2.0 * by_mm.abs());
        closed(&cut);
        segments(&cut)
    }
}

fn segments(cut: &Cut) -> Vec<Segment> {
    cut.path.iter().map(|e| e.segment).collect()
}

#[track_caller]
fn closed(cut: &Cut) {
    let mut at = cut.pierce;
    for e in &cut.path {
        assert_eq!(e.segment.from(), at, "the path has no gaps");
        at = e.segment.to();
    }
    near(at.distance(cut.pierce), 0.0, 1e-9);
}

fn rectangle() -> Shape {
    Shape::polygon(&[(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0)])
}

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
    let text = include_str!("../../../tests/reference/offsets.json");
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
fn refused_as_too_small(text: &str, kerf_mm: f64, what: &str) {
    let reading = carried_out(text, kerf_mm);
    assert!(
        reading
            .findings
            .iter()
            .any(|f| f.rule == "compensation-open"
                && f.severity == Severity::Refuse
                && f.at.is_some()
                && f.line.is_some()),
        "{what}: {:?}",
        reading.findings
    );
    // The path stays the programmed one, and is not tried again.
    let cut = &reading.cut_list.cuts[0];
    let state = cut.compensation.map(|c| c.carried_out);
    assert_eq!(state, Some(CarriedOut::Refused), "{what}");
    let again = compensated(reading.clone(), Some(kerf_mm));
    assert_eq!(again.findings, reading.findings);
}

fn polyline(path: &[Segment]) -> Polyline {
    let mut line = Polyline::new_closed();
    for s in path {
        // A bulge is the tangent of a quarter of the arc's sweep; a full turn goes in two halves.
        let halves = if s.sweep().abs() > core::f64::consts::PI {
            2
        } else {
            1
        };
        for k in 0..halves {
            let part = s.length() / f64::from(halves);
            let p = s.point_at(part * f64::from(k));
            line.add_vertex(PlineVertex::new(
                p.x,
                p.y,
                (s.sweep() / f64::from(halves) / 4.0).tan(),
            ));
        }
    }
    line
}

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

#[test]
fn a_lead_in_takes_nothing_from_the_contour() {
    // The rectangle clockwise, kerf outside, started at a corner, in the middle of an edge and at an
    // inner corner; led in straight, by an arc, in two moves; with and without over-burn.
    let round = "G1 X0 F1000\nG1 Y50\nG1 X100\nG1 Y0\n";
    let whole = area(&rectangle().offset(0.75));
    for (lead, contour, behind) in [
        (
            "G0 X50 Y-8\nG41\nM3\nG1 Y0\n",
            format!("{round}G1 X50\n"),
            "",
        ),
        (
            "G0 X50 Y-8\nG41\nM3\nG1 Y0\n",
            format!("{round}G1 X48\n"),
            "",
        ),
        (
            "G41\nG0 X50 Y-8\nM3\nG1 Y0\n",
            format!("{round}G1 X50\n"),
            "",
        ),
        (
            "G41 G0 X50 Y-8\nM3\nG1 Y0\n",
            format!("{round}G1 X48\n"),
            "",
        ),
        (
            "G0 X56 Y-6\nG41\nM3\nG3 X50 Y0 I-6 J0\n",
            format!("{round}G1 X50\n"),
            "",
        ),
        (
            "G0 X56 Y-9\nG41\nM3\nG1 Y-6\nG3 X50 Y0 I-6 J0\n",
            format!("{round}G1 X48\n"),
            "",
        ),
        (
            "G0 X62 Y-9\nG41\nM3\nG1 X56\nG1 X50 Y0\n",
            format!("{round}G1 X50\n"),
            "",
        ),
        ("G0 X106 Y0\nG41\nM3\nG1 X100\n", round.to_owned(), ""),
        ("G0 X108 Y-8\nG41\nM3\nG1 X100 Y0\n", round.to_owned(), ""),
        (
            "G0 X100 Y-8\nG41\nM3\nG1 Y0\n",
            round.to_owned(),
            "G1 X96\n",
        ),
        (
            "G0 X50 Y-8\nG41\nM3\nG1 Y0\n",
            format!("{round}G1 X50\n"),
            "G1 Y-4\n",
        ),
        (
            "G0 X50 Y-8\nG41\nM3\nG1 Y0\n",
            format!("{round}G1 X50\n"),
            "G3 X46 Y-4 I0 J-4\n",
        ),
        (
            "G0 X50 Y-8\nG41\nM3\nG1 Y0\n",
            format!("{round}G1 X50\n"),
            "G40\nG1 X46 Y-4\n",
        ),
    ] {
        let text = format!("G21 G90\n{lead}{contour}{behind}G40\nM5\nM2\n");
        let cut = cut(&text, 1.5);
        let path = segments(&cut);
        let mut at = cut.pierce;
        for s in &path {
            assert_eq!(s.from(), at, "{text}");
            at = s.to();
        }
        // The contour: the stretch between the first and the last place at 0.75 below its start.
        let edge = |p: Point| (distance(&rectangle().path, p) - 0.75).abs() < 1e-6;
        let first = path
            .iter()
            .position(|s| edge(s.to()))
            .expect("it is reached")
            + 1;
        let (mut closed, mut done): (Vec<Segment>, f64) = (Vec::new(), 0.0);
        let start = path[first].from();
        for s in &path[first..] {
            let (along, off) = s.nearest(start);
            if done > 1.0 && off < 1e-6 {
                closed.push(s.part(0.0, along));
                break;
            }
            done += s.length();
            closed.push(*s);
        }
        let end = closed.last().map(|s| s.to()).unwrap_or_default();
        near(end.distance(start), 0.0, 1e-6);
        assert!((area(&closed) + whole).abs() < 1e-6, "{text}\n{path:#?}");
        // Nothing of the path comes nearer to the part than half the kerf.
        for s in &path {
            for k in 0..=200 {
                let p = s.point_at(s.length() * f64::from(k) / 200.0);
                assert!(
                    distance(&rectangle().path, p) >= 0.75 - 1e-6,
                    "{text}: {p:?}"
                );
            }
        }
    }
}

#[test]
fn a_contour_begun_in_an_inner_corner_is_trimmed_at_both_ends() {
    // A notch's bottom corner is start and end; the lead-in comes out of its scrap.
    let text = "G21 G90\nG0 X30 Y40\nG41\nM3\nG1 X40 Y30 F1000\nG1 Y50\nG1 X100\nG1 Y0\nG1 X0\nG1 Y50\nG1 X20\nG1 Y30\nG1 X40\nG40\nM5\nM2\n";
    let shape = Shape::polygon(&[
        (40.0, 30.0),
        (40.0, 50.0),
        (100.0, 50.0),
        (100.0, 0.0),
        (0.0, 0.0),
        (0.0, 50.0),
        (20.0, 50.0),
        (20.0, 30.0),
    ]);
    let cut = cut(text, 1.5);
    let path = segments(&cut);
    let start = path[1].from();
    near(start.distance(Point::new(39.25, 30.75)), 0.0, 1e-9);
    near(path[path.len() - 1].to().distance(start), 0.0, 1e-9);
    near(area(&path[1..]), area(&shape.offset(0.75)), 1e-9);
}

#[test]
fn loops_in_the_scrap_at_corners_are_no_necks() {
    // Past the corner, round by three quarters in the scrap, and back across: kerf to the left.
    let text = "G21 G90\nG0 X50 Y-8\nG41\nM3\nG1 X50 Y0 F1000\nG1 X-8\nG2 X-8 Y8 I0 J4\nG2 X0 Y0 I0 J-8\nG1 Y-8\nG40\nM5\nM2\n";
    let reading = carried_out(text, 1.5);
    assert!(
        reading
            .findings
            .iter()
            .all(|f| f.severity != Severity::Refuse),
        "{:?}",
        reading.findings
    );
}

#[test]
fn a_contour_that_misses_its_start_by_a_rounding_is_closed_all_the_same() {
    // Round a corner, along an edge past it or short of it, in an inner corner: 0.01 mm off.
    let whole = area(&rectangle().offset(0.75));
    for (start, end) in [
        ("X0 Y0", "X0 Y0.01"),
        ("X0 Y0", "X0 Y-0.01"),
        ("X0 Y0", "X0.01 Y0"),
        ("X50 Y0", "X49.99 Y0"),
        ("X50 Y0", "X50.01 Y0"),
        ("X50 Y0", "X50 Y0.01"),
    ] {
        let text = format!(
            "G21 G90\nG0 {start}\nG42\nM3\nG1 X100 Y0 F1000\nG1 Y50\nG1 X0\nG1 X0 Y0\nG1 {end}\nG40\nM5\nM2\n"
        );
        let path = segments(&cut(&text, 1.5));
        // No way round a corner is longer than its own quarter turn.
        assert!(
            path.iter().all(|s| s.sweep().abs() < 1.6),
            "{text}\n{path:#?}"
        );
        near(length(&path), 300.0 + core::f64::consts::TAU * 0.75, 0.1);
        near(area(&path), whole, 1.0);
    }
    let inner = "G21 G90\nG0 X30 Y40\nG41\nM3\nG1 X40 Y30 F1000\nG1 Y50\nG1 X100\nG1 Y0\nG1 X0\nG1 Y50\nG1 X20\nG1 Y30\nG1 X40.01 Y30.01\nG40\nM5\nM2\n";
    let path = segments(&cut(inner, 1.5));
    let end = path[path.len() - 1].to();
    near(end.distance(Point::new(39.25, 30.75)), 0.0, 0.02);
}

#[test]
fn a_lead_in_in_facets_takes_nothing_from_the_contour_either() {
    let mut lead = String::new();
    for k in 1..=40 {
        let a = core::f64::consts::FRAC_PI_2 * f64::from(k) / 40.0;
        lead += &format!(
            "G1 X{:.4} Y{:.4}\n",
            50.0 + 6.0 * (1.0 - a.sin()),
            -6.0 * a.cos()
        );
    }
    let text = format!(
        "G21 G90\nG0 X56 Y-6\nG41\nM3\nF1000\n{lead}G1 X0\nG1 Y50\nG1 X100\nG1 Y0\nG1 X50\nG40\nM5\nM2\n"
    );
    let path = segments(&cut(&text, 1.5));
    let contour = &path[path.len() - 9..];
    near(area(contour), -area(&rectangle().offset(0.75)), 1e-6);
}

#[test]
fn crumbs_of_rounding_do_not_disturb_the_offset() {
    let plain = rectangle().offset(0.75);
    let text = rectangle().program("G42").replace(
        "G1 X100.000000000 Y50.000000000 F1000\n",
        "G1 X100.001 Y50.0 F1000\nG1 X100.0 Y49.999\nG1 X100 Y50\n",
    );
    let cut = cut(&text, 1.5);
    near(area(&segments(&cut)), area(&plain), 0.1);
    assert!(cut.path.len() <= 9, "{:?}", cut.path);
}

#[test]
fn feeds_follow_their_pieces_and_corners_take_what_follows() {
    let text =
        "G21 G90\nG0 X0 Y0\nG42\nM3\nG1 X100 F600\nG1 Y50 F1200\nG1 X0\nG1 Y0\nG40\nM5\nM2\n";
    let cut = cut(text, 1.5);
    let told: Vec<_> = cut.path.iter().map(|e| (e.line, e.feed_mm_s)).collect();
    let (slow, fast) = (Some(10.0), Some(20.0));
    assert_eq!(
        told,
        [
            (5, slow),
            (6, fast),
            (6, fast),
            (7, fast),
            (7, fast),
            (8, fast),
            (8, fast),
            (8, fast)
        ]
    );
}

#[test]
fn a_kerf_in_the_program_goes_before_and_a_tool_number_says_nothing() {
    let grown = |word: &str, kerf: f64| area(&segments(&cut(&rectangle().program(word), kerf)));
    near(grown("G42 D1.5", 9.0), grown("G42", 1.5), 1e-9);
    near(grown("G42 D7", 1.5), grown("G42", 1.5), 1e-9);
    // In the active unit: 0.1 inch.
    let inches = rectangle().program("G42 D0.1").replace("G21", "G20");
    let cut = cut(&inches, 9.0);
    let state = cut.compensation.map(|c| c.carried_out);
    assert_eq!(state, Some(CarriedOut::Offset { kerf_mm: 2.54 }));
    for wrong in ["G42 D-1", "G42 D-1.5", "G42 D25.5", "G1 D1 X5"] {
        let reading = carried_out(&rectangle().program(wrong), 1.5);
        assert!(
            reading
                .findings
                .iter()
                .any(|f| f.rule == "unreadable-block"),
            "{wrong}"
        );
    }
}

/// Hole and outline of one part, the kerf in the numbers: half of 1.45, outer corners rounded.
const WITH_KERF: &str = "\
G21 G90
G0 X45 Y40
M3
G1 X49.275 F660
G3 X49.275 Y40 I-9.275 J0
M5
G0 X50 Y-8
M3
G1 X50 Y-0.725 F1100
G1 X0
G2 X-0.725 Y0 I0 J0.725
G1 Y80
G2 X0 Y80.725 I0.725 J0
G1 X100
G2 X100.725 Y80 I0 J-0.725
G1 Y0
G2 X100 Y-0.725 I-0.725 J0
G1 X48
M5
M2
";

/// The same part without.
const WITH_WORDS: &str = "\
G21 G90
G0 X45 Y40
G41
M3
G1 X50 F660
G3 X50 Y40 I-10 J0
G40
M5
G0 X50 Y-8
G41
M3
G1 X50 Y0 F1100
G1 X0
G1 Y80
G1 X100
G1 Y0
G1 X48
G40
M5
M2
";

#[test]
fn a_part_with_the_kerf_in_its_numbers_and_its_twin_with_words_are_cut_alike() {
    let setup = Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [300, 200]\norigin = [60, 60]\nclamp = [270, 170]\n",
    )
    .expect("a right setup");
    let input = VetInput {
        setup: Some(&setup),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(1.45),
        chart_feed_mm_s: Some(1100.0 / 60.0),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: program::Facts::default(),
    };
    let of = |text: &str| {
        let report = vet(&read(text.as_bytes(), &ReadingRules::default()), &input);
        let told: Vec<_> = report
            .findings
            .iter()
            .map(|f| (f.rule.clone(), f.severity, f.cut))
            .collect();
        (told, report.verdict, report.cut_mm)
    };
    let (numbers, words) = (of(WITH_KERF), of(WITH_WORDS));
    assert_eq!(words.0, numbers.0);
    assert_eq!(words.1, numbers.1);
    near(words.2, numbers.2, 0.01);
    let (a, b) = (carried_out(WITH_KERF, 1.45), carried_out(WITH_WORDS, 1.45));
    for (a, b) in a.cut_list.cuts.iter().zip(&b.cut_list.cuts) {
        near(a.pierce.distance(b.pierce), 0.0, 1e-9);
        let (a, b) = (segments(a), segments(b));
        assert_eq!(a.len(), b.len());
        for (s, t) in a.iter().zip(&b) {
            for part in [0.0, 0.3, 0.5, 0.8, 1.0] {
                near(distance(&b, s.point_at(part * s.length())), 0.0, 0.01);
                near(distance(&a, t.point_at(part * t.length())), 0.0, 0.01);
            }
        }
    }
}

#[test]
fn what_vetting_judges_is_the_moved_path() {
    let setup = Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [120, 100]\norigin = [6, 10]\n",
    )
    .expect("a right setup");
    let input = VetInput {
        setup: Some(&setup),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(1.45),
        chart_feed_mm_s: Some(1100.0 / 60.0),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: program::Facts::default(),
    };
    let bounds = |text: &str| {
        let reading = read(text.as_bytes(), &ReadingRules::default());
        let report = vet(&reading, &input);
        // Carried out before, it is the same.
        assert_eq!(vet(&compensated(reading, Some(1.45)), &input), report);
        report.bounds.expect("it cuts")
    };
    near(bounds(WITH_WORDS).low.x, 6.0 - 0.725, 1e-9);
    near(bounds(WITH_WORDS).high.y, 10.0 + 80.725, 1e-9);
}

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
