use std::sync::mpsc::{Receiver, Sender, channel};

use super::earlier::FILE;
use super::store::{self, APPLICATION_ID, SCHEMA};
use super::*;
use rusqlite::Connection;
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

mod checkpoints;
mod power_cut;
mod retention;

fn row(name: &str, run: Option<u64>) -> Row {
    Row {
        run,
        clock_us: 1_000,
        wall: super::wall::Stamp {
            text: "2031-01-01T00:00:00.000Z".into(),
            unsure: false,
        },
        id: 65_000,
        name: name.into(),
        severity: "notice",
        fields: format!("{{\"event\":\"{name}\"}}"),
        says: format!("{name} happened"),
    }
}

fn to_write(n: u64, durable: bool) -> ToWrite {
    ToWrite {
        record: RecordId(n),
        durable,
        row: row(&format!("fixture-{n}"), None),
    }
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

fn open(dir: &Path) -> (Journal, Past, UnboundedReceiver<JournalReport>) {
    let (reports, from) = unbounded_channel();
    let (journal, past) = Journal::open(dir, reports).expect("it opens");
    (journal, past, from)
}

/// What follows from these.
fn known(events: &[Event]) -> Past {
    Past::Known(Box::new(Restored::from_events(events.iter().cloned())))
}

fn names(dir: &Path) -> Vec<String> {
    let story = read(dir, Which::All).expect("it can be read");
    story.events.into_iter().map(|e| e.name).collect()
}

/// A database of version 1 with the rows written by hand.
fn fixture(dir: &Path) {
    let db = Connection::open(dir.join(FILE)).expect("a file");
    db.execute_batch(SCHEMA).expect("the schema");
    db.execute_batch(include_str!("fixtures/v1.sql"))
        .expect("the rows");
    db.pragma_update(None, "application_id", APPLICATION_ID)
        .expect("set");
    db.pragma_update(None, "user_version", 1).expect("set");
}

/// A sink that tells of every try and answers as it is told.
struct Fake {
    tries: Sender<(Vec<Row>, Option<u64>, bool)>,
    answers: Receiver<Result<(), String>>,
}

impl Sink for Fake {
    fn commit(
        &mut self,
        rows: &[Row],
        lost: Option<(u64, &str)>,
        full: bool,
    ) -> Result<(), String> {
        let told = (rows.to_vec(), lost.map(|l| l.0), full);
        self.tries.send(told).map_err(|e| e.to_string())?;
        self.answers.recv().unwrap_or(Ok(()))
    }
    fn end(&mut self) -> Result<(), String> {
        Ok(())
    }
}

struct Faked {
    journal: Journal,
    reports: UnboundedReceiver<JournalReport>,
    tries: Receiver<(Vec<Row>, Option<u64>, bool)>,
    answers: Sender<Result<(), String>>,
}

fn faked() -> Faked {
    let (tries_to, tries) = channel();
    let (answers, answers_from) = channel();
    let (reports_to, reports) = unbounded_channel();
    let fake = Fake {
        tries: tries_to,
        answers: answers_from,
    };
    let journal = Journal::over(fake, reports_to).expect("a thread");
    Faked {
        journal,
        reports,
        tries,
        answers,
    }
}

#[test]
fn a_durable_event_is_acknowledged_only_after_its_commit_has_returned() {
    let mut f = faked();
    f.journal.put(to_write(1, true));
    let (rows, _, full) = f.tries.recv().expect("a try");
    assert_eq!(rows.len(), 1);
    assert!(full, "a durable event needs a full sync");
    // The commit is under way: nothing may be said yet.
    assert!(f.reports.try_recv().is_err());
    f.answers.send(Ok(())).expect("it waits");
    assert_eq!(
        f.reports.blocking_recv(),
        Some(JournalReport::Acked(RecordId(1)))
    );
}

#[test]
fn events_that_nobody_waits_for_are_committed_without_being_asked_and_not_acknowledged() {
    let mut f = faked();
    f.journal.put(to_write(1, false));
    let (rows, _, full) = f.tries.recv().expect("a try");
    assert_eq!((rows.len(), full), (1, false));
    f.answers.send(Ok(())).expect("it waits");
    // The next one is: had the first been acknowledged, that would come first.
    f.journal.put(to_write(2, true));
    f.tries.recv().expect("a try");
    f.answers.send(Ok(())).expect("it waits");
    assert_eq!(
        f.reports.blocking_recv(),
        Some(JournalReport::Acked(RecordId(2)))
    );
}

#[test]
fn a_durable_event_takes_those_before_it_along_in_order() {
    let mut f = faked();
    // The writer is busy with the first, so that the others wait together.
    f.journal.put(to_write(1, true));
    f.tries.recv().expect("a try");
    for n in 2..=4 {
        f.journal.put(to_write(n, n == 4));
    }
    f.answers.send(Ok(())).expect("it waits");
    let (rows, _, full) = f.tries.recv().expect("a try");
    let names: Vec<_> = rows.iter().map(|r| r.name.as_str()).collect();
    assert_eq!(names, ["fixture-2", "fixture-3", "fixture-4"]);
    assert!(full);
    f.answers.send(Ok(())).expect("it waits");
    assert_eq!(
        f.reports.blocking_recv(),
        Some(JournalReport::Acked(RecordId(1)))
    );
    assert_eq!(
        f.reports.blocking_recv(),
        Some(JournalReport::Acked(RecordId(4)))
    );
}

#[test]
fn a_write_that_fails_is_tried_again_with_the_same_events_before_anything_is_told() {
    let mut f = faked();
    f.journal.put(to_write(1, true));
    for _ in 0..3 {
        let (rows, ..) = f.tries.recv().expect("a try");
        assert_eq!(rows[0].name, "fixture-1");
        f.answers.send(Err("disk full".into())).expect("it waits");
    }
    f.tries.recv().expect("a try");
    f.answers.send(Ok(())).expect("it waits");
    assert_eq!(
        f.reports.blocking_recv(),
        Some(JournalReport::Acked(RecordId(1)))
    );
}

#[test]
fn a_disk_that_stays_full_is_reported_once_and_its_recovery_is_acknowledged() {
    let mut f = faked();
    f.journal.put(to_write(1, false));
    // It fails until the failure is told.
    let why = loop {
        f.tries.recv().expect("a try");
        f.answers.send(Err("disk full".into())).expect("it waits");
        match f.reports.try_recv() {
            Ok(JournalReport::Failed(why)) => break why,
            Ok(other) => panic!("{other:?}"),
            Err(_) => {}
        }
    };
    assert_eq!(why, "disk full");
    let (rows, _, full) = f.tries.recv().expect("a try");
    assert_eq!(rows[0].name, "fixture-1", "nothing was lost");
    assert!(full, "what clears a failure is synced");
    f.answers.send(Ok(())).expect("it waits");
    assert_eq!(
        f.reports.blocking_recv(),
        Some(JournalReport::Acked(RecordId(1)))
    );
}

#[test]
fn an_event_too_many_is_reported_at_once_and_leaves_a_gap_on_record() {
    let mut f = faked();
    f.journal.put(to_write(0, true));
    f.tries.recv().expect("a try");
    // The writer stands in its commit: the channel fills up.
    let mut sent = 0;
    let why = loop {
        sent += 1;
        f.journal.put(to_write(sent, false));
        if let Ok(JournalReport::Failed(why)) = f.reports.try_recv() {
            break why;
        }
        assert!(sent <= writer::WAITING as u64, "there is no bound");
    };
    assert_eq!(sent, writer::WAITING as u64 + 1);
    assert!(why.contains("cannot keep up"), "{why}");
    f.answers.send(Ok(())).expect("it waits");
    let (_, lost, _) = f.tries.recv().expect("a try");
    assert_eq!(lost, Some(1));
    drop(f.answers);
}

#[test]
fn after_closing_an_event_is_reported_as_lost() {
    let dir = folder();
    let (mut journal, _, mut reports) = open(dir.path());
    journal.close();
    journal.put(to_write(1, true));
    assert!(matches!(reports.try_recv(), Ok(JournalReport::Failed(_))));
}

#[test]
fn closing_writes_what_is_left_and_notes_an_orderly_end() {
    let dir = folder();
    let (mut journal, past, _reports) = open(dir.path());
    assert_eq!(past, known(&[]));
    for n in 1..=3 {
        journal.put(to_write(n, false));
    }
    journal.close();
    assert_eq!(names(dir.path()), ["fixture-1", "fixture-2", "fixture-3"]);
    let story = read(dir.path(), Which::All).expect("it can be read");
    assert_eq!(story.starts.len(), 1);
    assert!(story.starts[0].ended.is_some());
}

#[test]
fn what_was_acknowledged_is_there_after_the_writer_died_in_mid_batch() {
    let dir = folder();
    let (journal, _, mut reports) = open(dir.path());
    journal.put(to_write(1, false));
    journal.put(to_write(2, true));
    let acked = reports.blocking_recv();
    assert_eq!(acked, Some(JournalReport::Acked(RecordId(2))));
    // As if killed: what comes now waits in a batch that is never written.
    journal.shared.killed.store(true, Ordering::Release);
    journal.put(to_write(3, false));
    drop(journal);

    let (mut journal, _, _reports) = open(dir.path());
    journal.put(to_write(4, true));
    journal.close();
    assert_eq!(names(dir.path()), ["fixture-1", "fixture-2", "fixture-4"]);
    let starts = read(dir.path(), Which::All).expect("read").starts;
    assert_eq!(starts.len(), 2);
    assert_eq!(starts[0].ended, None, "it did not end in order");
}

#[test]
fn a_known_event_comes_back_at_the_next_start() {
    let dir = folder();
    let event: Event = known_event();
    let (mut journal, _, mut reports) = open(dir.path());
    journal.record(RecordId(1), event.clone(), true, Time::from_ms(5));
    assert_eq!(
        reports.blocking_recv(),
        Some(JournalReport::Acked(RecordId(1)))
    );
    journal.close();
    let (_journal, past, _reports) = open(dir.path());
    assert_eq!(past, known(core::slice::from_ref(&event)));
    let entry = &read(dir.path(), Which::All).expect("read").events[0];
    assert_eq!((entry.id, entry.name.as_str()), (event.id(), event.name()));
    assert_eq!(entry.clock_us, 5_000);
    assert_eq!(entry.says, event.says());
}

#[test]
fn a_fixture_of_version_1_is_opened_and_rows_that_are_not_understood_take_nothing_with_them() {
    let dir = folder();
    fixture(dir.path());
    {
        let (journal, past, mut reports) = open(dir.path());
        assert_eq!(past, known(&[]), "none of them tells of a stop");
        let at = Time::from_ms(1);
        journal.record(RecordId(1), known_event(), true, at);
        assert_eq!(
            reports.blocking_recv(),
            Some(JournalReport::Acked(RecordId(1)))
        );
    }
    let (_journal, past, _reports) = open(dir.path());
    assert_eq!(past, known(&[known_event()]));
    let story = read(dir.path(), Which::All).expect("read");
    assert_eq!(story.events.len(), 6);
    assert_eq!(
        story.events[2].fields,
        serde_json::json!("{\"event\":\"fixture-to")
    );
    assert_eq!(story.gaps[0].lost, 3);
}

#[test]
fn a_row_that_tells_of_a_stop_and_is_not_understood_leaves_everything_in_doubt() {
    let dir = folder();
    fixture(dir.path());
    let db = Connection::open(dir.path().join(FILE)).expect("open");
    db.execute(
        "INSERT INTO event (start, run, clock_us, wall, id, name, severity, fields, says)
         VALUES (2, 8, 1, '', 65005, 'fixture-stop', 'stop', '{}', 'a stop')",
        [],
    )
    .expect("a row");
    drop(db);
    let (_journal, past, _reports) = open(dir.path());
    assert!(matches!(past, Past::Unreadable(_)));
    // And nothing was moved: it can still be told.
    assert_eq!(names(dir.path()).len(), 6);
}

#[test]
fn one_run_is_told_by_its_number_or_as_the_last() {
    let dir = folder();
    fixture(dir.path());
    let seven = read(dir.path(), Which::Run(7)).expect("there is one");
    let seqs: Vec<_> = seven.events.iter().map(|e| e.seq).collect();
    assert_eq!(seqs, [2, 3, 4]);
    assert_eq!(seven.starts.len(), 2);
    let last = read(dir.path(), Which::Last).expect("there is one");
    assert_eq!((last.run, last.events.len()), (Some(8), 1));
    let none = read(dir.path(), Which::Run(9)).expect_err("there is none");
    assert!(
        none.to_string().contains("has no run 9: the last is 8"),
        "{none}"
    );
}

#[test]
fn the_latest_events_come_oldest_first() {
    let dir = folder();
    fixture(dir.path());
    let seqs = |count| -> Vec<i64> {
        let most = Sought {
            most: count,
            ..Sought::default()
        };
        let entries = latest(dir.path(), most).expect("read");
        entries.iter().map(|e| e.seq).collect()
    };
    assert_eq!(seqs(2), [4, 5]);
    assert_eq!(seqs(usize::MAX), [1, 2, 3, 4, 5]);
    latest(&dir.path().join("never"), Sought::default()).expect_err("there is none");
    let all = read(dir.path(), Which::All).expect("read").events;
    let two = [all[0].name.as_str(), all[4].name.as_str()];
    let named = of_names(dir.path(), two).expect("read");
    let wanted = |e: &&Entry| two.contains(&e.name.as_str());
    assert_eq!(
        named,
        all.iter().filter(wanted).cloned().collect::<Vec<_>>()
    );
    assert!(!named.is_empty());
}

#[test]
fn a_damaged_journal_is_moved_aside_kept_and_told_as_unreadable() {
    let dir = folder();
    let damage = b"this is no database, and was long enough to be taken for one".repeat(40);
    std::fs::write(dir.path().join(FILE), &damage).expect("written");
    let (_journal, past, _reports) = open(dir.path());
    assert!(matches!(past, Past::Unreadable(_)));
    let kept = dir.path().join("journal.db.unreadable-1");
    assert_eq!(std::fs::read(kept).expect("it is kept"), damage);
}

#[test]
fn a_second_damaged_journal_does_not_overwrite_the_first() {
    let dir = folder();
    for text in ["first", "second"] {
        std::fs::write(dir.path().join(FILE), text.repeat(300)).expect("written");
        let (_journal, past, _reports) = open(dir.path());
        assert!(matches!(past, Past::Unreadable(_)));
    }
    for (n, text) in [(1, "first"), (2, "second")] {
        let kept = dir.path().join(format!("journal.db.unreadable-{n}"));
        assert_eq!(
            std::fs::read_to_string(kept).expect("kept"),
            text.repeat(300)
        );
    }
}

#[test]
fn pages_overwritten_in_the_middle_are_noticed() {
    let dir = folder();
    {
        let (journal, _, _reports) = open(dir.path());
        for n in 0..2000 {
            journal.put(to_write(n, n % 500 == 0));
        }
    }
    let file = dir.path().join(FILE);
    let mut bytes = std::fs::read(&file).expect("a file");
    assert!(
        bytes.len() > 100_000,
        "the rows are in the main file: {}",
        bytes.len()
    );
    let middle = bytes.len() / 2;
    bytes[8192..middle].fill(0xA5);
    std::fs::write(&file, &bytes).expect("written");
    let (_journal, past, _reports) = open(dir.path());
    assert!(matches!(past, Past::Unreadable(_)));
    assert!(dir.path().join("journal.db.unreadable-1").exists());
}

#[test]
fn a_database_of_something_else_is_left_alone() {
    let dir = folder();
    let file = dir.path().join(FILE);
    Connection::open(&file)
        .and_then(|db| db.execute_batch("CREATE TABLE recipes (name TEXT)"))
        .expect("a database");
    let before = std::fs::read(&file).expect("a file");
    let (reports, _from) = unbounded_channel();
    let error = Journal::open(dir.path(), reports).expect_err("it is not ours");
    assert!(error.says.contains("something else"), "{error}");
    assert_eq!(std::fs::read(&file).expect("a file"), before);
    read(dir.path(), Which::All).expect_err("nor to be read");
}

#[test]
fn a_journal_of_a_later_panel_is_left_alone() {
    let dir = folder();
    fixture(dir.path());
    Connection::open(dir.path().join(FILE))
        .and_then(|db| db.pragma_update(None, "user_version", 99))
        .expect("set");
    let (reports, _from) = unbounded_channel();
    let error = Journal::open(dir.path(), reports).expect_err("it is newer");
    assert!(error.says.contains("version 99"), "{error}");
}

#[test]
fn each_upgrade_step_is_done_once_and_whole() {
    let dir = folder();
    fixture(dir.path());
    let mut db = Connection::open(dir.path().join(FILE)).expect("open");
    let two = ["ALTER TABLE start ADD COLUMN two TEXT"];
    let three = [two[0], "ALTER TABLE start ADD COLUMN three TEXT"];
    store::upgrade(&mut db, &two).expect("to version 2");
    store::upgrade(&mut db, &three).expect("to version 3");
    store::upgrade(&mut db, &three).expect("nothing to do");
    let version: i32 = db
        .query_row("PRAGMA user_version", [], |r| r.get(0))
        .expect("set");
    assert_eq!(version, 3);
    let bad = [two[0], three[1], "CREATE TABLE four (x); no SQL"];
    store::upgrade(&mut db, &bad).expect_err("a bad step");
    let four = "SELECT count(*) FROM sqlite_schema WHERE name = 'four'";
    let made: i32 = db.query_row(four, [], |r| r.get(0)).expect("counted");
    assert_eq!(made, 0, "half a step was left behind");
}

#[test]
fn a_row_can_be_neither_changed_nor_removed() {
    let dir = folder();
    fixture(dir.path());
    let db = Connection::open(dir.path().join(FILE)).expect("open");
    for act in [
        "UPDATE event SET says = ''",
        "DELETE FROM event",
        "DELETE FROM gap",
    ] {
        let refused = db.execute(act, []).expect_err(act).to_string();
        assert!(refused.contains("only ever added to"), "{refused}");
    }
}

#[test]
fn two_panels_cannot_write_one_journal() {
    let dir = folder();
    let (first, ..) = open(dir.path());
    let (reports, _from) = unbounded_channel();
    let error = Journal::open(dir.path(), reports).expect_err("it is in use");
    assert!(error.says.contains("another panel"), "{error}");
    drop(first);
    open(dir.path());
}

#[test]
fn a_folder_that_cannot_be_made_is_told_with_its_name() {
    let dir = folder();
    let file = dir.path().join("a file");
    std::fs::write(&file, "x").expect("written");
    let (reports, _from) = unbounded_channel();
    let error = Journal::open(&file.join("state"), reports).expect_err("no folder");
    assert!(
        error
            .to_string()
            .contains("a file/state: this folder cannot be made"),
        "{error}"
    );
    assert!(error.remedy.contains("--state"), "{error}");
}

#[test]
fn a_journal_can_be_read_while_a_panel_writes_it() {
    let dir = folder();
    let (journal, _, mut reports) = open(dir.path());
    journal.put(to_write(1, true));
    assert_eq!(
        reports.blocking_recv(),
        Some(JournalReport::Acked(RecordId(1)))
    );
    assert_eq!(names(dir.path()), ["fixture-1"]);
}

#[test]
fn no_journal_is_told_as_such() {
    let dir = folder();
    let error = read(dir.path(), Which::All).expect_err("there is none");
    assert!(error.to_string().contains("there is no journal"), "{error}");
}

/// Some event of the catalogue that a start learns something from.
fn known_event() -> Event {
    Event::PlaceConfirmed
}
