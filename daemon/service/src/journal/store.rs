//! The database file: opened, brought up to date, moved aside when it cannot be read.

use std::fs::File;
use std::path::Path;
use std::time::Duration;

use control::{Event, Severity};
use rusqlite::{Connection, ErrorCode, Transaction, params};
use units::Time;

use super::checkpoint::{self, Folded, Loaded};
use super::earlier::FILE;
use super::placed::{Placed, places};
use super::retention::{self, Rule};
use super::{JournalError, Past, earlier, wall};

/// Tells that the file is ours.
pub const APPLICATION_ID: i32 = 0x5343_4C52;

/// Version 1 of the schema, for an empty file.
pub const SCHEMA: &str = include_str!("schema.sql");

/// SQL from version n + 1 to version n + 2, for n from 0. A version that was ever given away is
/// never edited: a change is a new step here and in `schema.sql`.
pub const STEPS: &[&str] = &[
    // Which run of the operating system a start of the panel belongs to; NULL: an older panel's.
    "ALTER TABLE start ADD COLUMN boot TEXT",
    // The fold of all rows up to one (see `checkpoint`). It tells nothing that the rows do not.
    "CREATE TABLE checkpoint (
        seq   INTEGER PRIMARY KEY,
        maker TEXT NOT NULL,
        state TEXT NOT NULL,
        sum   TEXT NOT NULL
     ) STRICT",
    // How far rows were removed by the rule of `retention`: none but those can be.
    "CREATE TABLE retention (cleared INTEGER NOT NULL, forgotten INTEGER NOT NULL) STRICT;
     INSERT INTO retention VALUES (0, 0);
     DROP TRIGGER event_is_never_removed;
     CREATE TRIGGER event_is_removed_by_the_rule BEFORE DELETE ON event
     WHEN old.seq > (SELECT cleared FROM retention)
     BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
     CREATE TRIGGER retention_goes_on BEFORE UPDATE ON retention
     WHEN new.cleared < old.cleared OR new.cleared > (SELECT coalesce(min(seq), 0) FROM checkpoint)
     BEGIN SELECT RAISE(ABORT, 'nothing is removed that no checkpoint holds'); END",
    // Whether the wall time of a row is unsure; rows of before do not say.
    "ALTER TABLE event ADD COLUMN unsure INTEGER NOT NULL DEFAULT 0",
];

/// One event on its way to the disk.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub run: Option<u64>,
    pub clock_us: u64,
    pub wall: wall::Stamp,
    pub id: u16,
    pub name: String,
    pub severity: &'static str,
    pub fields: String,
    pub says: String,
}

impl Row {
    /// The row of an event that happened at `at`.
    ///
    /// # Errors
    /// The event has no JSON form, in words.
    pub fn of(event: &Event, at: Time) -> Result<Self, String> {
        Ok(Self {
            run: event.run(),
            clock_us: at.as_us(),
            wall: wall::stamp(),
            id: event.id(),
            name: event.name().to_owned(),
            severity: severity(event.severity()),
            fields: serde_json::to_string(event).map_err(|e| e.to_string())?,
            says: event.says(),
        })
    }
}

fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Trace => "trace",
        Severity::Normal => "normal",
        Severity::Notice => "notice",
        Severity::Stop => "stop",
        Severity::Danger => "danger",
    }
}

/// An open journal.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    start: i64,
    /// The fold of all rows that are in the file.
    folded: Folded,
    /// The last row in the newest checkpoint; 0: none.
    kept: i64,
    /// Rows since a checkpoint was kept or tried.
    since: u64,
    /// A checkpoint is kept after so many rows.
    every: u64,
    /// Which rows are kept.
    rule: Rule,
    /// The files as they were opened: what is written after they were removed is lost.
    places: Vec<Placed>,
    /// Held as long as the store lives: nobody else writes in this folder.
    _lock: File,
}

