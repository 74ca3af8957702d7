//! `standclear dialect try` against the simulated table, on its time: what fits, what does not, and that
//! nothing moves unless it may, nor fires at all.

use std::sync::Arc;
use std::time::Duration;

use link::{Command, Dialect, Findings, PLAIN, Session, Trial, Tried, Word};
use simulator::{Table, TableSettings, Tongue};
use units::Time;

const QUILL: &str = include_str!("../../config/dialects/quill.toml");
const BAUD: u32 = 115_200;

fn dialect(text: &str) -> Arc<Dialect> {
    Arc::new(Dialect::from_toml(text).expect("a dialect"))
}

fn table(tongue: Tongue) -> Table {
    Table::new(TableSettings {
        tongue,
        ..TableSettings::default()
    })
}

/// A table whose axes are referenced, and what is said to it so.
fn referenced(text: &str, tongue: Tongue) -> (Table, Time) {
    let mut table = table(tongue);
    let mut session = Session::new(dialect(text), BAUD);
    let (mut now, mut words, mut home) = (Time::ZERO, Vec::new(), None);
    session.opened(now);
    loop {
        let out = session.poll(now, false);
        table.wire_in(now, &out.take_away);
        table.wire_in(now, &out.lines);
        now = table.advance_to_change(now + Duration::from_millis(1));
        session.receive(now, &table.take_wire_out(), &mut words);
        if home.is_none() && words.contains(&Word::Ready) {
            home = Some(session.say(Command::Home));
        }
        let homed = |w: &Word| matches!(w, Word::Status(s) if home.is_some() && s.executed >= home);
        if words.iter().any(homed) {
            return (table, now);
        }
        assert!(now < Time::from_ms(60_000), "{words:?}");
    }
}

/// The trial from then on; what the table says passes through `spoilt`.
fn tried_on(
    mut trial: Trial,
    table: &mut Table,
    mut now: Time,
    mut spoilt: impl FnMut(Vec<u8>) -> Vec<u8>,
) -> Findings {
    let end = now + Duration::from_secs(60);
    trial.opened(now);
    while !trial.over() {
        let out = trial.poll(now);
        table.wire_in(now, &out.take_away);
        table.wire_in(now, &out.lines);
        let to = trial.deadline(now).max(now + Duration::from_micros(100));
        now = table.advance_to_change(to);
        trial.receive(now, &spoilt(table.take_wire_out()));
        assert!(now < end, "{:?}", trial.findings());
    }
    let truth = table.truth();
    assert_eq!(
        (truth.pierces, truth.violations),
        (0, vec![]),
        "nothing was fired"
    );
    trial.findings()
}

fn failed(findings: &Findings) -> &Tried {
    assert!(!findings.passed);
    let last = findings.steps.last().expect("one");
    assert_eq!(last.passed, Some(false), "{findings:?}");
    last
}

const BOTH: [(&str, Tongue); 2] = [(PLAIN, Tongue::Plain), (QUILL, Tongue::Quill)];

#[test]
fn a_dialect_that_fits_passes_and_nothing_moves() {
    for (text, tongue) in BOTH {
        let mut table = table(tongue);
        let stood = table.torch();
        let findings = tried_on(
            Trial::new(dialect(text), BAUD, false),
            &mut table,
            Time::ZERO,
            |b| b,
        );
        assert!(findings.passed, "{findings:#?}");
        assert_eq!(table.torch(), stood);
        let hold = findings
            .capabilities
            .iter()
            .find(|c| c.name == "hold-at-once");
        assert_eq!(hold.and_then(|c| c.seen), Some(true), "{findings:#?}");
    }
}

#[test]
fn with_leave_it_moves_10_mm_and_is_stopped_on_its_way_back_without_the_torch() {
    for (text, tongue) in BOTH {
        let (mut table, now) = referenced(text, tongue);
        let stood = table.torch();
        let findings = tried_on(
            Trial::new(dialect(text), BAUD, true),
            &mut table,
            now,
            |b| b,
        );
        assert!(findings.passed, "{findings:#?}");
        let names: Vec<&str> = findings.steps.iter().map(|s| s.what).collect();
        assert!(
            names.contains(&"motion") && names.contains(&"hold in motion"),
            "{names:?}"
        );
        let (is, was) = (table.torch(), stood);
        let along = is.0.x - was.0.x;
        assert!(
            (1.0..6.0).contains(&along) && is.0.y == was.0.y && is.1 == was.1,
            "{along}"
        );
    }
}

