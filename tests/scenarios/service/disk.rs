//! A disk that is full, hangs, or has lost the journal's file.

use std::fs;

use super::{Console, alarmed, fill_disk, limited, terminate};
use crate::killed::{OwnTable, Reaped, panel, until};
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

#[test]
fn with_a_disk_that_hangs_hold_is_answered_the_screen_says_so_and_the_panel_ends() {
    let folder = tempfile::tempdir().expect("a folder");
    let orders = folder.path().join("disk");
    fs::write(&orders, "well").expect("written");
    let path = orders.to_str().expect("a path");
    let mut console = Console::start(&folder.path().join("state"), &["--disk", path]);
    console.hold(1);
    fs::write(&orders, "hangs").expect("written");
    for press in 2..5 {
        console.hold(press);
    }
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
