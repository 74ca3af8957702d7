//! The recorder and its other side: a run on disk is fed through the machine again.
//!
//! **For**: arguing about a run, years later: the same inputs at the same moments must give the same
//! effects, byte for byte. `control` has no clock, file or chance, so a difference means that the
//! recording was changed, or that `control` decides otherwise than it did.
//! **What is kept**: one file for each start of the panel (`recordings/start-N.txt.gz`, N as in the
//! journal; older panels wrote it plain; which are kept for how long: [`keeping`]), because what a run does hangs on all that the machine has been told since it was
//! made: settings, dialect, what the journal restored, then every input with its moment and every
//! effect in full, so that a difference can be shown. One line a step, text, see [`form`].
//! **Never**: makes the machine wait, displaces an event of the journal, or grows without bound.
//! **If the process is killed**: the writer of the journal writes the recording before each commit,
//! so no event is on the disk without the step that made it. If the power goes, the end of the
//! recording may be gone: the replay says so and fails.
//!
//! The core's types are kept by their own serde forms inside a shape that is this module's: the
//! events in them are bound by the journal already, and a second copy of every type would have to
//! be kept true by hand. The heading carries the version of the shape.

pub mod form;
mod keeping;
mod player;
mod replay;
mod tape;

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read as _};
use std::path::Path;

use flate2::bufread::GzDecoder;

pub use keeping::{LARGEST, file, folder, starts};
pub use player::Player;
pub use replay::{Difference, Equal, Fault, replay, replay_file};
pub use tape::{Recorder, Reel, Tape};

/// How a compressed file begins (RFC 1952).
const PACKED: [u8; 2] = [0x1F, 0x8B];

/// Opens a recording, compressed or plain.
///
/// # Errors
/// The system's.
fn open(path: &Path) -> io::Result<Box<dyn BufRead + Send>> {
    let mut plain = BufReader::new(File::open(path)?);
    if plain.fill_buf()?.starts_with(&PACKED) {
        return Ok(Box::new(BufReader::new(GzDecoder::new(plain))));
    }
    Ok(Box::new(plain))
}

/// The text of a recording, compressed or plain, as far as it goes: one whose panel was killed breaks off.
///
/// # Errors
/// It cannot be read, or is no text.
pub fn text(path: &Path) -> io::Result<String> {
    let mut reader = open(path)?;
    let mut text = Vec::new();
    let mut piece = vec![0; 64 * 1024];
    loop {
        match reader.read(&mut piece) {
            Ok(0) => break,
            Ok(n) => text.extend_from_slice(&piece[..n]),
            Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => break,
            Err(e) => return Err(e),
        }
    }
    String::from_utf8(text).map_err(io::Error::other)
}
