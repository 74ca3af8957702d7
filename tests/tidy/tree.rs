//! The files of this repository.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// Text files by their path from the root, with `/` between the parts. Files that are not text are
/// there with an empty text.
pub struct Tree(pub BTreeMap<String, String>);

/// Made by builds and tools, and not ours.
const SKIPPED: [&str; 4] = ["target", ".git", "node_modules", "__pycache__"];

impl Tree {
    /// Everything from the root down, read once.
    pub fn of_repository() -> &'static Self {
        static READ: OnceLock<Tree> = OnceLock::new();
        READ.get_or_init(|| {
            let mut files = BTreeMap::new();
            walk(&root(), "", &mut files);
            assert!(
                files.len() > 30,
                "the repository was not found at {:?}",
                root()
            );
            Self(files)
        })
    }

    /// A tree made up for a bad example.
    pub fn of(files: &[(&str, &str)]) -> Self {
        Self(
            files
                .iter()
                .map(|(path, text)| ((*path).to_owned(), (*text).to_owned()))
                .collect(),
        )
    }

    /// Files whose path starts so.
    pub fn under<'a>(&'a self, start: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.0
            .iter()
            .filter(move |(path, _)| path.starts_with(start))
            .map(|(path, text)| (path.as_str(), text.as_str()))
    }

    /// Files whose name ends so.
    pub fn ending<'a>(&'a self, ends: &'a [&'a str]) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.under("")
            .filter(move |(path, _)| ends.iter().any(|end| path.ends_with(end)))
    }
}

/// The repository's root.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn walk(folder: &Path, prefix: &str, files: &mut BTreeMap<String, String>) {
    let entries = fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    for entry in entries {
        let entry = entry.expect("a readable folder entry");
        let name = entry.file_name().to_string_lossy().into_owned();
        if SKIPPED.contains(&name.as_str()) {
            continue;
        }
        let path = format!("{prefix}{name}");
        // A file may vanish between listing and reading: an editor's, another test's.
        let Ok(kind) = entry.file_type() else {
            continue;
        };
        if kind.is_dir() {
            walk(&entry.path(), &format!("{path}/"), files);
        } else if let Ok(bytes) = fs::read(entry.path()) {
            files.insert(path, String::from_utf8(bytes).unwrap_or_default());
        }
    }
}

/// The lines of a text with their numbers from 1.
pub fn numbered(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines().enumerate().map(|(k, line)| (k + 1, line))
}

/// Fails with the whole list, so that one run shows everything.
#[track_caller]
pub fn nothing_wrong(wrong: &[String]) {
    assert!(wrong.is_empty(), "\n  {}\n", wrong.join("\n  "));
}

/// The bad example must be found, and named by this.
#[track_caller]
pub fn finds(wrong: &[String], what: &str) {
    assert!(
        wrong.iter().any(|w| w.contains(what)),
        "nothing was said of {what:?}; said: {wrong:?}"
    );
}
