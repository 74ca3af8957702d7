//! Beacon, sounder and extraction over whole stories: what each is at which moment.

use core::time::Duration;

use units::Time;

use super::rig::Rig;
use super::table::Table;
use crate::ask::{Answer, Ask};
use crate::cause::Cause;
use crate::event::{Event, Restored};
use crate::io::{Effect, Input};
use crate::outputs::{Output, OutputLevels, OutputSettings, Tone};
use crate::view::Phase;

/// The extraction runs on for so long in these stories, s.
const AFTER_S: f64 = 3.0;

fn fitted() -> OutputSettings {
    OutputSettings {
        beacon: true,
        sounder: true,
        extraction: true,
        extraction_after_s: AFTER_S,
    }
}

fn rig() -> Rig {
    let mut rig = Rig::new();
    rig.m.settings.outputs = fitted();
    rig
}

impl Rig {
    fn outputs_now(&self) -> OutputLevels {
        self.outputs.last().map(|(_, l)| *l).unwrap_or_default()
    }

    /// The notes that began since `from`, ms after it.
    fn notes_since(&self, from: Time) -> Vec<u128> {
        let mut was = false;
        let mut notes = Vec::new();
        for (at, levels) in &self.outputs {
            if levels.sounder && !was && *at >= from {
                notes.push(at.since(from).as_millis());
            }
            was = levels.sounder;
        }
        notes
    }

    /// Runs until the levels are so; when that was.
    #[track_caller]
    fn until_levels(&mut self, limit_s: f64, what: impl Fn(OutputLevels) -> bool) -> Time {
        self.until(limit_s, |r| what(r.outputs_now()));
        self.now
    }
}

#[test]
fn the_beacon_is_lit_from_the_arming_to_the_rest_and_the_extraction_runs_on_after_the_last_arc() {
    let mut rig = rig();
    rig.until(4.0, |r| r.phase() != Phase::Starting);
    assert_eq!(rig.outputs_now(), OutputLevels::default());
    rig.make_ready();
    let armed = rig.outputs_now();
    assert!(armed.beacon && armed.extraction && !armed.sounder);
    rig.must(Ask::Start);
    let (mut arc, mut last) = (false, rig.now);
    let end = rig.now + Duration::from_secs(120);
    while rig.phase() != Phase::Finished {
        assert!(rig.now < end, "{:?}", rig.view());
        rig.tick();
        let o = rig.outputs_now();
        if rig.view().signals.arc_ok {
            (arc, last) = (true, rig.now);
        }
        assert!(
            o.extraction && (o.beacon || rig.phase() == Phase::Finished),
            "{o:?} at {}",
            rig.now
        );
    }
    assert!(arc && !rig.outputs_now().beacon);
    let off = rig.until_levels(AFTER_S + 1.0, |l| !l.extraction);
    let ran_on = off.since(last).as_secs_f64();
    assert!(
        (ran_on - AFTER_S).abs() < 0.06,
        "{ran_on} s after the last arc"
    );
}

#[test]
fn a_permit_test_lights_the_beacon() {
    let mut rig = rig();
    rig.until(5.0, |r| {
        r.view().link.alive && r.m.line.usable() && r.phase() != Phase::Starting
    });
    rig.prove_buttons();
    let before = rig.outputs.len();
    rig.test_permit();
    rig.wait(0.1);
    let lit: Vec<bool> = rig.outputs[before..]
        .iter()
        .map(|(_, l)| l.beacon)
        .collect();
    assert_eq!(lit, [true, false]);
}

#[test]
fn a_hold_that_was_asked_for_sounds_nothing_and_the_extraction_counts_from_its_last_arc() {
    let mut rig = rig();
    rig.make_ready();
    rig.must(Ask::Start);
    rig.run_to(1, 20.0);
    let pressed = rig.now;
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.wait(0.2);
    assert!(!rig.outputs_now().beacon && rig.outputs_now().extraction);
    rig.wait(AFTER_S + 0.5);
    assert!(!rig.outputs_now().extraction);
    assert_eq!(rig.notes_since(pressed), [] as [u128; 0]);
    // Gone on with, both are on again.
    rig.resume_as_offered();
    rig.wait(0.1);
    assert!(rig.outputs_now().beacon && rig.outputs_now().extraction);
}