impl Store {
    /// Opens (or makes) the journal in `dir` and reads what it says of the past.
    ///
    /// # Errors
    /// The folder cannot be used, another panel uses it, or the file is not ours to touch.
    pub fn open(dir: &Path) -> Result<(Self, Past), JournalError> {
        Self::open_in(dir, boot_id().as_deref())
    }

    /// The same, in this run of the operating system; `None`: it is not known.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_in(dir: &Path, boot: Option<&str>) -> Result<(Self, Past), JournalError> {
        Self::open_with(dir, boot, checkpoint::ROWS)
    }

    /// The same, with a checkpoint after so many rows.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_with(
        dir: &Path,
        boot: Option<&str>,
        every: u64,
    ) -> Result<(Self, Past), JournalError> {
        let wrong = |says: String, remedy: &str| JournalError {
            dir: dir.to_path_buf(),
            says,
            remedy: remedy.to_owned(),
        };
        std::fs::create_dir_all(dir).map_err(|e| {
            wrong(
                format!("this folder cannot be made: {e}"),
                "Name another with --state, or let this user write there",
            )
        })?;
        let lock = lock(dir)?;
        let file = dir.join(FILE);
        let earlier = earlier::signs(dir).map_err(|io| {
            wrong(
                format!("what is left of an earlier journal cannot be moved aside: {io}"),
                "Move it away by hand, and keep it: it holds what happened",
            )
        })?;
        let first = open_file(&file).and_then(|db| Ok((checkpoint::load(&db)?, db)));
        let (loaded, lost, mut db) = match first {
            Ok((loaded, db)) => (loaded, earlier, db),
            Err(OpenError::Sql(e)) if is_damage(&e) => {
                let kept = earlier::move_aside(&file).map_err(|io| {
                    wrong(
                        format!("{FILE} is damaged ({e}) and cannot be moved aside: {io}"),
                        "Move it away by hand, and keep it: it holds what happened",
                    )
                })?;
                tracing::error!(
                    why = %e,
                    kept = %kept.display(),
                    "the journal cannot be read: it was moved aside and kept, a new one was begun, \
                     and the place of the table is in doubt"
                );
                let db = open_file(&file).map_err(|e| e.into_journal_error(dir))?;
                let why = format!("{FILE} was damaged ({e}) and moved aside");
                (Loaded::default(), Some(why), db)
            }
            Err(e) => return Err(e.into_journal_error(dir)),
        };
        let sql = |e| OpenError::Sql(e).into_journal_error(dir);
        let known = begun_before(dir, &lost);
        let aside = lost.is_some();
        let begun = begin(&mut db, boot, loaded, lost, known).map_err(sql)?;
        earlier::mark(&lock, begun.start);
        earlier::unmark_restored(dir);
        let restored = Box::new(begun.folded.restored.clone());
        let past = if aside || begun.folded.doubt {
            Past::Unreadable(restored)
        } else {
            Past::Known(restored)
        };
        let store = Self {
            db,
            start: begun.start,
            since: 0,
            folded: begun.folded,
            kept: begun.kept,
            every,
            rule: Rule::OURS,
            places: places(&file),
            _lock: lock,
        };
        Ok((store, past))
    }

    /// Commits rows; with `full`, they and all before them survive a power cut.
    ///
    /// # Errors
    /// In SQLite's words; then none of the rows is in the file.
    pub fn commit(
        &mut self,
        rows: &[Row],
        lost: Option<(u64, &str)>,
        full: bool,
    ) -> Result<(), String> {
        self.try_commit(rows, lost, full).map_err(|e| e.to_string())
    }

    fn try_commit(
        &mut self,
        rows: &[Row],
        lost: Option<(u64, &str)>,
        full: bool,
    ) -> rusqlite::Result<()> {
        self.in_place().map_err(|why| {
            rusqlite::Error::SqliteFailure(
                rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CANTOPEN),
                Some(why),
            )
        })?;
        let since = self.since + rows.len() as u64;
        let due = since >= self.every;
        // What a checkpoint speaks of must be as safe as the checkpoint.
        let sync = if full || due { "FULL" } else { "NORMAL" };
        self.db.pragma_update(None, "synchronous", sync)?;
        let mut all = self.db.transaction()?;
        let seqs = insert(&all, self.start, rows)?;
        if let Some((count, why)) = lost {
            all.execute(
                "INSERT INTO gap (start, after, wall, lost, why)
                 VALUES (?1, (SELECT coalesce(max(seq), 0) FROM event), ?2, ?3, ?4)",
                params![self.start, wall::now(), count as i64, why],
            )?;
        }
        let mut kept = None;
        if due {
            let mut folded = self.folded.clone();
            take_all(&mut folded, &seqs, rows);
            kept = keep(&mut all, &folded, self.kept).then_some(folded.seq);
            clear(&mut all, self.rule, &folded);
        }
        all.commit()?;
        // Only now: a commit that failed is tried again with the same rows.
        take_all(&mut self.folded, &seqs, rows);
        self.since = if due { 0 } else { since };
        self.kept = kept.unwrap_or(self.kept);
        Ok(())
    }

    /// Whether the files that are written are still those in the folder.
    ///
    /// # Errors
    /// Which is not, in words, and what to do.
    pub fn in_place(&self) -> Result<(), String> {
        match self
            .places
            .iter()
            .find(|p| Placed::of(&p.path).as_ref() != Some(*p))
        {
            None => Ok(()),
            Some(lost) => Err(format!(
                "{} was removed or replaced while the panel runs, and what is written to it now is \
                 lost: end the panel, put the file back or leave it, and start again",
                lost.path.display()
            )),
        }
    }

    /// Which start of the panel this is, from 1.
    pub fn start(&self) -> i64 {
        self.start
    }

    /// Keeps rows by another rule.
    #[cfg(test)]
    pub fn keeping(mut self, rule: Rule) -> Self {
        self.rule = rule;
        self
    }

    /// Whether the last commit was synced, by SQLite's own word.
    #[cfg(test)]
    pub fn syncs_fully(&self) -> rusqlite::Result<bool> {
        let full: i64 = self
            .db
            .query_row("PRAGMA synchronous", [], |row| row.get(0))?;
        Ok(full == 2)
    }

    /// Notes an orderly end.
    ///
    /// # Errors
    /// In SQLite's words.
    pub fn end(&mut self) -> Result<(), String> {
        // Told of a start that ended in order: nothing of it is missing.
        let full = self.db.pragma_update(None, "synchronous", "FULL");
        full.map_err(|e| e.to_string())?;
        let note = "UPDATE start SET ended = ?1 WHERE start = ?2";
        self.db
            .execute(note, params![wall::now(), self.start])
            .map(|_| ())
            .map_err(|e| e.to_string())
    }
}

