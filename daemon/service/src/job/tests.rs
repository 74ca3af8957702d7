//! The whole way from a machine file to what vetting says of air, source, set, chart and wire.

use program::{Finding, Setup, Severity, Verdict};

use planning::Prepared;

use super::{prepare, unwatched};
use crate::config::Config;

const HINGES: &str = "hinge-plates";
const LATCHES: &str = "latch-plates";

fn demo(sheet: &str) -> (Vec<u8>, Setup) {
    let found = crate::library::demo(sheet);
    let found = found.unwrap_or_else(|| panic!("{sheet} is no sheet of the demonstration"));
    (found.text, found.setup)
}

fn prepared(sheet: &str, change: impl FnOnce(&mut Config, &mut Setup)) -> Prepared {
    let (mut config, (text, mut setup)) = (Config::built_in(), demo(sheet));
    change(&mut config, &mut setup);
    prepare(&config, sheet, &text, Some(setup))
}

/// What is found but notes; every one of them is of the rule that is named.
#[track_caller]
fn only(job: &Prepared, severity: Severity, rule: &str) -> Finding {
    let loud: Vec<&Finding> = job
        .report
        .findings
        .iter()
        .filter(|f| f.severity > Severity::Note)
        .collect();
    assert_eq!(loud.len(), 1, "{rule}: {loud:#?}");
    assert_eq!((loud[0].rule.as_str(), loud[0].severity), (rule, severity));
    loud[0].clone()
}

#[test]
fn the_hinge_plates_on_a_compressor_of_90_are_low_after_3_3_min_of_flow_and_want_two_waits() {
    // Process handbook 8.3 and 4.3, calculated there.
    let job = prepared(HINGES, |c, _| c.air.compressor_l_min = 90.0);
    let air = only(&job, Severity::Warn, "air-short");
    // 197 s of flow; it begins with the first cut, some seconds after the start.
    assert!(
        air.says.contains("(3.4 min) after the start"),
        "{}",
        air.says
    );
    assert!(air.remedy.ends_with(": 2 waits."), "{}", air.remedy);
    assert!(air.cut.is_some() && air.at.is_some());
}

#[test]
fn a_receiver_of_24_l_is_low_before_a_minute_is_over() {
    let job = prepared(HINGES, |c, _| {
        (c.air.compressor_l_min, c.air.receiver_l) = (90.0, 24.0);
    });
    let air = only(&job, Severity::Warn, "air-short");
    assert!(air.says.contains("24 L"), "{}", air.says);
    assert!(
        air.says.contains("(0.8 min)") || air.says.contains("(0.9 min)"),
        "{}",
        air.says
    );
    assert!(
        air.remedy.contains("and so on: 14 waits."),
        "{}",
        air.remedy
    );
}

#[test]
fn a_source_of_30_a_is_refused_for_a_row_of_40_a() {
    let job = prepared(HINGES, |c, _| {
        (c.power.rated_amps, c.power.rated_duty) = (30.0, 1.0);
    });
    let found = &job.report.findings;
    assert!(
        found
            .iter()
            .any(|f| f.rule == "over-rated-current" && f.severity == Severity::Refuse)
    );
    assert_eq!(job.report.verdict, Verdict::Refused);
    // At its rating it is no matter of this rule.
    let job = prepared(HINGES, |c, _| c.power.rated_amps = 40.0);
    assert!(
        job.report
            .findings
            .iter()
            .all(|f| f.rule != "over-rated-current")
    );
}

#[test]
fn a_worn_set_is_told_with_the_cut_and_an_unknown_one_is_not_judged() {
    let job = prepared(HINGES, |c, _| {
        c.supplies = c.supplies.map(|s| process::Set { starts: 580.0, ..s });
    });
    let wear = only(&job, Severity::Warn, "wear-out");
    assert!(wear.cut.is_some_and(|cut| cut < 36), "{wear:?}");
    let job = prepared(HINGES, |c, _| {
        c.supplies = c.supplies.map(|s| process::Set { starts: 540.0, ..s });
    });
    assert_eq!(
        job.report.verdict,
        Verdict::Clear,
        "0.90 and 0.10 used: just enough"
    );
    let job = prepared(HINGES, |c, _| c.supplies = None);
    let unjudged = job
        .report
        .findings
        .iter()
        .filter(|f| f.rule == "not-judged");
    let unjudged: Vec<_> = unjudged.map(|f| f.says.as_str()).collect();
    assert_eq!(unjudged.len(), 1, "{unjudged:?}");
    assert!(unjudged[0].starts_with("wear-out was not judged"));
}

#[test]
fn seven_pairs_of_latch_plates_in_a_row_pass_the_duty_and_one_does_not() {
    // Process handbook 4.4: at 55 A a 60 A, 40 % source allows 285 s of arc in ten minutes.
    assert_eq!(prepared(LATCHES, |_, _| ()).report.verdict, Verdict::Clear);
    let (text, setup) = demo(LATCHES);
    let text = String::from_utf8(text).expect("text");
    let cuts = &text[text.find("G00").expect("a cut")..text.rfind("M02").expect("an end")];
    let mut seven = text[..text.find("G00").expect("a cut")].to_owned();
    // Rows of pairs, 130 mm apart.
    for row in 0..7 {
        for line in cuts.lines() {
            let words = line.split(' ').map(|word| match word.split_at_checked(1) {
                Some(("Y", n)) if !line.starts_with('(') => {
                    format!(
                        "Y{}",
                        n.parse::<f64>().expect("a number") + 130.0 * f64::from(row)
                    )
                }
                _ => word.to_owned(),
            });
            seven += &(words.collect::<Vec<_>>().join(" ") + "\n");
        }
    }
    seven += "M02\n";
    let setup = Setup {
        sheet: units::Point::new(450.0, 1100.0),
        clamp: Some(units::Point::new(225.0, 1070.0)),
        ..setup
    };
    let config = Config::built_in();
    let job = prepare(&config, "seven", seven.as_bytes(), Some(setup));
    assert_eq!(job.report.cuts, 56);
    let mut duty = job
        .report
        .findings
        .iter()
        .filter(|f| f.rule == "duty-exceeded");
    let duty = duty.next().expect("the duty is passed");
    assert_eq!(duty.severity, Severity::Warn);
    assert!(duty.says.contains("allows 4 min 46 s"), "{}", duty.says);
    assert!(duty.remedy.starts_with("Wait "), "{}", duty.remedy);
}

