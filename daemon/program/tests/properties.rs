//! What holds for every text: reading never panics, says the same thing twice, and does not care how
//! a program is dressed.

use program::{CutList, ReadingRules, Setup, Severity, Verdict, VetInput, read, seal, text, vet};
use proptest::prelude::*;
use units::Point;

fn rules() -> ReadingRules {
    ReadingRules::default()
}

fn setup() -> Setup {
    Setup::from_toml("material = \"mild-steel\"\nthickness = 3\nsheet = [300, 200]\norigin = [10, 20]\nrotation = 30\nclamp = [290, 190]\nused = [[[5, 5], [60, 5], [60, 60]]]\n")
        .expect("a right setup")
}

fn without_gaps(list: &CutList) {
    for cut in &list.cuts {
        let mut at = cut.pierce;
        for e in &cut.path {
            assert_eq!(e.segment.from(), at, "the path has no gaps");
            at = e.segment.to();
        }
    }
}

/// Everything at once; the checks are those that hold for any text.
fn whole_way(bytes: &[u8]) {
    let setup = setup();
    for (setup, kerf) in [(None, None), (Some(&setup), Some(1.4))] {
        let input = VetInput {
            setup,
            travel: Point::new(1300.0, 1300.0),
            sheet_corner: Point::new(10.0, 10.0),
            kerf_mm: kerf,
            chart_feed_mm_s: kerf.map(|_| 20.0),
            traverse_height_mm: 25.0,
            line_limit: 40,
            no_row: None,
            facts: program::Facts::default(),
        };
        let reading = read(bytes, &rules());
        let report = vet(&reading, &input);
        assert_eq!(vet(&read(bytes, &rules()), &input), report);
        let worst = report.findings.iter().map(|f| f.severity).max();
        let verdict = match worst {
            Some(Severity::Refuse) => Verdict::Refused,
            Some(Severity::Warn) => Verdict::Warned,
            _ => Verdict::Clear,
        };
        assert_eq!(report.verdict, verdict);
        worst_first(&report.findings);
        assert!(
            report
                .findings
                .iter()
                .all(|f| !f.says.is_empty() && !f.remedy.is_empty())
        );
        for mm in [report.cut_mm, report.rapid_mm] {
            // Nothing is 0, never -0.
            assert!(mm.is_finite() && mm.is_sign_positive(), "{mm}");
        }
        assert_eq!(report.cuts, reading.cut_list.cuts.len());
        without_gaps(&reading.cut_list);
        assert!(!text::render(&report, "x", bytes, false).contains('\x1b'));
        assert_eq!(
            seal(&report, &[], &[bytes]).is_ok(),
            verdict == Verdict::Clear
        );
    }
}

/// A finding with those that it explains stands where the worst of them would.
fn worst_first(findings: &[program::Finding]) {
    let mut groups: Vec<Severity> = Vec::new();
    let mut head = 0;
    for (i, f) in findings.iter().enumerate() {
        match (f.under, groups.last_mut()) {
            (Some(under), Some(worst)) => {
                assert_eq!(under, head, "explained by what stands before it: {f:?}");
                *worst = (*worst).max(f.severity);
            }
            (Some(_), None) => panic!("the first is explained by nothing: {f:?}"),
            (None, _) => {
                head = i;
                groups.push(f.severity);
            }
        }
    }
    assert!(groups.windows(2).all(|p| p[0] >= p[1]), "{findings:?}");
}

const TOKENS: &[&str] = &[
    "G0",
    "G1",
    "G2",
    "G3",
    "G4",
    "G17",
    "G18",
    "G20",
    "G21",
    "G28",
    "G38.2",
    "G40",
    "G41",
    "G53",
    "G54",
    "G55",
    "G80",
    "G90",
    "G90.1",
    "G91",
    "G91.1",
    "G92",
    "G92.1",
    "G92.2",
    "G92.3",
    "G93",
    "G94",
    "M0",
    "M1",
    "M2",
    "M3",
    "M4",
    "M5",
    "M6",
    "M8",
    "M30",
    "X0",
    "X10",
    "X-3.5",
    "Y0",
    "Y10",
    "Y-3.5",
    "Z1",
    "I5",
    "I-5",
    "J5",
    "J0",
    "K1",
    "R10",
    "R-10",
    "R0",
    "P0.2",
    "P600",
    "F600",
    "F0",
    "F-1",
    "S1",
    "T2",
    "N10",
    "X",
    "X1O",
    "X1e3",
    "X1,5",
    "(a)",
    "(",
    ")",
    ";c",
    "%",
    "/",
    "\n",
    "\n",
    "\n",
    "\n",
    "\r\n",
    "\r",
    "\t",
    "#1",
    "[",
    "999999999999999999",
    "X1e",
    ".",
    "X99999999",
    "\u{fc}",
    "\0",
];

fn soup() -> impl Strategy<Value = String> {
    prop::collection::vec(prop::sample::select(TOKENS), 0..120).prop_map(|t| t.join(" "))
}

/// A move of a tidy program, as whole hundredths so that both units can write it exactly.
#[derive(Clone, Copy, Debug)]
enum Step {
    Rapid(i32, i32),
    Line(i32, i32),
    /// Clockwise or not, and to which side the half circle goes.
    Half(bool, i32, i32),
    Full(bool, i32, i32),
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let n = -5000_i32..5000;
    let step = prop_oneof![
        (n.clone(), n.clone()).prop_map(|(x, y)| Step::Rapid(x, y)),
        (n.clone(), n.clone()).prop_map(|(x, y)| Step::Line(x, y)),
        (any::<bool>(), n.clone(), n.clone()).prop_map(|(c, x, y)| Step::Half(c, x, y)),
        (any::<bool>(), 100_i32..5000, n).prop_map(|(c, x, y)| Step::Full(c, x, y)),
    ];
    prop::collection::vec(step, 1..30)
}

