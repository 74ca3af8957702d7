//! A start that goes on from a checkpoint knows what one knows that reads every row.

use super::power_cut::{begun, copy, reached, row};
use super::*;
use crate::journal::checkpoint::{self, Folded, ROWS};
use control::{Cause, Part};
use proptest::prelude::*;
use rusqlite::params;
use store::{STEPS, Store, upgrade};

fn db(dir: &Path) -> Connection {
    Connection::open(dir.join(FILE)).expect("open")
}

/// The rows in the checkpoints, newest first.
fn kept(dir: &Path) -> Vec<i64> {
    let db = db(dir);
    let mut query = db
        .prepare("SELECT seq FROM checkpoint ORDER BY seq DESC")
        .expect("a table");
    let seqs = query.query_map([], |r| r.get(0)).expect("read");
    seqs.collect::<rusqlite::Result<_>>().expect("read")
}

/// The fold of every row, from the first.
fn of_all_rows(dir: &Path) -> Folded {
    let db = db(dir);
    let mut query = db
        .prepare("SELECT seq, name, severity, fields FROM event ORDER BY seq")
        .expect("a table");
    let mut rows = query.query([]).expect("read");
    let mut folded = Folded::default();
    while let Some(r) = rows.next().expect("read") {
        let text = |k| r.get::<_, String>(k).expect("text");
        folded.take(r.get(0).expect("a number"), &text(1), &text(2), &text(3));
    }
    folded
}

/// A journal with so many rows, all of one start, committed as a busy writer would.
fn long(dir: &Path, count: u64) {
    let (mut store, _) = Store::open_in(dir, Some("monday")).expect("it opens");
    let mut rows = begun().map(|e| row(&e)).to_vec();
    for k in 2..count {
        rows.push(row(&reached(k % 900)));
        if rows.len() == 512 {
            store.commit(&rows, None, false).expect("written");
            rows.clear();
        }
    }
    store.commit(&rows, None, true).expect("written");
    store.end().expect("noted");
}

#[test]
fn a_start_over_fifty_thousand_rows_reads_no_more_than_the_limit_and_knows_the_same() {
    let dir = folder();
    long(dir.path(), 50_000);
    let loaded = checkpoint::load(&db(dir.path())).expect("read");
    assert_eq!(loaded.folded.seq, 50_000);
    assert!(loaded.read <= ROWS, "{} rows were read", loaded.read);
    assert_eq!(loaded.folded, of_all_rows(dir.path()));
    assert_eq!(kept(dir.path()).len(), 2);
    // A start keeps one of its own: the next has nothing to read.
    let (_, past) = Store::open_in(dir.path(), Some("monday")).expect("it opens");
    assert_eq!(past, Past::Known(Box::new(loaded.folded.restored)));
    assert_eq!(checkpoint::load(&db(dir.path())).expect("read").read, 0);
    assert_eq!(kept(dir.path()).len(), 2);
}

#[test]
fn a_checkpoint_that_is_damaged_or_of_another_panel_is_ignored_and_goes() {
    let dir = folder();
    for _ in 0..3 {
        let (mut store, _) = Store::open_in(dir.path(), Some("monday")).expect("it opens");
        let rows = begun().map(|e| row(&e));
        store.commit(&rows, None, true).expect("written");
        store.end().expect("noted");
    }
    assert_eq!(kept(dir.path()), [4, 2]);
    let truth = of_all_rows(dir.path());
    for (act, from) in [
        // The newest alone: the one before it is still good.
        (
            "UPDATE checkpoint SET state = replace(state, '\"last_run\":1', '\"last_run\":9') WHERE seq = 4",
            2,
        ),
        ("UPDATE checkpoint SET state = '{' WHERE seq = 4", 2),
        ("UPDATE checkpoint SET seq = 5 WHERE seq = 4", 2),
        ("UPDATE checkpoint SET maker = 'another'", 0),
        ("UPDATE checkpoint SET sum = ''", 0),
        ("DELETE FROM checkpoint", 0),
        ("DROP TABLE checkpoint", 0),
        ("ALTER TABLE checkpoint RENAME COLUMN state TO other", 0),
    ] {
        let hurt = folder();
        copy(dir.path(), hurt.path());
        db(hurt.path()).execute_batch(act).expect(act);
        let loaded = checkpoint::load(&db(hurt.path())).expect(act);
        assert_eq!((loaded.from, loaded.read), (from, 6 - from as u64), "{act}");
        assert_eq!(loaded.folded, truth, "{act}");
        let (mut store, past) = Store::open_with(hurt.path(), Some("monday"), 1).expect(act);
        let restored = truth.restored.clone();
        assert_eq!(past, Past::Known(Box::new(restored)), "{act}");
        // Rows are taken, with or without a place for checkpoints.
        store.commit(&[row(&reached(7))], None, true).expect(act);
        let loaded = checkpoint::load(&db(hurt.path())).expect(act);
        assert_eq!(loaded.folded, of_all_rows(hurt.path()), "{act}");
        assert_eq!(loaded.folded.seq, 7, "{act}");
        if from > 0 || act.starts_with("UPDATE") {
            assert_eq!(loaded.read, 0, "{act}");
            assert_eq!(kept(hurt.path()), [7, 6], "{act}");
        }
    }
}