#[test]
fn between_two_rows_the_settings_are_reckoned_and_beyond_them_missing() {
    let at = |thickness: f64, chart: Option<&str>| {
        prepared(HINGES, |_, s| {
            (s.thickness, s.chart) = (thickness, chart.map(str::to_owned));
        })
    };
    // Only the current of 55 A has rows on both sides of 7 mm.
    let job = at(7.0, None);
    let row = job.row.clone().expect("a row");
    assert!(
        row.amps == 55.0 && row.feed_mm_min > 800.0 && row.feed_mm_min < 1250.0,
        "{row:?}"
    );
    assert!(job.report.findings.iter().any(|f| f.rule == "chart-between"
        && f.says.contains("mild-steel 6 mm 55 A")
        && f.says.contains("mild-steel 8 mm 55 A")));
    // At 5.6 mm two currents do: none is assumed, unless the setup names a row of one.
    let several = at(5.6, None);
    assert!(several.row.is_none() && several.no_row.is_some_and(|w| w.contains("several rows")));
    assert!(
        several
            .report
            .findings
            .iter()
            .all(|f| f.rule != "chart-missing")
    );
    let named = at(5.6, Some("mild-steel 5 mm 40 A")).row.expect("a row");
    assert!(named.amps == 40.0 && named.thickness_mm == 5.6);
    // Near its thickness a named row is taken as it is.
    let near = at(5.4, Some("mild-steel 5 mm 40 A")).row.expect("a row");
    assert_eq!(near.name, "mild-steel 5 mm 40 A");
    let beyond = at(11.1, None);
    assert!(beyond.row.is_none());
    assert!(
        beyond
            .report
            .findings
            .iter()
            .any(|f| f.rule == "chart-missing" && f.severity == Severity::Warn)
    );
    let other = at(12.0, Some("mild-steel 5 mm 40 A"));
    assert!(
        other
            .report
            .findings
            .iter()
            .any(|f| f.rule == "chart-missing")
    );
}

#[test]
fn a_program_in_tiny_pieces_starves_the_wire_as_written_and_passes_joined() {
    let (text, setup) = demo(HINGES);
    let text = String::from_utf8(text).expect("text");
    let chopped = chopped(&text);
    let config = Config::built_in();
    let given = prepare(&config, "x", chopped.as_bytes(), Some(setup.clone()));
    let starved = given
        .report
        .findings
        .iter()
        .find(|f| f.rule == "link-starved");
    let starved = starved.expect("it starves");
    assert_eq!(starved.severity, Severity::Warn);
    assert!(starved.remedy.contains("cures it"), "{}", starved.remedy);

    let joined = unwatched(&config, "x", chopped.as_bytes().into(), Some(setup), true);
    let counts = joined.joined.expect("it was joined");
    assert!(counts.from > 50 * counts.to, "{counts:?}");
    assert_eq!(
        joined.report.verdict,
        Verdict::Clear,
        "{:#?}",
        joined.report.findings
    );
    let job = joined.seal(&config.table(), &[]).expect("it is sealed");
    let pieces: usize = job.cuts.iter().map(|c| c.path.len()).sum();
    assert_eq!(pieces, counts.to);
}

#[test]
fn joined_and_as_written_have_different_seals() {
    let ((text, setup), config) = (demo(HINGES), Config::built_in());
    let given = prepare(&config, "x", &text, Some(setup.clone()));
    let mut same = given.clone();
    same.joined = Some(program::Joined { from: 1, to: 1 });
    let seals = [given, same].map(|p| p.seal(&config.table(), &[]).expect("sealed").seal.clone());
    assert_ne!(seals[0], seals[1]);
}

/// Every full circle of the program in pieces of 0.05 mm.
fn chopped(text: &str) -> String {
    let (mut out, mut at) = (String::new(), [0.0_f64; 2]);
    for line in text.lines() {
        let number = |letter: char| {
            let word = line
                .split(' ')
                .find(|w| w.starts_with(letter) && !line.starts_with('('));
            word.and_then(|w| w[1..].parse::<f64>().ok())
        };
        let to = [number('X').unwrap_or(at[0]), number('Y').unwrap_or(at[1])];
        if line.starts_with("G03") && to == at {
            let (i, j) = (number('I').unwrap_or(0.0), number('J').unwrap_or(0.0));
            let (r, start) = (i.hypot(j), (-j).atan2(-i));
            let n = (core::f64::consts::TAU * r / 0.03).ceil();
            for k in 1..=n as u32 {
                let a = start + core::f64::consts::TAU * f64::from(k) / n;
                let (x, y) = (at[0] + i + r * a.cos(), at[1] + j + r * a.sin());
                out += &format!("G01 X{x:.4} Y{y:.4}\n");
            }
        } else {
            out += line;
            out.push('\n');
        }
        at = to;
    }
    out
}
