//! What holds for the sheet as it comes apart: turning or moving everything together changes
//! nothing, and a cut added at the end takes no refusal of an earlier one away.

use program::{Facts, ReadingRules, Report, Setup, VetInput, read, vet};
use proptest::prelude::*;
use units::Point;

/// A square of a lattice: its part with or without a hole, the hole before or after the outline,
/// a tab or none.
#[derive(Clone, Copy, Debug)]
struct Part {
    hole: bool,
    late: bool,
    tab: bool,
}

const PITCH: f64 = 90.0;
const SIDE: f64 = 60.0;
const ACROSS: usize = 3;

fn parts() -> impl Strategy<Value = Vec<Part>> {
    let part = any::<(bool, bool, bool)>().prop_map(|(hole, late, tab)| Part { hole, late, tab });
    prop::collection::vec(part, 1..7)
}

fn program(parts: &[Part]) -> String {
    let mut text = "G21 G90 F1100\n".to_owned();
    for (k, part) in parts.iter().enumerate() {
        let (x, y) = (
            30.0 + PITCH * (k % ACROSS) as f64,
            30.0 + PITCH * (k / ACROSS) as f64,
        );
        let m = x + SIDE / 2.0;
        let hole = format!(
            "G0 X{m} Y{}\nM3\nG1 X{}\nG3 X{1} Y{0} I-10 J0\nM5\n",
            y + 30.0,
            m + 10.0
        );
        let end = if part.tab { m + 6.0 } else { m - 2.0 };
        let outline = format!(
            "G0 X{m} Y{}\nM3\nG1 Y{y}\nG1 X{x}\nG1 Y{}\nG1 X{}\nG1 Y{y}\nG1 X{end}\nM5\n",
            y - 7.0,
            y + SIDE,
            x + SIDE
        );
        match part {
            Part { hole: false, .. } => text += &outline,
            Part { late: true, .. } => text += &(outline + &hole),
            Part { .. } => text += &(hole + &outline),
        }
    }
    text + "M2\n"
}

/// The sheet turned by quarter turns and moved with everything on it.
fn vetted(text: &str, turns: u32, on_part: bool) -> Report {
    let size = Point::new(320.0, 230.0);
    let clamp = if on_part {
        Point::new(42.3, 51.7)
    } else {
        Point::new(305.0, 215.0)
    };
    let turned = |p: Point| match turns % 4 {
        0 => p,
        1 => Point::new(size.y - p.y, p.x),
        2 => Point::new(size.x - p.x, size.y - p.y),
        _ => Point::new(p.y, size.x - p.x),
    };
    let sheet = if turns.is_multiple_of(2) {
        size
    } else {
        Point::new(size.y, size.x)
    };
    let (origin, clamp) = (turned(Point::default()), turned(clamp));
    let setup = Setup::from_toml(&format!(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [{}, {}]\norigin = [{}, {}]\nrotation = {}\nclamp = [{}, {}]\n",
        sheet.x,
        sheet.y,
        origin.x,
        origin.y,
        90 * turns,
        clamp.x,
        clamp.y
    ))
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
        facts: Facts::default(),
    };
    vet(&read(text.as_bytes(), &ReadingRules::default()), &input)
}

fn brief(report: &Report) -> Vec<String> {
    let mut all: Vec<String> = report
        .findings
        .iter()
        .map(|f| format!("{:?} {} {:?} {:?}", f.severity, f.rule, f.line, f.cut))
        .collect();
    all.sort();
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn turning_sheet_clamp_and_program_together_changes_nothing(
        parts in parts(), turns in 1_u32..4, on_part in any::<bool>(),
    ) {
        let text = program(&parts);
        prop_assert_eq!(brief(&vetted(&text, 0, on_part)), brief(&vetted(&text, turns, on_part)));
    }

    #[test]
    fn a_cut_added_at_the_end_takes_no_refusal_away(parts in parts(), on_part in any::<bool>()) {
        let text = program(&parts);
        let more = text.replace("M2\n", "G0 X290 Y20\nM3\nG1 Y150\nM5\nM2\n");
        let refusals = |t: &str| -> Vec<String> {
            let all = brief(&vetted(t, 0, on_part));
            let told = |f: &String| f.split(' ').take(2).collect::<Vec<_>>().join(" ");
            all.iter().filter(|f| f.starts_with("Refuse")).map(told).collect()
        };
        let after = refusals(&more);
        for refusal in refusals(&text) {
            prop_assert!(after.contains(&refusal), "{refusal} is gone: {after:?}");
        }
    }

    #[test]
    fn inches_change_nothing(parts in parts(), on_part in any::<bool>()) {
        let text = program(&parts);
        let inches: String = text
            .replace("G21", "G20")
            .split_inclusive(['\n', ' '])
            .map(|w| {
                let (word, end) = (w.trim_end(), &w[w.trim_end().len()..]);
                match word.split_at_checked(1) {
                    Some((l @ ("X" | "Y" | "I" | "J" | "F"), n)) => {
                        format!("{l}{:.9}{end}", n.parse::<f64>().unwrap_or(0.0) / 25.4)
                    }
                    _ => w.to_owned(),
                }
            })
            .collect();
        let plain = |r: &Report| -> Vec<String> {
            brief(r).into_iter().filter(|f| !f.contains("digits-excess")).collect()
        };
        prop_assert_eq!(plain(&vetted(&text, 0, on_part)), plain(&vetted(&inches, 0, on_part)));
    }
}
