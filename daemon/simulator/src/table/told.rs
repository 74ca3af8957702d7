//! What the table tells of itself, for tests and summaries: nothing of it comes by a wire.

use units::Point;

use super::Table;
use crate::harness::{Supplied, Truth};
use crate::supplies::Supplies;

impl Table {
    /// The ledger's own account.
    #[must_use]
    pub fn truth(&self) -> Truth {
        let (bevel_mm, dross) = self.edges.mean().unwrap_or_default();
        let hundredths = |x: f64| (x * 100.0).round() / 100.0;
        Truth {
            now_s: self.now().as_s(),
            bevel_mm: hundredths(bevel_mm),
            dross: hundredths(dross),
            mishaps: self
                .rough
                .as_ref()
                .map(|r| r.mishaps.told())
                .unwrap_or_default(),
            torch_on_sheet: self
                .on_sheet(self.torch().0)
                .moved(-self.plan.corner.x, -self.plan.corner.y),
            outputs: self.outputs.told(self.now),
            ..self.ledger.truth(self.sheet.as_ref().map(|s| &s.metal))
        }
    }

    /// What the supplies of a calm table came to; `None`: it has none, or is rough.
    #[must_use]
    pub fn supplied(&self) -> Option<Supplied> {
        self.supplies.as_ref().map(Supplies::told)
    }

    /// How often the controller had nothing more to do at the end of a piece of path, with the torch on.
    #[must_use]
    pub fn ran_dry(&self) -> u32 {
        self.controller.dry
    }

    /// An arc burns onto metal.
    #[must_use]
    pub fn burns(&self) -> bool {
        self.source.transferred()
    }

    /// Of a stretch of a cut (from 0) of the plan: how much of it arcs that are out have passed, mm.
    #[must_use]
    pub fn passed_mm(&self, cut: usize, from: f64, to: f64) -> f64 {
        self.ledger.passed_mm(cut, from, to)
    }

    /// ... and how much of its middle still has metal on it, mm.
    #[must_use]
    pub fn uncut_mm(&self, cut: usize, from: f64, to: f64) -> f64 {
        let metal = self.sheet.as_ref().map(|s| &s.metal);
        metal.map_or(0.0, |m| self.ledger.uncut_of_mm(m, cut, from, to))
    }

    /// Where the torch really is: in the plane, and its height, machine coordinates, mm.
    #[must_use]
    pub fn torch(&self) -> (Point, f64) {
        self.controller.true_place()
    }

    /// Lines in the controller's queue, and bytes received that it has not yet taken.
    #[must_use]
    pub fn queued(&self) -> (usize, usize) {
        self.controller.queued()
    }
}
