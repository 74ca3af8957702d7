//! Programs as they come: untidy, and meaning one thing all the same.

use program::{Cut, Finding, ReadingRules, Severity, read};
use units::{Point, Segment};

fn cuts_with(text: &[u8], rules: &ReadingRules) -> Vec<Cut> {
    let reading = read(text, rules);
    let bad: Vec<&Finding> = reading
        .findings
        .iter()
        .filter(|f| f.severity != Severity::Note)
        .collect();
    assert!(bad.is_empty(), "{bad:?}");
    reading.cut_list.cuts
}

fn cuts(text: &str) -> Vec<Cut> {
    cuts_with(text.as_bytes(), &ReadingRules::default())
}

fn rules_of(text: &str) -> Vec<String> {
    let reading = read(text.as_bytes(), &ReadingRules::default());
    reading.findings.into_iter().map(|f| f.rule).collect()
}

/// Ends of the path, the pierce first.
fn corners(cut: &Cut) -> Vec<(f64, f64)> {
    let ends = cut.path.iter().map(|e| e.segment.to());
    core::iter::once(cut.pierce)
        .chain(ends)
        .map(|p| (p.x, p.y))
        .collect()
}

#[test]
fn one_program_dressed_in_many_ways_is_one_cut_list() {
    let plain = cuts("G21 G90\nG0 X48.474 Y10\nM3\nG1 X60 Y10 F1100\nG1 X60 Y30\nM5\nM2\n");
    for untidy in [
        "\u{feff}g21g90\r\ng0x48.474y10\r\nm3\r\ng1x60f1100\r\ny30\r\nm5\r\nm2",
        "G21\nG90\nG92 X0 Y0\nG00 X  48.474 Y 1 0\nM03\nG4 P0.3\nF1100\nG01 X60.\nY30.000 (up)\nM05 ; off\nM2(end)",
        "%\nN10 G21 G90 (a) (b)\nN20 G0 X+48.474 Y+10\nN30 S100 M3\nN40 F1100\nN50 G1 X60\nN60 G1 Y30\nN70 M5\n%\n",
        "(x)\n\n G 2 1\n\t\nG0 Z15\nG0 X48.474 Y10 Z3\nM3 G4 P.4\nG1 Z1 F500\nG1 X60 Y10 Z1 F1100\nY30\nM5\nG0 Z15\nM30\n",
        "G21 G91\nG0 X48.474 Y10\nM3\nG1 X11.526 F1100\nY20\nM5\nG90\nM2\n",
    ] {
        let all = cuts(untidy);
        assert_eq!(all.len(), 1, "{untidy}");
        assert_eq!(all[0].path.len(), 2, "{untidy}");
        for (a, b) in all[0].path.iter().zip(&plain[0].path) {
            assert!(
                a.segment.from().distance(b.segment.from()) < 1e-9,
                "{untidy}"
            );
            assert!(a.segment.to().distance(b.segment.to()) < 1e-9, "{untidy}");
            assert_eq!(a.feed_mm_s, b.feed_mm_s, "{untidy}");
        }
    }
}

#[test]
fn a_table_may_have_other_torch_words() {
    let rules = ReadingRules {
        torch_on: vec![7],
        torch_off: vec![8],
    };
    let text = b"G21\nM3 S1000\nG0 X10 Y10\nM7\nG1 X60 F1100\nM8\nM5\nM2\n";
    let all = cuts_with(text, &rules);
    assert_eq!(all.len(), 1);
    assert_eq!((all[0].on_line, all[0].off_line), (4, 6));
}

#[test]
fn inches_are_exact() {
    let all = cuts("G70\nG0 X1 Y1\nM3\nG1 X2.5 F60\nG2 X3 Y.5 I0 J-.5\nM5\nM2\n");
    assert_eq!(
        corners(&all[0]),
        [(25.4, 25.4), (63.5, 25.4), (3.0 * 25.4, 12.7)]
    );
    assert_eq!(all[0].path[0].feed_mm_s, Some(25.4));
}