/// Why a file was not opened.
#[derive(Debug)]
pub enum OpenError {
    Sql(rusqlite::Error),
    /// It was written by a later panel.
    Newer(i32),
    /// It is a database of something else.
    Foreign,
}

impl From<rusqlite::Error> for OpenError {
    fn from(e: rusqlite::Error) -> Self {
        Self::Sql(e)
    }
}

impl OpenError {
    /// As the asker is told.
    pub fn into_journal_error(self, dir: &Path) -> JournalError {
        let newest = STEPS.len() + 1;
        let (says, remedy) = match self {
            Self::Sql(e) => (
                format!("{FILE} cannot be used: {e}"),
                "See that the disk has room and that this user may write there".to_owned(),
            ),
            Self::Newer(version) => (
                format!("{FILE} has version {version}, and this panel knows up to {newest}"),
                "Install the panel that wrote it, or name another folder with --state".to_owned(),
            ),
            Self::Foreign => (
                format!("{FILE} is a database of something else"),
                "Name another folder with --state".to_owned(),
            ),
        };
        JournalError {
            dir: dir.to_path_buf(),
            says,
            remedy,
        }
    }
}

fn open_file(file: &Path) -> Result<Connection, OpenError> {
    let mut db = Connection::open(file)?;
    db.busy_timeout(Duration::from_secs(1))?;
    // Asked for first: here a file that is no database shows.
    let application: i32 = db.query_row("PRAGMA application_id", [], |r| r.get(0))?;
    let tables: i64 = db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get(0))?;
    if tables == 0 {
        let all = db.transaction()?;
        all.execute_batch(SCHEMA)?;
        for step in STEPS {
            all.execute_batch(step)?;
        }
        all.pragma_update(None, "application_id", APPLICATION_ID)?;
        all.pragma_update(None, "user_version", STEPS.len() as i32 + 1)?;
        all.commit()?;
    } else if application != APPLICATION_ID {
        return Err(OpenError::Foreign);
    } else {
        upgrade(&mut db, STEPS)?;
    }
    db.pragma_update(None, "journal_mode", "WAL")?;
    Ok(db)
}

