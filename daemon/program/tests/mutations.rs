//! One change of a clean program, at every place where it can be made: the rule that watches for it
//! speaks, and the verdict is no longer clear.

use program::{ReadingRules, Report, Setup, Verdict, VetInput, read, vet};
use units::Point;

/// One hole and the outline of an invented hinge plate.
const CLEAN: &str = "\
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

fn setup() -> Setup {
    Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [600, 400]\norigin = [20, 30]\nclamp = [580, 380]\n",
    )
    .expect("a right setup")
}

fn vetted_on(program: &str, setup: &Setup) -> Report {
    let input = VetInput {
        setup: Some(setup),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(1.45),
        chart_feed_mm_s: Some(1100.0 / 60.0),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: program::Facts::default(),
    };
    vet(&read(program.as_bytes(), &ReadingRules::default()), &input)
}

fn vetted(program: &str) -> Report {
    vetted_on(program, &setup())
}

#[track_caller]
fn speaks(report: &Report, rule: &str, change: &str) {
    let rules: Vec<_> = report.findings.iter().map(|f| f.rule.as_str()).collect();
    assert!(
        rules.contains(&rule),
        "{change}: {rule} is not among {rules:?}"
    );
}

#[track_caller]
fn bars(program: &str, rule: &str) {
    let report = vetted(program);
    speaks(&report, rule, program);
    assert_ne!(report.verdict, Verdict::Clear);
}

/// The clean program with line `n` (from 0) changed.
fn with_line(n: usize, change: impl Fn(&str) -> String) -> String {
    CLEAN
        .lines()
        .enumerate()
        .map(|(i, line)| if i == n { change(line) } else { line.to_owned() } + "\n")
        .collect()
}

fn lines_with<'a>(word: &'a str) -> impl Iterator<Item = usize> + 'a {
    CLEAN
        .lines()
        .enumerate()
        .filter(move |(_, l)| l.contains(word) && !l.starts_with('('))
        .map(|(i, _)| i)
}

#[test]
fn the_clean_program_is_clear_with_nothing_but_its_slug() {
    let report = vetted(CLEAN);
    // Nothing is known here of the machine and its supplies.
    let judged = report.findings.iter().filter(|f| f.rule != "not-judged");
    let rules: Vec<_> = judged.map(|f| f.rule.as_str()).collect();
    assert_eq!(rules, ["part-unsupported"]);
    assert_eq!(report.verdict, Verdict::Clear);
}

#[test]
fn the_unit_word_swapped_or_deleted_is_found() {
    bars(&CLEAN.replace("G21", "G20"), "scale-suspect");
    bars(&CLEAN.replace("G21 ", ""), "units-not-stated");
}

#[test]
fn every_torch_word_deleted_or_doubled_is_found() {
    let offs: Vec<_> = lines_with("M05").collect();
    bars(&with_line(offs[0], |_| String::new()), "torch-on-in-rapid");
    bars(&with_line(offs[1], |_| String::new()), "torch-left-on");
    for n in lines_with("M03") {
        bars(&with_line(n, |l| format!("{l}\n{l}")), "torch-on-twice");
    }
    bars(&CLEAN.replace("M02\n", ""), "end-missing");
}

#[test]
fn a_text_cut_short_anywhere_is_never_clear() {
    for end in 0..CLEAN.len() - "02\n".len() {
        let report = vetted(&CLEAN[..end]);
        assert_ne!(report.verdict, Verdict::Clear, "{:?}", &CLEAN[..end]);
    }
}

#[test]
fn every_zero_that_becomes_the_letter_o_is_found() {
    for (n, line) in CLEAN
        .lines()
        .enumerate()
        .filter(|(_, l)| !l.starts_with('('))
    {
        for (at, _) in line.match_indices('0') {
            let changed = with_line(n, |l| format!("{}O{}", &l[..at], &l[at + 1..]));
            let report = vetted(&changed);
            speaks(&report, "unreadable-block", &changed);
            assert_eq!(report.verdict, Verdict::Refused);
            let places: Vec<_> = report
                .findings
                .iter()
                .filter(|f| f.rule == "unreadable-block")
                .map(|f| f.line)
                .collect();
            assert_eq!(places, [Some(n as u32 + 1)]);
        }
    }
}

#[test]
fn rotary_axes_and_other_planes_are_found_in_every_block() {
    for n in lines_with("X") {
        bars(&with_line(n, |l| format!("{l} A5")), "unsupported-word");
        bars(&with_line(n, |l| format!("G18 {l}")), "unsupported-word");
    }
}

#[test]
fn every_corner_turned_the_wrong_way_is_found() {
    for n in lines_with("G02") {
        bars(&with_line(n, |l| l.replace("G02", "G03")), "arc-wrong-way");
    }
}

