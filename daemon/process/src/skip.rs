//! Touch-offs that are skipped: near to the last touch, on a sheet whose plane is known (process
//! handbook 2.6, limits invented there). Planned times and the cycle ask the same question here.

use units::Point;

use crate::cycle::CycleSettings;
use crate::plane::{Plane, Touch};

/// On sheets up to this thickness touches are skipped over a shorter way, mm.
const THIN_MM: f64 = 2.0;
/// ... no further than this, mm.
const THIN_SKIP_MM: f64 = 20.0;
/// From the last touch the plane may rise or fall by less than this, mm.
const CHANGE_MM: f64 = 0.3;
/// The last touch must have found the sheet within this of where it was expected, mm.
const CORRECTION_MM: f64 = 1.0;
/// A piece that came free within this of a pierce may have moved the sheet there, mm.
pub const FREED_NEAR_MM: f64 = 10.0;

/// The last touch, as far as skipping hangs on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LastTouch {
    /// Before which cut, from 0.
    pub cut: usize,
    /// How far the sheet lay from where it was expected, mm.
    pub off_mm: f64,
    /// So many touch-offs were skipped since.
    pub skipped: u32,
}

/// The next pierce.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NextPierce {
    /// Where.
    pub at: Point,
    /// So long after the last touch, s.
    pub age_s: f64,
    /// Of the cuts before it the last that frees a piece within [`FREED_NEAR_MM`] of it, from 0.
    pub freed_by: Option<usize>,
}

impl CycleSettings {
    /// The height of the sheet at a pierce without touching it, mm: last touch plus the plane's slope
    /// over the way between. `None`: it must be touched. `touches`: all since the last hold, the
    /// last one last, in the pierce's coordinates.
    #[must_use]
    pub fn height_without_touch(
        &self,
        thickness_mm: f64,
        touches: &[Touch],
        last: &LastTouch,
        next: &NextPierce,
    ) -> Option<f64> {
        let (at, z) = *touches.last()?;
        let reach_mm = if thickness_mm <= THIN_MM + 1e-9 {
            self.skip_touch_mm.min(THIN_SKIP_MM)
        } else {
            self.skip_touch_mm
        };
        let near = reach_mm > 0.0 && at.distance(next.at) <= reach_mm;
        let young = next.age_s < self.skip_touch_age_s;
        let few = last.skipped < self.skip_touch_run;
        let sure = last.off_mm.abs() <= CORRECTION_MM;
        let undisturbed = next.freed_by.is_none_or(|cut| cut < last.cut);
        if !(near && young && few && sure && undisturbed) {
            return None;
        }
        let plane = Plane::fit(touches)?;
        let change_mm = plane.at(next.at)? - plane.at(at)?;
        (change_mm.abs() < CHANGE_MM).then_some(z + change_mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings() -> CycleSettings {
        CycleSettings {
            skip_touch_mm: 40.0,
            ..CycleSettings::default()
        }
    }

    /// z = 5 + 0.005 x: touches 100 mm apart, the last at the origin's side.
    fn touches() -> Vec<Touch> {
        [(0.0, 100.0), (100.0, 100.0), (100.0, 0.0), (0.0, 0.0)]
            .map(|(x, y)| (Point::new(x, y), 5.0 + 0.005 * x))
            .into()
    }

    const LAST: LastTouch = LastTouch {
        cut: 3,
        off_mm: 0.2,
        skipped: 0,
    };

    fn next() -> NextPierce {
        NextPierce {
            at: Point::new(20.0, 10.0),
            age_s: 15.0,
            freed_by: Some(2),
        }
    }

    #[test]
    fn the_height_is_the_last_touch_and_the_planes_slope_over_the_way() {
        let z = settings().height_without_touch(5.0, &touches(), &LAST, &next());
        assert!((z.expect("skipped") - 5.1).abs() < 1e-9, "{z:?}");
    }

    #[test]
    fn each_condition_alone_makes_the_touch_again() {
        let touched =
            |c: &CycleSettings, t: f64, touches: &[Touch], last: &LastTouch, n: &NextPierce| {
                c.height_without_touch(t, touches, last, n).is_none()
            };
        let (c, all, n) = (settings(), touches(), next());
        assert!(
            touched(&CycleSettings::default(), 5.0, &all, &LAST, &n),
            "off by default"
        );
        let far = NextPierce {
            at: Point::new(41.0, 0.0),
            ..n
        };
        assert!(touched(&c, 5.0, &all, &LAST, &far));
        let at_20 = NextPierce {
            at: Point::new(19.9, 0.0),
            ..n
        };
        assert!(!touched(&c, 2.0, &all, &LAST, &at_20));
        assert!(
            touched(&c, 2.0, &all, &LAST, &n),
            "22 mm off, on thin sheet"
        );
        let old = NextPierce { age_s: 60.0, ..n };
        assert!(touched(&c, 5.0, &all, &LAST, &old));
        let freed = NextPierce {
            freed_by: Some(3),
            ..n
        };
        assert!(touched(&c, 5.0, &all, &LAST, &freed));
        let third = LastTouch { skipped: 3, ..LAST };
        assert!(touched(&c, 5.0, &all, &third, &n));
        let unsure = LastTouch {
            off_mm: -1.1,
            ..LAST
        };
        assert!(touched(&c, 5.0, &all, &unsure, &n));
        assert!(touched(&c, 5.0, &all[2..], &LAST, &n), "no plane is known");
        let steep: Vec<Touch> = all
            .iter()
            .map(|(p, z)| (*p, 5.0 + 4.0 * (z - 5.0)))
            .collect();
        assert!(touched(&c, 5.0, &steep, &LAST, &n), "0.4 mm up");
    }
}
