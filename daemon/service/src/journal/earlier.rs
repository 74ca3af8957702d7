//! Signs of an earlier life of the panel, where its journal is not.
//!
//! A journal that is gone or empty looks like a first start: latches, doubt and counts would vanish
//! without a word. So whatever else an earlier start has left in the folder counts: recordings, a log
//! without its database, journals that were moved aside, the mark in the lock's file.

use std::fs::File;
use std::io::{Seek as _, Write as _};
use std::path::{Path, PathBuf};

/// Name of the database in the state folder.
pub const FILE: &str = "journal.db";
/// The file that is locked; what is in it is the mark.
pub const LOCK: &str = "journal.lock";

/// What shows an earlier life although there is no journal, in words; `None`: there is one, or nothing
/// shows. What is left of an unusable journal is moved aside.
///
/// # Errors
/// It could not be moved.
pub fn signs(dir: &Path) -> std::io::Result<Option<String>> {
    let file = dir.join(FILE);
    let length = std::fs::metadata(&file).map(|m| m.len());
    if length.as_ref().is_ok_and(|n| *n > 0) {
        return Ok(restored(dir));
    }
    let log = beside(&file, "-wal");
    let shows = if length.is_ok() {
        Some(format!("{FILE} is empty"))
    } else if log.exists() {
        Some(format!("{FILE} is gone, and its log lies there"))
    } else if !crate::recording::starts(dir).is_empty() {
        Some(format!("{FILE} is gone, and recordings lie there"))
    } else if moved_aside(dir) {
        Some(format!(
            "{FILE} is gone, and one that was moved aside lies there"
        ))
    } else if std::fs::metadata(dir.join(LOCK)).is_ok_and(|m| m.len() > 0) {
        Some(format!("{FILE} is gone, and {LOCK} tells of a start"))
    } else {
        None
    };
    if shows.is_some() && (file.exists() || log.exists()) {
        move_aside(&file)?;
    }
    if let Some(why) = &shows {
        tracing::error!(
            why,
            "records of an earlier life are lost, and the place is in doubt"
        );
    }
    Ok(shows)
}

/// The file that says that the journal is one of before.
const RESTORED: &str = "journal.restored";

/// Why the journal is not the whole one, where it came from a backup.
fn restored(dir: &Path) -> Option<String> {
    let made = match std::fs::read_to_string(dir.join(RESTORED)) {
        Ok(made) => made,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return None,
        // It is there: what it says is not needed to know that much.
        Err(_) => "an unknown time".into(),
    };
    let made = made.trim();
    Some(format!("{FILE} was restored from a backup of {made}"))
}

/// Says that the journal of this folder comes from a backup that was made at a wall time: the next start
/// takes its records as lost from then on.
///
/// # Errors
/// It cannot be written.
pub fn mark_restored(dir: &Path, made: &str) -> std::io::Result<()> {
    let mut file = File::create(dir.join(RESTORED))?;
    writeln!(file, "{made}")?;
    file.sync_all()?;
    File::open(dir)?.sync_all()
}

/// The start that knows of it has been begun.
pub fn unmark_restored(dir: &Path) {
    match std::fs::remove_file(dir.join(RESTORED)) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            tracing::warn!(%error, "{RESTORED} cannot be removed: the next start is in doubt as well");
        }
        _ => {}
    }
}

fn beside(file: &Path, tail: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(tail);
    PathBuf::from(name)
}

fn moved_aside(dir: &Path) -> bool {
    let name = format!("{FILE}.unreadable-");
    std::fs::read_dir(dir).is_ok_and(|all| {
        all.flatten()
            .any(|e| e.file_name().to_string_lossy().starts_with(&name))
    })
}

/// Leaves the mark of a start in the lock's file. Without it the other signs must do.
pub fn mark(mut lock: &File, start: i64) {
    let wrote = lock
        .set_len(0)
        .and_then(|()| lock.rewind())
        .and_then(|()| writeln!(lock, "start {start}"));
    if let Err(error) = wrote {
        tracing::warn!(%error, "{LOCK} cannot be written");
    }
}

/// Gives a file that cannot be used, and what belongs to it, a name of its own; deletes nothing.
pub fn move_aside(file: &Path) -> std::io::Result<PathBuf> {
    let name = |n: u32, tail: &str| {
        let mut s = file.as_os_str().to_owned();
        s.push(format!("{tail}.unreadable-{n}"));
        PathBuf::from(s)
    };
    let taken = |n: u32| {
        ["", "-wal", "-shm"]
            .iter()
            .any(|tail| name(n, tail).exists())
    };
    let free = (1..).find(|n| !taken(*n));
    let n = free.unwrap_or(u32::MAX);
    for tail in ["-wal", "-shm"] {
        let mut beside = file.as_os_str().to_owned();
        beside.push(tail);
        match std::fs::rename(&beside, name(n, tail)) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
    }
    let kept = name(n, "");
    match std::fs::rename(file, &kept) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(e),
        _ => Ok(kept),
    }
}
