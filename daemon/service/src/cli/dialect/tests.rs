//! A trial over a pseudo-terminal, with the simulated table behind it in real time; and a skeleton that
//! is filled in.

use std::sync::atomic::{AtomicBool, Ordering};

use link::PLAIN;
use simulator::{Table, TableSettings, Tongue};

use super::*;
use crate::port::tests::FarEnd;

const QUILL: &str = include_str!("../../../../../config/dialects/quill.toml");

/// Tries this dialect over a terminal whose far end `speaks` until the trial is over.
fn tried_with(dialect: &str, speaks: impl FnOnce(&FarEnd, &AtomicBool) + Send) -> Findings {
    let far = FarEnd::fresh();
    let dialect = Arc::new(Dialect::from_toml(dialect).expect("a dialect"));
    let over = AtomicBool::new(false);
    let opened = port::open(&far.path, 115_200).expect("opened");
    std::thread::scope(|s| {
        s.spawn(|| speaks(&far, &over));
        let findings = run_trial(Trial::new(dialect, 115_200, false), opened);
        over.store(true, Ordering::Release);
        findings
    })
}

/// The simulated table at its end of the terminal, on the real clock.
fn table(tongue: Tongue) -> impl FnOnce(&FarEnd, &AtomicBool) + Send {
    move |far, over| {
        let mut table = Table::new(TableSettings {
            tongue,
            ..TableSettings::default()
        });
        let clock = Monotonic::starting_now();
        while !over.load(Ordering::Acquire) {
            let now = clock.now();
            table.advance(now);
            let mut room = [0; 512];
            if let Ok(n) = rustix::io::read(&far.master, &mut room) {
                table.wire_in(now, &room[..n]);
            }
            let says = table.take_wire_out();
            // A terminal that takes nothing now is no matter here: it is read all the time.
            let _ = rustix::io::write(&far.master, &says);
            let wait = Timespec {
                tv_sec: 0,
                tv_nsec: 1_000_000,
            };
            let _ = rustix::event::poll(&mut [], Some(&wait));
        }
    }
}

fn step<'a>(findings: &'a Findings, what: &str) -> &'a link::Tried {
    let found = findings.steps.iter().find(|s| s.what == what);
    found.unwrap_or_else(|| panic!("{what}: {findings:#?}"))
}

#[test]
fn both_dialects_are_found_to_fit_the_table_that_speaks_them() {
    for (text, tongue) in [(PLAIN, Tongue::Plain), (QUILL, Tongue::Quill)] {
        let findings = tried_with(text, table(tongue));
        assert!(findings.passed, "{findings:#?}");
        // How long answers take hangs on what else this machine does: that is judged on the table's time.
        for what in ["opening", "reports", "a new epoch"] {
            assert_eq!(step(&findings, what).passed, Some(true), "{findings:#?}");
        }
        let dialect = Dialect::from_toml(text).expect("a dialect");
        let told = text_of(&dialect, &findings);
        assert!(
            told.contains("What was tried passed") && told.contains("[answer[0]]"),
            "{told}"
        );
        let json: serde_json::Value =
            serde_json::from_str(&json_of(&dialect, Some(&findings))).expect("JSON");
        assert_eq!(json["trial"]["passed"], true);
    }
}

#[test]
fn a_port_that_goes_away_in_the_middle_is_told() {
    let far = FarEnd::fresh();
    let opened = port::open(&far.path, 115_200).expect("opened");
    drop(far);
    let dialect = Arc::new(Dialect::from_toml(PLAIN).expect("a dialect"));
    let findings = run_trial(Trial::new(dialect, 115_200, false), opened);
    assert!(!findings.passed);
    assert_eq!(step(&findings, "the line").rule, "link.port");
}

/// What a builder writes for each blank, in their order.
const FILLED: [&str; 22] = [
    "mine",
    "My own.",
    "\\n",
    "\\n",
    "G0",
    "G0",
    "G1",
    "G1",
    "M3",
    "M5",
    "PROBE",
    "HOME",
    "CLEAR",
    "0x05",
    "rest",
    r"^(?<doing>[a-z]+) (?<x>-?[\d.]+) (?<y>-?[\d.]+) (?<z>-?[\d.]+)$",
    "^ok$",
    "^error",
    "^touched",
    "^missed$",
    "^alarm",
    "^hello$",
];

#[test]
fn the_skeleton_is_refused_at_its_first_blank_until_all_are_filled_in() {
    let blanks = |text: &str| {
        let lines = text.lines().filter(|l| !l.starts_with('#'));
        lines.map(|l| l.matches("_____").count()).sum::<usize>()
    };
    let mut text = SKELETON.replace(" (_____)", "");
    assert_eq!(blanks(&text), FILLED.len());
    for (filled, word) in FILLED.iter().enumerate() {
        let wrong = Dialect::from_toml(&text).expect_err("a blank is left");
        assert!(wrong.says.contains("is not filled in"), "{wrong}");
        let at = text
            .lines()
            .position(|l| !l.starts_with('#') && l.contains("_____"));
        assert_eq!(wrong.key, format!("line {}", at.expect("one") + 1));
        text = text.replacen("_____", word, 1);
        assert_eq!(blanks(&text), FILLED.len() - filled - 1);
    }
    let dialect = Dialect::from_toml(&text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    assert_eq!(dialect.name, "mine");
}

#[test]
fn a_new_dialect_never_takes_the_place_of_a_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("mine.toml");
    assert_eq!(write_new(&file), Ok(()));
    assert_eq!(std::fs::read_to_string(&file).expect("read"), SKELETON);
    std::fs::write(&file, "mine").expect("written");
    assert!(write_new(&file).is_err_and(|e| e.contains("not there yet")));
    assert_eq!(std::fs::read_to_string(&file).expect("read"), "mine");
}
