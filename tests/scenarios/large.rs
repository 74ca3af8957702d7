//! Programs of 64 MiB that are no cutting programs: the real command refuses or judges them within
//! 400 MB of memory, whatever they are made of.

use std::fs;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::rig::standclear;

/// The most that the process may ask for, KiB: 400 MB, and 30 MB for the program's own code and the
/// stacks of its threads.
const ADDRESS_KIB: u32 = 430_000;
/// A guard against a stall, not a measurement: such a program takes a second or two of processor time.
const STALLED: Duration = Duration::from_secs(300);

/// 64 MiB of a piece of text, told as `code` with these words in the report.
fn refused(piece: &str, args: &[&str], says: &str) {
    let mut text = "G21 G90 F1100\nG0 X5 Y5\nM3\nG1\n".to_owned();
    text.push_str(&piece.repeat(((64 << 20) - 64) / piece.len()));
    text.push_str("\nM5\nM2\n");
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("large.nc");
    fs::write(&file, text).expect("written");
    let own = standclear();
    let mut bounded = Command::new("sh");
    bounded
        .arg("-c")
        .arg(format!("ulimit -v {ADDRESS_KIB}; exec \"$0\" \"$@\""))
        .arg(own.get_program())
        .arg("vet")
        .arg(&file)
        .args(args)
        // Reserved and never used: each thread's own heap.
        .env("MALLOC_ARENA_MAX", "1")
        .env("NO_COLOR", "1")
        .env_remove("STANDCLEAR_CONFIG")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let child = bounded.spawn().expect("the binary starts");
    let id = child.id();
    let (done, ended) = std::sync::mpsc::channel();
    let waiting = std::thread::spawn(move || {
        let output = child.wait_with_output();
        let _ = done.send(());
        output
    });
    if ended.recv_timeout(STALLED).is_err() {
        let _ = Command::new("kill").arg(id.to_string()).status();
        panic!("{piece:?}: still at it after {STALLED:?}");
    }
    let output = waiting.join().expect("no panic").expect("its output");
    let told = String::from_utf8_lossy(&output.stdout);
    let stderr = String::from_utf8_lossy(&output.stderr);
    let start: String = told.chars().take(2000).collect();
    assert_eq!(output.status.code(), Some(1), "{piece:?}: {start} {stderr}");
    assert!(told.contains(says), "{piece:?}: {start} {stderr}");
}

#[test]
fn more_path_than_can_be_vetted_is_refused_within_bounded_memory() {
    refused("X1\nY1\nX2\nY3\n", &[], "more than the panel vets");
}

#[test]
fn lines_without_end_are_judged_within_bounded_memory() {
    refused("\n", &[], "refused");
}

#[test]
fn noise_is_told_with_its_true_count_within_bounded_memory() {
    refused("X1,#Y\n(a(b)\n", &["--format", "json"], "\"more\":");
}
