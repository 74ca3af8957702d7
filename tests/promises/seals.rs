//! The demonstration is clear, and what is sealed is what was vetted.

use std::path::Path;

use planning::{NotSealed, Prepared};
use program::{Acceptance, Setup, Verdict};
use standclear::config::Config;
use standclear::job::prepare;

const SHEETS: [(&str, usize); 5] = [
    ("hinge-plates", 36),
    ("latch-plates", 8),
    ("garden-corners", 56),
    ("guard-brackets", 36),
    ("row-markers", 20),
];

fn read(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("config/demo")
        .join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn setup(sheet: &str) -> Setup {
    Setup::from_toml(&read(&format!("{sheet}.toml"))).expect("a good setup")
}

fn prepared(config: &Config, sheet: &str) -> Prepared {
    let text = read(&format!("{sheet}.nc"));
    prepare(config, sheet, text.as_bytes(), Some(setup(sheet)))
}

#[test]
fn every_sheet_of_the_demonstration_is_clear() {
    let config = Config::built_in();
    for (sheet, cuts) in SHEETS {
        let job = prepared(&config, sheet);
        let findings = &job.report.findings;
        assert_eq!(job.report.verdict, Verdict::Clear, "{sheet}: {findings:#?}");
        let odd: Vec<_> = findings.iter().filter(|f| f.rule == "not-judged").collect();
        assert!(odd.is_empty(), "{sheet}: everything is known: {odd:#?}");
        assert_eq!(
            (job.report.cuts, job.report.pierces),
            (cuts, cuts),
            "{sheet}"
        );
        let row = job.row.as_ref().expect("a chart row");
        // Offsets are in the numbers, and feeds are the chart's: they must be of the same row.
        let stated = format!("kerf {} mm", row.kerf_mm);
        let text = String::from_utf8_lossy(&job.text).replace(".00 ", " ");
        assert!(text.contains(&stated), "{sheet}: the chart says {stated}");
        assert!(
            text.contains(&format!(" F{}", row.feed_mm_min)),
            "{sheet}: {} mm/min",
            row.feed_mm_min
        );
        assert!(job.seal(&config.table(), &[]).is_ok(), "{sheet}");
    }
}

/// S-11.
#[test]
fn a_change_of_anything_that_decides_what_happens_is_another_seal() {
    let config = Config::built_in();
    let first = prepared(&config, "hinge-plates");
    let hash = |job: &Prepared, config: &Config| {
        let sealed = job.seal(&config.table(), &[]).expect("a seal");
        sealed.seal.hash().to_owned()
    };
    let sealed = hash(&first, &config);
    assert_eq!(
        hash(&prepared(&config, "hinge-plates"), &config),
        sealed,
        "the same again"
    );

    let text = read("hinge-plates.nc");
    let comment = text.replacen("(cut 1:", "(cut one:", 1);
    let moved = prepare(
        &config,
        "hinge-plates",
        comment.as_bytes(),
        first.setup.clone(),
    );
    assert_ne!(hash(&moved, &config), sealed, "even a comment");

    let mut other = setup("hinge-plates");
    other.clamp = Some(units::Point::new(561.0, 360.0));
    let moved = prepare(&config, "hinge-plates", text.as_bytes(), Some(other));
    assert_ne!(hash(&moved, &config), sealed, "the clamp");

    let mut table = config.clone();
    table.text.push('\n');
    assert_ne!(hash(&first, &table), sealed, "the machine file");

    let mut row = first.clone();
    row.row.as_mut().expect("a row").pierce_delay_s += 0.05;
    assert_ne!(hash(&row, &config), sealed, "the chart row");
}

/// S-11.
#[test]
fn what_vetting_refuses_or_nobody_accepted_has_no_seal() {
    let config = Config::built_in();
    let text = read("hinge-plates.nc");
    // The last torch-off is gone.
    let (before, after) = text.rsplit_once("M05\n").expect("a torch-off");
    let left_on = prepare(
        &config,
        "x",
        format!("{before}{after}").as_bytes(),
        Some(setup("hinge-plates")),
    );
    assert_eq!(left_on.report.verdict, Verdict::Refused);
    let all: Vec<_> = (0..left_on.report.findings.len())
        .map(|finding| Acceptance {
            rule: left_on.report.findings[finding].rule.clone(),
            finding,
            reason: "never mind".to_owned(),
        })
        .collect();
    assert!(
        matches!(
            left_on.seal(&config.table(), &all),
            Err(NotSealed::NoSeal(_))
        ),
        "a refusal cannot be accepted away"
    );

    // No unit word: a warning, which a person must accept.
    let unsaid = text.replacen("G21 ", "", 1);
    let warned = prepare(&config, "x", unsaid.as_bytes(), Some(setup("hinge-plates")));
    assert_eq!(
        warned.report.verdict,
        Verdict::Warned,
        "{:#?}",
        warned.report.findings
    );
    assert!(matches!(
        warned.seal(&config.table(), &[]),
        Err(NotSealed::NoSeal(_))
    ));
    let accepted = warned.report.accepted_for("the drawing is in mm");
    assert!(warned.seal(&config.table(), &accepted).is_ok());

    let nothing_known = prepare(&config, "x", text.as_bytes(), None);
    assert_eq!(
        nothing_known.seal(&config.table(), &[]),
        Err(NotSealed::NoSetup)
    );
}
