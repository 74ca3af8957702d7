//! The plan of a job before START: how long it takes, whether air, source and torch parts last, where
//! the run is to pause so that they do, and one line of time with all of it.

mod line;
mod page;
#[cfg(test)]
mod tests;

use process::{ArcTime, Compressor, Duty, delayed};
use serde::{Deserialize, Serialize};

use crate::prepared::Prepared;
use crate::stops::{PlannedStop, StopFor};
use crate::table::Table;

pub use line::Moment;
pub use page::page;

/// bar and s nearer than this are the same.
const NEAR: f64 = 1e-6;

/// The plan of a job. Times are s from the start of the run, with the proposed pauses made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct JobPlan {
    /// The whole run with its pauses, without the time in which somebody changes torch parts.
    pub run_s: f64,
    /// Of that the pauses.
    pub pauses_s: f64,
    /// Of that with the arc on.
    pub arc_on_s: f64,
    /// Where the run is proposed to pause.
    pub pauses: Vec<Pause>,
    /// The rules of vetting whose findings these pauses put right.
    pub cures: Vec<String>,
    /// What no pause puts right, in words.
    pub hopeless: Vec<String>,
    /// The air.
    pub air: AirPlan,
    /// The power source.
    pub duty: DutyPlan,
    /// The fitted torch parts; `None`: their wear is not known.
    pub wear: Option<WearPlan>,
    /// Where a thin sheet gets hottest over its mean, K, and in which cut, from 1; `None`: not reckoned.
    pub hottest: Option<Hottest>,
    /// What it costs by the machine file's prices; `None`: it has none.
    pub cost: Option<Cost>,
    /// Pressure, duty and wear through the run.
    pub line: Vec<Moment>,
}

/// A pause that is proposed between two cuts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pause {
    /// Before which cut, from 1. Before the first: before START.
    pub before_cut: usize,
    /// When it begins, earlier pauses made.
    pub at_s: f64,
    /// How long at least, s; 0 for a change of torch parts.
    pub wait_s: f64,
    /// What for.
    pub cause: StopFor,
}

/// The air of a job.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AirPlan {
    /// How the compressor is at the start.
    pub compressor: Compressor,
    /// What the torch takes, L of free air.
    pub wanted_l: f64,
    /// Low in the receiver, with flow, bar.
    pub low_bar: f64,
    /// Full, bar.
    pub full_bar: f64,
    /// The lowest with the torch blowing if nobody pauses, bar, and when then.
    pub unpaused_bar: f64,
    /// See `unpaused_bar`.
    pub unpaused_at_s: f64,
    /// When it first is low if nobody pauses; `None`: never.
    pub low_at_s: Option<f64>,
    /// The lowest with the torch blowing and the pauses made, bar.
    pub lowest_bar: f64,
}

/// The power source's share of a job. Arc time in ten minutes, by the standard of arc sources (IEC
/// 60974-1, from memory).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DutyPlan {
    /// Current of the row, A.
    pub amps: f64,
    /// Arc time that ten minutes may hold at this current, s.
    pub limit_s: f64,
    /// The most in any ten minutes if nobody pauses, s.
    pub unpaused_s: f64,
    /// The most in any ten minutes with the pauses made, s.
    pub most_s: f64,
}

/// The wear of the fitted torch parts; 1: to be changed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct WearPlan {
    /// Used before the job.
    pub before: f64,
    /// Used after it by the parts that are then fitted.
    pub after: f64,
    /// Sets that the job uses up, as a share.
    pub sets: f64,
    /// Changes of parts that are proposed.
    pub changes: usize,
}

/// The hottest place of a thin sheet.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hottest {
    /// Cut, from 1.
    pub cut: usize,
    /// Rise over the sheet's mean, K.
    pub rise_k: f64,
}

/// What a job costs, in the money of the machine file's prices.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cost {
    /// Torch parts.
    pub parts: f64,
    /// The table's time, pauses with it.
    pub time: f64,
    /// For each metre that is cut; 0 where nothing is.
    pub per_metre: f64,
}

/// The plan of a prepared program; `None`: it has no setup or no chart row. `table` is the one that it was
/// prepared for. Linear in the cuts but for the windows of duty, which are n log n.
#[must_use]
pub fn plan(prepared: &Prepared, table: &Table<'_>) -> Option<JobPlan> {
    let (time, row) = (prepared.planned.as_ref()?, prepared.row.as_ref()?);
    let pauses = pauses(&prepared.waits, &time.arcs);
    let arcs = delayed(&time.arcs, pauses.iter().map(|p| (p.before_cut, p.wait_s)));
    let pauses_s: f64 = pauses.iter().map(|p| p.wait_s).sum();
    let run_s = time.run_s + pauses_s;
    let wear = wear(prepared, table, &time.arcs);
    let mut plan = JobPlan {
        run_s,
        pauses_s,
        arc_on_s: time.arc_on_s,
        cures: Vec::new(),
        hopeless: Vec::new(),
        air: air(table, &time.arcs, &arcs),
        duty: duty(table.duty, row.amps, &time.arcs, &arcs),
        wear,
        hottest: prepared.hottest.map(|h| Hottest {
            cut: h.cut,
            rise_k: h.rise_k,
        }),
        cost: cost(prepared, table, wear.map(|w| w.sets), run_s),
        line: line::line(table, row.amps, &arcs, &pauses, run_s),
        pauses,
    };
    plan.hopeless = hopeless(&plan, table, row.amps, &time.arcs);
    plan.cures = cures(&plan);
    Some(plan)
}

