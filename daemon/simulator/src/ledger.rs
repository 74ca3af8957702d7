//! The ledger: what the arc did to the metal, and which physical wrongs were seen. It watches the
//! table's parts and never asks the panel what it believes.

mod cover;
mod judge;
mod spans;
mod stray;

use units::Point;

use crate::harness::{Plan, Truth};
use crate::metal::Metal;
use cover::Cover;
pub(crate) use judge::{Limits, Seen};

/// The account of one sheet.
#[derive(Clone, Debug)]
pub(crate) struct Ledger {
    cover: Cover,
    judge: judge::Judge,
    arc_ns: u64,
}

impl Ledger {
    pub(crate) fn new(plan: &Plan, limits: Limits) -> Self {
        Self {
            cover: Cover::new(plan),
            judge: judge::Judge::new(limits),
            arc_ns: 0,
        }
    }

    /// The account of another sheet, on the same table.
    pub(crate) fn next(&self, plan: &Plan, limits: Limits) -> Self {
        let mut next = Self::new(plan, limits);
        next.judge.goes_on_from(&self.judge);
        next
    }

    /// One step of the table.
    pub(crate) fn see(&mut self, seen: &Seen) {
        self.cover
            .arc(seen.arc.then_some(seen.place), seen.moved_mm);
        if seen.arc {
            self.arc_ns += seen.dt;
        }
        self.judge.see(seen);
    }

    /// A numbered line was carried out to its end.
    pub(crate) fn executed(&mut self, now: u64, epoch: u32, number: u32) {
        self.judge.executed(now, epoch, number);
    }

    pub(crate) fn in_hand(&self) -> Option<(usize, f64)> {
        self.cover.in_hand()
    }

    pub(crate) fn length_of(&self, cut: usize) -> Option<f64> {
        self.cover.length_of(cut)
    }

    pub(crate) fn pierce_of(&self, cut: usize) -> Option<Point> {
        self.cover.pierce_of(cut)
    }

    pub(crate) fn passed_mm(&self, cut: usize, from: f64, to: f64) -> f64 {
        self.cover.passed_mm(cut, from, to)
    }

    pub(crate) fn uncut_of_mm(&self, metal: &Metal, cut: usize, from: f64, to: f64) -> f64 {
        self.cover.uncut_of_mm(metal, cut, from, to)
    }

    /// The account, with what is left of the `metal`.
    pub(crate) fn truth(&self, metal: Option<&Metal>) -> Truth {
        let um = |mm: f64| (mm * 1e3).round() / 1e3;
        Truth {
            now_s: 0.0,
            plan_mm: self.cover.plan_mm(),
            uncut_mm: um(metal.map_or(0.0, |m| self.cover.uncut_mm(m))),
            recut_mm: um(self.cover.recut_mm()),
            off_path_mm: um(self.cover.off_path_mm()),
            entry_mm: um(self.cover.entry_mm()),
            arc_on_s: um(self.arc_ns as f64 / 1e9),
            pierces: self.cover.pierces(),
            violations: self.judge.violations().to_vec(),
            ..Truth::default()
        }
    }
}