#[test]
fn axes_that_are_not_referenced_are_not_moved() {
    let mut table = table(Tongue::Plain);
    let stood = table.torch();
    let findings = tried_on(
        Trial::new(dialect(PLAIN), BAUD, true),
        &mut table,
        Time::ZERO,
        |b| b,
    );
    let motion = findings
        .steps
        .iter()
        .find(|s| s.what == "motion")
        .expect("told");
    assert_eq!(motion.passed, None);
    assert!(motion.says.contains("not referenced"), "{}", motion.says);
    assert_eq!(table.torch(), stood);
}

#[test]
fn a_controller_that_is_silent_is_told_as_that() {
    let findings = tried_on(
        Trial::new(dialect(PLAIN), BAUD, false),
        &mut table(Tongue::Plain),
        Time::ZERO,
        |_| Vec::new(),
    );
    let failed = failed(&findings);
    assert!(failed.says.starts_with("Not one byte"), "{}", failed.says);
    assert!(failed.rule.contains("link.port"), "{}", failed.rule);
}

#[test]
fn another_baud_rate_is_told_from_another_dialect() {
    // Bytes heard at another rate have their high bits set as often as not.
    let mut state = 1_u32;
    let noise = |bytes: Vec<u8>| -> Vec<u8> {
        let other = |b: u8| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            b ^ (state >> 24) as u8
        };
        bytes.into_iter().map(other).collect()
    };
    let trial = Trial::new(dialect(PLAIN), BAUD, false);
    let findings = tried_on(trial, &mut table(Tongue::Plain), Time::ZERO, noise);
    assert_eq!(failed(&findings).rule, "link.baud", "{findings:?}");
    // The wrong file: text that is no line of it.
    let trial = Trial::new(dialect(PLAIN), BAUD, false);
    let findings = tried_on(trial, &mut table(Tongue::Quill), Time::ZERO, |b| b);
    assert!(
        failed(&findings).rule.contains("answers.frame"),
        "{findings:?}"
    );
    assert!(
        findings.lines.iter().all(|l| l.means.is_none()),
        "{findings:?}"
    );
}

#[test]
fn a_rule_that_is_wrong_is_named() {
    let cases = [
        ("'^= (?<doing>", "'^is (?<doing>", "[[answer]]"),
        (
            "resting = \"idle\"\nmoving = \"running\"",
            "resting = \"running\"\nmoving = \"idle\"",
            "[states]",
        ),
        (
            "pattern = '^got$'",
            "pattern = '^gut$'",
            "epoch, [[answer]]",
        ),
        ("\"drop all\"]", "\"drop it\"]", "epoch.lines"),
    ];
    for (from, to, key) in cases {
        let text = QUILL.replace(from, to);
        assert_ne!(text, QUILL, "{from}");
        let trial = Trial::new(dialect(&text), BAUD, false);
        let findings = tried_on(trial, &mut table(Tongue::Quill), Time::ZERO, |b| b);
        let failed = failed(&findings);
        let named = key.split(", ").any(|k| failed.rule.contains(k));
        assert!(named, "{from}: {failed:?}\n{:#?}", findings.lines);
    }
}

#[test]
fn an_adapter_that_gathers_what_comes_in_is_told() {
    let mut table = table(Tongue::Plain);
    let mut trial = Trial::new(dialect(PLAIN), BAUD, false);
    let (mut now, mut waits, mut handed) = (Time::ZERO, Vec::new(), Time::ZERO);
    trial.opened(now);
    while !trial.over() {
        let out = trial.poll(now);
        table.wire_in(now, &out.take_away);
        table.wire_in(now, &out.lines);
        now = table.advance_to_change(now + Duration::from_micros(500));
        waits.extend(table.take_wire_out());
        if now >= handed + Duration::from_millis(16) {
            handed = now;
            trial.receive(now, &core::mem::take(&mut waits));
        }
        assert!(now < Time::from_ms(60_000));
    }
    let findings = trial.findings();
    let answers = findings
        .steps
        .iter()
        .find(|s| s.what == "answers")
        .expect("timed");
    assert_eq!(answers.passed, None, "{findings:#?}");
    assert!(answers.says.contains("USB adapter"), "{}", answers.says);
}
