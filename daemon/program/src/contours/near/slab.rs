//! A rectangle along the direction of a few chords: much slimmer than the upright one where they run
//! aslant, so that chains beside each other are told apart without comparing their chords.

use core::ops::Range;

use units::Point;

use super::Strand;

/// Rounding may make a gap larger than it is by less than this, mm.
const CRUMB_MM: f64 = 1e-6;

/// A turned rectangle.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slab {
    middle: Point,
    /// The direction of its length, a unit vector.
    along: (f64, f64),
    /// Half of its length and of its width, mm.
    half: [f64; 2],
}

impl Slab {
    /// Round chords of a strand, along the line from the first corner to the last.
    pub fn round(strand: Strand<'_>, chords: Range<usize>) -> Self {
        let first = strand.chord(chords.start).0;
        let last = strand.chord(chords.end - 1).1;
        let length = first.distance(last);
        let (ux, uy) = match length > 0.0 {
            true => ((last.x - first.x) / length, (last.y - first.y) / length),
            false => (1.0, 0.0),
        };
        let (mut low, mut high) = ([0.0_f64; 2], [0.0_f64; 2]);
        for i in chords {
            let p = strand.chord(i).1;
            let (dx, dy) = (p.x - first.x, p.y - first.y);
            let at = [dx * ux + dy * uy, dy * ux - dx * uy];
            low = [low[0].min(at[0]), low[1].min(at[1])];
            high = [high[0].max(at[0]), high[1].max(at[1])];
        }
        let (s, t) = (
            f64::midpoint(low[0], high[0]),
            f64::midpoint(low[1], high[1]),
        );
        Self {
            middle: first.moved(s * ux - t * uy, s * uy + t * ux),
            along: (ux, uy),
            half: [(high[0] - low[0]) / 2.0, (high[1] - low[1]) / 2.0],
        }
    }

    /// Its length, mm.
    pub fn length(&self) -> f64 {
        2.0 * self.half[0]
    }

    /// The sides of the rectangle that reaches so many mm further on all sides, mm.
    pub fn sides_within(&self, by_mm: f64) -> [f64; 2] {
        self.half.map(|h| 2.0 * (h + by_mm))
    }

    /// No place of one is nearer than this to a place of the other, mm; it may be less than 0.
    pub fn gap(&self, other: &Self) -> f64 {
        crate::work::count(1);
        self.beside(other).max(other.beside(self)) - CRUMB_MM
    }

    /// How far the other lies beside this one, along or across it.
    fn beside(&self, other: &Self) -> f64 {
        let (ux, uy) = self.along;
        let (dx, dy) = (
            other.middle.x - self.middle.x,
            other.middle.y - self.middle.y,
        );
        // The cosine and the sine between the two.
        let cos = (ux * other.along.0 + uy * other.along.1).abs();
        let sin = (ux * other.along.1 - uy * other.along.0).abs();
        let [long, wide] = other.half;
        let along = (dx * ux + dy * uy).abs() - self.half[0] - long * cos - wide * sin;
        let across = (dy * ux - dx * uy).abs() - self.half[1] - long * sin - wide * cos;
        along.max(across)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::geometry::plane::between;

    proptest! {
        #[test]
        fn no_two_chords_are_nearer_than_the_rectangles_round_them(
            one in prop::collection::vec((-9.0_f64..9.0, -9.0_f64..9.0), 2..9),
            other in prop::collection::vec((-9.0_f64..9.0, -9.0_f64..9.0), 2..9),
            far in 0.0_f64..20.0,
        ) {
            let points = |all: &[(f64, f64)], by: f64| -> Vec<Point> {
                all.iter().map(|(x, y)| Point::new(x + by, y - by / 3.0)).collect()
            };
            let (one, other) = (points(&one, 0.0), points(&other, far));
            let slab = |points: &[Point]| {
                Slab::round(Strand { points, closed: false }, 0..points.len() - 1)
            };
            let gap = slab(&one).gap(&slab(&other));
            let least = one
                .windows(2)
                .flat_map(|a| other.windows(2).map(move |b| between(a[0], a[1], b[0], b[1]).0))
                .fold(f64::INFINITY, f64::min);
            prop_assert!(gap <= least, "{gap} {least}");
            // Of two straight pieces beside each other it is the distance itself.
            let line = |y: f64| vec![Point::new(0.0, y), Point::new(3.0, y + 4.0)];
            let off = slab(&line(0.0)).gap(&slab(&line(far)));
            prop_assert!((off - far * 0.6).abs() < 1e-5, "{off} {far}");
        }
    }
}
