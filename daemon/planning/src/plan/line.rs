//! The one line of time: what the receiver holds, how much of the source's ten minutes is used, how worn
//! the torch parts are.

use process::{ArcTime, Pressure, in_ten_minutes_s};
use serde::{Deserialize, Serialize};

use super::Pause;
use crate::stops::StopFor;
use crate::table::Table;

/// The line is drawn with so many moments.
const MOMENTS: usize = 240;

/// A moment of the line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Moment {
    /// s from the start of the run.
    pub at_s: f64,
    /// The lowest in the receiver since the moment before, bar.
    pub bar: f64,
    /// The most of what the source may burn in ten minutes since the moment before; 1: all of it.
    pub duty: f64,
    /// How worn the torch parts are, 1: to be changed; `None`: not known.
    pub wear: Option<f64>,
}

/// `arcs`: with the pauses made.
pub(super) fn line(
    table: &Table<'_>,
    amps: f64,
    arcs: &[ArcTime],
    pauses: &[Pause],
    run_s: f64,
) -> Vec<Moment> {
    let limit_s = table.duty.most_s(amps);
    let mut pressures = Pressures {
        course: table.air.course(arcs),
        at: 0,
        bar: table.air.stop_bar,
    };
    let mut wears = Wears::new(table, pauses);
    let mut first = 0;
    (0..=MOMENTS)
        .map(|k| {
            let at_s = run_s * k as f64 / MOMENTS as f64;
            // Within an arc the time only grows: the most since the last moment is at one of these.
            let ended = arcs.iter().skip(first).take_while(|a| a.off_s <= at_s);
            let mut most = in_ten_minutes_s(arcs, at_s);
            let mut count = 0;
            for arc in ended {
                most = most.max(in_ten_minutes_s(arcs, arc.off_s));
                count += 1;
            }
            first += count;
            Moment {
                at_s,
                bar: pressures.until(at_s),
                duty: if limit_s > 0.0 { most / limit_s } else { 0.0 },
                wear: wears.until(arcs, at_s),
            }
        })
        .collect()
}

struct Pressures {
    course: Vec<Pressure>,
    at: usize,
    bar: f64,
}

impl Pressures {
    /// The lowest since this was last asked, up to a moment, bar.
    fn until(&mut self, at_s: f64) -> f64 {
        let rest = self.course.iter().skip(self.at);
        let passed: Vec<f64> = rest.take_while(|p| p.at_s <= at_s).map(|p| p.bar).collect();
        self.at += passed.len();
        let least = passed.iter().copied().fold(f64::INFINITY, f64::min);
        self.bar = passed.last().copied().unwrap_or(self.bar);
        least.min(self.bar)
    }
}

struct Wears<'a> {
    set: Option<process::Set>,
    used: f64,
    changes: Vec<&'a Pause>,
    next: usize,
}

impl<'a> Wears<'a> {
    fn new(table: &Table<'_>, pauses: &'a [Pause]) -> Self {
        let changes = pauses.iter().filter(|p| p.cause == StopFor::ChangeDue);
        Self {
            set: table.worn,
            used: table.worn.map_or(0.0, |s| s.used()),
            changes: changes.collect(),
            next: 0,
        }
    }

    /// By the arcs that have ended by then.
    fn until(&mut self, arcs: &[ArcTime], at_s: f64) -> Option<f64> {
        let set = self.set?;
        while let Some(arc) = arcs.get(self.next).filter(|a| a.off_s <= at_s) {
            let cut = self.next + 1;
            if self.changes.iter().any(|p| p.before_cut == cut) {
                self.used = 0.0;
            }
            self.used += set.by_arc(arc);
            self.next += 1;
        }
        Some(self.used)
    }
}
