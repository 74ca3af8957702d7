//! Which rows of the journal are kept.
//!
//! The rule: the newest [`ROWS`] rows are kept, whatever they are; of older ones those that tell of a stop,
//! up to [`STOPS`] rows back, all of a run that is not ended, and every record of commissioning. Nothing is removed that is not in a
//! checkpoint which is kept: what a restart needs (latches, doubt, an unfinished run, counts) follows from
//! the checkpoint and the rows after it. The database marks how far it was cleared, and its triggers
//! refuse to remove anything else. Applied at each start and after each checkpoint, a bounded part at a
//! time, so that no record waits for it for long.

use rusqlite::{Connection, params};

/// Rows that are kept whatever they are: at some 10 a second, a day of cutting without a pause, 130 MB.
pub const ROWS: i64 = 1_000_000;
/// Rows that tell of a stop are kept when there are no more than this after them.
pub const STOPS: i64 = 10_000_000;
/// Most rows that are looked at at a time.
const PART: i64 = 25_000;

/// How far back rows are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    /// Rows of any kind.
    pub rows: i64,
    /// Rows that tell of a stop.
    pub stops: i64,
}

impl Rule {
    /// The rule.
    pub const OURS: Self = Self {
        rows: ROWS,
        stops: STOPS,
    };
}

/// Removes what the rule removes, within the transaction of whoever calls. `unfinished`: the run that is
/// not ended.
///
/// # Errors
/// In SQLite's words.
pub fn apply(db: &Connection, rule: Rule, unfinished: Option<u64>) -> rusqlite::Result<()> {
    let one = |query: &str| db.query_row(query, [], |r| r.get::<_, i64>(0));
    let last = one("SELECT coalesce(max(seq), 0) FROM event")?;
    // The older of the checkpoints that are kept: should the newer be damaged, a start goes on from it.
    let sure = one("SELECT coalesce(min(seq), 0) FROM checkpoint")?;
    let (cleared, forgotten): (i64, i64) =
        db.query_row("SELECT cleared, forgotten FROM retention", [], |r| {
            Ok((r.get(0)?, r.get(1)?))
        })?;
    let to = (last - rule.rows).min(sure).min(cleared + PART);
    let old = (last - rule.stops).min(sure).min(forgotten + PART);
    if to <= cleared && old <= forgotten {
        return Ok(());
    }
    let (to, old) = (to.max(cleared), old.max(forgotten));
    db.execute(
        "UPDATE retention SET cleared = ?1, forgotten = ?2",
        [to, old],
    )?;
    let unfinished = unfinished.map(|run| run as i64);
    db.execute(
        "DELETE FROM event WHERE seq > ?1 AND seq <= ?2 AND severity NOT IN ('stop', 'danger')
         AND name <> 'commissioned'
         AND (?3 IS NULL OR run IS NULL OR run <> ?3)",
        params![cleared, to, unfinished],
    )?;
    db.execute(
        "DELETE FROM event WHERE seq > ?1 AND seq <= ?2 AND name <> 'commissioned'
         AND (?3 IS NULL OR run IS NULL OR run <> ?3)",
        params![forgotten, old, unfinished],
    )?;
    Ok(())
}

/// Whether rows may be missing that were in the journal once.
///
/// # Errors
/// In SQLite's words.
pub fn has_cleared(db: &Connection) -> rusqlite::Result<bool> {
    let there = "SELECT count(*) FROM sqlite_schema WHERE name = 'retention'";
    if db.query_row(there, [], |row| row.get::<_, i64>(0))? == 0 {
        return Ok(false);
    }
    db.query_row("SELECT cleared > 0 FROM retention", [], |r| r.get(0))
}
