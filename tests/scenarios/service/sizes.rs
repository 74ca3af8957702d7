//! What ten hours of cutting take of the disk.

use std::fs;
use std::path::Path;

use crate::rig::{assert_whole, number, practise};

/// Ten hours, s.
const TEN_HOURS_S: f64 = 36_000.0;
/// Recordings of ten hours take no more than this, bytes (30 MB an hour).
const RECORDINGS: f64 = 300e6;
/// The journal grows by no more than this in them, bytes (8 MB an hour).
const JOURNAL: f64 = 80e6;

fn recordings(state: &Path) -> f64 {
    let all = fs::read_dir(state.join("recordings")).expect("a folder");
    let bytes = all.map(|e| e.expect("an entry").metadata().expect("a file").len());
    bytes.sum::<u64>() as f64
}

fn journal(state: &Path) -> f64 {
    fs::metadata(state.join("journal.db"))
        .expect("a file")
        .len() as f64
}

/// `STANDCLEAR_HOURS=10` cuts for ten hours of table time, by hand; left out, two short jobs tell the rate.
#[test]
fn what_ten_hours_of_cutting_take_stays_within_what_is_stated() {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state");
    let dir = state.to_str().expect("a path");
    let run = || number(&assert_whole(&practise(&["--state", dir]))["run_s"]);
    // The first makes the files: what they take empty is no rate.
    run();
    let (recorded, kept) = (recordings(&state), journal(&state));
    let hours = std::env::var("STANDCLEAR_HOURS")
        .ok()
        .and_then(|h| h.parse::<f64>().ok());
    let enough_s = hours.map_or(1.0, |h| h * 3600.0);
    let mut cut_s = 0.0;
    let mut runs = 0;
    while cut_s < enough_s || runs < 2 {
        cut_s += run();
        runs += 1;
    }
    let each = TEN_HOURS_S / cut_s;
    let recorded = (recordings(&state) - recorded) * each;
    let kept = (journal(&state) - kept) * each;
    println!(
        "ten hours from {runs} runs of {cut_s:.0} s: recordings {:.0} MB, journal {:.0} MB",
        recorded / 1e6,
        kept / 1e6
    );
    assert!(recorded <= RECORDINGS && recorded > 0.0, "{recorded}");
    assert!(kept <= JOURNAL, "{kept}");
}
