//! The cases, and what must be true after each.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use control::commissioning::Step;
use control::view::{ArcView, Phase, View};
use control::{Event, RecordId};
use rustix::process::Signal;
use simulator::Table;
use simulator::harness::{FaultKind, FaultSpec, Truth};
use standclear::config::Config;
use standclear::journal::Journal;
use standclear::practice::table::table_settings;
use units::Time;

use crate::panel::Panel;
use crate::world::{Shared, say};

/// The guard's way from an edge or a lost panel to its last pulse: its half period and one look at the
/// line.
const PULSE_ENDS: Duration = Duration::from_millis(6);
/// The relay opens within this of the last pulse, and the arc goes out within 20 ms of that.
const DARK: Duration = Duration::from_millis(120);
/// The kernel has taken a killed process apart by then (25 ms were seen: its memory is locked).
const GIVEN_BACK: Duration = Duration::from_millis(100);
/// A run of the piece, with a stop in it, s of the board's time.
const RUN_S: u64 = 150;

type Case = fn(&mut Panel) -> Result<(), String>;

const CASES: [(&str, Case); 8] = [
    ("a-part-is-cut-whole", whole),
    ("estop-for-an-instant", estop_for_an_instant),
    ("arc-lost-then-serial-unplugged", arc_and_serial),
    ("killed-with-the-arc-on", killed),
    ("stopped-and-continued-with-the-arc-on", stopped),
    ("terminated-with-the-arc-on", terminated),
    ("wires-taken-off-at-rest", wires_at_rest),
    ("wires-taken-off-at-a-start", wires_at_a_start),
];

/// The cases begin on a table that is on record as commissioned: nobody walks round this one.
fn on_record(state: &Path, covered: &BTreeMap<Step, String>) -> Result<(), String> {
    let (reports, _from_journal) = tokio::sync::mpsc::unbounded_channel();
    let (mut journal, _) = Journal::open(state, reports).map_err(|e| e.to_string())?;
    for step in Step::guarding() {
        let event = Event::Commissioned {
            step,
            passed: true,
            measured: "Not measured: written down for the cases of the emulated board.".into(),
            covered: covered.get(&step).cloned().unwrap_or_default(),
            simulated: false,
        };
        journal.record(RecordId(u64::from(step.number())), event, true, Time::ZERO);
    }
    journal.close();
    Ok(())
}

/// Runs the cases; gives how many failed.
pub fn all(chip: &str, wanted: &[String]) -> Result<usize, String> {
    let file = Path::new("/config/machines/board.toml");
    let text = std::fs::read_to_string("/config/machines/example-board.toml")
        .map_err(|e| e.to_string())?
        // The simulated chip's own resistors are what the table drives the lines by.
        .replace("pull = \"up\"", "pull = \"outside-up\"")
        .replace("/dev/standclear-controller", "/tmp/wire");
    std::fs::write(file, text).map_err(|e| e.to_string())?;
    let config = Config::load(file).map_err(|e| e.to_string())?;
    let table = Table::new(table_settings(&config, 1, false));
    let world = Shared::start(table, &config, chip, Path::new("/tmp/wire"))
        .map_err(|e| format!("the table's wires: {e}"))?;
    let mut panel = Panel::new(world, file, config, Path::new("/tmp/state"))?;
    on_record(&panel.state, &panel.config.commissioning.covered)?;
    panel.start()?;
    let mut failed = 0;
    for (name, case) in CASES {
        if !wanted.is_empty() && !wanted.iter().any(|w| w == name) {
            continue;
        }
        let from = panel.now();
        // A case that panics has failed; those after it are not to be believed.
        match case(&mut panel) {
            Ok(()) => say(&format!(
                "CASE {name} passed in {:.1} s",
                panel.now().since(from).as_secs_f64()
            )),
            Err(says) => {
                failed += 1;
                say(&format!("CASE {name} FAILED {says}"));
                break;
            }
        }
    }
    let latest = panel.world.lock().latest;
    say(&format!(
        "the table's step came at most {:.3} ms late",
        latest.as_secs_f64() * 1e3
    ));
    Ok(failed)
}

fn must(holds: bool, says: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(says()) }
}

fn ms(span: Duration) -> f64 {
    span.as_secs_f64() * 1e3
}

/// Everything is cut, by the table's own ledger, and nothing was done to it that is a wrong.
fn cut_whole(truth: &Truth) -> Result<(), String> {
    must(
        truth.uncut_mm < 0.05 && truth.off_path_mm <= 0.05 && truth.violations.is_empty(),
        || format!("the ledger: {truth:?}"),
    )
}

fn finished(view: &View, _: &Panel) -> bool {
    view.phase == Phase::Finished
}

/// Well within the second cut.
fn in_the_outline(view: &View, panel: &Panel) -> bool {
    view.torch.arc == ArcView::On
        && view.cut == Some(2)
        && view.station_mm.is_some_and(|mm| mm > 25.0)
        && panel.world.lock().table.burns()
}

