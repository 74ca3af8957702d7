//! A panel that is killed again and again at moments of chance, on a table that outlives it.
//!
//! A few kills each time the tests run; more by hand:
//!
//! ```text
//! STANDCLEAR_KILLS=100 STANDCLEAR_SEED=7 cargo test --release --test scenarios kills -- --nocapture
//! ```

use std::path::Path;

use serde_json::Value;
use simulator::harness::{Hands, Truth};

use crate::chance::Chance;
use crate::killed::{OwnTable, Reaped, panel, start, until};
use crate::rig::{Ran, assert_whole, standclear};

/// Kills in an ordinary run of the tests.
const FEW: u64 = 6;
/// Kills of one job at most; then it may come to its end.
const OF_ONE_JOB: u64 = 5;
/// The relay drops out within this of the last pulse, and the arc within this of the relay, s.
const OUT_WITHIN_S: f64 = 0.100 + 0.020;

fn variable(name: &str, default: u64) -> u64 {
    let set = std::env::var(name);
    set.map_or(default, |n| n.parse().expect("a whole number"))
}

#[test]
fn kills_at_moments_of_chance_lose_no_record_and_no_piece_of_the_path() {
    let seed = variable("STANDCLEAR_SEED", 1);
    let wanted = variable("STANDCLEAR_KILLS", FEW);
    let mut chance = Chance::of(seed, 0);
    let mut kills = 0;
    let mut jobs = 0;
    while kills < wanted {
        jobs += 1;
        let most = OF_ONE_JOB.min(wanted - kills);
        let done = one_job(&mut chance, most);
        kills += done;
        println!("seed {seed}: {kills} kills in {jobs} jobs");
        assert!(jobs < 10 + wanted, "too few of the moments fall into a run");
    }
}

/// Cuts one job with so many kills at most; gives how many there were.
fn one_job(chance: &mut Chance, most: u64) -> u64 {
    let mut own = OwnTable::at_speed("20");
    let (dir, state, hands) = (&own.dir, &own.state, &mut own.hands);
    let mut kills = 0;
    while kills < most {
        let from = hands.truth().expect("the table answers").now_s;
        let moment = from + 1.0 + chance.within(0.0, 24.0);
        let mut running = start(&mut panel(dir, state));
        let ended = |p: &mut Reaped| p.0.try_wait().expect("it can be asked").is_some();
        let alive = loop {
            let truth = hands.truth().expect("the table answers");
            if ended(&mut running) {
                break false;
            }
            if truth.now_s >= moment {
                break true;
            }
            std::thread::yield_now();
        };
        if alive {
            running.0.kill().expect("SIGKILL");
            running.0.wait().expect("reaped");
            kills += 1;
            stays_dark(hands);
        }
        if run_has_ended(state) {
            // The sheet is cut: another start would be another job on the same sheet.
            let truth = hands.truth().expect("the table answers");
            assert!(truth.uncut_mm < 0.1, "{truth:?}");
            assert_eq!(truth.violations, Vec::<String>::new());
            nothing_acted_on_is_lost(state, &truth);
            return kills;
        }
        assert!(alive, "a panel has ended by itself in a run");
    }
    let last = Ran::of(&mut panel(dir, state));
    let told = assert_whole(&last);
    let truth = hands.truth().expect("the table answers");
    nothing_acted_on_is_lost(state, &truth);
    let replayed = Ran::of(standclear().args(["replay", "last", "--state"]).arg(state));
    assert_eq!(replayed.code, Some(0), "{}\n{told:#}", replayed.stderr);
    kills
}

fn run_has_ended(state: &Path) -> bool {
    let log = Ran::of(
        standclear()
            .args(["log", "--format", "json", "--state"])
            .arg(state),
    );
    let log = log.json();
    let events = log["events"].as_array().expect("events");
    events.iter().any(|e| e["name"] == "run-ended")
}

/// With the panel dead there is no arc once the relay has had its time.
fn stays_dark(hands: &mut Hands) {
    let dead = hands.truth().expect("the table answers");
    let dark = until(hands, "past the relay's time", |t| {
        t.now_s > dead.now_s + OUT_WITHIN_S
    });
    let later = until(hands, "half a second later", |t| t.now_s > dark.now_s + 0.5);
    assert_eq!(later.arc_on_s, dark.arc_on_s, "{dead:?} {dark:?} {later:?}");
    assert_eq!(later.violations, Vec::<String>::new());
}

/// What the machine had been told to be on the disk is there, and every fire that pierced was
/// announced in the journal before.
fn nothing_acted_on_is_lost(state: &Path, truth: &Truth) {
    let log = Ran::of(
        standclear()
            .args(["log", "--format", "json", "--state"])
            .arg(state),
    );
    let log = log.json();
    let events = log["events"].as_array().expect("events");
    let announced = events.iter().filter(|e| e["name"] == "cut-started").count();
    assert!(announced >= truth.pierces as usize, "{announced} {truth:?}");
    assert_eq!(log["gaps"], Value::Array(vec![]));
    for begun in log["starts"].as_array().expect("starts") {
        let number = begun["start"].as_i64().expect("a number");
        let rows: Vec<&Value> = events
            .iter()
            .filter(|e| e["start"] == begun["start"])
            .map(|e| &e["fields"])
            .collect();
        let (records, acked) = recorded(&state.join(format!("recordings/start-{number}.txt.gz")));
        let acted_on: Vec<&Value> = records
            .iter()
            .filter(|(id, _)| *id <= acked)
            .map(|(_, event)| event)
            .collect();
        assert!(rows.len() >= acted_on.len(), "start {number} lost records");
        assert_eq!(rows[..acted_on.len()], acted_on, "start {number}");
    }
}

/// The records of a recording by their numbers, and the last that the machine was told to be kept.
fn recorded(file: &Path) -> (Vec<(u64, Value)>, u64) {
    let text = standclear::recording::text(file).expect("a recording");
    let (mut records, mut acked) = (Vec::new(), 0);
    // A last line that breaks off was being written when the panel was killed.
    let whole = text.rsplit_once('\n').map_or("", |(whole, _)| whole);
    for line in whole.lines().skip(2) {
        let line: Value = serde_json::from_str(line).expect("a line of a recording");
        if let Some(id) = line["in"][1]["durable"].as_u64() {
            acked = acked.max(id);
        }
        for effect in line["out"].as_array().into_iter().flatten() {
            if let Some(record) = effect["record"].as_array() {
                let id = record[0].as_u64().expect("a number");
                records.push((id, record[1].clone()));
            }
        }
    }
    (records, acked)
}