#[test]
fn one_centre_word_is_enough_and_arcs_stay_in_force() {
    let all = cuts("G21 G0 X10 Y0\nM3\nG3 X-10 I-10 F500\nX10 I10\nG2 I-5\nM5\nM2\n");
    let turns: Vec<f64> = all[0]
        .path
        .iter()
        .map(|e| e.segment.sweep().to_degrees().round())
        .collect();
    assert_eq!(turns, [180.0, 180.0, -360.0]);
}

#[test]
fn absolute_centres_follow_a_shifted_zero() {
    let all =
        cuts("G21 G90.1\nG0 X100 Y100\nG92 X0 Y0\nG0 X10 Y0\nM3\nG3 X-10 Y0 I0 J0 F500\nM5\nM2\n");
    match all[0].path[0].segment {
        Segment::Arc { centre, to, .. } => {
            assert_eq!(centre, Point::new(100.0, 100.0));
            assert_eq!(to, Point::new(90.0, 100.0));
        }
        Segment::Line { .. } => panic!("a line"),
    }
}

#[test]
fn g92_before_the_first_move_says_where_the_torch_stands() {
    let all = cuts("G21\nG92 X5 Y5\nM3\nG1 X20 F500\nM5\nM2\n");
    assert_eq!(corners(&all[0]), [(5.0, 5.0), (20.0, 5.0)]);
}

#[test]
fn what_follows_the_end_is_not_carried_out_and_is_told() {
    let text = "G21\nM3\nG1 X20 F500\nM5\nM2\nG0 rubbish X1O\nM3\n";
    let reading = read(text.as_bytes(), &ReadingRules::default());
    assert_eq!(reading.cut_list.cuts.len(), 1);
    assert_eq!(rules_of(text), ["after-end"]);
}

#[test]
fn one_bad_block_is_one_finding_and_reading_goes_on() {
    let text = "G21 G0 X10 Y10\nM3\nG1 X1O F500\nG2 X30 Y30 I10 J0\nG1 X50 Y50\nG1 X5O\nM5\nM2\n";
    assert_eq!(rules_of(text), ["unreadable-block", "unreadable-block"]);
}

#[test]
fn a_hopeless_program_does_not_fill_the_memory() {
    let n = program::LISTED_PER_RULE + 5000;
    let text = format!("G21\nM3\n{}M5\nM2\n", "G1 X1O\n".repeat(n));
    let rules = rules_of(&text);
    assert_eq!(rules.len(), program::LISTED_PER_RULE + 1);
    // The last stands for all that are not listed, and the number of all is true.
    let reading = read(text.as_bytes(), &ReadingRules::default());
    let last = reading.findings.last().expect("findings");
    assert_eq!(last.times(), 5000);
    let all: usize = reading.findings.iter().map(program::Finding::times).sum();
    assert_eq!(all, n);
}

#[test]
fn line_ends_of_every_kind_count_lines_alike() {
    for end in ["\n", "\r\n", "\r"] {
        let text = ["G21", "G0 X10", "M3", "", "G1 X20 F500", "M5", "M2"].join(end);
        let all = cuts(&text);
        assert_eq!(
            (all[0].on_line, all[0].path[0].line, all[0].off_line),
            (3, 5, 6)
        );
    }
}

#[test]
fn an_arc_that_misses_a_little_is_cut_about_the_middle_of_its_chord() {
    let all = cuts("G21 G0 X10 Y0\nM3\nG3 X-10 Y0 I-10.02 J0 F500\nM5\nM2\n");
    let s = all[0].path[0].segment;
    let (Segment::Arc { centre, .. }, Some(r)) = (s, s.radius()) else {
        panic!("a line");
    };
    assert!((centre.distance(s.to()) - r).abs() < 1e-12);
    assert!(centre.distance(Point::new(0.0, 0.0)) < 1e-12);
}

#[test]
fn a_zero_shifted_in_the_first_cut_leaves_no_gap_in_the_path() {
    let reading = read(
        b"G21 G0\nM3\nG92 X10\nG1 X15 F500\nM5\nM2\n",
        &ReadingRules::default(),
    );
    assert_eq!(corners(&reading.cut_list.cuts[0]), [(0.0, 0.0), (5.0, 0.0)]);
}
