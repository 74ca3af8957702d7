//! What a power cut takes from the journal, and what the next start knows of it.

use super::*;

/// The journal's files as they lie now.
pub fn copy(from: &Path, to: &Path) {
    for name in [FILE.to_owned(), format!("{FILE}-wal")] {
        let _ = std::fs::remove_file(to.join(&name));
        if from.join(&name).exists() {
            std::fs::copy(from.join(&name), to.join(&name)).expect("copied");
        }
    }
}

/// A run whose one cut was begun: what is lost of it, and a power cut, show in what is known.
pub fn begun() -> [Event; 2] {
    let (run, cut) = (1, 1);
    [
        Event::RunStarted {
            run,
            seal: "s".into(),
            name: "n".into(),
            cuts: 9,
        },
        Event::CutStarted {
            run,
            cut,
            try_number: 1,
            from_mm: 0.0,
        },
    ]
}

pub fn row(event: &Event) -> Row {
    Row::of(event, Time::ZERO).expect("a row")
}

pub fn reached(k: u64) -> Event {
    Event::CutReached {
        run: 1,
        cut: 1,
        at_mm: k as f64,
        arc_s: None,
    }
}

/// S-12.
#[test]
fn a_disk_that_loses_what_was_not_synced_loses_only_that_and_the_next_start_knows() {
    let (dir, lost) = (folder(), folder());
    let (mut store, _) = store::Store::open_in(dir.path(), Some("monday")).expect("it opens");
    let mut synced = Vec::new();
    let mut all = begun().to_vec();
    store
        .commit(&begun().map(|e| row(&e)), None, false)
        .expect("written");
    for k in 0..60 {
        let full = k % 7 == 3;
        store
            .commit(&[row(&reached(k))], None, full)
            .expect("written");
        all.push(reached(k));
        if full {
            synced.clone_from(&all);
            copy(dir.path(), lost.path());
        }
        if synced.is_empty() {
            continue;
        }
        // The power goes here: the disk holds what it held at the last full sync.
        let after = folder();
        copy(lost.path(), after.path());
        let (_, past) = store::Store::open_in(after.path(), Some("tuesday")).expect("it opens");
        let told = [synced.as_slice(), &[Event::PowerCut]].concat();
        assert_eq!(past, known(&told), "after row {k}");
        // It is on record: the start after that one knows it too.
        let (_, past) = store::Store::open_in(after.path(), Some("tuesday")).expect("it opens");
        assert_eq!(past, known(&told));
    }
}

#[test]
fn a_panel_that_died_alone_or_ended_in_order_has_lost_nothing() {
    let dir = folder();
    let mut told = Vec::new();
    for (boot, ends) in [
        ("monday", false),
        ("monday", true),
        ("tuesday", true),
        ("friday", false),
    ] {
        let (mut store, past) = store::Store::open_in(dir.path(), Some(boot)).expect("it opens");
        assert_eq!(past, known(&told), "{boot}");
        if told.is_empty() {
            told = begun().to_vec();
            let rows = begun().map(|e| row(&e));
            store.commit(&rows, None, true).expect("written");
        }
        if ends {
            store.end().expect("noted");
        }
    }
    let (_, past) = store::Store::open_in(dir.path(), None).expect("it opens");
    told.push(Event::PowerCut);
    assert_eq!(past, known(&told), "unknown means no");
}
