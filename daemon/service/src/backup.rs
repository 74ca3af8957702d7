//! Configuration, charts, programs and journal (with it latches, doubt and counts) in one file, and back.
//!
//! The file is a tar archive (POSIX.1-2001 ustar): `manifest.json` first, with length and SHA-256 of every
//! other member, then `config/...` (machine file and what it names, as they lie to each other),
//! `state/journal.db` and `state/programs/...`. Recordings are left out: they are large, and nothing needs
//! them to go on.
//!
//! **Never**: changes anything before the whole archive was read and found right; throws away what it
//! replaces (it is moved aside); makes a journal of before look like one of today: the start after a
//! restore has its records lost from then on, its place in doubt.
//! **If the power goes** in a backup, the file is not there; in a restore, some files may be the new and
//! others the old ones: restore once more.

mod restore;
#[cfg(test)]
mod tests;

use std::collections::BTreeSet;
use std::path::{Component, Path, PathBuf};

use rusqlite::{Connection, OpenFlags};
use serde::{Deserialize, Serialize};

use crate::archive::{self, Kind, Member};
use crate::config::Config;
use crate::journal::wall;

pub use restore::{Restored, restore};

/// The journal in an archive.
const JOURNAL: &str = "state/journal.db";
/// The folder of programs in an archive.
const PROGRAMS: &str = "state/programs";
/// Most bytes of one configuration file or program (programs may be 64 MiB).
const FILE_BYTES_MAX: u64 = 64 << 20;

/// The first member of an archive.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Manifest {
    /// Version of the program that made it.
    standclear: String,
    /// Wall time, RFC 3339, UTC.
    made: String,
    /// Which member is the machine file.
    machine: String,
    /// All other members, in their order.
    files: Vec<Member>,
}

impl archive::Manifest for Manifest {
    fn files(&self) -> &[Member] {
        &self.files
    }
}

/// What may be read as a backup: configuration, and what a state folder holds.
const KIND: Kind<'static> = Kind {
    made_by: "standclear backup",
    holds: &|path| {
        let program = path
            .strip_prefix(PROGRAMS)
            .and_then(|p| p.strip_prefix('/'));
        path == JOURNAL
            || path.starts_with("config/")
            || program.is_some_and(|name| !name.contains('/'))
    },
    most: &|path| match path {
        JOURNAL => u64::MAX,
        _ => FILE_BYTES_MAX,
    },
};

/// What a backup holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// How many files.
    pub files: usize,
    /// How many bytes they have.
    pub bytes: u64,
    /// There was no journal yet.
    pub without_journal: bool,
}

/// Writes configuration and state into a new file `to`. The panel may run meanwhile: the journal is copied
/// as it stands at one moment.
///
/// # Errors
/// What could not be read or written, and what to do.
pub fn make(machine: &Path, state: &Path, to: &Path) -> Result<Made, String> {
    let named = Config::files(machine).map_err(|e| e.to_string())?;
    let work = archive::beside(to)?;
    let (root, machine_in) = common_root(&named, machine)?;
    let mut sources: Vec<(String, PathBuf)> = Vec::new();
    for file in &named {
        sources.push((format!("config/{}", below(&root, file)?), file.clone()));
    }
    let journal = state.join("journal.db");
    let without_journal = !journal.exists();
    if !without_journal {
        let copy = work.path().join("journal.db");
        copy_journal(&journal, &copy)?;
        sources.push((JOURNAL.to_owned(), copy));
    }
    for (name, file) in programs(&state.join("programs"))? {
        sources.push((format!("{PROGRAMS}/{name}"), file));
    }
    let mut members = Vec::new();
    for (path, file) in &sources {
        members.push(archive::member(path, file)?);
    }
    let manifest = Manifest {
        standclear: env!("CARGO_PKG_VERSION").to_owned(),
        made: wall::now(),
        machine: format!("config/{machine_in}"),
        files: members,
    };
    let half = work.path().join("backup.tar");
    archive::write(&half, &manifest, &sources)?;
    archive::put_in_place(&half, to)?;
    Ok(Made {
        files: manifest.files.len(),
        bytes: manifest.files.iter().map(|m| m.bytes).sum(),
        without_journal,
    })
}

/// The folder that all files lie below, and the machine file's place in it.
fn common_root(files: &[PathBuf], machine: &Path) -> Result<(PathBuf, String), String> {
    let absolute: Vec<PathBuf> = files.iter().map(|f| plain(f)).collect::<Result<_, _>>()?;
    let mut root = absolute
        .first()
        .and_then(|f| f.parent())
        .unwrap_or(Path::new("/"))
        .to_path_buf();
    while !absolute.iter().all(|f| f.starts_with(&root)) {
        if !root.pop() {
            break;
        }
    }
    let machine = below(&root, machine)?;
    Ok((root, machine))
}

/// An absolute path without `.` and `..`, symbolic links of its folder followed.
fn plain(file: &Path) -> Result<PathBuf, String> {
    let cannot =
        |e: std::io::Error| format!("{}: {e}. Name a file that can be read", file.display());
    let folder = file.parent().filter(|p| !p.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    let name = file
        .file_name()
        .ok_or_else(|| format!("{}: is no file. Name a file", file.display()))?;
    Ok(folder.canonicalize().map_err(cannot)?.join(name))
}

/// The path of a file below a folder, with `/` between its parts.
fn below(root: &Path, file: &Path) -> Result<String, String> {
    let whole = plain(file)?;
    let inside = whole.strip_prefix(root).unwrap_or(&whole);
    let mut parts = Vec::new();
    for part in inside.components() {
        if let Component::Normal(part) = part {
            let part = part.to_str().ok_or_else(|| {
                format!(
                    "{}: its name is no UTF-8. Give it another name",
                    file.display()
                )
            })?;
            parts.push(part);
        }
    }
    Ok(parts.join("/"))
}

/// The journal as it is now, in a file of its own: what a running panel writes meanwhile is not in it.
fn copy_journal(from: &Path, to: &Path) -> Result<(), String> {
    let told = |e: rusqlite::Error| {
        format!(
            "{}: cannot be copied: {e}. Look at it with `standclear log`, and at the disk's room",
            from.display()
        )
    };
    let db = Connection::open_with_flags(from, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(told)?;
    db.busy_timeout(std::time::Duration::from_secs(5))
        .map_err(told)?;
    let to = to.to_str().ok_or_else(|| {
        format!(
            "{}: its name is no UTF-8. Name another folder",
            to.display()
        )
    })?;
    db.execute("VACUUM INTO ?1", [to]).map_err(told)?;
    Ok(())
}

/// The regular files of the folder of programs, by name; links and folders are left out, as the console
/// leaves them out.
fn programs(folder: &Path) -> Result<Vec<(String, PathBuf)>, String> {
    let listed = match std::fs::read_dir(folder) {
        Ok(listed) => listed,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => {
            return Err(format!(
                "{}: cannot be read: {e}. Let this user read there",
                folder.display()
            ));
        }
    };
    let mut found = BTreeSet::new();
    for entry in listed.flatten() {
        let regular = entry.file_type().is_ok_and(|t| t.is_file());
        if let (true, Some(name)) = (regular, entry.file_name().to_str()) {
            found.insert(name.to_owned());
        }
    }
    Ok(found
        .into_iter()
        .map(|name| (name.clone(), folder.join(name)))
        .collect())
}
