//! Reading the journal to tell what happened, while a panel may be writing it.

use std::path::{Path, PathBuf};
use std::time::Duration;

use control::Event;
use process::Set;
use rusqlite::{Connection, OpenFlags, Row as SqlRow};
use serde::{Deserialize, Serialize};

use super::checkpoint;
use super::earlier::FILE;
use super::store::APPLICATION_ID;

/// Which part of the journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// All of it.
    All,
    /// One run.
    Run(u64),
    /// The run that was recorded last.
    Last,
}

/// One event as recorded.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Its place in the journal, from 1.
    pub seq: i64,
    /// Which start of the panel, from 1.
    pub start: i64,
    /// The run it belongs to.
    pub run: Option<u64>,
    /// The panel's clock, microseconds since that start (in practice the table's clock).
    pub clock_us: u64,
    /// Wall time, RFC 3339, UTC.
    pub wall: String,
    /// It is not to be believed: nothing keeps this board's clock, or it was never set.
    pub unsure: bool,
    /// Number in the catalogue.
    pub id: u16,
    /// Name in the catalogue.
    pub name: String,
    /// `trace`, `normal`, `notice`, `stop` or `danger`.
    pub severity: String,
    /// What happened, in words.
    pub says: String,
    /// What to do about it, where this panel knows the event and has advice.
    pub advice: Option<String>,
    /// All of its fields; as text where they are not understood.
    pub fields: serde_json::Value,
}

/// One start of the panel.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Start {
    /// Counted from 1.
    pub start: i64,
    /// Wall time, RFC 3339, UTC.
    pub wall: String,
    /// Of the panel.
    pub version: String,
    /// Wall time of an orderly end, if there was one.
    pub ended: Option<String>,
}

/// A place where events are missing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gap {
    /// The last event before it; 0: none.
    pub after: i64,
    /// When it was written down.
    pub wall: String,
    /// How many events.
    pub lost: i64,
    /// Why.
    pub why: String,
}

/// What the journal tells.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Story {
    /// The run, if one was asked for.
    pub run: Option<u64>,
    /// The starts of the panel that the events belong to.
    pub starts: Vec<Start>,
    /// The events, oldest first.
    pub events: Vec<Entry>,
    /// Where events are missing, in the whole journal.
    pub gaps: Vec<Gap>,
}

/// Why nothing can be told.
#[derive(Debug, thiserror::Error)]
#[error("{}: {says}. {remedy}", file.display())]
pub struct ReadError {
    /// The journal's file.
    pub file: PathBuf,
    /// What is wrong.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

/// Reads the journal in the state folder `dir`.
///
/// # Errors
/// There is no journal, it is not ours, it is damaged, or it has no such run.
pub fn read(dir: &Path, which: Which) -> Result<Story, ReadError> {
    let file = dir.join(FILE);
    let wrong = |says: String, remedy: &str| ReadError {
        file: file.clone(),
        says,
        remedy: remedy.to_owned(),
    };
    if let Err(e) = std::fs::metadata(&file) {
        return Err(wrong(
            format!("there is no journal: {e}"),
            "Name the folder of a panel with --state",
        ));
    }
    let damaged = |e: rusqlite::Error| {
        wrong(
            format!("cannot be read: {e}"),
            "Keep the file; if a panel uses it, starting it again moves a damaged one aside",
        )
    };
    let db = open(&file).map_err(damaged)?;
    let application: i32 = db
        .query_row("PRAGMA application_id", [], |r| r.get(0))
        .map_err(damaged)?;
    if application != APPLICATION_ID {
        return Err(wrong(
            "is a database of something else".into(),
            "Name the folder of a panel with --state",
        ));
    }
    let run = match which {
        Which::All => None,
        Which::Run(run) => Some(run),
        Which::Last => Some(last_run(&db).map_err(damaged)?.ok_or_else(|| {
            wrong(
                "has no run yet".into(),
                "Leave --run out to read what is there",
            )
        })?),
    };
    let events = events(&db, run).map_err(damaged)?;
    if let (Some(run), true) = (run, events.is_empty()) {
        let last = last_run(&db).map_err(damaged)?;
        let there = last.map_or("it has no run yet".into(), |n| format!("the last is {n}"));
        return Err(wrong(
            format!("has no run {run}: {there}"),
            "Name a run that is there, or `last`",
        ));
    }
    let mut starts = starts(&db).map_err(damaged)?;
    if run.is_some() {
        starts.retain(|s| events.iter().any(|e| e.start == s.start));
    }
    let gaps = gaps(&db).map_err(damaged)?;
    Ok(Story {
        run,
        starts,
        events,
        gaps,
    })
}

/// What the torch parts have been through by the journal in `dir`, as vetting reckons with it. `told`:
/// lives, and what the machine file says of parts that were fitted before. `None`: no journal, or
/// wear is not reckoned.
#[must_use]
pub fn counted(dir: &Path, told: Option<Set>) -> Option<Set> {
    let told = told?;
    let db = open(&dir.join(FILE)).ok()?;
    let loaded = checkpoint::load(&db).ok()?;
    Some(loaded.folded.restored.supplies(&told))
}

/// Which of the latest events are wanted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sought {
    /// Of one run alone.
    pub run: Option<u64>,
    /// What stopped the machine alone.
    pub faults: bool,
    /// At most so many.
    pub most: usize,
}

