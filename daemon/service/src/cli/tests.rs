use clap::{CommandFactory as _, Parser as _};
use simulator::harness::FaultKind;

use super::args::{Cli, Command, PracticeArgs, RunChoice, state_dir};
use super::check::{Found, group_name, json as check_json, port, text as check_text};
use super::faults::FaultArg;
use super::log::text as log_text;
use crate::journal::{Entry, Gap, Start, Story, csv};
use std::path::{Path, PathBuf};

fn parsed(line: &str) -> Result<Command, String> {
    let words = std::iter::once("standclear").chain(line.split_whitespace());
    let cli = Cli::try_parse_from(words).map_err(|e| {
        assert_eq!(e.exit_code(), 2, "usage errors end with 2");
        e.to_string()
    })?;
    Ok(cli.command)
}

fn practice(line: &str) -> Result<PracticeArgs, String> {
    match parsed(&format!("practice {line}"))? {
        Command::Practice(typed) => PracticeArgs::resolve(typed),
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_definition_of_the_command_line_is_sound() {
    Cli::command().debug_assert();
}

#[test]
fn every_flag_of_the_contract_is_taken() {
    for line in [
        "serve --config a --state b --listen 127.0.0.1:1",
        "practice p --setup a --config b --state c --speed 50 --seed 7 --rough \
         --fault arc-lost@31:200 --headless --listen 127.0.0.1:0 --format json",
        "practice",
        "vet p --setup a --config b --format json",
        "vet p --format sarif",
        "vet --explain outside-sheet",
        "vet --explain all",
        "log --state a --run last --format csv",
        "log --run 3 --format json",
        "log --run last --bundle f",
        "log --from f --format csv",
        "replay 3 --state a",
        "replay last --from f",
        "check --config a",
        "article r.toml",
        "article r.toml --config a --format json",
        "table --dir d",
        "practice --table d",
    ] {
        parsed(line).unwrap_or_else(|e| panic!("{line}: {e}"));
    }
}

#[test]
fn what_is_not_in_the_contract_is_a_usage_error() {
    for line in [
        "",
        "cut",
        "vet",
        "vet a b",
        "vet a --format xml",
        "vet a --explain all",
        "log --run first",
        "log --format xml",
        "article",
        "article a b",
        "article a --format sarif",
        "practice --speed 0",
        "practice --speed nan",
        "practice --speed fast",
        "practice --seed -1",
        "practice --listen here",
        "practice --fault",
        "replay",
        "serve --speed 2",
    ] {
        assert!(parsed(line).is_err(), "{line:?} was taken");
    }
}

#[test]
fn faults_are_read_with_their_place() {
    let args = practice("--fault arc-lost@31:200.5 --fault estop@1 --fault noise=1e-5");
    let args = args.expect("three faults");
    assert_eq!(args.faults.len(), 2);
    let lost = args.faults[0];
    assert_eq!(
        (lost.kind, lost.cut, lost.mm),
        (FaultKind::ArcLost, 31, Some(200.5))
    );
    let stop = args.faults[1];
    assert_eq!((stop.kind, stop.cut, stop.mm), (FaultKind::Estop, 1, None));
    assert_eq!(args.noise, 1e-5);
}

#[test]
fn every_kind_of_the_harness_has_its_name_on_the_command_line() {
    for kind in FaultKind::ALL {
        let name = serde_json::to_value(kind).expect("a name");
        assert_eq!(name.as_str(), Some(kind.name()));
        let spec = format!("{}@2", kind.name());
        match spec.parse::<FaultArg>() {
            Ok(FaultArg::At(spec)) => assert_eq!(spec.kind, kind),
            other => panic!("{spec}: {other:?}"),
        }
    }
}

#[test]
fn a_wrong_fault_says_what_is_wrong_and_what_there_is() {
    for (spec, says) in [
        ("arc-gone@1", "tip-over"),
        ("arc-lost", "arc-lost@CUT"),
        ("arc-lost@0", "counted from 1"),
        ("arc-lost@x", "counted from 1"),
        ("arc-lost@1:-2", "no place"),
        ("arc-lost@1:inf", "no place"),
        ("noise=2", "0.01"),
        ("noise=", "0.01"),
        ("panel-killed", "say where"),
    ] {
        let error = practice(&format!("--fault {spec}")).expect_err(spec);
        assert!(error.contains(says), "{spec}: {error}");
    }
    let error = practice("--fault panel-killed@2").expect_err("a person would be left without");
    assert!(error.contains("--headless"), "{error}");
    assert!(practice("--headless --fault panel-killed@2:30").is_ok());
}

#[test]
fn a_headless_run_does_not_wait_for_a_watcher() {
    assert_eq!(practice("").expect("ok").speed, 1.0);
    assert!(practice("--headless").expect("ok").speed > 1.0);
    assert_eq!(practice("--headless --speed 2").expect("ok").speed, 2.0);
}

#[test]
fn the_console_listens_on_this_machine_alone_by_default() {
    assert_eq!(practice("").expect("ok").listen, None);
}

#[test]
fn the_state_folder_is_found_in_order() {
    let none = |_: &str| None;
    let named = state_dir(Some(Path::new("x")), &none);
    assert_eq!(named, Ok(PathBuf::from("x")));
    let manager = |n: &str| (n == "STATE_DIRECTORY").then(|| "/s/a:/s/b".into());
    assert_eq!(state_dir(None, &manager), Ok(PathBuf::from("/s/a")));
}

#[test]
fn a_run_is_named_by_number_or_as_the_last() {
    assert_eq!("last".parse(), Ok(RunChoice::Last));
    assert_eq!("12".parse(), Ok(RunChoice::Id(12)));
    assert!("-1".parse::<RunChoice>().is_err());
}

fn entry(seq: i64, start: i64, clock_us: u64, says: &str) -> Entry {
    Entry {
        seq,
        start,
        run: Some(7),
        clock_us,
        wall: format!("2031-03-01T07:01:0{seq}.000Z"),
        unsure: start == 2,
        id: 65_000,
        name: "fixture".into(),
        severity: if seq == 2 { "stop" } else { "normal" }.into(),
        says: says.into(),
        advice: (seq == 2).then(|| "look at the nozzle".into()),
        fields: serde_json::json!({"event": "fixture", "says": "a, b"}),
    }
}

fn story() -> Story {
    let start = |start, ended: Option<&str>| Start {
        start,
        wall: "2031-03-01T07:00:00.000Z".into(),
        version: "0.1.0".into(),
        ended: ended.map(str::to_owned),
    };
    Story {
        run: Some(7),
        starts: vec![start(1, None), start(2, Some("2031-03-01T08:00:00.000Z"))],
        events: vec![
            entry(1, 1, 60_000_000, "the run began"),
            entry(2, 1, 61_500_000, "the arc was lost,\nat \"61 %\"\u{1b}[2J"),
            entry(3, 2, 2_000_000, ""),
        ],
        gaps: vec![Gap {
            after: 1,
            wall: String::new(),
            lost: 3,
            why: "the disk was full".into(),
        }],
    }
}

#[test]
fn a_log_reads_as_a_story() {
    insta::assert_snapshot!(log_text(&story(), false), @r#"
    Run 7
    -- The panel was started 2031-03-01T07:00:00.000Z (start 1, version 0.1.0; still running, or it did not end in order)
    2031-03-01 UTC
    07:01:01.000  t+     0.000 s     fixture              the run began
       ... 3 events are missing here: the disk was full
    07:01:02.000  t+     1.500 s   ! fixture              the arc was lost, at "61 %" [2J
                                     -> look at the nozzle
    -- The panel was started again 2031-03-01T07:00:00.000Z (start 2, version 0.1.0; ended in order 2031-03-01T08:00:00.000Z)
       times with a ? are unsure: the board has no clock chip and the network had not set its clock (order and seconds are right)
    07:01:03.000? t+     2.000 s     fixture              fixture
    "#);
}

#[test]
fn a_log_is_coloured_only_when_asked_and_no_record_speaks_to_the_terminal() {
    assert!(!log_text(&story(), false).contains('\u{1b}'));
    let coloured = log_text(&story(), true);
    assert!(coloured.contains("\u{1b}[1;31m"));
    assert!(!coloured.contains("\u{1b}[2J"));
}

#[test]
fn csv_quotes_what_would_break_a_line() {
    let text = csv(&story());
    let second = text.split("\r\n").nth(2).expect("a second event");
    assert!(
        second.contains("\"the arc was lost,\nat \"\"61 %\"\""),
        "{second}"
    );
    assert_eq!(
        text.matches("\r\n").count(),
        4,
        "a heading and three events"
    );
}

#[test]
fn a_port_that_is_not_there_is_told_with_what_to_do() {
    let (says, remedy) = port(Path::new("/nowhere/tty")).how.expect_err("not there");
    assert!(says.starts_with("/nowhere/tty: "), "{says}");
    assert!(remedy.contains("link.port"), "{remedy}");
}

#[test]
fn a_plain_file_is_no_serial_port() {
    let file = tempfile::NamedTempFile::new().expect("a file");
    let (says, _) = port(file.path()).how.expect_err("no port");
    assert!(says.ends_with("is no serial port"), "{says}");
}

#[test]
fn the_other_end_of_a_wire_is_taken_for_a_port() {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pair");
    grantpt(&master)
        .and_then(|()| unlockpt(&master))
        .expect("unlocked");
    let name = ptsname(&master, Vec::new()).expect("a name");
    let found = port(Path::new(name.to_str().expect("a path")));
    assert!(found.how.is_ok(), "{found:?}");
}

#[test]
fn a_group_is_named_by_the_systems_list() {
    let groups = "root:x:0:\ndialout:x:20:ann\n#\n";
    assert_eq!(group_name(groups, 20), "dialout");
    assert_eq!(group_name(groups, 21), "21");
}

#[test]
fn a_check_tells_each_thing_and_counts_what_is_wrong() {
    let found = [
        Found {
            what: "configuration",
            expected: "a file",
            how: Ok("machine.toml".into()),
        },
        Found {
            what: "pins",
            expected: "a chip",
            how: Err(("no pins".into(), "Use practice".into())),
        },
    ];
    let text = check_text(&found);
    assert!(
        text.contains("pins                 WRONG     no pins\n"),
        "{text}"
    );
    assert!(text.contains(" expected: a chip\n"), "{text}");
    assert!(text.contains("-> Use practice\n"), "{text}");
    assert!(text.ends_with("1 thing is wrong.\n"), "{text}");
    let told: serde_json::Value = serde_json::from_str(&check_json(&found)).expect("JSON");
    assert_eq!((&told["v"], &told["wrong"]), (&1.into(), &1.into()));
    assert_eq!(told["lines"][0]["in_order"], true);
    assert!(told["lines"][0]["to_do"].is_null());
    let pins = serde_json::json!({
        "what": "pins", "in_order": false, "found": "no pins", "expected": "a chip", "to_do": "Use practice"
    });
    assert_eq!(told["lines"][1], pins);
}
