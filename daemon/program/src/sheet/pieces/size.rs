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
        Self::of_hull(&hull(points.to_vec()))
    }

    /// Of a convex shape, its corners anticlockwise. The smallest rectangle and the least width lie
    /// along a side, and the farthest corners face each other across it: as the side goes round, the
    /// corners that are outermost beside it go round with it.
    fn of_hull(hull: &[Point]) -> Self {
        let n = hull.len();
        let at = |k: usize| hull[k % n];
        if n < 3 {
            let length_mm = hull.first().map_or(0.0, |p| p.distance(hull[n - 1]));
            return Self {
                sides_mm: [length_mm, 0.0],
                length_mm,
                width_mm: 0.0,
            };
        }
        let mut size = Self {
            width_mm: f64::INFINITY,
            ..Self::default()
        };
        let mut least = f64::INFINITY;
        let (mut right, mut top, mut left) = (1, 1, 1);
        for i in 0..n {
            let (p, q) = (at(i), at(i + 1));
            let d = p.distance(q);
            if d <= 0.0 {
                continue;
            }
            let (ux, uy) = ((q.x - p.x) / d, (q.y - p.y) / d);
            let along = |k: usize| at(k).x * ux + at(k).y * uy;
            let across = |k: usize| at(k).y * ux - at(k).x * uy;
            right = outermost(right.max(i + 1), i + n, along);
            top = outermost(top.max(right), i + n, across);
            left = outermost(left.max(top), i + n, |k| -along(k));
            let sides = [along(right) - along(left), across(top) - across(i)];
            for k in [top, top + 1] {
                let far = p.distance(at(k)).max(q.distance(at(k)));
                size.length_mm = size.length_mm.max(far);
            }
            size.width_mm = size.width_mm.min(sides[1]);
            if sides[0] * sides[1] < least {
                least = sides[0] * sides[1];
                size.sides_mm = [sides[0].max(sides[1]), sides[0].min(sides[1])];
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

/// The corner from `from` on, up to `last`, behind which a measure falls again.
fn outermost(from: usize, last: usize, measure: impl Fn(usize) -> f64) -> usize {
    let mut k = from;
    while k < last && measure(k + 1) > measure(k) {
        k += 1;
    }
    k
}

/// The corners of the smallest convex shape round some places, anticlockwise.
fn hull(mut all: Vec<Point>) -> Vec<Point> {
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
    // By piece: the middles of the first and last cell of its own metal in each row.
    let mut ends: Vec<Vec<Point>> = vec![Vec::new(); split.parts.len()];
    let cell = grid.cell_mm;
    for (row, pair) in grid.rows.windows(2).enumerate() {
        let y = (row as f64 + 0.5) * cell;
        for run in pair[0] as usize..pair[1] as usize {
            let part = split.of_run[run];
            if part == NONE || part == main {
                continue;
            }
            let from = (f64::from(grid.from[run]) + 0.5) * cell;
            let to = (f64::from(grid.end_of(run, row)) - 0.5) * cell;
            let own = &mut ends[part as usize];
            match own.as_mut_slice() {
                [.., first, last] if last.y == y => {
                    (first.x, last.x) = (first.x.min(from), last.x.max(to));
                }
                _ => own.extend([Point::new(from, y), Point::new(to, y)]),
            }
        }
    }
    // The edge lies, on the average, a quarter of a cell beyond the middle of the outermost cell that
    // is left, and by what a kerf counts as wider.
    let beyond = cell / 4.0 + MORE_MM;
    let mut sizes = vec![Size::default(); split.parts.len()];
    // What comes free of a piece later was part of it: the innermost come first.
    for &part in split.outermost_first().iter().rev() {
        let hull = hull(core::mem::take(&mut ends[part as usize]));
        sizes[part as usize] = Size::of_hull(&hull).grown(beyond);
        let from = split.parts[part as usize].from;
        if from != NONE && from != main {
            ends[from as usize].extend(hull);
        }
    }
    sizes
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

    proptest::proptest! {
        #[test]
        fn going_round_finds_what_comparing_all_with_all_finds(
            // Whole numbers make ties: sides along each other, corners on one line.
            places in proptest::collection::vec((0_i32..30, 0_i32..30), 3..60),
        ) {
            let places: Vec<Point> =
                places.iter().map(|(x, y)| Point::new(f64::from(*x), f64::from(*y))).collect();
            let size = Size::of(&places);
            let hull = hull(places.clone());
            let far = |p: &Point| places.iter().map(|q| p.distance(*q)).fold(0.0, f64::max);
            let longest = places.iter().map(far).fold(0.0, f64::max);
            proptest::prop_assert!((size.length_mm - longest).abs() < 1e-9, "{size:?} {longest}");
            if hull.len() < 3 {
                return Ok(());
            }
            let extent = |ux: f64, uy: f64| {
                let d = |p: &Point| p.x * ux + p.y * uy;
                let high = hull.iter().map(d).fold(f64::NEG_INFINITY, f64::max);
                high - hull.iter().map(d).fold(f64::INFINITY, f64::min)
            };
            let boxes: Vec<(f64, f64)> = (0..hull.len())
                .map(|i| {
                    let (p, q) = (hull[i], hull[(i + 1) % hull.len()]);
                    let (ux, uy) = ((q.x - p.x) / p.distance(q), (q.y - p.y) / p.distance(q));
                    (extent(ux, uy), extent(-uy, ux))
                })
                .collect();
            let width = boxes.iter().map(|b| b.1).fold(f64::INFINITY, f64::min);
            let area = boxes.iter().map(|b| b.0 * b.1).fold(f64::INFINITY, f64::min);
            proptest::prop_assert!((size.width_mm - width).abs() < 1e-9, "{size:?} {width}");
            let own = size.sides_mm[0] * size.sides_mm[1];
            proptest::prop_assert!((own - area).abs() < 1e-6, "{size:?} {area}");
        }
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
        let hull = hull(all.clone());
        assert_eq!(hull.len(), 4, "{hull:?}");
        for (i, a) in hull.iter().enumerate() {
            let b = hull[(i + 1) % hull.len()];
            let left = |p: &Point| (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x) >= -1e-9;
            assert!(all.iter().all(left), "{hull:?}");
        }
    }
}
