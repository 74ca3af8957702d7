//! The panel dies while the arc is on; the table is a process of its own and outlives it.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use simulator::harness::{Hands, Truth};

use crate::rig::{Ran, Speaks, assert_whole, fixture, number, practise_speaking, standclear};

/// Kills what it holds when it goes, so that a failed test leaves nothing running.
pub struct Reaped(pub Child);

impl Drop for Reaped {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

pub fn start(command: &mut Command) -> Reaped {
    let child = command
        .stdout(Stdio::null())
        .stderr(Stdio::inherit())
        .spawn()
        .expect("the binary starts");
    Reaped(child)
}

/// Asks the table until `enough` holds; fails with the last answer after a minute.
#[track_caller]
pub fn until(hands: &mut Hands, what: &str, enough: impl Fn(&Truth) -> bool) -> Truth {
    let end = Instant::now() + Duration::from_secs(60);
    loop {
        let truth = hands.truth().expect("the table answers");
        if enough(&truth) {
            return truth;
        }
        assert!(Instant::now() < end, "never {what}: {truth:?}");
        std::thread::yield_now();
    }
}

pub fn reach(dir: &Path) -> Hands {
    let end = Instant::now() + Duration::from_secs(30);
    loop {
        match Hands::connect(dir) {
            Ok(hands) => return hands,
            Err(error) => assert!(Instant::now() < end, "the table does not listen: {error}"),
        }
        std::thread::yield_now();
    }
}

/// A table that is a process of its own, and the folders of table and panel.
pub struct OwnTable {
    pub dir: PathBuf,
    pub state: PathBuf,
    pub hands: Hands,
    _table: Reaped,
    _folder: tempfile::TempDir,
}

impl OwnTable {
    /// At most so many times as fast as a real one.
    pub fn at_speed(speed: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let (dir, state) = (folder.path().join("table"), folder.path().join("state"));
        std::fs::create_dir_all(&dir).expect("a folder");
        let table = start(
            standclear()
                .arg("table")
                .arg("--dir")
                .arg(&dir)
                .args(["--speed", speed]),
        );
        Self {
            hands: reach(&dir),
            dir,
            state,
            _table: table,
            _folder: folder,
        }
    }
}

pub fn panel(table: &Path, state: &Path) -> Command {
    let mut command = standclear();
    command
        .arg("practice")
        .arg(fixture("square.nc"))
        .arg("--setup")
        .arg(fixture("square.toml"))
        .args(["--headless", "--format", "json", "--table"])
        .arg(table)
        .arg("--state")
        .arg(state);
    command
}

#[test]
fn a_killed_panel_puts_the_arc_out_and_is_shown_as_interrupted() {
    let mut own = OwnTable::at_speed("5");
    let (dir, state, hands) = (&own.dir, &own.state, &mut own.hands);

    let mut first = start(&mut panel(dir, state));
    // Into the second cut: the arc has been on for longer than the first cut takes.
    let burning = until(hands, "well into the second cut", |t| t.arc_on_s > 6.0);
    first.0.kill().expect("SIGKILL");
    first.0.wait().expect("reaped");

    // The ledger itself judges the relay (100 ms after the last pulse) and the arc (20 ms after
    // the relay). That the arc is out shows in arc time that stands still while the table's clock
    // goes on: two seconds of it, with the arc on for a tenth at most.
    let dead = hands.truth().expect("the table answers");
    assert!(dead.arc_on_s >= burning.arc_on_s);
    let later = until(hands, "two seconds later", |t| t.now_s > dead.now_s + 2.0);
    assert!(later.arc_on_s - dead.arc_on_s < 0.15, "{dead:?} {later:?}");
    assert_eq!(later.violations, Vec::<String>::new());
    assert!(later.uncut_mm > 1.0, "{later:?}");

    // A new panel on the same table and state: shown as interrupted, taken up again, whole.
    let second = Ran::of(&mut panel(dir, state));
    assert_whole(&second);
    let log = Ran::of(
        standclear()
            .args(["log", "--format", "json", "--state"])
            .arg(state),
    );
    assert!(log.stdout.contains("run-interrupted"), "{}", log.stdout);
}

#[test]
fn a_panel_told_to_end_puts_the_torch_out_first_and_ends_in_order() {
    let mut own = OwnTable::at_speed("5");
    let (dir, state, hands) = (&own.dir, &own.state, &mut own.hands);
    let mut told = start(&mut panel(dir, state));
    let burning = until(hands, "well into the second cut", |t| t.arc_on_s > 6.0);

    let pid = rustix::process::Pid::from_child(&told.0);
    rustix::process::kill_process(pid, rustix::process::Signal::TERM).expect("SIGTERM");
    let status = told.0.wait().expect("it ends");
    assert_eq!(status.code(), Some(1), "the run was not finished");

    let ended = hands.truth().expect("the table answers");
    assert!(ended.arc_on_s >= burning.arc_on_s);
    let later = until(hands, "two seconds later", |t| t.now_s > ended.now_s + 2.0);
    assert!(
        later.arc_on_s - ended.arc_on_s < 0.15,
        "{ended:?} {later:?}"
    );
    assert_eq!(later.violations, Vec::<String>::new());
    let log = Ran::of(
        standclear()
            .args(["log", "--format", "json", "--state"])
            .arg(state),
    );
    let starts = log.json()["starts"].as_array().cloned().unwrap_or_default();
    assert_eq!(starts.len(), 1);
    assert!(starts[0]["ended"].is_string(), "{}", starts[0]);
}

/// Practises with these faults, of which one kills the panel; the run must end whole, and no more
/// may be cut twice than the holds had offered.
#[track_caller]
fn taken_up(faults: &[&str]) -> Value {
    taken_up_speaking(Speaks::Plain, faults)
}

#[track_caller]
fn taken_up_speaking(speaks: Speaks, faults: &[&str]) -> Value {
    let args: Vec<&str> = faults.iter().flat_map(|f| ["--fault", f]).collect();
    let told = assert_whole(&practise_speaking(speaks, &args));
    let holds = told["holds"].as_array().cloned().unwrap_or_default();
    let killed = holds.iter().find(|h| h["cause"] == "interrupted");
    let killed = killed.unwrap_or_else(|| panic!("{told:#}")).clone();
    let offered: f64 = holds
        .iter()
        .filter(|h| !h["resumed_mm"].is_null())
        .map(|h| number(&h["at_mm"]) - number(&h["resumed_mm"]))
        .sum();
    let recut = number(&told["truth"]["recut_mm"]);
    assert!(recut <= offered + 1.0, "{told:#}");
    killed
}

#[test]
fn a_panel_killed_in_mid_cut_is_started_again_and_goes_on_from_where_the_torch_stood() {
    let hold = taken_up(&["panel-killed@2:60"]);
    assert_eq!(hold["cut"], 2);
    assert!(number(&hold["at_mm"]) >= 60.0, "{hold}");
    assert!(number(&hold["resumed_mm"]) <= 60.0, "{hold}");
    assert!(number(&hold["resumed_mm"]) > 45.0, "{hold}");
}

#[test]
fn a_panel_killed_over_a_controller_that_tells_little_is_gone_on_with() {
    let hold = taken_up_speaking(Speaks::Quill, &["panel-killed@2:60"]);
    assert_eq!(hold["cut"], 2);
    assert!(number(&hold["resumed_mm"]) <= 60.0, "{hold}");
}

#[test]
fn a_panel_killed_twice_tells_of_every_hold() {
    taken_up(&["panel-killed@1:20", "arc-lost@2:30", "panel-killed@2:100"]);
}

#[test]
fn an_emergency_stop_released_while_the_panel_starts_leaves_a_controller_that_can_be_used() {
    taken_up(&["estop@2:87.5", "panel-killed@2:87.5"]);
}

#[test]
fn what_is_wrong_at_the_table_when_the_panel_comes_back_is_set_right() {
    // A torch that a lost line has left on the sheet, low air, an arc that does not go out.
    taken_up(&["link-cut@2", "panel-killed@2"]);
    taken_up(&["air-low@2:60", "panel-killed@2:60"]);
    taken_up(&["arc-stuck@2:60", "panel-killed@2:60"]);
}
