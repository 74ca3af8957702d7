//! Cells of metal, 64 to a word, in tiles that exist only where something was taken away.

use std::collections::BTreeMap;

use units::Point;

/// Side of a cell, mm.
pub(super) const CELL_MM: f64 = 0.1;
/// Rows of a tile; its one column of words is 64 cells wide.
pub(super) const TILE: i64 = 64;

/// Bit set: the cell is gone.
pub(super) type Tile = [u64; 64];

#[derive(Clone, Debug)]
pub(super) struct Grid {
    corner: Point,
    /// Cells of the sheet along X and Y.
    pub(super) cells: (i64, i64),
    /// By row and column of tiles.
    gone: BTreeMap<(i64, i64), Box<Tile>>,
}

impl Grid {
    pub(super) fn new(corner: Point, size: Point) -> Self {
        let count = |mm: f64| (mm / CELL_MM).round().clamp(0.0, 1e9) as i64;
        Self {
            corner,
            cells: (count(size.x), count(size.y)),
            gone: BTreeMap::new(),
        }
    }

    /// The lower left corner of a cell.
    pub(super) fn place(&self, (x, y): (i64, i64)) -> Point {
        self.corner.moved(x as f64 * CELL_MM, y as f64 * CELL_MM)
    }

    /// Where a place lies, in cells from the corner: the middle of the first cell is at 0.5.
    fn in_cells(&self, p: Point) -> (f64, f64) {
        (
            (p.x - self.corner.x) / CELL_MM,
            (p.y - self.corner.y) / CELL_MM,
        )
    }

    /// The cell of a place, which may lie beyond the sheet.
    pub(super) fn cell(&self, p: Point) -> (i64, i64) {
        let (x, y) = self.in_cells(p);
        (x.floor() as i64, y.floor() as i64)
    }

    pub(super) fn metal_at(&self, p: Point) -> bool {
        let (x, y) = self.cell(p);
        self.word(y, x.div_euclid(TILE)) >> x.rem_euclid(TILE) & 1 == 1
    }

    /// Metal in a row, the cells `column` x 64 and on.
    pub(super) fn word(&self, row: i64, column: i64) -> u64 {
        let whole = self.whole(row, column);
        if whole == 0 {
            return 0;
        }
        let tile = self.gone.get(&(row.div_euclid(TILE), column));
        whole & !tile.map_or(0, |t| t[row.rem_euclid(TILE) as usize])
    }

    /// What was metal there before anything was cut.
    fn whole(&self, row: i64, column: i64) -> u64 {
        if !(0..self.cells.1).contains(&row) {
            return 0;
        }
        let first = column * TILE;
        let (low, high) = ((-first).clamp(0, 64), (self.cells.0 - first).clamp(0, 64));
        below(high) & !below(low)
    }

    /// Metal of the tile, row by row.
    pub(super) fn tile(&self, at: (i64, i64)) -> Tile {
        let gone = self.gone.get(&at);
        core::array::from_fn(|k| {
            let whole = self.whole(at.0 * TILE + k as i64, at.1);
            whole & !gone.map_or(0, |t| t[k])
        })
    }

    /// Takes these cells of a tile away.
    pub(super) fn take_cells(&mut self, at: (i64, i64), cells: impl Iterator<Item = (usize, u64)>) {
        let tile = self.gone.entry(at).or_insert_with(|| Box::new([0; 64]));
        for (row, bits) in cells {
            tile[row] |= bits;
        }
    }

    /// Takes away what lies within `radius` mm of the stretch between two places.
    pub(super) fn take(&mut self, from: Point, to: Point, radius: f64) {
        let (a, b) = (self.in_cells(from), self.in_cells(to));
        let r = radius / CELL_MM;
        let low = (a.1.min(b.1) - r - 0.5).ceil().max(0.0) as i64;
        let high = (a.1.max(b.1) + r - 0.5)
            .floor()
            .min(self.cells.1 as f64 - 1.0) as i64;
        for row in low..=high {
            let Some((x0, x1)) = chord(a, b, r, row as f64 + 0.5) else {
                continue;
            };
            let first = (x0 - 0.5).ceil().max(0.0) as i64;
            let last = (x1 - 0.5).floor().min(self.cells.0 as f64 - 1.0) as i64;
            self.take_row(row, first, last);
        }
    }

    fn take_row(&mut self, row: i64, first: i64, last: i64) {
        let mut at = first;
        while at <= last {
            let column = at.div_euclid(TILE);
            let end = last.min(column * TILE + TILE - 1);
            let bits = below(end - column * TILE + 1) & !below(at - column * TILE);
            let key = (row.div_euclid(TILE), column);
            self.take_cells(key, core::iter::once((row.rem_euclid(TILE) as usize, bits)));
            at = end + 1;
        }
    }

