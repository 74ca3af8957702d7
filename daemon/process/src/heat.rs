//! How hot a thin sheet gets where much is cut in a short time: the rise over its mean, smeared over
//! a patch and fading with time (radius and fading time invented).

use std::collections::BTreeMap;

use units::{Point, Segment};

use crate::energy::{Balance, Metal};
use crate::time::ArcTime;

/// Radius of the patch that heat spreads over, mm.
const PATCH_MM: f64 = 60.0;
/// It fades in this time, s.
const FADES_S: f64 = 60.0;
/// Heat is gathered in squares of this side, mm.
const CELL_MM: f64 = 20.0;
/// Squares beyond this many add nothing worth reckoning (three radii).
const CELLS: i64 = 9;
/// Path is taken in pieces of at most this, mm.
const PIECE_MM: f64 = 10.0;
/// The rise is looked at after so much path, mm, and at every pierce...
const LOOK_MM: f64 = 30.0;
/// ... but no more often in all than about this.
const LOOKS: f64 = 4000.0;

/// The heat of a job.
#[derive(Clone, Copy, Debug)]
pub struct Heat {
    /// Conduction into the sheet.
    pub balance: Balance,
    /// Heat that the patch takes for one kelvin, J/K.
    patch_j_k: f64,
}

/// Where a sheet gets hottest within one cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Patch {
    /// Which cut, from 1.
    pub cut: usize,
    /// Where; the coordinates of the cuts.
    pub at: Point,
    /// Rise over the sheet's mean, K.
    pub rise_k: f64,
}

#[derive(Default)]
struct Cells {
    /// Heat in J at a time in s, fading since.
    cells: BTreeMap<(i64, i64), (f64, f64)>,
}

fn cell(p: Point) -> (i64, i64) {
    (
        (p.x / CELL_MM).floor() as i64,
        (p.y / CELL_MM).floor() as i64,
    )
}

fn fading(dt_s: f64) -> f64 {
    (-dt_s.max(0.0) / FADES_S).exp()
}

impl Cells {
    fn add(&mut self, at: Point, heat_j: f64, now_s: f64) {
        let (heat, since) = self.cells.entry(cell(at)).or_insert((0.0, now_s));
        *heat = *heat * fading(now_s - *since) + heat_j;
        *since = now_s;
    }

    /// Heat round a place, weighed by its distance, J.
    fn round(&self, at: Point, now_s: f64) -> f64 {
        let (ix, iy) = cell(at);
        let mut sum = 0.0;
        for x in ix - CELLS..=ix + CELLS {
            for (&(cx, cy), &(heat, since)) in self.cells.range((x, iy - CELLS)..=(x, iy + CELLS)) {
                let middle = Point::new((cx as f64 + 0.5) * CELL_MM, (cy as f64 + 0.5) * CELL_MM);
                let r = middle.distance(at) / PATCH_MM;
                sum += heat * fading(now_s - since) * (-r * r / 2.0).exp();
            }
        }
        sum
    }
}

impl Heat {
    /// For a metal of a thickness (mm) with the balance of its kerf.
    #[must_use]
    pub fn new(metal: Metal, thickness_mm: f64, balance: Balance) -> Self {
        let patch_mm2 = core::f64::consts::TAU * PATCH_MM * PATCH_MM;
        Self {
            balance,
            patch_j_k: metal.heat_j_mm3_k() * thickness_mm * patch_mm2,
        }
    }

    /// Heat that a length of path leaves beside it, J.
    #[must_use]
    pub fn left_j(&self, length_mm: f64, feed_mm_s: f64) -> f64 {
        if feed_mm_s <= 0.0 {
            return 0.0;
        }
        self.balance.conducted_w(feed_mm_s) / feed_mm_s * length_mm
    }

    /// The hottest place of every cut, in the order of the cuts. Given are each cut's pierce and the
    /// pieces of its path with their feeds, mm/s: they are gone through twice.
    #[must_use]
    pub fn forecast<P>(
        &self,
        cuts: impl Iterator<Item = (Point, P)> + Clone,
        arcs: &[ArcTime],
    ) -> Vec<Patch>
    where
        P: Iterator<Item = (Segment, f64)>,
    {
        let lengths: Vec<f64> = cuts
            .clone()
            .map(|(_, path)| path.map(|(s, _)| s.length()).sum())
            .collect();
        let mut looks = Looks {
            every_mm: LOOK_MM.max(lengths.iter().sum::<f64>() / LOOKS),
            since_mm: f64::INFINITY,
        };
        let every_pierce = lengths.len() as f64 <= LOOKS;
        let mut cells = Cells::default();
        let mut found = Vec::new();
        for (((pierce, path), arc), length_mm) in cuts.zip(arcs).zip(&lengths) {
            let mut worst = Patch {
                cut: found.len() + 1,
                at: pierce,
                rise_k: 0.0,
            };
            if every_pierce {
                worst.rise_k = cells.round(pierce, arc.on_s) / self.patch_j_k;
            }
            let mm_s = (length_mm / (arc.off_s - arc.on_s).max(1e-3)).max(1e-6);
            let mut done_mm = 0.0;
            for (at, piece_mm, feed_mm_s) in path.flat_map(pieces) {
                let now_s = arc.on_s + (done_mm + piece_mm / 2.0) / mm_s;
                cells.add(at, self.left_j(piece_mm, feed_mm_s), now_s);
                done_mm += piece_mm;
                if looks.is_due(piece_mm) {
                    let rise_k = cells.round(at, now_s) / self.patch_j_k;
                    if rise_k > worst.rise_k {
                        (worst.at, worst.rise_k) = (at, rise_k);
                    }
                }
            }
            found.push(worst);
        }
        found
    }
}

