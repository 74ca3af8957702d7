//! What a screen is shown at a stop of each cause, from the stop to the way on, as the machine itself
//! shows it: the browser tests lay every one of these views on each glass. The views stand in
//! `tests/fixtures/messages/stops.snap`, one a line, each with what differs from the line before.

use core::fmt::Write as _;

use serde_json::{Map, Value, to_value};
use units::Time;

use super::causes::raise;
use super::rig::{Rig, dialect, settings};
use super::stories::running;
use crate::ask::Ask;
use crate::cause::Cause;
use crate::event::Restored;
use crate::io::Input;
use crate::machine::Machine;
use crate::view::{PartsView, Phase, View};

/// A view by name.
pub(super) type Shown = (String, Map<String, Value>);

/// The view as it goes over the wire. Its generation is no part of what is looked at, and grows with
/// every change of the machine.
pub(super) fn fields(view: &View) -> Map<String, Value> {
    let mut view = view.clone();
    view.generation = 1;
    // Nothing else of them is shown at a stop, and they would be half of the file.
    if !matches!(view.phase, Phase::Idle | Phase::Ready) {
        view.checks.retain(|c| {
            use crate::ask::CheckId;
            let shown = [
                CheckId::PermitTested,
                CheckId::SourceOff,
                CheckId::RelaySeen,
            ];
            shown.contains(&c.check)
        });
        view.parts = PartsView::default();
    }
    match to_value(view) {
        Ok(Value::Object(fields)) => fields,
        other => panic!("a view is an object: {other:?}"),
    }
}

/// A stop of this cause, standing.
fn stop_of(cause: Cause) -> Rig {
    if !matches!(cause, Cause::Hold | Cause::HeightLimit) {
        return raise(cause);
    }
    let mut rig = running();
    rig.run_to(2, 40.0);
    if cause == Cause::Hold {
        rig.must(Ask::Hold { press: None });
    } else {
        // Nothing on this table raises it.
        let now = rig.now;
        rig.m
            .stop_why(cause, now, "The height stands at its limit.".into());
        rig.tick();
    }
    rig.until_held();
    rig.wait(0.2);
    rig
}

/// The same inputs again, up to the first view of the stop that ends with them.
fn while_it_stops(log: &[(Time, Input)]) -> Option<View> {
    let mut m = Machine::new(settings(), dialect(), Restored::default());
    let mut last = None;
    let mut was = false;
    for (at, input) in log {
        let _ = m.step(*at, input.clone());
        let stops = m.stopping();
        if stops && !was {
            last = Some(m.view(*at));
        }
        was = stops;
    }
    last
}

/// From the stop to the way on, one act of the operator at a time.
fn story(cause: Cause) -> Vec<Shown> {
    let mut rig = stop_of(cause);
    let mut all = Vec::new();
    let mut note = |state: &str, view: &View| all.push((format!("{cause}, {state}"), fields(view)));
    if let Some(view) = while_it_stops(&rig.log) {
        note("stopping", &view);
    }
    note("new", &rig.view());
    if cause == Cause::LinkCut {
        rig.unplug();
        rig.wait(4.0);
        note("still unplugged", &rig.view());
        rig.table.wrong.unplugged = false;
        rig.wait(2.0);
    }
    rig.read();
    note("seen", &rig.view());
    rig.table.wrong = super::table::Wrong::default();
    rig.bend = None;
    rig.disk_dead = false;
    rig.step(Input::Screen { there: true });
    rig.wait(6.0);
    rig.read();
    note("set right", &rig.view());
    for alarm in rig.view().alarms {
        let _ = rig.ask(Ask::Clear { cause: alarm.cause });
        rig.wait(0.2);
    }
    note("cleared", &rig.view());
    if rig.view().doubtful && rig.ask(Ask::Home) == crate::ask::Answer::Accepted {
        rig.until(30.0, |r| r.phase() != Phase::Homing);
        note("referenced", &rig.view());
    }
    all
}

/// As much as can go wrong at once.
fn all_at_once() -> Vec<Shown> {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.table.wrong.estop = true;
    rig.table.wrong.gate_open = true;
    rig.table.wrong.arc_stuck = true;
    rig.bend = Some(|s| {
        s.torch_seated = Some(false);
        s.air_ok = Some(false);
    });
    rig.until_held();
    rig.wait(3.0);
    let mut all = vec![("all at once, new".to_string(), fields(&rig.view()))];
    rig.unplug();
    rig.wait(4.0);
    rig.read();
    all.push(("all at once, seen".to_string(), fields(&rig.view())));
    all
}

#[test]
fn the_views_of_every_stop_are_as_the_browser_tests_lay_them_on_the_glass() {
    let stories = Cause::ALL.into_iter().flat_map(story);
    kept("stops", stories.chain(all_at_once()));
}

/// They are as they stand in the file of this name: one a line, each with what differs from the one before.
pub(super) fn kept(file: &str, all: impl Iterator<Item = Shown>) {
    let mut before = Map::new();
    let mut page = String::new();
    for (name, fields) in all {
        let set: Map<String, Value> = fields
            .iter()
            .filter(|(field, value)| before.get(*field) != Some(*value))
            .map(|(field, value)| (field.clone(), value.clone()))
            .collect();
        let name = Value::String(name);
        let _ = writeln!(page, "[{name},{}]", Value::Object(set));
        before = fields;
    }
    insta::with_settings!({
        snapshot_path => "../../../../tests/fixtures/messages",
        prepend_module_to_snapshot => false,
        omit_expression => true,
    }, {
        insta::assert_snapshot!(file, page);
    });
}
