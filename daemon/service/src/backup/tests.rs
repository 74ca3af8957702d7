//! Backup and restore over real folders.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use control::{Cause, Event};
use units::Time;

use super::*;
use crate::journal::{self, Which};

struct Rig {
    dir: tempfile::TempDir,
}

impl Rig {
    /// A machine file with what it names, a journal with one event, a program.
    fn new() -> Self {
        let dir = tempfile::tempdir().expect("a folder");
        let rig = Self { dir };
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        for file in [
            "machines/practice.toml",
            "dialects/plain.toml",
            "charts/invented.toml",
        ] {
            let to = rig.at("old/etc").join(file);
            std::fs::create_dir_all(to.parent().expect("a folder")).expect("made");
            std::fs::copy(from.join(file), to).expect("copied");
        }
        let state = rig.at("old/state");
        std::fs::create_dir_all(state.join("programs")).expect("made");
        std::fs::write(state.join("programs/bracket.nc"), "M2\n").expect("written");
        record(&state);
        rig
    }

    fn at(&self, inside: &str) -> PathBuf {
        self.dir.path().join(inside)
    }

    fn machine(&self, whose: &str) -> PathBuf {
        self.at(whose).join("etc/machines/practice.toml")
    }

    fn backup(&self) -> PathBuf {
        let file = self.at("backup.tar");
        make(&self.machine("old"), &self.at("old/state"), &file).expect("a backup");
        file
    }

    fn restore(&self, file: &Path) -> Result<Restored, String> {
        restore(file, &self.machine("new"), &self.at("new/state"))
    }
}

/// A start of the panel that records one event and ends.
fn record(state: &Path) {
    let (to, _from) = tokio::sync::mpsc::unbounded_channel();
    let (mut journal, _) = journal::Journal::open(state, to).expect("a journal");
    journal.record(control::RecordId(1), Event::Homed, true, Time::from_ms(5));
    journal.close();
}

/// What the next start makes of the journal.
fn past(state: &Path) -> journal::Past {
    let (to, _from) = tokio::sync::mpsc::unbounded_channel();
    let (mut journal, past) = journal::Journal::open(state, to).expect("a journal");
    journal.close();
    past
}

/// Every file below a folder with what is in it.
fn all(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else {
                found.insert(path.clone(), std::fs::read(&path).expect("read"));
            }
        }
    }
    found
}

#[test]
fn what_was_backed_up_comes_back_byte_for_byte_and_the_next_start_is_in_doubt() {
    let rig = Rig::new();
    let file = rig.backup();
    let done = rig.restore(&file).expect("restored");
    assert_eq!(done.aside, Vec::<PathBuf>::new());
    for inside in [
        "etc/machines/practice.toml",
        "etc/dialects/plain.toml",
        "etc/charts/invented.toml",
        "state/programs/bracket.nc",
    ] {
        let of = |whose: &str| std::fs::read(rig.at(whose).join(inside)).expect("read");
        assert_eq!(of("new"), of("old"), "{inside}");
    }
    Config::load(&rig.machine("new")).expect("it can be used");
    let story =
        |whose: &str| journal::read(&rig.at(whose).join("state"), Which::All).expect("read");
    assert_eq!(story("new").events, story("old").events);

    let journal::Past::Unreadable(restored) = past(&rig.at("new/state")) else {
        panic!("a journal of before is believed");
    };
    assert!(restored.doubtful && restored.latches.contains(&Cause::RecordLost));
    // It is told once; what comes of it is the journal's.
    let told = story("new")
        .events
        .into_iter()
        .filter(|e| e.says.contains("restored from a backup"));
    assert_eq!(told.count(), 1);
    past(&rig.at("new/state"));
    let told = story("new")
        .events
        .into_iter()
        .filter(|e| e.says.contains("restored from a backup"));
    assert_eq!(told.count(), 1);
}

#[test]
fn what_lies_there_is_moved_aside_and_what_is_the_same_is_left() {
    let rig = Rig::new();
    let file = rig.backup();
    rig.restore(&file).expect("restored");
    let program = rig.at("new/state/programs/bracket.nc");
    std::fs::write(&program, "M30\n").expect("written");
    record(&rig.at("new/state"));
    let done = rig.restore(&file).expect("restored once more");
    assert_eq!(std::fs::read_to_string(&program).expect("read"), "M2\n");
    let kept = rig.at("new/state/programs/bracket.nc.before-restore-1");
    assert_eq!(std::fs::read_to_string(&kept).expect("read"), "M30\n");
    assert!(done.aside.contains(&kept));
    assert!(
        done.aside
            .contains(&rig.at("new/state/journal.db.before-restore-1"))
    );
    assert!(
        !done.files.iter().any(|f| f.ends_with("plain.toml")),
        "{done:?}"
    );
}

