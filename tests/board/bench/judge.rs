//! What a case judges by: the journal, the table's ledger and the levels at the lines.

use std::time::Duration;

use control::view::{ArcView, Phase, View};
use simulator::harness::Truth;
use units::Time;

use crate::panel::Panel;
use crate::world::say;

/// The guard's way from an edge or a lost panel to its last pulse: its half period and one look at the
/// line.
pub const PULSE_ENDS: Duration = Duration::from_millis(6);
/// The relay opens within this of the last pulse, and the arc goes out within 20 ms of that.
pub const DARK: Duration = Duration::from_millis(120);
/// The kernel has taken a killed process apart by then (25 ms were seen: its memory is locked).
pub const GIVEN_BACK: Duration = Duration::from_millis(100);
/// A run of the piece, with a stop in it, s of the board's time.
pub const RUN_S: u64 = 150;

pub fn must(holds: bool, says: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(says()) }
}

pub fn ms(span: Duration) -> f64 {
    span.as_secs_f64() * 1e3
}

/// Everything is cut, by the table's own ledger, and nothing was done to it that is a wrong.
pub fn cut_whole(truth: &Truth) -> Result<(), String> {
    must(
        truth.uncut_mm < 0.05 && truth.off_path_mm <= 0.05 && truth.violations.is_empty(),
        || format!("the ledger: {truth:?}"),
    )
}

pub fn finished(view: &View, _: &Panel) -> bool {
    view.phase == Phase::Finished
}

/// Well within the second cut.
pub fn in_the_outline(view: &View, panel: &Panel) -> bool {
    view.torch.arc == ArcView::On
        && view.cut == Some(2)
        && view.station_mm.is_some_and(|mm| mm > 25.0)
        && panel.world.lock().table.burns()
}

pub fn to_the_end(panel: &mut Panel) -> Result<(), String> {
    panel.operate("the run's end", RUN_S, finished)?;
    let truth = panel.world.lock().table.truth();
    cut_whole(&truth)
}

/// How often an event is in the journal since an entry.
pub fn told(panel: &Panel, since: i64, name: &str) -> Result<usize, String> {
    let all = panel.journal()?;
    Ok(all
        .iter()
        .filter(|e| e.seq > since && e.name == name)
        .count())
}

pub fn newest(panel: &Panel) -> Result<i64, String> {
    Ok(panel.journal()?.last().map_or(0, |e| e.seq))
}

/// How the permit's line must be at the end.
#[derive(Clone, Copy, PartialEq)]
pub enum Line {
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
pub fn goes_dark(panel: &mut Panel, from: Time, pulse: Duration, line: Line) -> Result<(), String> {
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

/// The name of a cause or check as it is on the wire.
pub fn named(what: &impl serde::Serialize) -> String {
    serde_json::to_value(what)
        .ok()
        .and_then(|v| v.as_str().map(str::to_owned))
        .unwrap_or_default()
}