#[test]
fn a_centre_moved_along_the_chord_is_found() {
    // All corners are quarter turns: 0.4 mm along the chord is 0.2828 mm in X and in Y.
    for (from, to) in [
        ("I0 J12.725", "I-0.2828 J13.0078"),
        ("I12.725 J0", "I13.0078 J0.2828"),
        ("I0 J-12.725", "I0.2828 J-13.0078"),
        ("I-12.725 J0", "I-13.0078 J-0.2828"),
        ("I-6 J0", "I-6.2828 J0.2828"),
    ] {
        assert!(CLEAN.contains(from));
        bars(&CLEAN.replace(from, to), "arc-radius-mismatch");
    }
}

#[test]
fn a_radius_below_half_the_chord_is_found() {
    for n in lines_with("G02") {
        let short = with_line(n, |l| {
            let centre = l.find('I').unwrap_or(l.len());
            format!("{}R8.99", &l[..centre])
        });
        bars(&short, "arc-impossible");
    }
}

#[test]
fn stops_and_shifts_in_every_block_of_a_cut_are_found() {
    for n in 10..=18 {
        bars(&with_line(n, |l| format!("M0\n{l}")), "stop-while-on");
        bars(
            &with_line(n, |l| format!("G92 X0 Y0\n{l}")),
            "zero-shift-in-cut",
        );
        bars(&with_line(n, |l| format!("G91\n{l}")), "mode-in-cut");
    }
}

#[test]
fn every_straight_cut_made_rapid_is_found() {
    for n in lines_with("G01") {
        bars(
            &with_line(n, |l| l.replace("G01", "G00")),
            "torch-on-in-rapid",
        );
    }
}

#[test]
fn a_job_moved_off_the_sheet_or_onto_things_is_found() {
    let with = |change: fn(&mut Setup)| {
        let mut setup = setup();
        change(&mut setup);
        let report = vetted_on(CLEAN, &setup);
        assert_ne!(report.verdict, Verdict::Clear);
        report
    };
    speaks(&with(|s| s.origin.y += 300.0), "outside-sheet", "moved up");
    speaks(
        &with(|s| s.origin.x -= 300.0),
        "outside-sheet",
        "moved left",
    );
    speaks(
        &with(|s| s.origin = Point::new(5.0, 30.0)),
        "near-edge",
        "near",
    );
    speaks(
        &with(|s| s.clamp = Some(Point::new(20.0, 80.0))),
        "on-clamp",
        "clamp on the path",
    );
    let slot = |s: &mut Setup| {
        s.used = vec![
            [[38.0, 45.0], [44.0, 45.0], [44.0, 55.0], [38.0, 55.0]]
                .map(Point::from)
                .to_vec(),
        ];
    };
    speaks(&with(slot), "over-used", "an old slot at a pierce");
}

#[test]
fn an_arc_broken_into_pieces_is_noted() {
    let mut facets = String::new();
    for k in 1..=20 {
        let a = core::f64::consts::FRAC_PI_2 * f64::from(k) / 20.0;
        facets += &format!(
            "G01 X{:.4} Y{:.4}\n",
            12.0 - 12.725 * a.sin(),
            12.0 - 12.725 * a.cos()
        );
    }
    let broken = CLEAN.replace("G02 X-0.725 Y12 I0 J12.725\n", &facets);
    let report = vetted(&broken);
    speaks(&report, "faceted-arc", &broken);
    assert_eq!(report.verdict, Verdict::Clear);
}

/// The clean program with the kerf in words instead of numbers.
const WITH_WORDS: &str = "\
G21 G90 G17 G40
(sheet A steel 5 mm, set 40, kerf 1.45)
G00 X20.8 Y20
G41
M03
G01 X26.5 F660
G03 X26.5 Y20 I-6.5 J0
G40
M05
G00 X76 Y-6
G41
M03
G03 X70 Y0 I-6 J0 F1100
G01 X12
G02 X0 Y12 I0 J12
G01 Y78
G02 X12 Y90 I12 J0
G01 X128
G02 X140 Y78 I0 J-12
G01 Y12
G02 X128 Y0 I-12 J0
G01 X68
G40
M05
M02
";

#[test]
fn compensation_on_the_wrong_side_or_left_on_is_found_at_every_place() {
    // All the same but for the lines.
    let told = |text: &str| -> Vec<_> {
        let found = vetted(text).findings.into_iter();
        found.map(|f| (f.rule, f.severity, f.cut, f.says)).collect()
    };
    assert_eq!(told(WITH_WORDS), told(CLEAN));
    assert_eq!(vetted(WITH_WORDS).verdict, Verdict::Clear);
    let changed = |word: &str, to: &str| -> Vec<String> {
        let places = WITH_WORDS.match_indices(word).filter(|(at, _)| *at > 20);
        places
            .map(|(at, _)| {
                let (before, behind) = WITH_WORDS.split_at(at);
                format!("{before}{to}{}", &behind[word.len()..])
            })
            .collect()
    };
    let (swapped, open) = (changed("G41", "G42"), changed("G40", ""));
    assert_eq!((swapped.len(), open.len()), (2, 2));
    swapped.iter().for_each(|p| bars(p, "compensation-side"));
    open.iter().for_each(|p| bars(p, "compensation-open"));
}
