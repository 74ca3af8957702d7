//! The sheet on the slats: where its surface is, and where there is metal.

use units::Point;

use crate::chance::{Chance, Draws};
use crate::harness::Plan;
use crate::metal::Metal;
use crate::rough::heat::Heat;

/// Radius of the nozzle's face, mm: over a slot narrower than this the torch still touches.
pub(crate) const NOZZLE_RADIUS_MM: f64 = 3.0;

/// A sheet of this thickness gives so much under a newton, mm; by the third power of the thickness
/// (process handbook, invented).
const SOFT_MM_N: f64 = 0.02;
const SOFT_AT_MM: f64 = 3.0;
/// Within this of a free edge it gives so many times more.
const EDGE_MM: f64 = 60.0;
const EDGE: f64 = 10.0;

/// A sheet as it really lies: tilted and bowed a little.
#[derive(Clone, Debug)]
pub(crate) struct Sheet {
    corner: Point,
    size: Point,
    /// Half of its diagonal, mm.
    half_mm: f64,
    top_z: f64,
    slope: Point,
    bow_mm: f64,
    /// It was pushed so far from where it was laid, mm.
    pub(crate) moved: Point,
    /// The bow that grows with heat, in the rough mood.
    pub(crate) heat: Option<Heat>,
    /// In its middle it gives so much under a newton, mm.
    soft_mm_n: f64,
    /// What is left of it.
    pub(crate) metal: Metal,
}

impl Sheet {
    pub(crate) fn lay(plan: &Plan, slat_top_z: f64, rough: bool, falls_mm: f64, seed: u64) -> Self {
        let mut chance = Chance::new(seed, Draws::Sheet);
        let (slope_sigma, bow) = if rough { (1.5e-3, 2.0) } else { (0.25e-3, 0.6) };
        let mut tilt = || {
            chance
                .bell(0.0, slope_sigma)
                .clamp(-2.0 * slope_sigma, 2.0 * slope_sigma)
        };
        let slope = Point::new(tilt(), tilt());
        let bow_mm = bow * (2.0 * chance.even() - 1.0);
        Self {
            corner: plan.corner,
            size: plan.size,
            half_mm: (plan.size.x.hypot(plan.size.y) / 2.0).max(1.0),
            top_z: slat_top_z + plan.thickness_mm,
            slope,
            bow_mm,
            moved: Point::default(),
            heat: rough.then(|| {
                let sides_w = plan.kerf().sides_w(plan.feed_mm_s);
                Heat::new(plan.thickness_mm, bow_mm.signum(), sides_w)
            }),
            soft_mm_n: SOFT_MM_N * (SOFT_AT_MM / plan.thickness_mm.max(0.5)).powi(3),
            metal: Metal::new(plan.corner, plan.size, falls_mm),
        }
    }

    /// A place of the table on the sheet as it was laid.
    pub(crate) fn own(&self, p: Point) -> Point {
        p.moved(-self.moved.x, -self.moved.y)
    }

    /// Height of the surface, mm, as if the sheet went on beyond its edges.
    pub(crate) fn surface(&self, p: Point) -> f64 {
        let p = self.own(p);
        let heat = self.heat.as_ref().map_or(0.0, |h| h.rise(p));
        let (dx, dy) = (
            p.x - self.corner.x - self.size.x / 2.0,
            p.y - self.corner.y - self.size.y / 2.0,
        );
        let half = self.half_mm;
        let rho2 = ((dx * dx + dy * dy) / (half * half)).min(1.0);
        self.top_z + self.slope.x * dx + self.slope.y * dy + self.bow_mm * (1.0 - rho2) + heat
    }

    /// So much the sheet gives here under a newton, mm.
    pub(crate) fn gives_mm_n(&self, p: Point) -> f64 {
        let p = self.own(p);
        let (x, y) = (p.x - self.corner.x, p.y - self.corner.y);
        let edge = x.min(self.size.x - x).min(y).min(self.size.y - y);
        self.soft_mm_n * if edge < EDGE_MM { EDGE } else { 1.0 }
    }

    /// How far outside of the sheet a place is, mm; 0 over it.
    pub(crate) fn outside(&self, p: Point) -> f64 {
        let p = self.own(p);
        let dx = (self.corner.x - p.x)
            .max(p.x - self.corner.x - self.size.x)
            .max(0.0);
        let dy = (self.corner.y - p.y)
            .max(p.y - self.corner.y - self.size.y)
            .max(0.0);
        dx.hypot(dy)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(thickness_mm: f64) -> Sheet {
        let plan = Plan {
            size: Point::new(400.0, 300.0),
            thickness_mm,
            ..Plan::default()
        };
        Sheet::lay(&plan, 20.0, true, 37.5, 1)
    }

    #[test]
    fn a_thin_sheet_gives_more_and_ten_times_more_near_an_edge() {
        let (middle, edge) = (Point::new(200.0, 150.0), Point::new(200.0, 59.0));
        assert!((of(3.0).gives_mm_n(middle) - 0.02).abs() < 1e-12);
        assert!((of(3.0).gives_mm_n(edge) - 0.2).abs() < 1e-12);
        // 0.02 (3/2)^3 and 0.02 (3/6)^3.
        assert!((of(2.0).gives_mm_n(middle) - 0.0675).abs() < 1e-12);
        assert!((of(6.0).gives_mm_n(middle) - 0.0025).abs() < 1e-12);
        assert!((of(6.0).gives_mm_n(Point::new(340.1, 150.0)) - 0.025).abs() < 1e-12);
    }
}
