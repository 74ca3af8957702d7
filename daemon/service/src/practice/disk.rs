//! A disk for the journal that does as a file says: `well`, `full`, `read-only` or `hangs`. Whoever tests the panel
//! writes that file while it runs.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use crate::journal::Disk;

/// A disk that hangs looks so often whether it still does.
const LOOK: Duration = Duration::from_millis(20);

/// The disk that this file tells of.
pub fn told(file: PathBuf) -> Arc<Disk> {
    Arc::new(move || answer(&file))
}

fn answer(file: &Path) -> Result<(), String> {
    loop {
        match std::fs::read_to_string(file).unwrap_or_default().trim() {
            "hangs" => std::thread::sleep(LOOK),
            "read-only" => return Err("this disk of practice can only be read".into()),
            "full" => return Err("no space is left on this disk of practice".into()),
            _ => return Ok(()),
        }
    }
}