/// When the rise is looked at along the path.
struct Looks {
    every_mm: f64,
    since_mm: f64,
}

impl Looks {
    /// Whether it is looked at behind this much more path.
    fn is_due(&mut self, more_mm: f64) -> bool {
        self.since_mm += more_mm;
        let due = self.since_mm >= self.every_mm;
        if due {
            self.since_mm = 0.0;
        }
        due
    }
}

/// A segment in pieces of at most [`PIECE_MM`]: the middle of each, its length (mm), its feed (mm/s).
fn pieces((segment, feed_mm_s): (Segment, f64)) -> impl Iterator<Item = (Point, f64, f64)> {
    let length = segment.length();
    let many = (length / PIECE_MM).ceil().clamp(1.0, 1e4);
    (0..many as usize).map(move |k| {
        let at = segment.point_at(length * (k as f64 + 0.5) / many);
        (at, length / many, feed_mm_s)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heat() -> Heat {
        // 3 mm mild steel at 40 A, 111 V, kerf 1.33.
        let balance = Balance::new(Metal::Steel, 40.0, 111.0, 1.33, 3.0);
        Heat::new(Metal::Steel, 3.0, balance)
    }

    fn forecast(heat: &Heat, cuts: &[(Point, &[(Segment, f64)])], arcs: &[ArcTime]) -> Vec<Patch> {
        let cuts = cuts.iter();
        heat.forecast(cuts.map(|(at, path)| (*at, path.iter().copied())), arcs)
    }

    fn line(from: [f64; 2], to: [f64; 2]) -> Segment {
        Segment::Line {
            from: Point::from(from),
            to: Point::from(to),
        }
    }

    fn arc(on_s: f64, burns: f64) -> ArcTime {
        ArcTime {
            gas_s: on_s,
            on_s,
            off_s: on_s + burns,
        }
    }

    #[test]
    fn the_garden_corner_takes_the_heat_that_the_handbook_reckons() {
        // Process handbook 4.11, calculated there: 792 W, 788 mm at 2200 mm/min, 17.0 kJ.
        let heat = heat();
        let v = 2200.0 / 60.0;
        assert!((heat.balance.conducted_w(v) - 792.0).abs() < 1.0);
        assert!((heat.left_j(788.0, v) / 1000.0 - 17.0).abs() < 0.1);
    }

    #[test]
    fn squares_and_the_sum_over_pieces_agree() {
        let heat = heat();
        let v = 2200.0 / 60.0;
        let path = [
            (line([0.0, 0.0], [200.0, 0.0]), v),
            (line([200.0, 0.0], [200.0, 80.0]), v),
        ];
        let burns = 280.0 / v;
        let cuts = [
            (Point::new(0.0, 0.0), &path[..]),
            (Point::new(110.0, 10.0), &[]),
        ];
        let later = burns + 20.0;
        let found = forecast(&heat, &cuts, &[arc(0.0, burns), arc(later, 0.0)]);
        let by_hand: f64 = (0..280)
            .map(|k| {
                let s = f64::from(k) + 0.5;
                let at = if s < 200.0 {
                    Point::new(s, 0.0)
                } else {
                    Point::new(200.0, s - 200.0)
                };
                let r = at.distance(Point::new(110.0, 10.0)) / 60.0;
                heat.left_j(1.0, v) * (-r * r / 2.0).exp() * (-(later - s / v) / 60.0).exp()
            })
            .sum();
        // rho c t 2 pi R2 = 7850 x 690 x 0.003 x 0.0226: 367.5 J/K.
        let by_hand = by_hand / 367.5;
        assert!(
            (found[1].rise_k / by_hand - 1.0).abs() < 0.03,
            "{found:?} {by_hand}"
        );
    }

    #[test]
    fn heat_fades_with_time_and_distance() {
        let heat = heat();
        let path = [(line([0.0, 0.0], [100.0, 0.0]), 30.0)];
        let rise = |x: f64, later: f64| {
            let cuts = [(Point::new(0.0, 0.0), &path[..]), (Point::new(x, 0.0), &[])];
            forecast(&heat, &cuts, &[arc(0.0, 4.0), arc(later, 0.0)])[1].rise_k
        };
        assert!(rise(50.0, 5.0) > rise(50.0, 65.0) * 2.5);
        assert!(rise(50.0, 5.0) > rise(200.0, 5.0) * 3.0);
        assert_eq!(rise(5000.0, 5.0), 0.0);
    }
}
