//! What follows from all rows of the journal, without reading all of them at every start.
//!
//! The fold so far is kept beside the rows every [`ROWS`] rows and at each start, in one transaction
//! and one full sync with the last row that is in it: a checkpoint never speaks of a row that a power
//! cut may still take. A start goes on from the newest checkpoint that can be believed. A checkpoint
//! is a short cut and nothing more: one that is damaged, or made by another fold, is ignored.

use control::{Cause, Event, Restored};
use rusqlite::{Connection, params};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::retention;

/// A checkpoint is kept at the latest after so many rows, so a start reads no more: at some ten rows a
/// second, a quarter of an hour of cutting (ours).
pub const ROWS: u64 = 10_000;

/// The fold of all rows up to one.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Folded {
    /// What follows from the rows that were understood.
    pub restored: Restored,
    /// A row that told of a stop was not understood: what it told of must be taken to stand.
    pub doubt: bool,
    /// The last row that is in it; 0: none.
    pub seq: i64,
}

impl Folded {
    /// Goes on by one row. A row that is not understood does not take the rest with it.
    pub fn take(&mut self, seq: i64, name: &str, severity: &str, fields: &str) {
        self.seq = seq;
        match serde_json::from_str::<Event>(fields) {
            Ok(event) => {
                // Read by the operator: a row that is not understood has been looked into.
                let read = Event::LatchCleared {
                    cause: Cause::RecordLost,
                };
                self.doubt &= event != read;
                self.restored.take(event);
            }
            Err(error) => {
                self.doubt |= !matches!(severity, "trace" | "normal" | "notice");
                tracing::warn!(seq, name, %error, "a row of the journal is not understood");
            }
        }
    }
}

/// The fold of a whole journal, and what it took to know it.
#[derive(Clone, Debug, Default)]
pub struct Loaded {
    /// The fold of all rows.
    pub folded: Folded,
    /// The last row in the checkpoint that it went on from; 0: none.
    pub from: i64,
    /// Rows that were read after that one.
    pub read: u64,
}

/// Folds all rows, on from the newest checkpoint that can be believed.
///
/// # Errors
/// The rows cannot be read, in SQLite's words.
pub fn load(db: &Connection) -> rusqlite::Result<Loaded> {
    // Where rows were removed by the rule, what another panel's fold has made of them is all there is.
    let removed = retention::has_cleared(db)?;
    let folded = match newest(db, removed) {
        Ok(folded) => folded,
        Err(error) => {
            tracing::warn!(%error, "the journal's checkpoints cannot be read: every row is read");
            None
        }
    };
    let folded = folded.unwrap_or_else(|| Folded {
        doubt: removed,
        ..Folded::default()
    });
    let mut loaded = Loaded {
        from: folded.seq,
        folded,
        read: 0,
    };
    let after = "SELECT seq, name, severity, fields FROM event WHERE seq > ?1 ORDER BY seq";
    let mut query = db.prepare(after)?;
    let mut rows = query.query([loaded.from])?;
    while let Some(row) = rows.next()? {
        let (name, severity): (String, String) = (row.get(1)?, row.get(2)?);
        let fields: String = row.get(3)?;
        loaded.read += 1;
        loaded.folded.take(row.get(0)?, &name, &severity, &fields);
    }
    Ok(loaded)
}

/// Which fold this panel makes: what another has made is not gone on from.
fn maker() -> String {
    format!("{} {}", env!("CARGO_PKG_VERSION"), Restored::FOLD)
}

/// Ties a checkpoint together: a damaged one must not be believed because it still has its form.
pub fn sum(seq: i64, maker: &str, state: &str) -> String {
    let hash = Sha256::digest(format!("{seq}\n{maker}\n{state}"));
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn newest(db: &Connection, any_maker: bool) -> rusqlite::Result<Option<Folded>> {
    let there = "SELECT count(*) FROM sqlite_schema WHERE name = 'checkpoint'";
    if db.query_row(there, [], |row| row.get::<_, i64>(0))? == 0 {
        // A journal of an older panel that is only read.
        return Ok(None);
    }
    let last: i64 = db.query_row("SELECT coalesce(max(seq), 0) FROM event", [], |r| r.get(0))?;
    let mut query =
        db.prepare("SELECT seq, maker, state, sum FROM checkpoint ORDER BY seq DESC")?;
    let mut rows = query.query([])?;
    while let Some(row) = rows.next()? {
        let (seq, made_by): (i64, String) = (row.get(0)?, row.get(1)?);
        let (state, told): (String, String) = (row.get(2)?, row.get(3)?);
        match believe(seq, &made_by, &state, &told, last, any_maker) {
            Ok(folded) => return Ok(Some(folded)),
            Err(why) => tracing::warn!(seq, why, "a checkpoint of the journal is ignored"),
        }
    }
    Ok(None)
}

/// What a checkpoint says. `last`: the last row of the journal.
fn believe(
    seq: i64,
    made_by: &str,
    state: &str,
    told: &str,
    last: i64,
    any_maker: bool,
) -> Result<Folded, String> {
    if made_by != maker() && !any_maker {
        return Err(format!("it was made by another panel: {made_by}"));
    }
    if told != sum(seq, made_by, state) {
        return Err("it is damaged".into());
    }
    if seq > last {
        return Err("it speaks of rows that are not there".into());
    }
    let folded: Folded = serde_json::from_str(state).map_err(|e| e.to_string())?;
    if folded.seq == seq {
        Ok(folded)
    } else {
        Err("it is not of the row that it names".into())
    }
}

/// Keeps a checkpoint within the transaction of the last row that is in it, which must be committed
/// with a full sync. `before`: the last row of the one before, which is kept too; all others go.
///
/// # Errors
/// In SQLite's words, or it would not come back as it is; then nothing was changed.
pub fn keep(
    db: &mut rusqlite::Transaction<'_>,
    folded: &Folded,
    before: i64,
) -> Result<(), String> {
    let state = serde_json::to_string(folded).map_err(|e| e.to_string())?;
    // A number without a form in JSON comes back as something else, or not at all.
    let back: Folded = serde_json::from_str(&state).map_err(|e| e.to_string())?;
    if back != *folded {
        return Err("it would not come back as it is".into());
    }
    let (seq, maker) = (folded.seq, maker());
    let sum = sum(seq, &maker, &state);
    let mut write = || -> rusqlite::Result<()> {
        // Rolled back by itself: the rows are not lost for a short cut.
        let point = db.savepoint()?;
        point.execute("DELETE FROM checkpoint WHERE seq <> ?1", [before])?;
        point.execute(
            "INSERT OR REPLACE INTO checkpoint (seq, maker, state, sum) VALUES (?1, ?2, ?3, ?4)",
            params![seq, maker, state, sum],
        )?;
        point.commit()
    };
    write().map_err(|e| e.to_string())
}