#[test]
fn a_job_that_was_stopped_sounds_three_notes_every_30_s_until_it_is_seen() {
    let mut rig = rig();
    rig.make_ready();
    rig.must(Ask::Start);
    rig.run_to(1, 20.0);
    let before = rig.now;
    rig.table.wrong.air_low = true;
    rig.until_held();
    let first = *rig.notes_since(before).first().expect("it sounds");
    rig.wait(62.0);
    let notes: Vec<u128> = rig.notes_since(before).iter().map(|n| n - first).collect();
    let group = |at: u128| [at, at + 400, at + 800];
    let wanted: Vec<u128> = [group(0), group(30_000), group(60_000)].concat();
    assert_eq!(notes, wanted);
    let seen = rig.now;
    let causes: Vec<Cause> = rig.view().alarms.iter().map(|a| a.cause).collect();
    for cause in causes {
        rig.must(Ask::Seen { cause });
    }
    rig.wait(62.0);
    assert_eq!(rig.notes_since(seen), [] as [u128; 0], "seen silences");
    assert_eq!(rig.view().outputs.and_then(|o| o.sounds), None);
    assert!(!rig.view().alarms.is_empty(), "and clears nothing");
}

#[test]
fn danger_sounds_in_fast_groups_over_whatever_sounds_and_a_hold_seen_is_no_alarm() {
    let mut rig = rig();
    rig.make_ready();
    rig.must(Ask::Start);
    rig.run_to(1, 20.0);
    rig.table.wrong.air_low = true;
    rig.until_held();
    rig.wait(0.1);
    let before = rig.now;
    rig.table.wrong.estop = true;
    rig.wait(4.4);
    let first = *rig.notes_since(before).first().expect("it sounds");
    let notes: Vec<u128> = rig.notes_since(before).iter().map(|n| n - first).collect();
    let group = |at: u128| [at, at + 200, at + 400, at + 600, at + 800];
    assert_eq!(notes[..10], [group(0), group(2_000)].concat());
    assert_eq!(
        rig.view().outputs.and_then(|o| o.sounds),
        Some(Tone::Danger)
    );
    rig.must(Ask::Seen {
        cause: Cause::Estop,
    });
    rig.tick();
    // What is less bad was not seen yet.
    assert_eq!(
        rig.view().outputs.and_then(|o| o.sounds),
        Some(Tone::JobStopped)
    );
}

#[test]
fn a_job_that_is_done_asks_with_one_note() {
    let mut rig = rig();
    rig.make_ready();
    rig.must(Ask::Start);
    let started = rig.now;
    rig.until(120.0, |r| r.phase() == Phase::Finished);
    assert_eq!(rig.notes_since(started).len(), 1, "as it comes to rest");
    rig.wait(60.0);
    let on: Vec<Time> = rig
        .outputs
        .iter()
        .filter(|(_, l)| l.sounder)
        .map(|(t, _)| *t)
        .collect();
    let note = *on.last().expect("a note");
    let off = rig
        .outputs
        .iter()
        .find(|(t, l)| *t > note && !l.sounder)
        .expect("it ends")
        .0;
    assert_eq!(
        (rig.notes_since(started).len(), off.since(note).as_millis()),
        (1, 300)
    );
}

#[test]
fn the_lamp_test_tries_all_of_them_at_rest_alone_and_ends_by_itself() {
    let mut rig = rig();
    rig.make_ready();
    rig.must(Ask::LampTest);
    assert_eq!(rig.ask(Ask::LampTest), Answer::AlreadySo);
    let begun = rig.now;
    rig.tick();
    let o = rig.outputs_now();
    assert!(o.beacon && o.extraction && o.sounder);
    rig.wait(5.1);
    assert_eq!(rig.notes_since(begun).len(), 1 + 3 + 5);
    assert_eq!(rig.view().outputs.map(|o| o.testing), Some(false));
    rig.must(Ask::Start);
    rig.wait(0.5);
    let refused = rig.ask(Ask::LampTest);
    assert!(
        matches!(&refused, Answer::Refused { reason, .. } if reason == "running"),
        "{refused:?}"
    );
}