#[test]
fn a_checkpoint_that_speaks_of_rows_that_are_not_there_is_ignored() {
    let (dir, other) = (folder(), folder());
    for (dir, count) in [(&dir, 3), (&other, 40)] {
        long(dir.path(), count);
        Store::open_in(dir.path(), Some("monday")).expect("it opens");
    }
    let theirs = other.path().join(FILE);
    let db = db(dir.path());
    db.execute("ATTACH ?1 AS other", params![theirs.to_str()])
        .expect("attached");
    db.execute_batch("INSERT INTO main.checkpoint SELECT * FROM other.checkpoint")
        .expect("copied");
    assert_eq!(kept(dir.path()), [40, 3]);
    let loaded = checkpoint::load(&db).expect("read");
    assert_eq!((loaded.from, loaded.folded), (3, of_all_rows(dir.path())));
}

#[test]
fn a_fixture_of_version_2_is_brought_up_to_date_and_its_next_start_has_a_checkpoint() {
    let dir = folder();
    let mut old = db(dir.path());
    old.execute_batch(SCHEMA).expect("the schema");
    old.pragma_update(None, "application_id", APPLICATION_ID)
        .expect("set");
    old.pragma_update(None, "user_version", 1).expect("set");
    upgrade(&mut old, &STEPS[..1]).expect("version 2");
    old.execute_batch(include_str!("../fixtures/v2.sql"))
        .expect("the rows");
    // Only read, as it is.
    assert_eq!(checkpoint::load(&old).expect("read").read, 3);
    drop(old);
    let (_, past) = Store::open_in(dir.path(), Some("friday")).expect("it opens");
    let Past::Known(known) = past else {
        panic!("{past:?}")
    };
    assert_eq!(known.latches, [Cause::Estop].into());
    let open = known.unfinished.as_ref().expect("a run");
    assert_eq!((open.run, open.cut, open.done.len()), (3, 2, 1));
    assert_eq!(kept(dir.path()), [3]);
    let loaded = checkpoint::load(&db(dir.path())).expect("read");
    assert_eq!((loaded.read, loaded.folded.restored), (0, *known));
}

/// S-12.
#[test]
fn doubt_is_kept_in_a_checkpoint_until_it_is_read_and_a_journal_moved_aside_leaves_its_own() {
    let dir = folder();
    let (mut store, _) = Store::open_with(dir.path(), None, 1).expect("it opens");
    let mut strange = super::row("fixture-stop", None);
    strange.severity = "stop";
    store.commit(&[strange], None, true).expect("written");
    store.end().expect("noted");
    drop(store);
    for _ in 0..2 {
        let loaded = checkpoint::load(&db(dir.path())).expect("read");
        assert_eq!((loaded.read, loaded.folded.doubt), (0, true));
        let (mut store, past) = Store::open_with(dir.path(), None, 1).expect("it opens");
        assert!(matches!(past, Past::Unreadable(_)));
        store.end().expect("noted");
    }
    let text = "no database".repeat(300);
    std::fs::write(dir.path().join(FILE), text).expect("written");
    let lost = |past: Past| match past {
        Past::Unreadable(known) | Past::Known(known) => known.latches.contains(&Cause::RecordLost),
    };
    let (mut store, past) = Store::open_with(dir.path(), None, 1).expect("it opens");
    assert!(matches!(past, Past::Unreadable(_)));
    assert!(lost(past));
    assert_eq!(kept(dir.path()), [1]);
    // Rows do not clear it, and no start does.
    store
        .commit(&[super::row("fixture", None)], None, true)
        .expect("written");
    drop(store);
    let (mut store, past) = Store::open_with(dir.path(), None, 1).expect("it opens");
    assert!(lost(past));
    // The operator does.
    let cause = Cause::RecordLost;
    store
        .commit(&[row(&Event::LatchCleared { cause })], None, true)
        .expect("written");
    drop(store);
    let (_store, past) = Store::open_with(dir.path(), None, 1).expect("it opens");
    assert!(!lost(past));
}