fn to_the_end(panel: &mut Panel) -> Result<(), String> {
    panel.operate("the run's end", RUN_S, finished)?;
    let truth = panel.world.lock().table.truth();
    cut_whole(&truth)
}

/// How often an event is in the journal since an entry.
fn told(panel: &Panel, since: i64, name: &str) -> Result<usize, String> {
    let all = panel.journal()?;
    Ok(all
        .iter()
        .filter(|e| e.seq > since && e.name == name)
        .count())
}

fn newest(panel: &Panel) -> Result<i64, String> {
    Ok(panel.journal()?.last().map_or(0, |e| e.seq))
}

/// How the permit's line must be at the end.
#[derive(Clone, Copy, PartialEq)]
enum Line {
    /// Low, and put there by the guard: its fall is no later than a pulse may be.
    Low,
    /// Low, but if it stood high it fell only when the kernel took the process apart and gave the line
    /// back. That is no pulse.
    GivenBack,
    /// As it was: a process that stands still drives nothing.
    AsItWas,
}

/// No pulse and no arc after a moment, for a good second: the last rise is within `pulse`, the arc goes out
/// within the relay's time of the last edge.
fn goes_dark(panel: &mut Panel, from: Time, pulse: Duration, line: Line) -> Result<(), String> {
    let until = from + Duration::from_millis(1_200);
    panel.wait("a second to pass", 3, |p| p.now() > until)?;
    let world = panel.world.lock();
    let last = |level| world.last_permit_after(from, level).unwrap_or(from);
    let (rise, fall) = (last(true), last(false));
    let dark = world.arc_after(from);
    say(&format!(
        "  last rise {:.2} ms after, last fall {:.2} ms after, arc out {:.2} ms after",
        ms(rise.since(from)),
        ms(fall.since(from)),
        dark.map_or(0.0, |at| ms(at.since(from)))
    ));
    must(rise <= from + pulse, || {
        format!("the permit pulsed {:.2} ms after", ms(rise.since(from)))
    })?;
    let falls = match line {
        Line::Low | Line::AsItWas => pulse,
        Line::GivenBack => GIVEN_BACK,
    };
    must(fall <= from + falls, || {
        format!("the permit fell {:.2} ms after", ms(fall.since(from)))
    })?;
    must(dark.is_none_or(|at| at <= rise.max(fall) + DARK), || {
        format!("the arc burnt on: {dark:?} after {rise} and {fall}")
    })?;
    must(line == Line::AsItWas || !world.permit_level(), || {
        "the permit's line is high".into()
    })
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
            world.table.inject(fault).map_err(|e| e.to_string())?;
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

/// At rest: each wire that reads as the safe state bars the start with its own words.
fn wires_at_rest(panel: &mut Panel) -> Result<(), String> {
    panel.load(true)?;
    panel.operate("START", RUN_S, |v, _| v.phase == Phase::Ready)?;
    for (signal, what) in [
        ("estop", "estop"),
        ("torch_seated", "torch-unseated"),
        ("air_ok", "air-good"),
    ] {
        panel.world.lock().off.insert(signal.into(), ());
        let told = |v: &View| {
            let alarm = v.alarms.iter().any(|a| named(&a.cause) == what);
            let check =
                |c: &control::view::CheckView| named(&c.check) == what && c.holds == Some(false);
            (alarm || v.checks.iter().any(check)) && v.phase != Phase::Ready
        };
        panel.wait(&format!("the loose wire of {signal}"), 3, |p| {
            p.view().is_ok_and(|v| told(&v))
        })?;
        panel.world.lock().off.remove(signal);
        panel.operate("START again", RUN_S, |v, _| v.phase == Phase::Ready)?;
    }
    Ok(())
}

/// The wire of the panel's own branch of the contact is found by its proof test alone: the controller
/// finds the sheet by its own branch.
///
/// A loose wire that tells nothing at rest stops the first start, before or after its fire, by a cause of
/// its own.
fn wires_at_a_start(panel: &mut Panel) -> Result<(), String> {
    for (signal, what) in [
        ("sense_isolated", "sense-on"),
        ("fire_on", "overdue"),
        ("arc_ok", "no-arc"),
        // Last: it is cleared by a permit test alone.
        ("permit_closed", "permit-stuck"),
    ] {
        panel.load(true)?;
        panel.operate("START", RUN_S, |v, _| v.phase == Phase::Ready)?;
        panel.world.lock().off.insert(signal.into(), ());
        let view = panel.operate("a stop", 60, |v, _| {
            v.hold.is_some() || v.phase == Phase::Finished
        });
        panel.world.lock().off.remove(signal);
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

/// The name of a cause or check as it is on the wire.
fn named(what: &impl serde::Serialize) -> String {
    serde_json::to_value(what)
        .ok()
        .and_then(|v| v.as_str().map(str::to_owned))
        .unwrap_or_default()
}