#[test]
fn a_start_or_an_alarm_ends_the_lamp_test_at_once() {
    let mut rig = rig();
    rig.make_ready();
    rig.must(Ask::LampTest);
    rig.wait(0.5);
    rig.must(Ask::Start);
    rig.tick();
    assert_eq!(rig.view().outputs.map(|o| o.testing), Some(false));
    rig.run_to(1, 5.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.wait(0.5);
    rig.must(Ask::LampTest);
    rig.table.wrong.estop = true;
    rig.wait(0.1);
    let o = rig.view().outputs.expect("fitted");
    assert!(!o.testing && o.sounds == Some(Tone::Danger), "{o:?}");
    let refused = rig.ask(Ask::LampTest);
    assert!(
        matches!(&refused, Answer::Refused { reason, .. } if reason == "not-seen"),
        "{refused:?}"
    );
}

#[test]
fn a_panel_that_starts_over_an_open_run_airs_for_the_set_time_and_sounds_for_it() {
    let mut rig = rig();
    rig.make_ready();
    rig.must(Ask::Start);
    rig.run_to(1, 20.0);
    let restored = Restored::from_events(rig.events.iter().cloned());
    let mut again = Rig::with(restored, Table::new());
    again.m.settings.outputs = fitted();
    let begun = again.now;
    again.wait(0.5);
    let o = again.outputs_now();
    assert!(o.extraction && !o.beacon);
    let off = again.until_levels(AFTER_S + 1.0, |l| !l.extraction);
    let ran = off.since(begun).as_secs_f64();
    assert!((ran - AFTER_S).abs() < 0.06, "{ran} s");
    assert_eq!(again.notes_since(begun).len(), 3, "a run was interrupted");
}

#[test]
fn an_output_that_cannot_be_driven_is_told_once_and_stops_nothing() {
    let mut rig = rig();
    rig.make_ready();
    rig.must(Ask::Start);
    rig.run_to(1, 10.0);
    let failed = |why: &str| Input::Output {
        output: Output::Extraction,
        failed: Some(why.into()),
    };
    for _ in 0..3 {
        rig.step(failed("it has gone"));
    }
    assert_eq!(
        rig.view().outputs.map(|o| o.failing),
        Some(vec![Output::Extraction])
    );
    rig.step(Input::Output {
        output: Output::Extraction,
        failed: None,
    });
    rig.until(120.0, |r| r.phase() == Phase::Finished);
    assert!(rig.view().alarms.is_empty() && rig.view().holds.is_empty());
    let told = |name: &str| rig.events.iter().filter(|e| e.name() == name).count();
    assert_eq!((told("output-failed"), told("output-works")), (1, 1));
}

#[test]
fn a_table_that_has_none_hears_nothing_of_them() {
    let mut rig = Rig::new();
    rig.make_ready();
    rig.must(Ask::Start);
    rig.run_to(1, 10.0);
    rig.table.wrong.estop = true;
    rig.until_held();
    assert!(rig.outputs.is_empty() && rig.view().outputs.is_none());
    let refused = rig.ask(Ask::LampTest);
    assert!(
        matches!(&refused, Answer::Refused { reason, .. } if reason == "no-output"),
        "{refused:?}"
    );
    assert!(!rig.events.contains(&Event::LampsTested));
}

#[test]
fn what_is_not_fitted_stays_off_whatever_happens() {
    let mut rig = Rig::new();
    rig.m.settings.outputs = OutputSettings {
        beacon: true,
        ..OutputSettings::default()
    };
    rig.make_ready();
    rig.must(Ask::Start);
    rig.run_to(1, 10.0);
    rig.table.wrong.estop = true;
    rig.until_held();
    let beacon = OutputLevels {
        beacon: true,
        ..OutputLevels::default()
    };
    assert!(rig.outputs.iter().any(|(_, l)| *l == beacon));
    assert!(
        rig.outputs
            .iter()
            .all(|(_, l)| *l == beacon || *l == OutputLevels::default())
    );
    // In the step that stops, what tells comes after what stops.
    let effects = rig.m.step(rig.now, Input::Tick);
    let at = effects
        .0
        .iter()
        .position(|e| matches!(e, Effect::Outputs { .. }));
    assert!(at.is_none_or(|at| {
        effects.0[at + 1..]
            .iter()
            .all(|e| matches!(e, Effect::Publish))
    }));
}
