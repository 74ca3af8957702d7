//! The cases of one boot, in their order, and what must be true after each.

use std::time::Duration;

use rustix::process::Signal;
use simulator::harness::{FaultKind, FaultSpec};
use units::Time;

use crate::judge::*;
use crate::panel::Panel;
use crate::tape::Deed;
use crate::world::say;
use crate::{check, set_up, wires};

type Case = fn(&mut Panel) -> Result<(), String>;

const CASES: [(&str, Case); 10] = [
    ("check-names-each-thing-that-is-wrong", check::each),
    ("a-part-is-cut-whole", whole),
    ("estop-for-an-instant", estop_for_an_instant),
    ("arc-lost-then-serial-unplugged", arc_and_serial),
    ("killed-with-the-arc-on", killed),
    ("stopped-and-continued-with-the-arc-on", stopped),
    ("terminated-with-the-arc-on", terminated),
    ("wires-taken-off-at-rest", wires::at_rest),
    ("wires-taken-off-with-the-arc-on", wires::with_the_arc_on),
    // Last: it leaves a latch.
    ("wires-taken-off-at-a-start", wires::at_a_start),
];

/// Runs the cases; gives how many failed.
pub fn all(chip: &str, wanted: &[String]) -> Result<usize, String> {
    let mut panel = set_up::fresh(chip, false)?;
    panel.start()?;
    let mut failed = 0;
    for (name, case) in CASES {
        if !wanted.is_empty() && !wanted.iter().any(|w| w == name) {
            continue;
        }
        // A case that panics has failed; those after it are not to be believed.
        if !run(name, case, &mut panel) {
            failed += 1;
            break;
        }
    }
    let latest = panel.world.lock().latest;
    say(&format!(
        "the table's step came at most {:.3} ms late",
        latest.as_secs_f64() * 1e3
    ));
    Ok(failed)
}

/// Runs one case and tells how it went.
pub fn run(name: &str, case: Case, panel: &mut Panel) -> bool {
    let from = panel.now();
    let went = case(panel);
    match &went {
        Ok(()) => say(&format!(
            "CASE {name} passed in {:.1} s",
            panel.now().since(from).as_secs_f64()
        )),
        Err(says) => say(&format!("CASE {name} FAILED {says}")),
    }
    went.is_ok()
}

fn whole(panel: &mut Panel) -> Result<(), String> {
    panel.load(true)?;
    to_the_end(panel)?;
    let holds = panel.view()?.holds;
    must(holds.is_empty(), || format!("it was held: {holds:?}"))?;
    must(told(panel, 0, "run-ended")? == 1, || {
        "no run-ended in the journal".into()
    })?;
    let world = panel.world.lock();
    let (Some(&(lit, _)), Some(&(out, _))) = (world.arcs.iter().rev().nth(1), world.arcs.last())
    else {
        return Err("no arc was seen".into());
    };
    let rises: Vec<Time> = world
        .permits
        .iter()
        .filter(|(at, high)| *high && *at > lit && *at < out)
        .map(|(at, _)| *at)
        .collect();
    let gaps: Vec<f64> = rises.windows(2).map(|w| ms(w[1].since(w[0]))).collect();
    let (least, most) = gaps
        .iter()
        .fold((f64::MAX, 0.0_f64), |(a, b), g| (a.min(*g), b.max(*g)));
    say(&format!(
        "  {} pulses, {least:.2} to {most:.2} ms apart",
        rises.len()
    ));
    must(gaps.len() > 100 && least > 8.5 && most < 11.5, || {
        "the permit is no square wave of 100 Hz".into()
    })?;
    must(!world.permit_level(), || {
        "the permit's line is high at the end".into()
    })
}

fn estop_for_an_instant(panel: &mut Panel) -> Result<(), String> {
    let since = newest(panel)?;
    panel.load(true)?;
    panel.operate("the outline", RUN_S, in_the_outline)?;
    let at = panel.world.lock().open_for_an_instant("estop");
    goes_dark(panel, at, PULSE_ENDS, Line::Low)?;
    let view = panel.view()?;
    must(
        view.alarms.iter().any(|a| a.cause == control::Cause::Estop),
        || format!("no alarm of the emergency stop: {:?}", view.alarms),
    )?;
    must(view.doubtful, || "the place is not in doubt".into())?;
    to_the_end(panel)?;
    must(told(panel, since, "run-ended")? == 1, || {
        "no run-ended".into()
    })
}

fn arc_and_serial(panel: &mut Panel) -> Result<(), String> {
    let since = newest(panel)?;
    panel.load(true)?;
    {
        let mut world = panel.world.lock();
        for (kind, mm) in [(FaultKind::ArcLost, 30.0), (FaultKind::LinkCut, 90.0)] {
            let fault = FaultSpec {
                kind,
                cut: 2,
                mm: Some(mm),
            };
            world.tell(Deed::Inject(fault))?;
        }
    }
    to_the_end(panel)?;
    let view = panel.view()?;
    let causes: Vec<_> = view.holds.iter().map(|h| h.cause).collect();
    must(
        causes.contains(&control::Cause::ArcLost) && causes.contains(&control::Cause::LinkCut),
        || format!("held by {causes:?}"),
    )?;
    must(told(panel, since, "link-lost")? >= 1, || {
        "no link-lost in the journal".into()
    })
}

fn killed(panel: &mut Panel) -> Result<(), String> {
    panel.load(true)?;
    panel.operate("the outline", RUN_S, in_the_outline)?;
    let at = panel.signal(Signal::KILL)?;
    // The kernel gives the line back: the simulated chip pulls it low then.
    goes_dark(panel, at, PULSE_ENDS, Line::GivenBack)?;
    panel.ended(5)?;
    again(panel)
}

fn stopped(panel: &mut Panel) -> Result<(), String> {
    let since = newest(panel)?;
    panel.load(true)?;
    panel.operate("the outline", RUN_S, in_the_outline)?;
    let at = panel.signal(Signal::STOP)?;
    // A process that stands still drives nothing: the line stays as it is, perhaps high.
    goes_dark(panel, at, PULSE_ENDS, Line::AsItWas)?;
    let awake = panel.signal(Signal::CONT)?;
    goes_dark(panel, awake, PULSE_ENDS, Line::Low)?;
    must(told(panel, since, "run-ended")? == 0, || {
        "the run has ended".into()
    })?;
    to_the_end(panel)
}

fn terminated(panel: &mut Panel) -> Result<(), String> {
    panel.load(true)?;
    panel.operate("the outline", RUN_S, in_the_outline)?;
    let at = panel.signal(Signal::TERM)?;
    let code = panel.ended(6)?;
    must(code == Some(0), || format!("it ended with {code:?}"))?;
    // The signal comes to the machine's task, which tells the guard.
    goes_dark(panel, at, Duration::from_millis(60), Line::Low)?;
    again(panel)
}

/// Another start of the service on the same state: it knows of the interrupted run, and the rest is cut.
fn again(panel: &mut Panel) -> Result<(), String> {
    panel.start()?;
    panel.load(false)?;
    let view = panel.view()?;
    let known = panel.journal()?.iter().any(|e| e.name == "run-interrupted");
    must(known, || {
        format!(
            "the journal does not know of the interrupted run: {:?}",
            view.phase
        )
    })?;
    to_the_end(panel)
}