/// How a program is written.
#[derive(Clone, Copy, Debug, Default)]
struct Dress {
    relative: bool,
    absolute_centres: bool,
    inches: bool,
    spaced: bool,
    lower: bool,
    /// Modal words only where they change.
    terse: bool,
}

fn written(steps: &[Step], dress: Dress) -> String {
    let unit = if dress.inches { 25.4 } else { 1.0 };
    let number = |hundredths: i64| format!("{:.8}", hundredths as f64 / 100.0 / unit);
    let mut out = String::new();
    out += if dress.inches { "G20\n" } else { "G21\n" };
    out += if dress.relative { "G91\n" } else { "G90\n" };
    out += if dress.absolute_centres {
        "G90.1\n"
    } else {
        "G91.1\n"
    };
    out += &format!("F{:.6}\n", 600.0 / unit);
    let (mut x, mut y) = (0_i64, 0_i64);
    let mut on = false;
    let mut modal = "";
    for step in steps {
        let (code, to, centre) = match *step {
            Step::Rapid(nx, ny) => ("G0", (i64::from(nx), i64::from(ny)), None),
            Step::Line(nx, ny) => ("G1", (i64::from(nx), i64::from(ny)), None),
            Step::Half(c, dx, dy) => {
                let (dx, dy) = (i64::from(dx) * 2 + 1000, i64::from(dy) * 2);
                let code = if c { "G2" } else { "G3" };
                (code, (x + dx, y + dy), Some((dx / 2, dy / 2)))
            }
            Step::Full(c, i, j) => {
                let code = if c { "G2" } else { "G3" };
                (code, (x, y), Some((i64::from(i), i64::from(j))))
            }
        };
        if (code == "G0") == on {
            out += if on { "M5\n" } else { "M3\n" };
            on = !on;
        }
        let (wx, wy) = if dress.relative {
            (to.0 - x, to.1 - y)
        } else {
            to
        };
        let word = if dress.terse && modal == code {
            ""
        } else {
            code
        };
        modal = code;
        out += &format!("{word} X{} Y{}", number(wx), number(wy));
        if let Some((i, j)) = centre {
            let (i, j) = if dress.absolute_centres {
                (x + i, y + j)
            } else {
                (i, j)
            };
            out += &format!(" I{} J{}", number(i), number(j));
        }
        out.push('\n');
        (x, y) = to;
    }
    if on {
        out += "M5\n";
    }
    out += "M2\n";
    if dress.spaced {
        out = out
            .lines()
            .map(|l| l.chars().map(|c| format!("{c} ")).collect::<String>() + "(note)\r\n")
            .collect();
    }
    if dress.lower {
        out = out.to_lowercase();
    }
    out
}

fn alike(a: &CutList, b: &CutList) {
    assert_eq!(a.cuts.len(), b.cuts.len());
    for (c, d) in a.cuts.iter().zip(&b.cuts) {
        assert!(c.pierce.distance(d.pierce) < 1e-5);
        assert_eq!(c.path.len(), d.path.len());
        for (e, f) in c.path.iter().zip(&d.path) {
            assert!(
                e.segment.to().distance(f.segment.to()) < 1e-5,
                "{e:?} {f:?}"
            );
            assert!(
                (e.segment.length() - f.segment.length()).abs() < 1e-4,
                "{e:?} {f:?}"
            );
            let (m, n) = (e.segment.length() / 2.0, f.segment.length() / 2.0);
            assert!(e.segment.point_at(m).distance(f.segment.point_at(n)) < 1e-4);
            let (p, q) = (e.feed_mm_s.unwrap_or(0.0), f.feed_mm_s.unwrap_or(0.0));
            assert!((p - q).abs() < 1e-4);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_bytes_are_read_without_a_panic(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        whole_way(&bytes);
    }

    #[test]
    fn any_soup_of_words_is_read_without_a_panic(soup in soup()) {
        whole_way(soup.as_bytes());
    }

    #[test]
    fn a_program_cut_anywhere_is_no_longer_clear(steps in steps(), at in 0.0_f64..1.0) {
        let program = written(&steps, Dress::default());
        let end = program.find("M2").unwrap_or(0);
        let cut = &program[..(end as f64 * at) as usize];
        whole_way(cut.as_bytes());
        let reading = read(cut.as_bytes(), &rules());
        prop_assert!(reading.findings.iter().any(|f| f.severity >= Severity::Warn));
    }

    #[test]
    fn dress_does_not_change_what_is_cut(
        steps in steps(),
        (relative, absolute_centres, inches) in any::<(bool, bool, bool)>(),
        (spaced, lower, terse) in any::<(bool, bool, bool)>(),
    ) {
        let dress = Dress { relative, absolute_centres, inches, spaced, lower, terse };
        let plain = read(written(&steps, Dress::default()).as_bytes(), &rules());
        let dressed = read(written(&steps, dress).as_bytes(), &rules());
        prop_assert!(plain.findings.iter().all(|f| f.severity < Severity::Refuse), "{:?}", plain.findings);
        alike(&plain.cut_list, &dressed.cut_list);
        without_gaps(&dressed.cut_list);
    }
}
