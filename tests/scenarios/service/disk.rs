//! A disk that is full, hangs, or has lost the journal's file.

use std::fs;
use std::process::Command;

use super::{Console, alarmed, fill_disk, limited, terminate};
use crate::killed::{OwnTable, Reaped, panel, until};
use crate::rig::{Ran, fixture};
use rustix::process::Pid;

#[test]
fn with_a_full_disk_hold_is_answered_the_screen_says_so_and_the_panel_ends() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut console = Console::start(&folder.path().join("state"), &[]);
    console.hold(1);
    fill_disk(console.pid(), true);
    for press in 2..5 {
        console.hold(press);
    }
    console.until("told of the failing record", |v| {
        alarmed(v, "record-failed")
    });
    console.hold(5);
    assert!(console.terminate().success());
}

#[test]
fn a_disk_that_takes_records_again_lets_the_alarm_be_cleared() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut console = Console::start(&folder.path().join("state"), &[]);
    fill_disk(console.pid(), true);
    console.hold(1);
    console.until("told of the failing record", |v| {
        alarmed(v, "record-failed")
    });
    fill_disk(console.pid(), false);
    console.until("gone", |v| {
        let alarms = v["alarms"].as_array().cloned().unwrap_or_default();
        alarms
            .iter()
            .any(|a| a["cause"] == "record-failed" && a["gone"] == true)
    });
    console.hold(2);
    assert!(console.terminate().success());
}

#[test]
fn with_the_arc_on_and_the_disk_full_the_cut_is_finished_nothing_starts_and_the_panel_ends() {
    let mut own = OwnTable::at_speed("20");
    let (dir, state, hands) = (&own.dir, &own.state, &mut own.hands);
    let command = limited(&panel(dir, state), 1024)
        .stdout(std::process::Stdio::null())
        .spawn();
    let mut told = Reaped(command.expect("the binary starts"));
    let burning = until(hands, "in a cut", |t| t.arc_on_s > 1.0);
    fill_disk(Pid::from_child(&told.0), true);
    // The first cut is finished (5.2 s of arc); the second never begins.
    let later = until(hands, "half a minute later", |t| {
        t.now_s > burning.now_s + 30.0
    });
    assert!(
        later.arc_on_s < 6.5,
        "a new cut began: {burning:?} {later:?}"
    );
    let status = terminate(&mut told.0);
    assert_eq!(status.code(), Some(1), "the run was not finished");
    let ended = hands.truth().expect("the table answers");
    assert_eq!(ended.violations, Vec::<String>::new());
}

/// A panel over a disk that was well and now does as this word says; HOLD was answered before and after. The
/// disk's orders stand in the file `disk` of the folder.
fn with_a_disk_that_turns(how: &str) -> (Console, tempfile::TempDir) {
    let folder = tempfile::tempdir().expect("a folder");
    let orders = folder.path().join("disk");
    fs::write(&orders, "well").expect("written");
    let path = orders.to_str().expect("a path");
    let console = Console::start(&folder.path().join("state"), &["--disk", path]);
    console.hold(1);
    fs::write(&orders, how).expect("written");
    for press in 2..5 {
        console.hold(press);
    }
    (console, folder)
}

#[test]
fn with_a_disk_that_hangs_hold_is_answered_the_screen_says_so_and_the_panel_ends() {
    let (mut console, folder) = with_a_disk_that_turns("hangs");
    let orders = folder.path().join("disk");
    console.until("told of the hanging disk", |v| alarmed(v, "record-failed"));
    console.hold(5);
    fs::write(&orders, "well").expect("written");
    console.until("gone", |v| {
        let alarms = v["alarms"].as_array().cloned().unwrap_or_default();
        alarms
            .iter()
            .any(|a| a["cause"] == "record-failed" && a["gone"] == true)
    });
    fs::write(&orders, "hangs").expect("written");
    console.hold(6);
    assert!(console.terminate().code().is_some());
}

#[test]
fn a_state_folder_that_was_removed_is_noticed_though_nothing_is_recorded() {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state");
    let mut console = Console::start(&state, &[]);
    console.hold(1);
    fs::remove_dir_all(&state).expect("removed");
    console.until("told of the lost file", |v| alarmed(v, "record-failed"));
    console.hold(2);
    assert!(console.terminate().code().is_some());
    assert!(
        !state.exists(),
        "no new journal was begun where the old one was lost"
    );
}

#[test]
fn with_a_disk_that_has_become_read_only_hold_is_answered_the_screen_says_so_and_the_panel_ends() {
    let (mut console, _folder) = with_a_disk_that_turns("read-only");
    let view = console.until("told of the failing record", |v| {
        alarmed(v, "record-failed")
    });
    let why = view["alarms"].to_string();
    assert!(why.contains("can only be read"), "{why}");
    console.hold(5);
    assert!(console.terminate().code().is_some());
}

/// A folder on a file system that can only be read, in a user's own name space: what starts the panel
/// there; `None`: this kernel gives no user one.
fn on_a_read_only_disk(state: &std::path::Path, panel: &Command) -> Option<Command> {
    let tried = Command::new("unshare").args(["-rm", "true"]).output();
    if !tried.is_ok_and(|t| t.status.success()) {
        return None;
    }
    fs::create_dir_all(state).expect("a folder");
    let mut command = Command::new("unshare");
    let script = "mount -t tmpfs -o ro none \"$0\" && exec \"$@\"";
    command.args(["-rm", "sh", "-c", script]).arg(state);
    command.arg(panel.get_program()).args(panel.get_args());
    Some(command)
}

#[test]
fn on_a_state_folder_that_can_only_be_read_the_panel_does_not_start_and_says_why() {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state");
    let mut panel = crate::rig::standclear();
    panel.args(["practice", "--headless", "--speed", "50", "--state"]);
    panel.arg(&state).arg(fixture("square.nc"));
    panel.arg("--setup").arg(fixture("square.toml"));
    let Some(mut command) = on_a_read_only_disk(&state, &panel) else {
        println!("not tried: this kernel gives no name space in which a disk can be mounted");
        return;
    };
    let ran = Ran::of(&mut command);
    assert_eq!(ran.code, Some(1), "{}{}", ran.stdout, ran.stderr);
    let folder = state.display().to_string();
    assert!(ran.stderr.contains(&folder), "{}", ran.stderr);
    assert!(
        ran.stderr.to_lowercase().contains("read-only"),
        "{}",
        ran.stderr
    );
}
