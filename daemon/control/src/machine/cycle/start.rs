//! Where and how a cut is begun: at its pierce, or by the plan that was accepted.

use units::Point;

use crate::machine::run::Run;

/// The longer lost-arc time holds this far beyond what was cut before, mm.
const CROSSING_MM: f64 = 2.0;

/// Where and how the cut in hand is begun this time.
pub(super) struct Start {
    pub from_mm: f64,
    /// Fired beside the path, at the head of a new lead-in.
    pub beside: Option<Point>,
    pub open_kerf: bool,
    /// The longer lost-arc time holds up to here, mm along the cut.
    pub until_crossed_mm: f64,
}

impl Start {
    pub(super) fn of(run: &Run) -> Self {
        let Some(plan) = run.plan() else {
            return Self {
                from_mm: run.from_mm,
                beside: None,
                open_kerf: false,
                until_crossed_mm: 0.0,
            };
        };
        // A second try stands nearer to the wall.
        let nearer = plan.how.second_mm.filter(|_| run.tries > 0);
        let high = plan.stop.lost.map(|l| l.high_mm);
        Self {
            from_mm: nearer.unwrap_or(plan.how.from_mm),
            beside: (!plan.how.entry.is_empty()).then_some(plan.how.pierce),
            open_kerf: !plan.how.pierces,
            until_crossed_mm: high.map_or(0.0, |mm| mm + CROSSING_MM),
        }
    }
}
