//! Where programs lie: built in, and in the state folder.

use std::fs;
use std::path::{Path, PathBuf};

use program::Setup;
use rust_embed::RustEmbed;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::{LibraryError, PROGRAM_BYTES_MAX};

/// The demonstration's programs and the setups beside them.
#[derive(RustEmbed)]
#[folder = "config/demo/"]
struct Demo;

/// Longest setup that is read, bytes.
const SETUP_BYTES_MAX: u64 = 1024 * 1024;
/// Most own programs that are listed.
pub(super) const LISTED_MAX: usize = 1000;
/// What a program is called in an id: a demonstration's, or one's own.
const DEMO: &str = "demo/";
pub(super) const OWN: &str = "own/";

/// A program in the lists.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Listed {
    /// Names it in requests.
    pub id: String,
    /// What it is called on the screen: the file's name without its ending, in words.
    pub name: String,
    /// Its file.
    pub file: String,
    /// It is one of the demonstration: its data is invented.
    pub invented: bool,
}

impl Listed {
    fn new(prefix: &str, file: &str) -> Self {
        let stem = Path::new(file)
            .file_stem()
            .map_or_else(|| file.to_owned(), |s| s.to_string_lossy().into_owned());
        let words = stem.replace(['-', '_'], " ");
        let mut letters = words.chars();
        let name = letters.next().map_or_else(String::new, |first| {
            first.to_uppercase().chain(letters).collect()
        });
        Self {
            id: format!("{prefix}{file}"),
            name,
            file: file.to_owned(),
            invented: prefix == DEMO,
        }
    }
}

/// The bytes of a program and of the setup beside it.
pub(super) struct Source {
    pub listed: Listed,
    pub text: Vec<u8>,
    setup_text: Option<Vec<u8>>,
}

impl Source {
    /// Changes with every byte of program and setup.
    pub fn version(&self) -> String {
        version(&self.text, self.setup_text.as_deref().unwrap_or_default())
    }

    /// The setup beside the program; `None`: there is none.
    pub fn setup(&self) -> Result<Option<Setup>, LibraryError> {
        let Some(bytes) = &self.setup_text else {
            return Ok(None);
        };
        let file = setup_name(&self.listed.file);
        let unreadable = |why: String| LibraryError::Unreadable {
            file: file.clone(),
            why,
        };
        let text = std::str::from_utf8(bytes).map_err(|e| unreadable(format!("not UTF-8: {e}")))?;
        Setup::from_toml(text)
            .map(Some)
            .map_err(|e| unreadable(e.to_string()))
    }
}

/// Names program and setup by what is in them.
pub(super) fn version(text: &[u8], setup: &[u8]) -> String {
    let mut hash = Sha256::new();
    hash.update((text.len() as u64).to_le_bytes());
    hash.update(text);
    hash.update(setup);
    let hash = hash.finalize();
    hash.iter().take(16).map(|b| format!("{b:02x}")).collect()
}

/// A program of the demonstration with its setup.
#[derive(Clone, Debug, PartialEq)]
pub struct DemoProgram {
    /// What it is called on the screen.
    pub name: String,
    /// Its text.
    pub text: Vec<u8>,
    /// What lies on the table for it.
    pub setup: Setup,
}

/// A program of the demonstration by its file's name without the ending; `None`: there is none, or
/// it has no good setup.
#[must_use]
pub fn demo(stem: &str) -> Option<DemoProgram> {
    let source = Shelf::demo_source(&format!("{stem}.nc"))?;
    let setup = source.setup().ok()??;
    Some(DemoProgram {
        name: source.listed.name,
        text: source.text,
        setup,
    })
}

/// The program of the demonstration with this text.
pub(super) fn same_demo(text: &[u8]) -> Option<Listed> {
    let mut files = Demo::iter().filter(|f| is_program(f));
    let file = files.find(|f| Demo::get(f).is_some_and(|d| *d.data == *text))?;
    Some(Listed::new(DEMO, &file))
}

pub(super) struct Shelf {
    pub(super) folder: PathBuf,
}

impl Shelf {
    pub fn new(folder: PathBuf) -> Self {
        Self { folder }
    }

    pub fn list(&self) -> Vec<Listed> {
        let mut own = self.own_files();
        own.sort();
        own.truncate(LISTED_MAX);
        let mut demo: Vec<String> = Demo::iter()
            .filter(|f| is_program(f) && !f.contains('/'))
            .map(|f| f.to_string())
            .collect();
        demo.sort();
        let own = own.iter().map(|f| Listed::new(OWN, f));
        own.chain(demo.iter().map(|f| Listed::new(DEMO, f)))
            .collect()
    }

    /// A folder that is not there holds no programs.
    pub(super) fn own_files(&self) -> Vec<String> {
        let Ok(entries) = fs::read_dir(&self.folder) else {
            return Vec::new();
        };
        entries
            .flatten()
            .filter(|e| e.path().is_file())
            .filter_map(|e| e.file_name().into_string().ok())
            .filter(|f| is_program(f) && lies_in(&self.folder, f))
            .collect()
    }

    fn demo_source(file: &str) -> Option<Source> {
        Some(Source {
            listed: Listed::new(DEMO, file),
            text: Demo::get(file)?.data.into_owned(),
            setup_text: Demo::get(&setup_name(file)).map(|f| f.data.into_owned()),
        })
    }

    pub fn open(&self, id: &str) -> Result<Source, LibraryError> {
        let none = || LibraryError::NoSuchProgram(id.to_owned());
        // Looked up in the list, so that an id is never a path of the sender's making.
        let listed = self
            .list()
            .into_iter()
            .find(|l| l.id == id)
            .ok_or_else(none)?;
        let setup_file = setup_name(&listed.file);
        if listed.invented {
            return Self::demo_source(&listed.file).ok_or_else(none);
        }
        let text = read_bounded(&self.folder, &listed.file, PROGRAM_BYTES_MAX)?;
        let setup_text = if self.folder.join(&setup_file).is_file() {
            Some(read_bounded(&self.folder, &setup_file, SETUP_BYTES_MAX)?)
        } else {
            None
        };
        Ok(Source {
            listed,
            text,
            setup_text,
        })
    }
}

pub(super) fn setup_name(program: &str) -> String {
    Path::new(program)
        .with_extension("toml")
        .to_string_lossy()
        .into_owned()
}

/// Any file but setups, notes and what is hidden or half written.
pub(super) fn is_program(file: &str) -> bool {
    let ending = Path::new(file)
        .extension()
        .map(|e| e.to_string_lossy().to_lowercase());
    let known = ["nc", "ngc", "tap", "cnc", "gcode", "txt", "iso", "din"];
    !file.starts_with('.') && ending.is_some_and(|e| known.contains(&e.as_str()))
}

fn read_bounded(folder: &Path, file: &str, max: u64) -> Result<Vec<u8>, LibraryError> {
    let unreadable = |why: String| LibraryError::Unreadable {
        file: file.to_owned(),
        why,
    };
    if !lies_in(folder, file) {
        return Err(unreadable("leads out of the folder of programs".into()));
    }
    crate::files::read(&folder.join(file), max).map_err(unreadable)
}

/// Whether a file, whatever links lead to it, is one of this folder.
fn lies_in(folder: &Path, file: &str) -> bool {
    let real = |path: &Path| path.canonicalize().ok();
    real(folder)
        .zip(real(&folder.join(file)))
        .is_some_and(|(folder, file)| file.starts_with(folder))
}
