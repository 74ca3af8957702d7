//! Whether a file that is open is still the one in its folder: what is written to one that was removed or
//! replaced is lost with the last handle of it.

use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

/// A file in its place.
#[derive(Debug, PartialEq, Eq)]
pub struct Placed {
    pub path: PathBuf,
    /// What tells one file from another: device and number.
    file: (u64, u64),
}

impl Placed {
    /// What lies there now; `None`: nothing that can be seen.
    pub fn of(path: &Path) -> Option<Self> {
        let seen = std::fs::metadata(path).ok()?;
        Some(Self {
            path: path.to_path_buf(),
            file: (seen.dev(), seen.ino()),
        })
    }
}

/// The files of an open journal: the database, and the log that takes what is new.
pub fn places(file: &Path) -> Vec<Placed> {
    let mut log = file.as_os_str().to_owned();
    log.push("-wal");
    [file, Path::new(&log)]
        .into_iter()
        .filter_map(Placed::of)
        .collect()
}
