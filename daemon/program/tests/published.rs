//! Check values printed in NISTIR 6556, "The NIST RS274/NGC Interpreter, Version 3" (17 August
//! 2000), and what follows from them by arithmetic. Heights (Z) of the report's samples are left
//! out: on this table the panel finds the height itself.

use program::{Cut, Reading, ReadingRules, Severity, read};
use units::{Point, Segment};

fn reading(text: &str) -> Reading {
    read(text.as_bytes(), &ReadingRules::default())
}

/// The one cut of a program without a refusal.
fn cut(text: &str) -> Cut {
    let mut reading = reading(text);
    let refused: Vec<_> = reading
        .findings
        .iter()
        .filter(|f| f.severity == Severity::Refuse)
        .collect();
    assert!(refused.is_empty(), "{refused:?}");
    assert_eq!(reading.cut_list.cuts.len(), 1);
    reading.cut_list.cuts.remove(0)
}

fn near(a: f64, b: f64, within: f64) {
    assert!((a - b).abs() <= within, "{a} is not {b}");
}

fn centre(s: &Segment) -> Point {
    match *s {
        Segment::Arc { centre, .. } => centre,
        Segment::Line { .. } => panic!("a line"),
    }
}

#[test]
fn the_centre_format_sample_turns_about_the_printed_centre() {
    // NISTIR 6556, 3.5.3.2: from (7,7) "G17 G2 x 10 y 16 i 3 j 4", centre (10,11), radius 5.
    // Sweep and length computed from those.
    let cut = cut("G21 G0 X7 Y7\nM3\nG17 G2 x 10 y 16 i 3 j 4\nM5\nM2\n");
    let s = &cut.path[0].segment;
    assert_eq!(centre(s), Point::new(10.0, 11.0));
    near(s.radius().unwrap_or(0.0), 5.0, 1e-12);
    near(s.sweep().to_degrees(), -143.1301, 5e-5);
    near(s.length(), 12.490_458, 5e-7);
}

#[test]
fn the_radius_format_sample_has_the_printed_centre() {
    // NISTIR 6556, table 10: from (3,1) "g2 x[6-[4*3/2]] r 7.01": end (0,1), centre
    // (1.5000, 7.8476), clockwise. The expression is written out as 0. Sweep and length computed.
    let cut = cut("G21 G0 X3 Y1\nM3\ng2 x0 r 7.01\nM5\nM2\n");
    let s = &cut.path[0].segment;
    assert_eq!(s.to(), Point::new(0.0, 1.0));
    near(centre(s).x, 1.5, 1e-9);
    near(centre(s).y, 7.847_635, 5e-7);
    near(s.sweep().to_degrees(), -24.711, 5e-4);
    near(s.length(), 3.023_379, 5e-7);
}

/// NISTIR 6556, table 12 (the path of its compensation sample), G41 and G40 left out.
const TABLE_12: &str = "\
G21 G0 X1 Y6
M3
N0010 G1 X1 Y5
N0020 G1 Y4
N0030 G3 X2 Y3 I1
N0040 G2 X3 Y2 J-1
N0050 G1 Y-1
N0060 G2 X2 Y-2 I-1
N0070 G1 X-2
N0080 G2 X-2.6 Y-0.2 J1
N0090 G1 X1.4 Y2.8
N0100 G2 X2 Y3 I0.6 J-0.8
M5
M2
";

#[test]
fn the_path_of_table_12_has_the_lengths_that_follow_from_it() {
    // Computed from the printed coordinates.
    let cut = cut(TABLE_12);
    let half_pi = core::f64::consts::FRAC_PI_2;
    let expected = [
        1.0, half_pi, half_pi, 3.0, half_pi, 4.0, 2.498_092, 5.0, 0.643_501,
    ];
    let from_n0020 = &cut.path[1..];
    assert_eq!(from_n0020.len(), expected.len());
    for (e, length) in from_n0020.iter().zip(expected) {
        near(e.segment.length(), length, 5e-7);
    }
    near(
        from_n0020.iter().map(|e| e.segment.length()).sum(),
        20.853_982,
        1e-6,
    );
    // The closed contour N0040-N0100: perimeter, and area with its sign (clockwise: negative).
    let contour = &cut.path[3..];
    near(
        contour.iter().map(|e| e.segment.length()).sum(),
        18.283_185,
        1e-6,
    );
    near(area(contour.iter().map(|e| e.segment)), -21.141_593, 1e-6);
    for e in &cut.path {
        if let Some(r) = e.segment.radius() {
            near(r, 1.0, 1e-12);
        }
    }
}

