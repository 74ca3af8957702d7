//! Lead-ins, loops, crumbs, feeds, and what vetting makes of the moved path.

use super::*;

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