/// The stops as pauses with their moments, in order; those before one cut are one pause for the run, and
/// stay apart in the list by what they are for.
fn pauses(stops: &[PlannedStop], arcs: &[ArcTime]) -> Vec<Pause> {
    let mut stops = stops.to_vec();
    stops.sort_by_key(|s| s.before_cut);
    let mut waited = 0.0;
    let all = stops.iter().map(|stop| {
        let cut = stop.before_cut.saturating_sub(1);
        // It begins when the arc before is out.
        let before = cut.checked_sub(1).and_then(|k| arcs.get(k));
        let pause = Pause {
            before_cut: stop.before_cut,
            at_s: before.map_or(0.0, |a| a.off_s) + waited,
            wait_s: stop.wait_s,
            cause: stop.cause,
        };
        waited += stop.wait_s;
        pause
    });
    all.collect()
}

fn air(table: &Table<'_>, unpaused: &[ArcTime], paused: &[ArcTime]) -> AirPlan {
    let of = &table.air;
    let lowest = |arcs: &[ArcTime]| {
        let flowing = of.course(arcs).into_iter().filter(|p| p.flows);
        let least = flowing.min_by(|a, b| a.bar.total_cmp(&b.bar));
        least.map_or((of.stop_bar, 0.0), |p| (p.bar, p.at_s))
    };
    let (unpaused_bar, unpaused_at_s) = lowest(unpaused);
    let forecast = of.forecast(unpaused);
    AirPlan {
        compressor: of.at_start,
        wanted_l: forecast.wanted_l,
        low_bar: of.low_bar,
        full_bar: of.stop_bar,
        unpaused_bar,
        unpaused_at_s,
        low_at_s: forecast.low.map(|l| l.at_s),
        lowest_bar: lowest(paused).0,
    }
}

fn duty(duty: Duty, amps: f64, unpaused: &[ArcTime], paused: &[ArcTime]) -> DutyPlan {
    let most = |arcs: &[ArcTime]| duty.forecast(amps, arcs).most_s;
    DutyPlan {
        amps,
        limit_s: duty.most_s(amps),
        unpaused_s: most(unpaused),
        most_s: most(paused),
    }
}

fn wear(prepared: &Prepared, table: &Table<'_>, arcs: &[ArcTime]) -> Option<WearPlan> {
    let set = table.worn?;
    let changes = prepared.waits.iter();
    let changes: Vec<_> = changes.filter(|w| w.cause == StopFor::ChangeDue).collect();
    let sets: f64 = arcs.iter().map(|a| set.by_arc(a)).sum();
    let last = changes.iter().map(|w| w.before_cut).max();
    let since = last.map_or(set.used(), |_| 0.0);
    let from = last.map_or(0, |cut| cut.saturating_sub(1));
    let rest = arcs.get(from..).unwrap_or_default();
    Some(WearPlan {
        before: set.used(),
        after: since + rest.iter().map(|a| set.by_arc(a)).sum::<f64>(),
        sets,
        changes: changes.len(),
    })
}

fn cost(prepared: &Prepared, table: &Table<'_>, sets: Option<f64>, run_s: f64) -> Option<Cost> {
    let prices = table.prices?;
    let parts = prices.set * sets.unwrap_or(0.0);
    let time = prices.hour * run_s / 3600.0;
    let metres = prepared.report.cut_mm / 1000.0;
    let per_metre = if metres > 0.0 {
        (parts + time) / metres
    } else {
        0.0
    };
    Some(Cost {
        parts,
        time,
        per_metre,
    })
}

/// What the pauses do not put right.
fn hopeless(plan: &JobPlan, table: &Table<'_>, amps: f64, arcs: &[ArcTime]) -> Vec<String> {
    let (air, duty) = (table.air.forecast(arcs), table.duty.forecast(amps, arcs));
    let mut all = Vec::new();
    if let Some(cut) = air.hopeless {
        let why = match plan.air.compressor {
            Compressor::Off => "the compressor is left off: switch it on, or cut fewer parts",
            Compressor::Running | Compressor::Resting => {
                "a full receiver does not last for this cut alone: a larger receiver or compressor"
            }
        };
        all.push(format!(
            "Air is low in cut {cut}, and no pause helps: {why}."
        ));
    }
    if let Some(cut) = duty.hopeless {
        all.push(format!(
            "Cut {cut} alone is longer than the source may burn in ten minutes: cut it in pieces, or with a larger source."
        ));
    }
    if air.more || duty.more {
        all.push(
            "So many pauses are wanted that not all are planned: cut the job in parts.".into(),
        );
    }
    all
}

/// The rules whose findings do not hold any more once the pauses are made.
fn cures(plan: &JobPlan) -> Vec<String> {
    let (air, duty) = (&plan.air, &plan.duty);
    let changes = plan
        .wear
        .is_some_and(|w| w.changes > 0 && w.after <= 1.0 + 1e-9);
    let cured = [
        (
            air.low_at_s.is_some() && air.lowest_bar >= air.low_bar - NEAR,
            "air-short",
        ),
        (
            duty.unpaused_s > duty.limit_s + NEAR && duty.most_s <= duty.limit_s + NEAR,
            "duty-exceeded",
        ),
        (changes, "wear-out"),
    ];
    let cured = cured.iter().filter(|(is, _)| *is);
    cured.map(|(_, rule)| (*rule).to_owned()).collect()
}