#[test]
fn doubt_about_a_row_ends_when_the_operator_has_read_of_it() {
    let dir = folder();
    let (mut store, _) = Store::open_with(dir.path(), None, 1).expect("it opens");
    let mut strange = super::row("fixture-stop", None);
    strange.severity = "stop";
    store.commit(&[strange], None, true).expect("written");
    drop(store);
    let (mut store, past) = Store::open_with(dir.path(), None, 1).expect("it opens");
    assert!(matches!(past, Past::Unreadable(_)));
    let cause = Cause::RecordLost;
    store
        .commit(&[row(&Event::LatchCleared { cause })], None, true)
        .expect("written");
    drop(store);
    let (_store, past) = Store::open_with(dir.path(), None, 1).expect("it opens");
    assert!(matches!(past, Past::Known(_)));
}

/// Leaves something of an earlier life in a folder.
type Sign<'a> = &'a dyn Fn(&Path);

/// S-12.
#[test]
fn signs_of_an_earlier_life_without_a_journal_are_told_and_nothing_of_it_is_written_over() {
    let recording = |dir: &Path, n: u32| {
        std::fs::create_dir_all(dir.join("recordings")).expect("a folder");
        std::fs::write(dir.join(format!("recordings/start-{n}.txt")), "x").expect("written");
    };
    let lock = |dir: &Path| std::fs::write(dir.join("journal.lock"), "start 3").expect("written");
    let empty = |dir: &Path| std::fs::write(dir.join(FILE), "").expect("written");
    let log = |dir: &Path| std::fs::write(dir.join("journal.db-wal"), "x").expect("written");
    let aside = |dir: &Path| {
        std::fs::write(dir.join("journal.db.unreadable-1"), "x").expect("written");
    };
    let seven = |dir: &Path| recording(dir, 7);
    let cases: [(Sign<'_>, i64); 5] =
        [(&lock, 1), (&empty, 1), (&log, 1), (&aside, 1), (&seven, 8)];
    for (sign, start) in cases {
        let dir = folder();
        sign(dir.path());
        let (store, past) = Store::open_with(dir.path(), None, 1).expect("it opens");
        assert_eq!(store.start(), start);
        let Past::Unreadable(known) = past else {
            panic!("{past:?}")
        };
        assert_eq!(known.latches, [Cause::RecordLost].into());
        assert!(known.doubtful);
        let events = super::names(dir.path());
        assert_eq!(events, ["record-lost"]);
    }
    // The lock's file of a first start that did not get further has no mark in it.
    let dir = folder();
    std::fs::write(dir.path().join("journal.lock"), "").expect("written");
    let (_store, past) = Store::open_with(dir.path(), None, 1).expect("it opens");
    assert_eq!(past, Past::Known(Box::default()));
}

/// S-12.
#[test]
fn a_checkpoint_is_synced_with_its_rows_so_a_power_cut_takes_neither_alone() {
    let dir = folder();
    let (mut store, _) = Store::open_with(dir.path(), Some("monday"), 4).expect("it opens");
    let mut rows = begun().map(|e| row(&e)).to_vec();
    rows.extend((0..8).map(|k| row(&reached(k))));
    let (first, rest) = rows.split_at(3);
    let synced = |store: &Store| store.syncs_fully().expect("asked");
    store.commit(first, None, false).expect("written");
    assert!(!synced(&store), "no checkpoint yet");
    store.commit(&rest[..1], None, false).expect("written");
    assert!(
        synced(&store),
        "nobody asked for it, but a checkpoint was kept"
    );
    assert_eq!(kept(dir.path()), [4]);
    store.commit(&rest[1..], None, false).expect("written");
    assert_eq!(kept(dir.path()), [10, 4]);
}

#[test]
fn rows_of_a_commit_that_failed_and_was_tried_again_are_counted_once() {
    for every in [1, 3, 100] {
        let dir = folder();
        let (mut store, _) = Store::open_with(dir.path(), Some("monday"), every).expect("it opens");
        db(dir.path())
            .execute_batch("ALTER TABLE gap RENAME TO away")
            .expect("renamed");
        let rows = [
            row(&begun()[0]),
            row(&Event::FireAsked { run: 1, cut: 1 }),
            row(&Event::FireAsked { run: 1, cut: 1 }),
        ];
        // The rows are in before the gap fails, and go with it.
        store
            .commit(&rows, Some((1, "full")), true)
            .expect_err("there is no such table");
        assert_eq!(of_all_rows(dir.path()), Folded::default());
        store.commit(&rows, None, true).expect("written");
        store.commit(&rows[1..2], None, true).expect("written");
        let loaded = checkpoint::load(&db(dir.path())).expect("read");
        assert_eq!(loaded.folded, of_all_rows(dir.path()));
        let parts = &loaded.folded.restored.parts;
        assert_eq!(parts.of(Part::Nozzle).starts, 3, "every {every}");
    }
}

fn any_event() -> impl Strategy<Value = Event> {
    let causes = prop_oneof![Just(Cause::ArcLost), Just(Cause::Estop), Just(Cause::NoArc)];
    let numbers = (1_u64..4, 1_usize..4, 0.0..90.0_f64, causes);
    (0_u8..17, numbers).prop_map(|(kind, (run, cut, mm, cause))| match kind {
        0 | 1 => Event::RunStarted {
            run,
            seal: "s".into(),
            name: "n".into(),
            cuts: 3,
        },
        2 | 3 => Event::CutStarted {
            run,
            cut,
            try_number: 1,
            from_mm: mm,
        },
        4 => Event::FireAsked { run, cut },
        5 => Event::ArcOn {
            run,
            cut,
            at_s: mm,
            after_s: None,
            volts: None,
        },
        6 => Event::ArcOff {
            run,
            cut,
            at_s: mm,
            arc_s: mm / 7.0,
        },
        7 | 8 => Event::CutReached {
            run,
            cut,
            at_mm: mm,
            arc_s: Some(mm / 3.0),
        },
        9 => Event::CutDone {
            run,
            cut,
            length_mm: mm,
        },
        10 => Event::Held {
            run,
            cause,
            cut,
            at_mm: mm,
            sure_mm: mm / 2.0,
            place: None,
            volts: None,
            high_mm: (mm > 40.0).then_some(mm + 1.0),
            detail: None,
        },
        11 => Event::LatchSet {
            cause,
            at_s: mm,
            detail: None,
        },
        12 => Event::LatchCleared { cause },
        13 => Event::PartsChanged {
            run: None,
            parts: vec![Part::ALL[cut]],
            set: Some("a".into()),
            amps: Some(mm),
        },
        14 => Event::PlaceConfirmed,
        15 => Event::PanelStarted,
        _ => Event::JobLoaded {
            seal: "s".into(),
            name: "n".into(),
        },
    })
}

/// What happens to a panel: it writes rows, or it is started anew.
#[derive(Clone, Debug)]
enum Happens {
    Rows(Vec<Event>, bool),
    /// Rows of which the first stands for one that is not understood.
    Strange(Vec<Event>, bool),
    Ended,
    Killed,
    PowerCut,
}

fn any_life() -> impl Strategy<Value = Vec<Happens>> {
    let rows = || proptest::collection::vec(any_event(), 0..12);
    let happens = prop_oneof![
        8 => (rows(), any::<bool>()).prop_map(|(rows, full)| Happens::Rows(rows, full)),
        1 => (rows(), any::<bool>()).prop_map(|(rows, stop)| Happens::Strange(rows, stop)),
        1 => Just(Happens::Ended),
        2 => Just(Happens::Killed),
        2 => Just(Happens::PowerCut),
    ];
    proptest::collection::vec(happens, 1..14)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// S-12.
    #[test]
    fn a_checkpoint_and_the_rest_are_the_fold_of_all_rows(life in any_life(), every in 1_u64..20) {
        // The disk holds what it held at the last full sync, or more: here exactly that.
        let (dir, disk) = (folder(), folder());
        let mut boot = 0;
        let open = |boot: i32| Store::open_with(dir.path(), Some(&boot.to_string()), every);
        let mut store = open(boot).expect("it opens").0;
        copy(dir.path(), disk.path());
        for happens in life {
            let anew = match happens {
                Happens::Rows(events, full) => {
                    let rows: Vec<_> = events.iter().map(row).collect();
                    store.commit(&rows, None, full).expect("written");
                    false
                }
                Happens::Strange(events, stop) => {
                    let mut rows: Vec<_> = events.iter().map(row).collect();
                    let mut strange = super::row("fixture", None);
                    strange.severity = if stop { "stop" } else { "notice" };
                    rows.insert(0, strange);
                    store.commit(&rows, None, false).expect("written");
                    false
                }
                Happens::Ended => {
                    store.end().expect("noted");
                    true
                }
                Happens::Killed => true,
                Happens::PowerCut => {
                    drop(store);
                    copy(disk.path(), dir.path());
                    boot += 1;
                    let loaded = checkpoint::load(&db(dir.path())).expect("read");
                    prop_assert_eq!(loaded.folded, of_all_rows(dir.path()));
                    store = open(boot).expect("it opens").0;
                    copy(dir.path(), disk.path());
                    continue;
                }
            };
            if anew {
                drop(store);
                let (again, past) = open(boot).expect("it opens");
                store = again;
                let all = of_all_rows(dir.path());
                let known = Box::new(all.restored);
                let told = if all.doubt { Past::Unreadable(known) } else { Past::Known(known) };
                prop_assert_eq!(past, told);
            }
            if anew || store.syncs_fully().expect("asked") {
                copy(dir.path(), disk.path());
            }
            let loaded = checkpoint::load(&db(dir.path())).expect("read");
            prop_assert!(loaded.read < every, "{} rows were read", loaded.read);
            prop_assert_eq!(loaded.folded, of_all_rows(dir.path()));
        }
    }
}
