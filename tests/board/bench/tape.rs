//! What the table was told, moment by moment: told again after a cut of the power, it stands where it stood.
//!
//! The table is pure, so this is all of it. The tape lies on a disk of its own: to sync it must not sync what
//! the panel has left unsynced on its own disk.

use std::fs::File;
use std::io::{BufRead as _, BufReader, BufWriter, Write as _};
use std::path::Path;

use serde::{Deserialize, Serialize};
use simulator::Table;
use simulator::harness::{FaultKind, FaultSpec, Plan};
use units::Time;

/// One thing that the table was told.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum Deed {
    /// Time went on, after what came by the wire.
    Turn {
        us: u64,
        permit: bool,
        bytes: Vec<u8>,
    },
    Lay(Plan),
    Inject(FaultSpec),
    Remedy(Option<FaultKind>),
    TryButtons,
    NewParts,
}

impl Deed {
    /// Tells it to the table.
    ///
    /// # Errors
    /// A fault that cannot be ordered.
    pub fn tell(&self, table: &mut Table) -> Result<(), String> {
        match self {
            Self::Turn { us, permit, bytes } => {
                let now = Time::from_us(*us);
                table.set_permit(now, *permit);
                table.wire_in(now, bytes);
                table.advance(now);
            }
            Self::Lay(plan) => table.lay(plan.clone()),
            Self::Inject(fault) => table.inject(*fault).map_err(|e| e.to_string())?,
            Self::Remedy(kind) => table.remedy(*kind),
            Self::TryButtons => table.try_buttons(),
            Self::NewParts => table.new_parts(),
        }
        Ok(())
    }
}

/// Writes the deeds and makes them durable.
pub fn save(file: &Path, deeds: &[Deed]) -> std::io::Result<()> {
    let mut out = BufWriter::new(File::create(file)?);
    for deed in deeds {
        serde_json::to_writer(&mut out, deed)?;
        out.write_all(b"\n")?;
    }
    let file = out.into_inner().map_err(|e| e.into_error())?;
    file.sync_all()
}

/// Tells a fresh table all that is on the tape.
pub fn tell_again(file: &Path, table: &mut Table) -> Result<(), String> {
    let says = |e: std::io::Error| format!("{}: {e}", file.display());
    for line in BufReader::new(File::open(file).map_err(says)?).lines() {
        let deed: Deed = serde_json::from_str(&line.map_err(says)?).map_err(|e| e.to_string())?;
        deed.tell(table)?;
        // What it answered was heard by a panel that is gone.
        let _heard = table.take_wire_out();
    }
    Ok(())
}
