//! Back from an archive: read whole, judged, then put in place; what lay there is moved aside.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags};

use super::{JOURNAL, KIND, Manifest};
use crate::archive;
use crate::config::Config;
use crate::journal;

/// What a restore has done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// When the backup was made, RFC 3339, UTC.
    pub made: String,
    /// The files that were put in place.
    pub files: Vec<PathBuf>,
    /// What lay there and is kept, by its new name.
    pub aside: Vec<PathBuf>,
    /// A journal was among them: the next start is in doubt of its place.
    pub journal: bool,
}

/// Puts an archive's files in place: the machine file at `machine`, what it names as it lay to it, journal
/// and programs into `state`.
///
/// # Errors
/// What is wrong and what to do. Until the whole archive was found right nothing is changed.
pub fn restore(from: &Path, machine: &Path, state: &Path) -> Result<Restored, String> {
    std::fs::create_dir_all(state).map_err(|e| {
        format!(
            "{}: cannot be made: {e}. Name another with --state",
            state.display()
        )
    })?;
    // Nobody writes the journal meanwhile.
    let _lock = journal::lock(state).map_err(|e| e.to_string())?;
    let work = archive::beside(&state.join("work"))?;
    let manifest: Manifest = archive::read(from, work.path(), &KIND)?;
    judge(from, work.path(), &manifest)?;
    let root = config_root(&manifest, machine)?;
    let mut done = Restored {
        made: manifest.made.clone(),
        files: Vec::new(),
        aside: Vec::new(),
        journal: false,
    };
    for member in &manifest.files {
        let to = match member.path.strip_prefix("config/") {
            _ if member.path == manifest.machine => machine.to_path_buf(),
            Some(inside) => root.join(inside),
            None => state.join(member.path.trim_start_matches("state/")),
        };
        if member.path == JOURNAL {
            // Before the journal itself: one that is in place without the mark would be believed.
            journal::mark_restored(state, &manifest.made).map_err(|e| {
                format!(
                    "{}: cannot be written: {e}. Let this user write there",
                    state.display()
                )
            })?;
            done.journal = true;
        }
        put(&work.path().join(&member.path), &to, &mut done)?;
    }
    Ok(done)
}

/// The machine file can be used and the journal be read.
fn judge(from: &Path, work: &Path, manifest: &Manifest) -> Result<(), String> {
    let wrong = |says: String| format!("{}: {says}. Name another backup", from.display());
    if !manifest.files.iter().any(|m| m.path == manifest.machine) {
        return Err(wrong("holds no machine file".into()));
    }
    Config::load(&work.join(&manifest.machine)).map_err(|e| wrong(e.to_string()))?;
    let journal = work.join(JOURNAL);
    if journal.exists() {
        let sound = || -> rusqlite::Result<String> {
            let db = Connection::open_with_flags(&journal, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
            db.query_row("PRAGMA quick_check", [], |r| r.get(0))
        };
        match sound() {
            Ok(said) if said == "ok" => {}
            Ok(said) => return Err(wrong(format!("its journal is damaged: {said}"))),
            Err(e) => return Err(wrong(format!("its journal cannot be read: {e}"))),
        }
    }
    Ok(())
}

/// The folder below which the configuration is put: the machine file's own, or as many above it as the
/// machine file lay deep in the backup.
fn config_root(manifest: &Manifest, machine: &Path) -> Result<PathBuf, String> {
    let inside = manifest
        .machine
        .strip_prefix("config/")
        .unwrap_or(&manifest.machine);
    let deep = Path::new(inside).components().count();
    let folder = machine
        .parent()
        .filter(|p| !p.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder).map_err(|e| {
        format!(
            "{}: cannot be made: {e}. Name another machine file with --config",
            folder.display()
        )
    })?;
    let folder = folder
        .canonicalize()
        .map_err(|e| format!("{}: {e}", folder.display()))?;
    let root = folder.ancestors().nth(deep.saturating_sub(1));
    root.map(Path::to_path_buf).ok_or_else(|| {
        format!(
            "{}: in the backup it lies {deep} folders deep ({inside}). Name a file as deep with --config",
            machine.display()
        )
    })
}

/// Puts one file in place. One that lies there and is another is moved aside.
fn put(from: &Path, to: &Path, done: &mut Restored) -> Result<(), String> {
    let wrong = |e: std::io::Error| {
        format!(
            "{}: cannot be put there: {e}. Let this user write there, and restore once more",
            to.display()
        )
    };
    if let Some(folder) = to.parent() {
        std::fs::create_dir_all(folder).map_err(wrong)?;
    }
    if same(from, to) {
        return Ok(());
    }
    for tail in ["", "-wal", "-shm"] {
        // A journal's log belongs to it.
        let there = with_tail(to, tail);
        let is_journal = to.ends_with("journal.db");
        if (tail.is_empty() || is_journal) && there.symlink_metadata().is_ok() {
            let kept = free_name(&there);
            std::fs::rename(&there, &kept).map_err(wrong)?;
            done.aside.push(kept);
        }
    }
    // The folder of work may lie on another file system.
    if std::fs::rename(from, to).is_err() {
        std::fs::copy(from, to).map_err(wrong)?;
    }
    std::fs::File::open(to)
        .and_then(|f| f.sync_all())
        .map_err(wrong)?;
    done.files.push(to.to_path_buf());
    Ok(())
}

fn same(a: &Path, b: &Path) -> bool {
    let of = |p: &Path| archive::member("", p).ok();
    b.symlink_metadata().is_ok_and(|m| m.is_file()) && of(a).is_some() && of(a) == of(b)
}

fn with_tail(file: &Path, tail: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(tail);
    PathBuf::from(name)
}

fn free_name(file: &Path) -> PathBuf {
    let name = |n: u32| with_tail(file, &format!(".before-restore-{n}"));
    let free = (1..).map(name).find(|p| p.symlink_metadata().is_err());
    free.unwrap_or_else(|| name(u32::MAX))
}
