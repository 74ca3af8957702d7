//! What is removed by the rule, and what a start knows all the same.

use super::power_cut::{begun, reached, row};
use super::*;
use crate::journal::checkpoint;
use crate::journal::retention::Rule;
use control::{Cause, Outcome};
use store::Store;

const RULE: Rule = Rule {
    rows: 200,
    stops: 600,
};

fn latch(cause: Cause) -> Event {
    Event::LatchSet {
        cause,
        at_s: 0.0,
        detail: None,
    }
}

fn counted(dir: &Path, of: &str) -> i64 {
    let db = Connection::open(dir.join(FILE)).expect("open");
    let query = format!("SELECT count(*) FROM event WHERE {of}");
    db.query_row(&query, [], |r| r.get(0)).expect("a number")
}

/// S-12.
#[test]
fn a_start_over_a_cleared_journal_knows_what_one_knows_over_all_of_it() {
    let (dir, whole) = (folder(), folder());
    let keeps_all = Rule {
        rows: i64::MAX / 2,
        stops: i64::MAX / 2,
    };
    let mut told: Vec<Event> = vec![latch(Cause::Estop)];
    told.extend(begun());
    told.extend((0..1500).map(|k| reached(k % 900)));
    let mut knows = Vec::new();
    for (dir, rule) in [(&dir, RULE), (&whole, keeps_all)] {
        let (store, _) = Store::open_with(dir.path(), Some("monday"), 50).expect("it opens");
        let mut store = store.keeping(rule);
        for events in told.chunks(10) {
            let rows: Vec<Row> = events.iter().map(row).collect();
            store.commit(&rows, None, false).expect("written");
        }
        store.end().expect("noted");
        drop(store);
        let (_, past) = Store::open_with(dir.path(), Some("monday"), 50).expect("it opens");
        knows.push(past);
    }
    assert_eq!(knows[0], knows[1]);
    let Past::Known(known) = &knows[0] else {
        panic!("{knows:?}")
    };
    assert!(known.latches.contains(&Cause::Estop));
    assert!(known.unfinished.is_some());
    // All of this belongs to the run that is not ended.
    assert_eq!(
        counted(dir.path(), "run IS NOT NULL"),
        counted(whole.path(), "run IS NOT NULL")
    );
}

#[test]
fn rows_stay_bounded_while_the_panel_runs_and_stops_stay_longer() {
    let dir = folder();
    let (store, _) = Store::open_with(dir.path(), None, 50).expect("it opens");
    let mut store = store.keeping(RULE);
    let mut plain = super::row("fixture", None);
    let mut stop = super::row("fixture-stop", None);
    (plain.severity, stop.severity) = ("normal", "stop");
    let ten: Vec<Row> = (0..9).map(|_| plain.clone()).chain([stop]).collect();
    for _ in 0..500 {
        store.commit(&ten, None, false).expect("written");
        let all = counted(dir.path(), "TRUE");
        assert!(all <= RULE.rows + 60 + 50, "{all}");
    }
    let stops = counted(dir.path(), "severity = 'stop'");
    assert!(
        (55..=70).contains(&stops),
        "of the last 600 rows one in ten: {stops}"
    );
    // A start works on from the checkpoints alone.
    drop(store);
    let (_, past) = Store::open_with(dir.path(), None, 50).expect("it opens");
    assert!(
        matches!(past, Past::Unreadable(_)),
        "these stops are not understood"
    );
}

/// S-12.
#[test]
fn without_a_checkpoint_a_cleared_journal_is_in_doubt_and_one_of_another_panel_is_believed() {
    let dir = folder();
    let (store, _) = Store::open_with(dir.path(), Some("monday"), 50).expect("it opens");
    let mut store = store.keeping(RULE);
    let ended = Event::RunEnded {
        run: 1,
        outcome: Outcome::Ended,
        cuts_done: 0,
        cuts: 5,
        holds: 0,
        pierces: 0,
        arc_on_s: 0.0,
        run_s: 1.0,
    };
    let mut told: Vec<Event> = begun().to_vec();
    told.extend([ended, latch(Cause::Estop)]);
    told.extend((0..900).map(|_| Event::PanelStarted));
    for events in told.chunks(10) {
        let rows: Vec<Row> = events.iter().map(row).collect();
        store.commit(&rows, None, false).expect("written");
    }
    store.end().expect("noted");
    drop(store);
    let db = Connection::open(dir.path().join(FILE)).expect("open");
    let known = checkpoint::load(&db).expect("read").folded;
    assert!(known.restored.latches.contains(&Cause::Estop));
    // As another version would have written them.
    let mut query = db
        .prepare("SELECT seq, state FROM checkpoint")
        .expect("a table");
    let kept = query.query_map([], |r| Ok((r.get::<_, i64>(0)?, r.get::<_, String>(1)?)));
    let kept: Vec<_> = kept.expect("read").map(|k| k.expect("a row")).collect();
    for (seq, state) in kept {
        let sum = checkpoint::sum(seq, "another", &state);
        let change = "UPDATE checkpoint SET maker = 'another', sum = ?1 WHERE seq = ?2";
        db.execute(change, rusqlite::params![sum, seq])
            .expect("written");
    }
    assert_eq!(checkpoint::load(&db).expect("read").folded, known);
    db.execute("DELETE FROM checkpoint", []).expect("removed");
    let folded = checkpoint::load(&db).expect("read").folded;
    assert!(folded.doubt);
}

#[test]
fn nothing_can_be_removed_that_no_checkpoint_holds() {
    let dir = folder();
    let (mut store, _) = Store::open_with(dir.path(), None, 1000).expect("it opens");
    store
        .commit(&[super::row("fixture", None)], None, true)
        .expect("written");
    drop(store);
    let db = Connection::open(dir.path().join(FILE)).expect("open");
    for act in ["UPDATE retention SET cleared = 99", "DELETE FROM event"] {
        assert!(db.execute(act, []).is_err(), "{act}");
    }
}

#[test]
fn a_record_of_commissioning_stays_however_old_it_is() {
    let dir = folder();
    let (store, _) = Store::open_with(dir.path(), None, 50).expect("it opens");
    let mut store = store.keeping(RULE);
    let made = Event::Commissioned {
        step: control::commissioning::Step::Papers,
        passed: true,
        measured: "Signed.".into(),
        covered: "aabb".into(),
        simulated: false,
    };
    store.commit(&[row(&made)], None, false).expect("written");
    let ten: Vec<Row> = (0..10).map(|_| row(&Event::PanelStarted)).collect();
    for _ in 0..200 {
        store.commit(&ten, None, false).expect("written");
    }
    assert_eq!(counted(dir.path(), "name = 'commissioned'"), 1);
    assert!(counted(dir.path(), "TRUE") < 400);
}
