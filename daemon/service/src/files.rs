//! Reading the files that people name: regular files only, and no longer than they may be.
//!
//! A device has no end, and a pipe may have no writer: either would be read until the memory is full, or
//! waited for without a bound.

use std::fs::{File, Metadata, OpenOptions};
use std::io::{self, Read as _};
use std::os::unix::fs::{FileTypeExt as _, OpenOptionsExt as _};
use std::path::Path;

use rustix::fs::OFlags;

/// Reads a regular file of at most `most` bytes whole.
///
/// # Errors
/// It is not there, not a regular file, longer, or not to be read; in words that follow its name.
pub fn read(path: &Path, most: u64) -> Result<Vec<u8>, String> {
    let cannot = |e: io::Error| format!("cannot be opened: {e}");
    // Looked at before it is opened: to open a device may do something.
    regular(&std::fs::metadata(path).map_err(cannot)?)?;
    // Nobody is waited for, should it be exchanged for a pipe in between.
    let file = OpenOptions::new()
        .read(true)
        .custom_flags(OFlags::NONBLOCK.bits().cast_signed())
        .open(path)
        .map_err(cannot)?;
    let about = file.metadata().map_err(cannot)?;
    regular(&about)?;
    bounded(&file, about.len(), most)
}

fn bounded(file: &File, length: u64, most: u64) -> Result<Vec<u8>, String> {
    let too_long = || format!("is longer than {}", words(most));
    if length > most {
        return Err(too_long());
    }
    let mut bytes = Vec::new();
    let read = file.take(most + 1).read_to_end(&mut bytes);
    read.map_err(|e| format!("cannot be read: {e}"))?;
    // It may have grown since.
    if bytes.len() as u64 > most {
        return Err(too_long());
    }
    Ok(bytes)
}

fn words(bytes: u64) -> String {
    if bytes >= 1 << 20 {
        format!("{} MB", bytes >> 20)
    } else {
        format!("{bytes} bytes")
    }
}

fn regular(about: &Metadata) -> Result<(), String> {
    let kind = about.file_type();
    if kind.is_file() {
        return Ok(());
    }
    let what = if kind.is_dir() {
        "a folder"
    } else if kind.is_fifo() {
        "a pipe"
    } else if kind.is_socket() {
        "a socket"
    } else {
        "a device"
    };
    Err(format!("is not a regular file: it is {what}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_up_to_its_bound_and_no_further() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("file");
        std::fs::write(&file, [7; 100]).expect("written");
        assert_eq!(read(&file, 100), Ok(vec![7; 100]));
        assert_eq!(read(&file, 99), Err("is longer than 99 bytes".into()));
        let gone = read(&folder.path().join("none"), 9).expect_err("it is not there");
        assert!(gone.contains("cannot be opened"), "{gone}");
    }

    #[test]
    fn what_is_no_regular_file_is_not_opened() {
        let folder = tempfile::tempdir().expect("a folder");
        let told = read(folder.path(), 9).expect_err("a folder");
        assert!(told.contains("a folder"), "{told}");
        let told = read(Path::new("/dev/zero"), 9).expect_err("a device");
        assert!(
            told.contains("not a regular file: it is a device"),
            "{told}"
        );
    }
}