/// Brings an older journal up to date, one version at a time, each step whole or not at all.
///
/// # Errors
/// A step failed, or the file is newer than this panel.
pub fn upgrade(db: &mut Connection, steps: &[&str]) -> Result<(), OpenError> {
    let version: i32 = db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
    let done = usize::try_from(version - 1).map_err(|_| OpenError::Foreign)?;
    if done > steps.len() {
        return Err(OpenError::Newer(version));
    }
    for (step, to) in steps.iter().zip(2..).skip(done) {
        let all = db.transaction()?;
        all.execute_batch(step)?;
        all.pragma_update(None, "user_version", to)?;
        all.commit()?;
    }
    Ok(())
}

/// Adds rows and tells their numbers.
fn insert(db: &Connection, start: i64, rows: &[Row]) -> rusqlite::Result<Vec<i64>> {
    let mut insert = db.prepare_cached(
        "INSERT INTO event (start, run, clock_us, wall, id, name, severity, fields, says, unsure)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?;
    let each = rows.iter().map(|r| {
        insert.insert(params![
            start,
            r.run.map(|n| n as i64),
            r.clock_us as i64,
            r.wall.text,
            r.id,
            r.name,
            r.severity,
            r.fields,
            r.says,
            r.wall.unsure
        ])
    });
    each.collect()
}

/// Folds rows as a start would that reads them.
fn take_all(folded: &mut Folded, seqs: &[i64], rows: &[Row]) {
    for (seq, row) in seqs.iter().zip(rows) {
        folded.take(*seq, &row.name, row.severity, &row.fields);
    }
}

/// Keeps a checkpoint if it can be. Where it cannot, a start has more to read and knows the same.
fn keep(all: &mut Transaction<'_>, folded: &Folded, before: i64) -> bool {
    let kept = checkpoint::keep(all, folded, before);
    if let Err(why) = &kept {
        tracing::warn!(why, "no checkpoint of the journal could be kept");
    }
    kept.is_ok()
}

/// Removes what need not be kept. Where it cannot, the journal grows and tells the same.
fn clear(all: &mut Transaction<'_>, rule: Rule, folded: &Folded) {
    let unfinished = folded.restored.unfinished.as_ref().map(|u| u.run);
    let done = all.savepoint().and_then(|point| {
        retention::apply(&point, rule, unfinished)?;
        point.commit()
    });
    if let Err(error) = done {
        tracing::warn!(%error, "old rows of the journal could not be removed");
    }
}

/// This run of the operating system, by the kernel's own name for it.
fn boot_id() -> Option<String> {
    let id = std::fs::read_to_string("/proc/sys/kernel/random/boot_id").ok()?;
    Some(id.trim().to_owned()).filter(|id| !id.is_empty())
}

/// Whether rows of the last start may be missing: it did not end in order, and the system was started
/// anew since. A process that dies alone loses nothing that it had written. Unknown counts as yes.
fn power_was_cut(db: &Connection, boot: Option<&str>) -> rusqlite::Result<bool> {
    let last = "SELECT ended IS NOT NULL, boot FROM start ORDER BY start DESC LIMIT 1";
    let mut query = db.prepare(last)?;
    let mut rows = query.query([])?;
    let Some(row) = rows.next()? else {
        return Ok(false);
    };
    let (ended, was): (bool, Option<String>) = (row.get(0)?, row.get(1)?);
    Ok(!ended && (boot.is_none() || was.as_deref() != boot))
}

/// What a start has begun with.
struct Begun {
    start: i64,
    folded: Folded,
    /// The last row in the newest checkpoint; 0: none.
    kept: i64,
}

/// The highest number of a start that a recording is left of, where the journal that counted is lost.
fn begun_before(dir: &Path, lost: &Option<String>) -> i64 {
    let recordings = lost.as_ref().map(|_| crate::recording::starts(dir));
    recordings.into_iter().flatten().max().unwrap_or(0)
}

/// Begins a start, whole or not at all: its row, the events that say that records are lost (the first
/// of the new start, where every later reader comes by them in their order), and the checkpoint. It is
/// counted on from `known`, so that no recording of an earlier life is written over.
fn begin(
    db: &mut Connection,
    boot: Option<&str>,
    loaded: Loaded,
    lost: Option<String>,
    known: i64,
) -> rusqlite::Result<Begun> {
    db.pragma_update(None, "synchronous", "FULL")?;
    let cut = power_was_cut(db, boot)?;
    let mut all = db.transaction()?;
    all.execute(
        "INSERT INTO start (start, wall, version, boot)
         VALUES (max((SELECT coalesce(max(start), 0) FROM start), ?1) + 1, ?2, ?3, ?4)",
        params![known, wall::now(), env!("CARGO_PKG_VERSION"), boot],
    )?;
    let start = all.last_insert_rowid();
    let mut folded = loaded.folded;
    let cut = cut.then_some(Event::PowerCut);
    let lost = lost.map(|why| Event::RecordLost { why });
    for event in cut.into_iter().chain(lost) {
        let row = Row::of(&event, Time::ZERO)
            .map_err(|e| rusqlite::Error::ToSqlConversionFailure(e.into()))?;
        let seqs = insert(&all, start, core::slice::from_ref(&row))?;
        take_all(&mut folded, &seqs, &[row]);
    }
    let mut kept = loaded.from;
    if folded.seq != kept && keep(&mut all, &folded, kept) {
        kept = folded.seq;
    }
    clear(&mut all, Rule::OURS, &folded);
    all.commit()?;
    Ok(Begun {
        start,
        folded,
        kept,
    })
}

/// Takes the folder for one writer; let go when the file is dropped.
///
/// # Errors
/// Another has it, or nothing can be written there.
pub fn lock(dir: &Path) -> Result<File, JournalError> {
    let file = dir.join(earlier::LOCK);
    let wrong = |says: String, remedy: &str| JournalError {
        dir: dir.to_path_buf(),
        says,
        remedy: remedy.to_owned(),
    };
    let lock = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&file)
        .map_err(|e| {
            wrong(
                format!("nothing can be written here: {e}"),
                "Name another folder with --state, or let this user write there",
            )
        })?;
    match rustix::fs::flock(&lock, rustix::fs::FlockOperation::NonBlockingLockExclusive) {
        Ok(()) => Ok(lock),
        Err(e) if e == rustix::io::Errno::WOULDBLOCK => Err(wrong(
            "another panel writes its journal here".into(),
            "End that one first, or name another folder with --state",
        )),
        Err(e) => {
            // A file system without locks: rather a journal without this net than none.
            tracing::warn!(error = %e, "the journal's folder cannot be locked");
            Ok(lock)
        }
    }
}

fn is_damage(e: &rusqlite::Error) -> bool {
    match e {
        // A file of ours with a table or column missing, or with a value of the wrong kind.
        rusqlite::Error::InvalidColumnType(..) | rusqlite::Error::FromSqlConversionFailure(..) => {
            true
        }
        rusqlite::Error::SqliteFailure(f, _) => matches!(
            f.code,
            ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase | ErrorCode::Unknown
        ),
        rusqlite::Error::SqlInputError { .. } => true,
        _ => false,
    }
}