/// The latest events of the journal in `dir`, oldest first, but for traces (how far a cut had come).
///
/// # Errors
/// There is no journal or it cannot be read.
pub fn latest(dir: &Path, sought: Sought) -> Result<Vec<Entry>, ReadError> {
    let file = dir.join(FILE);
    let only = if sought.faults {
        "severity IN ('stop', 'danger')"
    } else {
        "severity <> 'trace'"
    };
    let all = || -> rusqlite::Result<Vec<Entry>> {
        let db = open(&file)?;
        let mut query = db.prepare(&format!(
            "{} WHERE (?1 IS NULL OR run = ?1) AND {only} ORDER BY seq DESC LIMIT ?2",
            all_columns(&db)?
        ))?;
        let run = sought.run.map(|n| n as i64);
        let most = i64::try_from(sought.most).unwrap_or(i64::MAX);
        let rows = query.query_map((run, most), entry)?;
        let mut entries: Vec<Entry> = rows.collect::<rusqlite::Result<_>>()?;
        entries.reverse();
        Ok(entries)
    };
    all().map_err(|e| unread(file.clone(), &e))
}

/// A run as the journal tells of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Its number.
    pub run: u64,
    /// When it began, wall time, RFC 3339, UTC.
    pub wall: String,
    /// That is not to be believed.
    pub unsure: bool,
    /// Its `run-started`, as JSON; `None`: an old row that made room.
    pub began: Option<serde_json::Value>,
    /// Its `run-ended`, as JSON; `None`: it is not ended.
    pub ended: Option<serde_json::Value>,
    /// How often it was stopped.
    pub stops: u64,
}

/// The latest runs of the journal in `dir`, the newest first.
///
/// # Errors
/// There is no journal or it cannot be read.
pub fn runs(dir: &Path, most: usize) -> Result<Vec<Told>, ReadError> {
    let file = dir.join(FILE);
    let all = || -> rusqlite::Result<Vec<Told>> {
        let db = open(&file)?;
        let mut numbers = Vec::new();
        // By the index, a step for each run: a run may have a hundred thousand rows.
        let mut below = i64::MAX;
        while numbers.len() < most {
            let next = "SELECT max(run) FROM event WHERE run IS NOT NULL AND run < ?1";
            let Some(run) = db.query_row(next, [below], |r| r.get::<_, Option<i64>>(0))? else {
                break;
            };
            numbers.push(run);
            below = run;
        }
        numbers.into_iter().map(|run| told(&db, run)).collect()
    };
    all().map_err(|e| unread(file.clone(), &e))
}

fn told(db: &Connection, run: i64) -> rusqlite::Result<Told> {
    let mut first = db.prepare(&format!(
        "{} WHERE run = ?1 ORDER BY seq LIMIT 1",
        all_columns(db)?
    ))?;
    let first = first.query_row([run], entry)?;
    let ended =
        "SELECT fields FROM event WHERE run = ?1 AND name = 'run-ended' ORDER BY seq DESC LIMIT 1";
    let ended = match db.query_row(ended, [run], |r| r.get::<_, String>(0)) {
        Ok(fields) => serde_json::from_str(&fields).ok(),
        Err(rusqlite::Error::QueryReturnedNoRows) => None,
        Err(e) => return Err(e),
    };
    let stops = "SELECT count(*) FROM event WHERE run = ?1 AND name = 'held'";
    let stops: i64 = db.query_row(stops, [run], |r| r.get(0))?;
    Ok(Told {
        run: run as u64,
        wall: first.wall,
        unsure: first.unsure,
        began: (first.name == "run-started").then_some(first.fields),
        ended,
        stops: stops as u64,
    })
}

