//! The plan as a page of text.

use core::fmt::Write as _;

use process::Compressor;

use super::{JobPlan, Pause};
use crate::stops::StopFor;

/// So many pauses are told one by one.
const TOLD: usize = 12;

/// The plan in words, a line for each matter.
#[must_use]
pub fn page(plan: &JobPlan) -> String {
    let mut text = format!(
        "time    {} ({} with the arc on{})\n",
        span(plan.run_s),
        span(plan.arc_on_s),
        if plan.pauses_s > 0.0 {
            format!(", {} of pauses", span(plan.pauses_s))
        } else {
            String::new()
        }
    );
    // Writing to a text does not fail.
    let _ = writeln!(text, "air     {}", air(plan));
    let d = &plan.duty;
    let _ = writeln!(
        text,
        "source  {:.0} of {:.0} s of arc in ten minutes at {:.0} A{}",
        d.most_s,
        d.limit_s,
        d.amps,
        if d.unpaused_s > d.most_s + 0.5 {
            format!(" ({:.0} s without pauses)", d.unpaused_s)
        } else {
            String::new()
        }
    );
    match &plan.wear {
        None => text.push_str("wear    of the torch parts is not known\n"),
        Some(w) => {
            let _ = writeln!(
                text,
                "wear    torch parts {:.0} % used before, {:.0} % after{}; the job uses {:.2} of a set",
                100.0 * w.before,
                100.0 * w.after,
                match w.changes {
                    0 => String::new(),
                    1 => ", changed once".to_owned(),
                    n => format!(", changed {n} times"),
                },
                w.sets
            );
        }
    }
    if let Some(hot) = &plan.hottest {
        let _ = writeln!(
            text,
            "heat    {:.0} K over the sheet's mean at most, in cut {}",
            hot.rise_k, hot.cut
        );
    }
    if let Some(cost) = &plan.cost {
        let _ = writeln!(
            text,
            "cost    {:.2} ({:.2} torch parts, {:.2} time), {:.2} a metre",
            cost.parts + cost.time,
            cost.parts,
            cost.time,
            cost.per_metre
        );
    }
    pauses(plan, &mut text);
    for line in &plan.hopeless {
        let _ = writeln!(text, "! {line}");
    }
    text
}

fn air(plan: &JobPlan) -> String {
    let a = &plan.air;
    let compressor = match a.compressor {
        Compressor::Running => "compressor running at the start",
        Compressor::Resting => "compressor resting at the start",
        Compressor::Off => "compressor left off",
    };
    let low = match a.low_at_s {
        None => String::new(),
        Some(at_s) => format!("; without pauses low after {}", span(at_s)),
    };
    format!(
        "{:.0} L wanted, lowest {:.1} bar in the receiver (low is {:.1}), {compressor}{low}",
        a.wanted_l, a.lowest_bar, a.low_bar
    )
}

fn pauses(plan: &JobPlan, text: &mut String) {
    if plan.pauses.is_empty() {
        text.push_str("pauses  none are wanted\n");
        return;
    }
    for pause in plan.pauses.iter().take(TOLD) {
        let _ = writeln!(text, "pause   {}", one(pause));
    }
    if let Some(more) = plan.pauses.len().checked_sub(TOLD).filter(|n| *n > 0) {
        let _ = writeln!(text, "pause   and {more} more");
    }
}

/// A pause in words.
fn one(pause: &Pause) -> String {
    let place = match pause.before_cut {
        1 => "before START".to_owned(),
        cut => format!("before cut {cut}, {} after the start", span(pause.at_s)),
    };
    match pause.cause {
        StopFor::AirWait => format!("{:.0} s {place}, for the air", pause.wait_s),
        StopFor::DutyWait => format!("{:.0} s {place}, for the source to cool", pause.wait_s),
        StopFor::ChangeDue => format!("{place}, to change the torch parts"),
    }
}

/// Minutes and seconds.
fn span(s: f64) -> String {
    let s = s.round().max(0.0);
    format!("{:.0} min {:02.0} s", (s / 60.0).floor(), s % 60.0)
}