    /// From a place to the nearest metal, mm; `far` if there is none nearer.
    pub(super) fn distance(&self, p: Point, far: f64) -> f64 {
        let (x, y) = self.in_cells(p);
        let (column, row) = self.cell(p);
        let mut best = far / CELL_MM;
        for away in 0.. {
            // The middle of a cell that many rows away is at least so far.
            if away as f64 - 0.5 > best {
                break;
            }
            for row in [row + away, row - away] {
                let dy = row as f64 + 0.5 - y;
                for cell in self.nearest_in_row(row, column, best.ceil() as i64 + 1) {
                    let dx = cell as f64 + 0.5 - x;
                    // Its edge is half a cell nearer than its middle.
                    best = best.min((dx.hypot(dy) - 0.5).max(0.0));
                }
            }
        }
        best * CELL_MM
    }

    /// The nearest cells of metal of a row on either side of a cell (or that cell).
    fn nearest_in_row(&self, row: i64, cell: i64, reach: i64) -> impl Iterator<Item = i64> {
        let (column, bit) = (cell.div_euclid(TILE), cell.rem_euclid(TILE));
        let columns = reach / TILE + 1;
        let right = (column..=column + columns).find_map(|c| {
            let keep = if c == column { !below(bit) } else { u64::MAX };
            let word = self.word(row, c) & keep;
            (word != 0).then(|| c * TILE + i64::from(word.trailing_zeros()))
        });
        let left = (column - columns..=column).rev().find_map(|c| {
            let keep = if c == column {
                below(bit + 1)
            } else {
                u64::MAX
            };
            let word = self.word(row, c) & keep;
            (word != 0).then(|| c * TILE + 63 - i64::from(word.leading_zeros()))
        });
        [right, left].into_iter().flatten()
    }
}

/// The lowest `n` bits.
pub(super) fn below(n: i64) -> u64 {
    match n {
        ..=0 => 0,
        64.. => u64::MAX,
        n => (1 << n) - 1,
    }
}

/// Where a row meets all that is within `r` of a stretch, in cells.
fn chord(a: (f64, f64), b: (f64, f64), r: f64, y: f64) -> Option<(f64, f64)> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut join = |x: f64| {
        low = low.min(x);
        high = high.max(x);
    };
    for end in [a, b] {
        let half = r * r - (y - end.1) * (y - end.1);
        if half >= 0.0 {
            join(end.0 - half.sqrt());
            join(end.0 + half.sqrt());
        }
    }
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let length = dx.hypot(dy);
    if dy.abs() > 1e-12 {
        for side in [-r, r] {
            let off = (-dy / length * side, dx / length * side);
            let part = (y - a.1 - off.1) / dy;
            if (0.0..=1.0).contains(&part) {
                join(a.0 + off.0 + dx * part);
            }
        }
    }
    (low <= high).then_some((low, high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn grid() -> Grid {
        Grid::new(Point::new(10.0, 20.0), Point::new(60.0, 40.0))
    }

    #[test]
    fn a_whole_sheet_ends_at_its_edges() {
        let grid = grid();
        let far = |x, y| grid.distance(Point::new(x, y), 4.0);
        assert_eq!(far(10.05, 20.05), 0.0);
        assert_eq!(far(69.95, 59.95), 0.0);
        assert!((far(8.0, 30.0) - 2.0).abs() < 0.06, "{}", far(8.0, 30.0));
        assert!((far(71.0, 61.0) - 1.414).abs() < 0.06);
        assert_eq!(far(0.0, 0.0), 4.0);
    }

    proptest! {
        /// Against the plain meaning of it: a cell is gone if its middle is within the radius.
        #[test]
        fn what_is_taken_is_what_lies_within_the_radius(
            (ax, ay, bx, by) in (5.0..75.0_f64, 15.0..65.0_f64, -3.0..3.0_f64, -3.0..3.0_f64),
            radius in 0.1..1.5_f64,
            (x, y) in (-2.0..2.0_f64, -2.0..2.0_f64),
        ) {
            let mut grid = grid();
            let (a, b) = (Point::new(ax, ay), Point::new(ax + bx, ay + by));
            grid.take(a, b, radius);
            let segment = units::Segment::Line { from: a, to: b };
            for p in [a.moved(x, y), b.moved(x, y)] {
                let (i, j) = grid.cell(p);
                let middle = Point::new(
                    10.0 + (i as f64 + 0.5) * CELL_MM,
                    20.0 + (j as f64 + 0.5) * CELL_MM,
                );
                let on = (0..600).contains(&i) && (0..400).contains(&j);
                let off = segment.nearest(middle).1 - radius;
                if off.abs() > 1e-6 {
                    prop_assert_eq!(grid.metal_at(p), on && off > 0.0, "{:?} {}", p, off);
                }
            }
        }

        /// In the middle of a hole the nearest metal is its rim.
        #[test]
        fn the_nearest_metal_of_a_hole_is_its_rim(
            (x, y) in (20.0..60.0_f64, 30.0..50.0_f64),
            radius in 0.2..6.0_f64,
            (part, turn) in (0.0..1.0_f64, 0.0..6.3_f64),
        ) {
            let mut grid = grid();
            let centre = Point::new(x, y);
            grid.take(centre, centre, radius);
            let p = centre.moved(part * radius * turn.cos(), part * radius * turn.sin());
            let rim = (radius * (1.0 - part)).min(4.0);
            let told = grid.distance(p, 4.0);
            prop_assert!((told - rim).abs() < 0.15, "{} {}", told, rim);
        }
    }
}