/// All events of these names in the journal in `dir`, oldest first.
///
/// # Errors
/// There is no journal or it cannot be read.
pub fn of_names(dir: &Path, names: [&str; 2]) -> Result<Vec<Entry>, ReadError> {
    let file = dir.join(FILE);
    let all = || -> rusqlite::Result<Vec<Entry>> {
        let db = open(&file)?;
        let mut query = db.prepare(&format!(
            "{} WHERE name IN (?1, ?2) ORDER BY seq",
            all_columns(&db)?
        ))?;
        let rows = query.query_map(names, entry)?;
        rows.collect()
    };
    all().map_err(|e| unread(file.clone(), &e))
}

fn unread(file: PathBuf, why: &rusqlite::Error) -> ReadError {
    ReadError {
        file,
        says: format!("cannot be read: {why}"),
        remedy: "See that a panel has been started with this folder".into(),
    }
}

fn open(file: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = Connection::open_with_flags(file, flags)?;
    db.busy_timeout(Duration::from_secs(2))?;
    if db
        .query_row("SELECT 1 FROM start LIMIT 1", [], |_| Ok(()))
        .is_ok()
    {
        return Ok(db);
    }
    // A folder that we may not write, with no panel writing: read the file as it lies.
    let mut wal = file.as_os_str().to_owned();
    wal.push("-wal");
    if Path::new(&wal).exists() {
        return Ok(db);
    }
    let Some(path) = file.to_str() else {
        return Ok(db);
    };
    let path = path
        .replace('%', "%25")
        .replace('?', "%3f")
        .replace('#', "%23");
    let uri = format!("file:{path}?immutable=1");
    Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI)
}

fn last_run(db: &Connection) -> rusqlite::Result<Option<u64>> {
    let query = "SELECT run FROM event WHERE run IS NOT NULL ORDER BY seq DESC LIMIT 1";
    match db.query_row(query, [], |r| r.get::<_, i64>(0)) {
        Ok(run) => Ok(Some(run as u64)),
        Err(rusqlite::Error::QueryReturnedNoRows) => Ok(None),
        Err(e) => Err(e),
    }
}

fn events(db: &Connection, run: Option<u64>) -> rusqlite::Result<Vec<Entry>> {
    let mut query = db.prepare(&format!(
        "{} WHERE ?1 IS NULL OR run = ?1 ORDER BY seq",
        all_columns(db)?
    ))?;
    let rows = query.query_map([run.map(|n| n as i64)], entry)?;
    rows.collect()
}

/// What [`entry`] reads. A journal that no panel of this version has opened does not say whether its times are
/// unsure.
fn all_columns(db: &Connection) -> rusqlite::Result<String> {
    let asked = "SELECT count(*) FROM pragma_table_info('event') WHERE name = 'unsure'";
    let told: i64 = db.query_row(asked, [], |r| r.get(0))?;
    let unsure = if told > 0 { "unsure" } else { "0" };
    Ok(format!(
        "SELECT seq, start, run, clock_us, wall, id, name, severity, says, fields, {unsure} FROM event"
    ))
}

fn entry(r: &SqlRow<'_>) -> rusqlite::Result<Entry> {
    let fields: String = r.get(9)?;
    let advice = serde_json::from_str::<Event>(&fields)
        .ok()
        .and_then(|e| e.advice())
        .map(str::to_owned);
    Ok(Entry {
        seq: r.get(0)?,
        start: r.get(1)?,
        run: r.get::<_, Option<i64>>(2)?.map(|n| n as u64),
        clock_us: r.get::<_, i64>(3)? as u64,
        wall: r.get(4)?,
        unsure: r.get(10)?,
        id: r.get(5)?,
        name: r.get(6)?,
        severity: r.get(7)?,
        says: r.get(8)?,
        advice,
        fields: serde_json::from_str(&fields).unwrap_or(serde_json::Value::String(fields)),
    })
}

fn starts(db: &Connection) -> rusqlite::Result<Vec<Start>> {
    let mut query = db.prepare("SELECT start, wall, version, ended FROM start ORDER BY start")?;
    let rows = query.query_map([], |r| {
        Ok(Start {
            start: r.get(0)?,
            wall: r.get(1)?,
            version: r.get(2)?,
            ended: r.get(3)?,
        })
    })?;
    rows.collect()
}

fn gaps(db: &Connection) -> rusqlite::Result<Vec<Gap>> {
    let mut query = db.prepare("SELECT after, wall, lost, why FROM gap ORDER BY rowid")?;
    let rows = query.query_map([], |r| {
        Ok(Gap {
            after: r.get(0)?,
            wall: r.get(1)?,
            lost: r.get(2)?,
            why: r.get(3)?,
        })
    })?;
    rows.collect()
}
