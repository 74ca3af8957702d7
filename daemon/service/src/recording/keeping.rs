//! Which recordings are kept, and which make room.
//!
//! The rule: a recording takes at most [`LARGEST`] and is stopped there; all of a folder together take at
//! most [`TOGETHER`], and leave [`LEAST_FREE`] of the disk free as far as removing them can. Whenever that
//! is passed, at a start and while the panel runs, the oldest recordings of starts that went well are
//! removed first, then the oldest of those with a stop in them or without an orderly end. The recording of
//! this start is never removed, and nothing else is: a restart needs none of them.

use std::fs;
use std::path::{Path, PathBuf};

/// A recording that has come to this is stopped, bytes: 17 hours of cutting without a pause (30 MB an hour).
pub const LARGEST: u64 = 512 << 20;
/// Recordings of one folder together, bytes.
pub const TOGETHER: u64 = 2 * LARGEST;
/// So much of the disk is left to the journal, bytes.
pub const LEAST_FREE: u64 = 256 << 20;

/// Ending of a recording that is compressed, and of one as they were.
pub const PACKED: &str = ".txt.gz";
pub const PLAIN: &str = ".txt";
/// Ending of the empty file beside the recording of a start that saw a stop, or did not end in order.
const STOPPED: &str = ".stopped";

/// The folder of recordings in a state folder.
#[must_use]
pub fn folder(state: &Path) -> PathBuf {
    state.join("recordings")
}

/// The recording of one start of the panel: the one that lies there, else the one that would be made.
#[must_use]
pub fn file(state: &Path, start: i64) -> PathBuf {
    let named = |ending: &str| folder(state).join(format!("start-{start}{ending}"));
    let plain = named(PLAIN);
    if plain.exists() { plain } else { named(PACKED) }
}

/// The starts of which a recording lies in this state folder.
#[must_use]
pub fn starts(state: &Path) -> Vec<i64> {
    let names = fs::read_dir(folder(state)).into_iter().flatten().flatten();
    names
        .filter_map(|e| start_of(&e.file_name().to_string_lossy()))
        .collect()
}

/// Which start a file of that name records; `None`: it is no recording.
fn start_of(name: &str) -> Option<i64> {
    let rest = name.strip_prefix("start-")?;
    let number = rest.strip_suffix(PACKED).or(rest.strip_suffix(PLAIN))?;
    number.parse().ok()
}

fn mark(folder: &Path, start: i64) -> PathBuf {
    folder.join(format!("start-{start}{STOPPED}"))
}

/// Marks the recording of a start as one to be kept for longer.
///
/// # Errors
/// The mark cannot be made.
pub fn set_mark(state: &Path, start: i64) -> std::io::Result<()> {
    fs::write(mark(&folder(state), start), "")
}

/// The start has ended in order and saw no stop.
pub fn take_mark(state: &Path, start: i64) {
    // With the mark left it is kept for longer than it need be.
    let _ = fs::remove_file(mark(&folder(state), start));
}

/// How much recordings may take on this disk now, if they take `taken`.
fn room(folder: &Path, taken: u64) -> u64 {
    let free =
        rustix::fs::statvfs(folder).map_or(u64::MAX, |s| s.f_bavail.saturating_mul(s.f_frsize));
    let on_disk = taken.saturating_add(free).saturating_sub(LEAST_FREE);
    TOGETHER.min(on_disk)
}

/// Removes what the rule removes, never the recording of `own`.
///
/// # Errors
/// The folder cannot be read, or a file cannot be removed.
pub fn make_room(state: &Path, own: i64) -> std::io::Result<()> {
    let folder = folder(state);
    let taken = recordings(&folder)?.iter().map(|r| r.bytes).sum();
    make_room_in(&folder, own, room(&folder, taken))
}

struct Recording {
    start: i64,
    path: PathBuf,
    bytes: u64,
    stopped: bool,
}

fn recordings(folder: &Path) -> std::io::Result<Vec<Recording>> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if let Some(start) = start_of(&entry.file_name().to_string_lossy()) {
            all.push(Recording {
                start,
                path: entry.path(),
                bytes: entry.metadata()?.len(),
                stopped: mark(folder, start).exists(),
            });
        }
    }
    Ok(all)
}

fn make_room_in(folder: &Path, own: i64, room: u64) -> std::io::Result<()> {
    let mut all = recordings(folder)?;
    let mut taken: u64 = all.iter().map(|r| r.bytes).sum();
    // Those that go first come first.
    all.sort_by_key(|r| (r.stopped, r.start));
    for recording in all.iter().filter(|r| r.start != own) {
        if taken <= room {
            break;
        }
        fs::remove_file(&recording.path)?;
        let _ = fs::remove_file(mark(folder, recording.start));
        taken -= recording.bytes;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn left(folder: &Path) -> Vec<String> {
        let mut left: Vec<_> = fs::read_dir(folder)
            .expect("a folder")
            .filter_map(|e| e.ok()?.file_name().into_string().ok())
            .collect();
        left.sort();
        left
    }

    #[test]
    fn the_oldest_that_went_well_make_room_first_and_this_start_never_does() {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path();
        for (start, ending) in [
            (2, PLAIN),
            (9, PACKED),
            (10, PACKED),
            (11, PACKED),
            (12, PACKED),
        ] {
            fs::write(folder.join(format!("start-{start}{ending}")), [0; 100]).expect("a file");
        }
        fs::write(mark(folder, 2), "").expect("a mark");
        fs::write(mark(folder, 12), "").expect("a mark");
        fs::write(folder.join("notes.txt"), [0; 1000]).expect("a file");
        make_room_in(folder, 12, 500).expect("room");
        assert_eq!(recordings(folder).expect("read").len(), 5, "they have room");
        make_room_in(folder, 12, 320).expect("room");
        let kept = [
            "notes.txt",
            "start-11.txt.gz",
            "start-12.stopped",
            "start-12.txt.gz",
        ];
        assert_eq!(
            left(folder),
            [&kept[..], &["start-2.stopped", "start-2.txt"]].concat()
        );
        make_room_in(folder, 12, 200).expect("room");
        assert!(
            !left(folder).contains(&"start-11.txt.gz".to_owned()),
            "it went well"
        );
        make_room_in(folder, 12, 0).expect("room");
        assert_eq!(
            left(folder),
            ["notes.txt", "start-12.stopped", "start-12.txt.gz"]
        );
    }

    #[test]
    fn what_others_take_of_the_disk_leaves_recordings_less() {
        let dir = tempfile::tempdir().expect("a folder");
        let (none, some) = (room(dir.path(), 0), room(dir.path(), 1 << 20));
        assert!(none <= some && some <= TOGETHER, "{none} {some}");
    }
}
