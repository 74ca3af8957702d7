//! The database file: opened, brought up to date, moved aside when it cannot be read.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::time::Duration;

use control::{Event, Severity};
use rusqlite::{Connection, ErrorCode, params};
use units::Time;

use super::{JournalError, Past, wall};

/// Name of the database in the state folder.
pub const FILE: &str = "journal.db";

/// Tells that the file is ours.
pub const APPLICATION_ID: i32 = 0x5343_4C52;

/// Version 1 of the schema, for an empty file.
pub const SCHEMA: &str = include_str!("schema.sql");

/// SQL from version n + 1 to version n + 2, for n from 0. A version that was ever given away is
/// never edited: a change is a new step here and in `schema.sql`.
pub const STEPS: &[&str] = &[
    // Which run of the operating system a start of the panel belongs to; NULL: an older panel's.
    "ALTER TABLE start ADD COLUMN boot TEXT",
];

/// One event on its way to the disk.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub run: Option<u64>,
    pub clock_us: u64,
    pub wall: String,
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
            wall: wall::now(),
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
        let first = open_file(&file).and_then(|db| Ok((past(&db)?, db)));
        let (past, mut db) = match first {
            Ok((past, db)) => (past, db),
            Err(OpenError::Sql(e)) if is_damage(&e) => {
                let kept = move_aside(&file).map_err(|io| {
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
                (Past::Unreadable(Vec::new()), db)
            }
            Err(e) => return Err(e.into_journal_error(dir)),
        };
        let sql = |e| OpenError::Sql(e).into_journal_error(dir);
        let cut = power_was_cut(&db, boot).map_err(sql)?;
        let start = begin(&db, boot).map_err(sql)?;
        let past = if cut {
            note_power_cut(&mut db, start).map_err(sql)?;
            past.and(Event::PowerCut)
        } else {
            past
        };
        Ok((
            Self {
                db,
                start,
                _lock: lock,
            },
            past,
        ))
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
        self.db
            .pragma_update(None, "synchronous", if full { "FULL" } else { "NORMAL" })?;
        let start = self.start;
        let all = self.db.transaction()?;
        {
            let mut insert = all.prepare_cached(
                "INSERT INTO event (start, run, clock_us, wall, id, name, severity, fields, says)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            )?;
            for r in rows {
                insert.execute(params![
                    start,
                    r.run.map(|n| n as i64),
                    r.clock_us as i64,
                    r.wall,
                    r.id,
                    r.name,
                    r.severity,
                    r.fields,
                    r.says
                ])?;
            }
        }
        if let Some((count, why)) = lost {
            all.execute(
                "INSERT INTO gap (start, after, wall, lost, why)
                 VALUES (?1, (SELECT coalesce(max(seq), 0) FROM event), ?2, ?3, ?4)",
                params![start, wall::now(), count as i64, why],
            )?;
        }
        all.commit()
    }

    /// Which start of the panel this is, from 1.
    pub fn start(&self) -> i64 {
        self.start
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

/// Everything that was recorded, oldest first. A row that is not understood does not take the
/// rest with it; but if it told of a stop, what it told of must be taken to stand: unreadable.
fn past(db: &Connection) -> Result<Past, OpenError> {
    let mut query = db.prepare("SELECT seq, name, severity, fields FROM event ORDER BY seq")?;
    let mut rows = query.query([])?;
    let mut events = Vec::new();
    let mut doubt = false;
    while let Some(row) = rows.next()? {
        let fields: String = row.get(3)?;
        match serde_json::from_str(&fields) {
            Ok(event) => events.push(event),
            Err(error) => {
                let (seq, name): (i64, String) = (row.get(0)?, row.get(1)?);
                let severity: String = row.get(2)?;
                doubt |= !matches!(severity.as_str(), "trace" | "normal" | "notice");
                tracing::warn!(seq, name, %error, "a row of the journal is not understood");
            }
        }
    }
    Ok(if doubt {
        Past::Unreadable(events)
    } else {
        Past::Events(events)
    })
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

/// The first row of the new start, where every later reader comes by it in its order.
fn note_power_cut(db: &mut Connection, start: i64) -> rusqlite::Result<()> {
    db.pragma_update(None, "synchronous", "FULL")?;
    let event = Event::PowerCut;
    let fields = serde_json::to_string(&event)
        .map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))?;
    db.execute(
        "INSERT INTO event (start, run, clock_us, wall, id, name, severity, fields, says)
         VALUES (?1, NULL, 0, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![
            start,
            wall::now(),
            event.id(),
            event.name(),
            severity(event.severity()),
            fields,
            event.says()
        ],
    )?;
    Ok(())
}

fn begin(db: &Connection, boot: Option<&str>) -> rusqlite::Result<i64> {
    db.execute(
        "INSERT INTO start (wall, version, boot) VALUES (?1, ?2, ?3)",
        params![wall::now(), env!("CARGO_PKG_VERSION"), boot],
    )?;
    Ok(db.last_insert_rowid())
}

fn lock(dir: &Path) -> Result<File, JournalError> {
    let file = dir.join("journal.lock");
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

/// Gives the damaged file and what belongs to it a name of its own; deletes nothing.
fn move_aside(file: &Path) -> std::io::Result<PathBuf> {
    let name = |n: u32, tail: &str| {
        let mut s = file.as_os_str().to_owned();
        s.push(format!("{tail}.unreadable-{n}"));
        PathBuf::from(s)
    };
    let free = (1..).find(|n| !name(*n, "").exists());
    let n = free.unwrap_or(u32::MAX);
    for tail in ["-wal", "-shm"] {
        let mut beside = file.as_os_str().to_owned();
        beside.push(tail);
        match std::fs::rename(&beside, name(n, tail)) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
    }
    let kept = name(n, "");
    std::fs::rename(file, &kept)?;
    Ok(kept)
}
