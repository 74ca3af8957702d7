//! How large a piece is, as a person measures it: along its own axes, whichever way it lies.

use units::{Bounds, Point};

use super::grid::{Grid, MORE_MM};
use super::split::{NONE, Split};

/// What a piece measures.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Size {
    /// The smallest rectangle round it: its longer and its shorter side, mm.
    pub sides_mm: [f64; 2],
    /// Its greatest length, mm: a rectangle's diagonal.
    pub length_mm: f64,
    /// Its least width, mm.
    pub width_mm: f64,
}

impl Size {
    /// Of a shape, by the corners of its outline.
    pub fn of(points: &[Point]) -> Self {
        let hull = hull(points);
        let mut size = Self {
            width_mm: f64::INFINITY,
            ..Self::default()
        };
        for (i, p) in hull.iter().enumerate() {
            for q in &hull[i + 1..] {
                size.length_mm = size.length_mm.max(p.distance(*q));
            }
        }
        let mut least = f64::INFINITY;
        for (i, p) in hull.iter().enumerate() {
            // The smallest rectangle and the least width lie along a side of the hull.
            let q = hull[(i + 1) % hull.len()];
            let d = p.distance(q);
            if d <= 0.0 {
                continue;
            }
            let (ux, uy) = ((q.x - p.x) / d, (q.y - p.y) / d);
            let (along, across) = (extent(&hull, ux, uy), extent(&hull, -uy, ux));
            size.width_mm = size.width_mm.min(across);
            if along * across < least {
                least = along * across;
                size.sides_mm = [along.max(across), along.min(across)];
            }
        }
        if least.is_infinite() {
            size.width_mm = 0.0;
        }
        size
    }

    /// The same with every edge moved out by so many mm.
    pub fn grown(mut self, by_mm: f64) -> Self {
        let grow = |mm: f64| (mm + 2.0 * by_mm).max(0.0);
        self.sides_mm = self.sides_mm.map(grow);
        self.length_mm = grow(self.length_mm);
        self.width_mm = grow(self.width_mm);
        self
    }
}

fn extent(hull: &[Point], ux: f64, uy: f64) -> f64 {
    let ends = hull
        .iter()
        .map(|p| p.x * ux + p.y * uy)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| {
            (low.min(d), high.max(d))
        });
    ends.1 - ends.0
}

/// The corners of the smallest convex shape round some places, anticlockwise.
fn hull(points: &[Point]) -> Vec<Point> {
    let mut all = points.to_vec();
    all.sort_by(|p, q| p.y.total_cmp(&q.y).then(p.x.total_cmp(&q.x)));
    all.dedup();
    if all.len() < 3 {
        return all;
    }
    let mut hull: Vec<Point> = Vec::new();
    let mut side = |places: &mut dyn Iterator<Item = Point>| {
        let first = hull.len();
        for p in places {
            while let [.., a, b] = hull[first..]
                && (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x) <= 0.0
            {
                hull.pop();
            }
            hull.push(p);
        }
        // The last one begins the other side.
        hull.pop();
    };
    side(&mut all.iter().copied());
    side(&mut all.iter().rev().copied());
    hull
}

/// The sizes of all pieces as they come free, by their numbers; of `main` none is asked for.
pub(super) fn sizes(grid: &Grid, split: &Split, main: u32) -> Vec<Size> {
    // By piece and row: the middles of its first and last cell.
    let mut rows: Vec<Vec<Point>> = vec![Vec::new(); split.parts.len()];
    let cell = grid.cell_mm;
    for (row, pair) in grid.rows.windows(2).enumerate() {
        let y = (row as f64 + 0.5) * cell;
        for run in pair[0] as usize..pair[1] as usize {
            let mut part = split.of_run[run];
            let from = (f64::from(grid.from[run]) + 0.5) * cell;
            let to = (f64::from(grid.end_of(run, row)) - 0.5) * cell;
            while part != NONE && part != main {
                let ends = &mut rows[part as usize];
                match ends.as_mut_slice() {
                    [.., first, last] if last.y == y => {
                        (first.x, last.x) = (first.x.min(from), last.x.max(to));
                    }
                    _ => ends.extend([Point::new(from, y), Point::new(to, y)]),
                }
                part = split.parts[part as usize].from;
            }
        }
    }
    // The edge lies, on the average, a quarter of a cell beyond the middle of the outermost cell that
    // is left, and by what a kerf counts as wider.
    let beyond = cell / 4.0 + MORE_MM;
    rows.iter()
        .map(|ends| Size::of(ends).grown(beyond))
        .collect()
}

/// What is inside a closed path measures, if that is the piece: its kerf taken off.
pub(crate) fn inside(
    path: &[Point],
    bounds: &Bounds,
    piece: &Bounds,
    kerf_mm: f64,
) -> Option<Size> {
    /// A piece's bounds are known within this, mm: at a sharp corner the kerf takes more than its half.
    const KNOWN_MM: f64 = 2.0;
    let half = kerf_mm / 2.0;
    let off = [
        piece.low.x - bounds.low.x - half,
        piece.low.y - bounds.low.y - half,
        bounds.high.x - half - piece.high.x,
        bounds.high.y - half - piece.high.y,
    ];
    off.iter()
        .all(|d| d.abs() <= KNOWN_MM)
        .then(|| Size::of(path).grown(-half))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turned(points: &[(f64, f64)], deg: f64) -> Vec<Point> {
        let (sin, cos) = deg.to_radians().sin_cos();
        points
            .iter()
            .map(|(x, y)| Point::new(x * cos - y * sin, x * sin + y * cos))
            .collect()
    }

    #[test]
    fn a_shape_measures_the_same_whichever_way_it_lies() {
        let angle = [
            (0.0, 0.0),
            (120.0, 0.0),
            (120.0, 30.0),
            (30.0, 30.0),
            (30.0, 80.0),
            (0.0, 80.0),
        ];
        for deg in 0..180 {
            let size = Size::of(&turned(&angle, f64::from(deg)));
            for (is, should) in [
                (size.sides_mm[0], 120.0),
                (size.sides_mm[1], 80.0),
                (size.length_mm, 144.222),
            ] {
                assert!((is - should).abs() < 1e-3, "{deg}: {size:?}");
            }
        }
        assert_eq!(Size::of(&[]), Size::default());
        assert_eq!(Size::of(&[Point::new(1.0, 2.0)]).width_mm, 0.0);
    }

    #[test]
    fn a_hull_holds_every_place_and_has_corners_only() {
        let mut all: Vec<Point> = (0..200)
            .map(|k| f64::from(k) * 2.4)
            .map(|a| Point::new(a.cos() * (a % 7.0), a.sin() * (a % 7.0)))
            .collect();
        all.extend(turned(
            &[
                (-9.0, -9.0),
                (9.0, -9.0),
                (9.0, 9.0),
                (-9.0, 9.0),
                (0.0, 9.0),
            ],
            0.0,
        ));
        let hull = hull(&all);
        assert_eq!(hull.len(), 4, "{hull:?}");
        for (i, a) in hull.iter().enumerate() {
            let b = hull[(i + 1) % hull.len()];
            let left = |p: &Point| (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x) >= -1e-9;
            assert!(all.iter().all(left), "{hull:?}");
        }
    }
}