/// Green's theorem over lines and arcs.
fn area(path: impl Iterator<Item = Segment>) -> f64 {
    path.map(|s| {
        let (a, b) = (s.from(), s.to());
        let chord = (a.x * b.y - b.x * a.y) / 2.0;
        let r = s.radius().unwrap_or(0.0);
        chord + r * r * (s.sweep() - s.sweep().sin()) / 2.0
    })
    .sum()
}

#[test]
fn g92_shifts_by_the_printed_offsets() {
    // NISTIR 6556, 3.5.18: at X = 4 with offset 0, "G92 X7" makes the offset -3; "G92 X9" then -5.
    let at = |shift: &str, x: &str| {
        cut(&format!("G21 G0 X4 Y0\n{shift}\nM3\nG1 X{x}\nM5\nM2\n")).path[0]
            .segment
            .to()
            .x
    };
    near(at("G92 X7", "17"), 17.0 - 3.0, 1e-12);
    near(at("G92 X7\nG92 X9", "17"), 17.0 - 5.0, 1e-12);
    near(at("G92 X7\nG92.1", "17"), 17.0, 1e-12);
    near(at("G92 X7\nG92.2", "17"), 17.0, 1e-12);
    near(at("G92 X7\nG92.2\nG92.3", "17"), 14.0, 1e-12);
}

#[test]
fn words_of_one_line_act_in_the_printed_order() {
    // NISTIR 6556, table 8: "G0 X10 M5" turns off before the move, "G1 X10 M3" on before it.
    let on_the_line = cut("G21 G0 X0\nG1 X10 M3 F600\nG1 X20\nG0 X30 M5\nM2\n");
    assert_eq!(on_the_line.pierce, Point::new(0.0, 0.0));
    near(on_the_line.length_mm(), 20.0, 1e-12);
    // Feed before motion; G91 before motion; M2 last.
    let cut = cut("G21 G0 X5\nM3\nX5 G91 F600 G1\nX5 M5 M2\n");
    near(cut.length_mm(), 5.0, 1e-12);
    assert_eq!(cut.path[0].feed_mm_s, Some(10.0));
}

#[test]
fn inverse_time_feed_is_a_share_of_the_move() {
    // NISTIR 6556, 3.5.19 (G93): F2.0 means that the move takes half a minute.
    let cut = cut("G21 G0 X0\nM3\nG93 G1 X30 F2.0\nM5\nM2\n");
    near(cut.path[0].feed_mm_s.unwrap_or(0.0), 30.0 / 30.0, 1e-12);
}

#[test]
fn a_fragment_of_an_invented_order_is_read_without_a_finding() {
    // Our own invented demonstration part: one hole and the outline of a hinge plate, kerf 1.45.
    let text = "\
G21 G90 G17 G40
(sheet A steel 5 mm, set 40, kerf 1.45)
G00 X20.8 Y20
M03
G01 X25.775 F660
G03 X25.775 Y20 I-5.775 J0
M05
G00 X76 Y-6.725
M03
G03 X70 Y-0.725 I-6 J0 F1100
G01 X12
G02 X-0.725 Y12 I0 J12.725
G01 Y78
G02 X12 Y90.725 I12.725 J0
G01 X128
G02 X140.725 Y78 I0 J-12.725
G01 Y12
G02 X128 Y-0.725 I-12.725 J0
G01 X68
M05
M02
";
    let reading = reading(text);
    assert_eq!(reading.findings, Vec::new());
    let cuts = &reading.cut_list.cuts;
    assert_eq!(cuts.len(), 2);
    near(
        cuts[0].length_mm(),
        4.975 + core::f64::consts::TAU * 5.775,
        1e-9,
    );
    // Straight: 58 + 66 + 116 + 66 + 60; quarter turns: 6 and four of 12.725.
    near(
        cuts[1].length_mm(),
        366.0 + core::f64::consts::FRAC_PI_2 * (6.0 + 4.0 * 12.725),
        1e-9,
    );
    assert_eq!((cuts[1].on_line, cuts[1].off_line), (9, 20));
}
