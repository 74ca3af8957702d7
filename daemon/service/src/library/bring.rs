//! A program that a screen sends into the folder of own programs.
//!
//! Bounded, its name looked at, and nothing is written over unless the sender names what it is to take the place
//! of. It is whole in the folder or not there at all.

use std::fs::{self, File};
use std::io::{self, Write as _};

use program::Setup;
use serde::{Deserialize, Serialize};

use super::Listed;
use super::shelf::{LISTED_MAX, OWN, Shelf, is_program, setup_name};

/// Longest text that a screen may send, bytes: with its setup it comes in one request. Longer ones are copied
/// into the folder.
pub const BROUGHT_BYTES_MAX: usize = 8 * 1024 * 1024;
/// Longest name of a file, bytes.
const NAME_MAX: usize = 80;
/// So much of the disk is left, bytes: with less the journal soon takes nothing.
const LEFT_FREE: u64 = 256 << 20;

/// What a screen sends.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Brought {
    /// The file's name, with its ending.
    pub file: String,
    /// The program's text.
    pub text: String,
    /// The setup beside it, as TOML; `null`: none, or the one that lies there already.
    pub setup: Option<String>,
    /// The version of the program of this name that it takes the place of; `null`: there is none.
    pub replaces: Option<String>,
}

/// Why it was not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotTaken {
    /// The name is none that a program may have.
    #[error("`{0}` is no name for a program")]
    Name(String),
    /// The text is too long, or empty.
    #[error("a program has 1 to {BROUGHT_BYTES_MAX} bytes")]
    Length,
    /// The setup is wrong.
    #[error("the setup: {0}")]
    Setup(String),
    /// One of this name is there.
    #[error("a program `{0}` is there already")]
    There(String),
    /// A setup of this name lies there without its program.
    #[error("a setup for `{0}` lies there, and was not sent with this program")]
    OthersSetup(String),
    /// What it was to take the place of has changed, or is gone.
    #[error("`{0}` is another than the one to be replaced")]
    Changed(String),
    /// So many are there already.
    #[error("{LISTED_MAX} programs are there, and no more are listed")]
    Full,
    /// The disk has too little room.
    #[error("the disk has less than 256 MB left")]
    NoRoom,
    /// The disk did not take it.
    #[error("it could not be written: {0}")]
    Failed(String),
}

impl NotTaken {
    /// What to do about it.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Name(_) => {
                "Give it letters, digits, - _ . and spaces, at most 80, and an ending such as .nc."
            }
            Self::Length => "Copy a longer one into the folder of programs by a stick or ssh.",
            Self::Setup(_) => "Put the setup right, or send the program without it.",
            Self::There(_) => "Send it under another name, or say that it replaces the one there.",
            Self::OthersSetup(_) => "Send its own setup with it, or give it another name.",
            Self::Changed(_) => {
                "Look at the list again, then say anew whether it is to be replaced."
            }
            Self::Full => "Remove programs that are not needed any more.",
            Self::NoRoom => "Make room on the panel's disk.",
            Self::Failed(_) => "Look at the disk. HOLD works all the same.",
        }
    }
}

fn failed(e: io::Error) -> NotTaken {
    NotTaken::Failed(e.to_string())
}

/// A name that says what it is, on every system that may have sent it, and leads nowhere.
fn is_name(file: &str) -> bool {
    let known = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | ' ');
    file.len() <= NAME_MAX
        && !file.starts_with(['.', ' ', '-'])
        && !file.ends_with(' ')
        && file.chars().all(known)
        && is_program(file)
}

impl Shelf {
    /// Keeps it.
    pub(super) fn keep(&self, brought: &Brought) -> Result<Listed, NotTaken> {
        let file = &brought.file;
        if !is_name(file) {
            // Whatever it is, it is shown somewhere.
            return Err(NotTaken::Name(file.chars().take(NAME_MAX).collect()));
        }
        let length = brought.text.len() + brought.setup.as_ref().map_or(0, String::len);
        if brought.text.is_empty() || length > BROUGHT_BYTES_MAX {
            return Err(NotTaken::Length);
        }
        if let Some(setup) = &brought.setup {
            Setup::from_toml(setup).map_err(|e| NotTaken::Setup(e.to_string()))?;
        }
        fs::create_dir_all(&self.folder).map_err(failed)?;
        self.may_take(brought)?;
        let room = rustix::fs::statvfs(&self.folder).map_err(|e| failed(e.into()))?;
        if room.f_bavail.saturating_mul(room.f_frsize) < LEFT_FREE + length as u64 {
            return Err(NotTaken::NoRoom);
        }
        let over = brought.replaces.is_some();
        // The setup first: a program is never seen beside the setup of another.
        if let Some(setup) = &brought.setup {
            self.write(&setup_name(file), setup, true)?;
        }
        self.write(file, &brought.text, over)?;
        self.list()
            .into_iter()
            .find(|l| !l.invented && l.file == *file)
            .ok_or(NotTaken::Full)
    }

    /// Nothing of it would be written over that the sender does not know.
    fn may_take(&self, brought: &Brought) -> Result<(), NotTaken> {
        let file = &brought.file;
        let there = self.own_files();
        // Names that differ by case alone are one name on the sticks that programs come from.
        let same = there
            .iter()
            .find(|f| f.to_lowercase() == file.to_lowercase());
        match (same, &brought.replaces) {
            (None, None) if there.len() >= LISTED_MAX => Err(NotTaken::Full),
            (None, None) => {
                let setup = self.folder.join(setup_name(file)).exists();
                let others = setup && brought.setup.is_none();
                // Two programs that differ by their ending alone would share one setup.
                let shared = there.iter().any(|f| setup_name(f) == setup_name(file));
                if others || (shared && brought.setup.is_some()) {
                    return Err(NotTaken::OthersSetup(file.clone()));
                }
                Ok(())
            }
            (Some(same), None) => Err(NotTaken::There(same.clone())),
            (None, Some(_)) => Err(NotTaken::Changed(file.clone())),
            (Some(same), Some(replaces)) => {
                let source = self.open(&format!("{}{same}", OWN));
                match source {
                    Ok(source) if same == file && source.version() == *replaces => Ok(()),
                    _ => Err(NotTaken::Changed(file.clone())),
                }
            }
        }
    }

    /// Whole or not at all; durable. `over`: the one that is there is given up.
    fn write(&self, name: &str, text: &str, over: bool) -> Result<(), NotTaken> {
        // Hidden until it has its name, and gone if it never comes to it.
        let mut part = tempfile::Builder::new()
            .prefix(".")
            .suffix(".part")
            .tempfile_in(&self.folder)
            .map_err(failed)?;
        part.write_all(text.as_bytes()).map_err(failed)?;
        part.as_file().sync_all().map_err(failed)?;
        let to = self.folder.join(name);
        let named = if over {
            part.persist(to)
        } else {
            part.persist_noclobber(to)
        };
        named.map_err(|e| match e.error.kind() {
            io::ErrorKind::AlreadyExists => NotTaken::There(name.to_owned()),
            _ => failed(e.error),
        })?;
        File::open(&self.folder)
            .and_then(|f| f.sync_all())
            .map_err(failed)
    }
}
