//! The folder of journal and programs: whether it may be written, how much is free, how fast a record is
//! durable there.

use std::fs;
use std::io::{self, Write as _};
use std::path::Path;
use std::time::{Duration, Instant};

use super::{Found, Judged, wrong};

/// Records that are written to time the disk.
const RECORDS: usize = 16;
/// One record, bytes: a page of the journal's database.
const RECORD_BYTES: usize = 4096;
/// A start waits until its record is durable: half a second is no longer passed over (our own figure).
const SLOWEST: Duration = Duration::from_millis(500);
/// Recordings are removed from here on (bytes); with less the panel soon writes nothing.
const LEAST_FREE: u64 = 256 << 20;

/// Both lines. `folder` is where `serve` keeps its state, or why there is none.
pub fn lines(folder: Result<&Path, &str>) -> [Found; 2] {
    let may = match folder {
        Ok(folder) => permission(folder),
        Err(says) => wrong(says, "Name a folder with --state DIR"),
    };
    let disk = match (folder, &may) {
        (Ok(folder), Ok(_)) => match measure(folder) {
            Ok(seen) => judge(seen),
            Err(e) => wrong(
                &format!("{}: {e}", folder.display()),
                "Look at the disk: sudo dmesg tells what is wrong with it; a card that has become read-only is worn out",
            ),
        },
        _ => Ok("not looked at: the folder cannot be written".into()),
    };
    [
        Found {
            what: "permissions",
            expected: "the folder of journal and programs can be written by this user",
            how: may,
        },
        Found {
            what: "disk",
            expected: "256 MB free at least, and a record durable within 0.5 s",
            how: disk,
        },
    ]
}

fn permission(folder: &Path) -> Judged {
    let name = folder.display();
    match fs::metadata(folder) {
        // The first start makes it.
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            let above = folder.ancestors().skip(1).find(|a| a.is_dir());
            match above.map(|a| rustix::fs::access(a, rustix::fs::Access::WRITE_OK)) {
                Some(Ok(())) => Ok(format!("{name} is not there yet; it can be made")),
                _ => wrong(&format!("{name} is not there and cannot be made"), REMEDY),
            }
        }
        Err(e) => wrong(&format!("{name}: {e}"), REMEDY),
        Ok(about) if !about.is_dir() => wrong(&format!("{name} is no folder"), REMEDY),
        Ok(_) => match rustix::fs::access(folder, rustix::fs::Access::WRITE_OK) {
            Ok(()) => Ok(format!("{name} can be written")),
            Err(e) => wrong(&format!("{name} cannot be written: {e}"), REMEDY),
        },
    }
}

const REMEDY: &str = "Run this as the panel's user (sudo -u standclear standclear check), or give the folder back to it \
                      (sudo chown -R standclear: FOLDER), or name another with --state DIR";

/// What was measured.
#[derive(Clone, Copy, Debug)]
struct Seen {
    free: u64,
    slowest: Duration,
}

/// Writes some records beside the journal, each made durable, and takes the file away again.
fn measure(folder: &Path) -> io::Result<Seen> {
    let there = folder.ancestors().find(|a| a.is_dir()).unwrap_or(folder);
    let room = rustix::fs::statvfs(there)?;
    let mut file = tempfile::tempfile_in(there)?;
    let record = [0x5A; RECORD_BYTES];
    let mut slowest = Duration::ZERO;
    for _ in 0..RECORDS {
        let from = Instant::now();
        file.write_all(&record)?;
        file.sync_data()?;
        slowest = slowest.max(from.elapsed());
    }
    Ok(Seen {
        free: room.f_bavail.saturating_mul(room.f_frsize),
        slowest,
    })
}

fn judge(seen: Seen) -> Judged {
    let (mb, ms) = (seen.free >> 20, seen.slowest.as_secs_f64() * 1000.0);
    let found =
        format!("{mb} MB free; the slowest of {RECORDS} records was durable after {ms:.1} ms");
    if seen.free < LEAST_FREE {
        return wrong(
            &found,
            "Make room: old recordings lie in the folder `recordings` beside the journal",
        );
    }
    if seen.slowest > SLOWEST {
        return wrong(
            &found,
            "Every start waits for its record: use a better card, or a disk; look whether something else is writing",
        );
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_disk_that_is_full_or_slow_is_wrong_and_one_at_its_limits_is_not() {
        let seen = |free, ms| {
            judge(Seen {
                free,
                slowest: Duration::from_millis(ms),
            })
        };
        assert!(seen(LEAST_FREE, 500).is_ok());
        assert!(
            seen(LEAST_FREE - 1, 1).is_err_and(|(f, r)| f.contains("255 MB") && r.contains("room"))
        );
        assert!(
            seen(u64::MAX, 501).is_err_and(|(f, r)| f.contains("501.0 ms") && r.contains("card"))
        );
    }

    #[test]
    fn a_folder_that_cannot_be_used_is_named_and_a_good_one_is_left_as_it_was() {
        let folder = tempfile::tempdir().expect("a folder");
        let [may, disk] = lines(Ok(folder.path()));
        assert!(may.how.is_ok() && disk.how.is_ok_and(|s| s.contains("MB free")));
        assert_eq!(fs::read_dir(folder.path()).expect("there").count(), 0);
        let not_yet = folder.path().join("a/b");
        assert!(
            lines(Ok(&not_yet))[0]
                .how
                .as_ref()
                .is_ok_and(|s| s.contains("not there yet"))
        );
        let file = folder.path().join("file");
        fs::write(&file, "").expect("written");
        for bad in [&file, &file.join("state")] {
            let [may, disk] = lines(Ok(bad));
            assert!(
                may.how.is_err() && disk.how.is_ok_and(|s| s.contains("not looked at")),
                "{bad:?}"
            );
        }
        assert!(lines(Err("nowhere"))[0].how.is_err());
        // A folder of the kernel that nobody may write to, root included.
        assert!(
            lines(Ok(Path::new("/proc/sys/none")))[0].how.is_err()
                || lines(Ok(Path::new("/proc/sys/none")))[1].how.is_err()
        );
    }
}
