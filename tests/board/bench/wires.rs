//! Wires that come off: at rest, at a start, in mid-cut.

use std::time::Duration;

use control::view::{Phase, View};

use crate::judge::*;
use crate::panel::Panel;
use crate::world::say;

/// At rest: each wire that reads as the safe state bars the start with its own words.
pub fn at_rest(panel: &mut Panel) -> Result<(), String> {
    panel.load(true)?;
    panel.operate("START", RUN_S, |v, _| v.phase == Phase::Ready)?;
    for (signal, what) in [
        ("estop", "estop"),
        ("torch_seated", "torch-unseated"),
        ("gate", "gate-open"),
        ("air_ok", "air-good"),
    ] {
        panel.take_off(signal);
        let told = |v: &View| {
            let alarm = v.alarms.iter().any(|a| named(&a.cause) == what);
            let check =
                |c: &control::view::CheckView| named(&c.check) == what && c.holds == Some(false);
            (alarm || v.checks.iter().any(check)) && v.phase != Phase::Ready
        };
        panel.wait(&format!("the loose wire of {signal}"), 3, |p| {
            p.view().is_ok_and(|v| told(&v))
        })?;
        panel.put_on(signal);
        panel.operate("START again", RUN_S, |v, _| v.phase == Phase::Ready)?;
    }
    Ok(())
}

/// With the arc on: each wire that reads as the safe state, or belies the torch, stops the cut by its own words
/// with no pulse more, and the rest is cut once it is back on. Wires of a contact that is open while cutting
/// (sheet contact, hold button) show nothing here: a proof test finds them, as `standclear check` tells.
///
/// The third of each: the guard bears that state for so long before it is a fault, ms (the debounce of the machine
/// file and 20 ms in which the relay of the sensing circuit may settle; `arc_lost_ms`; 150 ms for a fire that drops).
pub fn with_the_arc_on(panel: &mut Panel) -> Result<(), String> {
    panel.load(true)?;
    let since = newest(panel)?;
    for (k, (signal, what, borne_ms)) in [
        ("estop", "estop", 0),
        ("gate", "gate-open", 0),
        ("torch_seated", "torch-unseated", 0),
        ("sense_isolated", "sense-on", 25),
        ("arc_ok", "arc-lost", 30),
        ("fire_on", "fire-dropped", 150),
    ]
    .into_iter()
    .enumerate()
    {
        // Each some way further on than the one before.
        let from_mm = 25.0 + 18.0 * k as f64;
        panel.operate("a place further on", RUN_S, |v, p| {
            in_the_outline(v, p) && v.station_mm.is_some_and(|mm| mm > from_mm)
        })?;
        let at = panel.take_off(signal);
        goes_dark(
            panel,
            at,
            PULSE_ENDS + Duration::from_millis(borne_ms),
            Line::Low,
        )?;
        let view = panel.view()?;
        let cause = view.hold.as_ref().map(|h| named(&h.cause));
        say(&format!("  {signal}: {cause:?}"));
        must(cause.as_deref() == Some(what), || {
            format!("the loose wire of {signal} stopped the cut by {cause:?}")
        })?;
        panel.put_on(signal);
    }
    to_the_end(panel)?;
    must(told(panel, since, "run-ended")? == 1, || {
        "no run-ended in the journal".into()
    })
}

/// The wire of the panel's own branch of the contact is found by its proof test alone: the controller
/// finds the sheet by its own branch.
///
/// A loose wire that tells nothing at rest stops the first start, before or after its fire, by a cause of
/// its own.
pub fn at_a_start(panel: &mut Panel) -> Result<(), String> {
    for (signal, what) in [
        ("sense_isolated", "sense-on"),
        ("fire_on", "overdue"),
        ("arc_ok", "no-arc"),
        // Last: it is cleared by a permit test alone.
        ("permit_closed", "permit-stuck"),
    ] {
        panel.load(true)?;
        panel.operate("START", RUN_S, |v, _| v.phase == Phase::Ready)?;
        panel.take_off(signal);
        let view = panel.operate("a stop", 60, |v, _| {
            v.hold.is_some() || v.phase == Phase::Finished
        });
        panel.put_on(signal);
        let cause = view?.hold.map(|h| named(&h.cause));
        say(&format!("  {signal}: {cause:?}"));
        must(cause.as_deref() == Some(what), || {
            format!("the loose wire of {signal} stopped the start by {cause:?}")
        })?;
        if signal != "permit_closed" {
            panel.end_job()?;
        }
    }
    Ok(())
}