#[test]
fn an_archive_that_is_not_whole_or_not_ours_changes_nothing() {
    let rig = Rig::new();
    let file = rig.backup();
    let good = std::fs::read(&file).expect("read");
    rig.restore(&file).expect("restored");
    std::fs::write(rig.at("new/state/programs/bracket.nc"), "M30\n").expect("written");
    let before = all(&rig.at("new"));
    let bad = rig.at("bad.tar");
    let mut cases: Vec<(String, Vec<u8>)> = vec![
        ("empty".into(), Vec::new()),
        ("text".into(), b"G0 X1\n".to_vec()),
        ("half".into(), good[..good.len() / 2].to_vec()),
    ];
    // A byte turned over here and there in the members' heads and bodies; the manifest before them holds
    // labels too, which may say what they like.
    let manifest = 512 + good[512..].iter().position(|b| *b == 0).expect("its end");
    let told: Vec<usize> = (manifest..good.len()).filter(|i| good[*i] != 0).collect();
    for &at in told.iter().step_by(told.len() / 100) {
        let mut turned = good.clone();
        turned[at] ^= 0x04;
        cases.push((format!("byte {at}"), turned));
    }
    for (name, bytes) in cases {
        std::fs::write(&bad, bytes).expect("written");
        if let Err(says) = rig.restore(&bad) {
            assert!(says.contains("bad.tar: "), "{name}: {says}");
            assert_eq!(all(&rig.at("new")), before, "{name}");
        } else {
            panic!("{name}: it was taken");
        }
    }
}

#[test]
fn a_member_never_leaves_its_place() {
    for path in [
        "config/../../etc/passwd",
        "/etc/passwd",
        "state/journal.lock",
        "state/programs/deep/x.nc",
        "state/programs/",
        "state/recordings/1",
        "manifest.json",
        "config/./x",
    ] {
        let rig = Rig::new();
        let body = rig.at("body");
        std::fs::write(&body, "x").expect("written");
        let member = archive::member(path, &body).expect("a member");
        let manifest = Manifest {
            standclear: "0".into(),
            made: "now".into(),
            machine: path.into(),
            files: vec![member],
        };
        let mut all = tar::Builder::new(Vec::new());
        let head = serde_json::to_vec(&manifest).expect("JSON");
        let header = |n: usize| {
            let mut h = tar::Header::new_ustar();
            h.set_size(n as u64);
            h.set_mode(0o644);
            h
        };
        all.append_data(&mut header(head.len()), "manifest.json", head.as_slice())
            .expect("added");
        let mut h = header(1);
        // As a hostile hand would: past the checks of the writing side.
        h.as_mut_bytes()[..path.len()].copy_from_slice(path.as_bytes());
        h.set_cksum();
        all.append(&h, &b"x"[..]).expect("added");
        let file = rig.at("hostile.tar");
        std::fs::write(&file, all.into_inner().expect("whole")).expect("written");
        let says = rig.restore(&file).expect_err(path);
        assert!(says.contains("hostile.tar"), "{path}: {says}");
        let left: Vec<_> = all_names(&rig.at("new"));
        assert!(
            left.iter().all(|n| n.ends_with("journal.lock")),
            "{path}: {left:?}"
        );
    }
}

fn all_names(folder: &Path) -> Vec<String> {
    let names = all(folder).into_keys();
    names.map(|p| p.display().to_string()).collect()
}

#[test]
fn nothing_is_restored_under_a_running_panel_and_nothing_is_written_over_by_a_backup() {
    let rig = Rig::new();
    let file = rig.backup();
    let (to, _from) = tokio::sync::mpsc::unbounded_channel();
    let (mut journal, _) = journal::Journal::open(&rig.at("new/state"), to).expect("a journal");
    let says = rig.restore(&file).expect_err("it runs");
    assert!(says.contains("another panel"), "{says}");
    journal.close();
    drop(journal);
    rig.restore(&file).expect("it has ended");

    let says = make(&rig.machine("old"), &rig.at("old/state"), &file).expect_err("it is there");
    assert!(says.contains("not there yet"), "{says}");
}

#[test]
fn a_panel_may_run_while_it_is_backed_up() {
    let rig = Rig::new();
    let (to, _from) = tokio::sync::mpsc::unbounded_channel();
    let (mut journal, _) = journal::Journal::open(&rig.at("old/state"), to).expect("a journal");
    let file = rig.backup();
    journal.record(control::RecordId(2), Event::Homed, true, Time::from_ms(9));
    journal.close();
    rig.restore(&file).expect("restored");
    let events = |whose: &str| {
        let story = journal::read(&rig.at(whose).join("state"), Which::All).expect("read");
        story.events.len()
    };
    assert_eq!(events("new") + 1, events("old"));
}
