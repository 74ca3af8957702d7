//! The frame that the tests of all rules start from: a sheet of 300 x 200 mm, one hole, one
//! outline, the clamp in the skeleton. It is clear; each test changes one thing.

use units::Point;

use crate::{ReadingRules, Report, Setup, VetInput, read, vet};

pub const PROGRAM: &str = "\
G21 G90
G0 X45 Y40
M3
G1 X50 F660
G3 X50 Y40 I-10 J0
M5
G0 X50 Y-8
M3
G1 X50 Y0 F1100
G1 X0
G1 Y80
G1 X100
G1 Y0
G1 X48
M5
M2
";

pub const SETUP: &str = "\
material = \"mild-steel\"
thickness = 5
sheet = [300, 200]
origin = [60, 60]
clamp = [270, 170]
";

pub fn setup() -> Setup {
    Setup::from_toml(SETUP).expect("the frame's setup is right")
}

pub fn input(setup: &Setup) -> VetInput<'_> {
    VetInput {
        setup: Some(setup),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(1.45),
        chart_feed_mm_s: Some(1100.0 / 60.0),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: crate::Facts::default(),
    }
}

pub fn report(program: &str) -> Report {
    let setup = setup();
    report_with(program, &input(&setup))
}

pub fn report_with(program: &str, input: &VetInput<'_>) -> Report {
    vet(&read(program.as_bytes(), &ReadingRules::default()), input)
}

/// What is found, as `severity rule line:column cut`, dashes for what is not known.
pub fn brief(report: &Report) -> Vec<String> {
    let or_dash = |n: Option<u32>| n.map_or("-".to_owned(), |n| n.to_string());
    report
        .findings
        .iter()
        .map(|f| {
            let severity = format!("{:?}", f.severity).to_lowercase();
            format!(
                "{severity} {} {}:{} {}",
                f.rule,
                or_dash(f.line),
                or_dash(f.column),
                or_dash(f.cut.map(|c| c as u32))
            )
        })
        .collect()
}

/// What is found in a program on the frame's sheet.
pub fn found(program: &str) -> Vec<String> {
    brief(&report(program))
}

/// What is found in the frame's program with one piece of its text changed (its first place).
pub fn changed(from: &str, to: &str) -> Vec<String> {
    assert!(PROGRAM.contains(from), "{from} is not in the frame");
    found(&PROGRAM.replacen(from, to, 1))
}

/// What is found in the frame's program with the setup changed.
pub fn placed(program: &str, change: impl FnOnce(&mut Setup)) -> Vec<String> {
    let mut setup = setup();
    change(&mut setup);
    brief(&report_with(program, &input(&setup)))
}

pub fn nothing() -> Vec<String> {
    Vec::new()
}
