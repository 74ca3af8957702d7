//! Some rows of the sheet's cells while they are painted: straight pieces with round ends, outlines, and
//! the runs that a row falls into.
//!
//! What is painted lies upon what is painted later: a cell keeps its first moment. A path's pieces hang
//! together, so the disc in which one ends is kept for the next, which begins with it.

use units::Point;

use super::strand::{METAL, NEVER, Tick};

/// The first column, and the first behind it.
type Span = [u32; 2];

/// No column: joined with any other span it leaves that as it is.
const NOTHING: Span = [u32::MAX, 0];

/// A disc by rows, in cells.
struct Disc {
    middle: Point,
    r: f64,
    /// Its first row.
    first: u32,
    /// By row.
    spans: Vec<Span>,
}

impl Disc {
    fn none() -> Self {
        Self {
            middle: Point::new(f64::NAN, f64::NAN),
            r: 0.0,
            first: 0,
            spans: Vec::new(),
        }
    }

    fn is_at(&self, middle: Point, r: f64) -> bool {
        self.middle == middle && self.r == r
    }

    fn span(&self, row: u32) -> Span {
        let row = row.checked_sub(self.first);
        row.and_then(|k| self.spans.get(k as usize))
            .copied()
            .unwrap_or(NOTHING)
    }
}

/// The least whole number that is not under `v`, 0 at least: `ceil` without a call of the mathematics
/// library where the processor is not asked for more than its least.
fn up(v: f64) -> u32 {
    let whole = v as u32;
    whole.saturating_add(u32::from(f64::from(whole) < v))
}

/// Cells that are looked at together.
const BLOCK: usize = 64;

/// Some rows of cells, each with the first moment at which it is cut away.
pub(super) struct Band {
    cell: f64,
    columns: u32,
    /// The first row.
    low: u32,
    pub rows: u32,
    cells: Vec<Tick>,
    /// By row: a bit for each block that something was painted in.
    painted: Vec<u64>,
    words: usize,
    /// Where the last piece ended, and room for the next.
    discs: [Disc; 2],
}

impl Band {
    pub fn new(cell: f64, columns: u32, rows: u32) -> Self {
        let words = (columns as usize).div_ceil(BLOCK * 64);
        Self {
            cell,
            columns,
            low: 0,
            rows,
            cells: vec![METAL; columns as usize * rows as usize],
            painted: vec![0; words * rows as usize],
            words,
            discs: [Disc::none(), Disc::none()],
        }
    }

    pub fn begin(&mut self, low: u32, rows: u32) {
        (self.low, self.rows) = (low, rows);
        self.discs[0] = Disc::none();
    }

    /// From where to where along Y the middles of its cells lie.
    pub fn heights(&self) -> [f64; 2] {
        let y = |row: u32| (f64::from(row) + 0.5) * self.cell;
        [y(self.low), y(self.low + self.rows - 1)]
    }

    /// Takes the columns `from` to `to` (left out) of a row away at a moment, where they are not
    /// taken away before it.
    pub fn paint(&mut self, row: u32, from: u32, to: u32, tick: Tick) {
        if from >= to {
            return;
        }
        // Cells are painted several at a time.
        crate::work::count(1 + (to - from) as usize / 8);
        let row = (row - self.low) as usize;
        let first = row * self.columns as usize;
        for cell in &mut self.cells[first + from as usize..first + to as usize] {
            *cell = (*cell).min(tick);
        }
        let bits = &mut self.painted[row * self.words..(row + 1) * self.words];
        for block in from as usize / BLOCK..=(to as usize - 1) / BLOCK {
            bits[block / 64] |= 1 << (block % 64);
        }
    }

    /// Takes all cells within `r` of the straight piece `a`-`b` away. Where the piece goes on from the one
    /// before, the disc about `a` has been painted: only what lies beyond it is.
    pub fn capsule(&mut self, a: Point, b: Point, r: f64, tick: Tick) {
        crate::work::count(1);
        let (a, b, r) = (self.in_cells(a), self.in_cells(b), r / self.cell);
        if !self.discs[0].is_at(a, r) {
            self.disc(a, r);
            self.discs.swap(0, 1);
            for k in 0..self.discs[0].spans.len() {
                let [from, to] = self.discs[0].spans[k];
                self.paint(self.discs[0].first + k as u32, from, to, tick);
            }
        }
        let (dx, dy) = (b.x - a.x, b.y - a.y);
        let length = (dx * dx + dy * dy).sqrt();
        if length > 0.0 {
            self.disc(b, r);
            let (nx, ny) = (-dy / length * r, dx / length * r);
            let (each, slope) = (1.0 / dy, dx / dy);
            for row in self.rows_of(a.y.min(b.y) - r, a.y.max(b.y) + r) {
                let [near, far] = [0, 1].map(|k| self.discs[k].span(row));
                let [mut from, mut to] = [near[0].min(far[0]), near[1].max(far[1])];
                // Where the row crosses the sides. Along a row they cross none: `each` is infinite.
                for side in [1.0, -1.0] {
                    let up_from_a = f64::from(row) - (a.y + side * ny);
                    if (0.0..=1.0).contains(&(up_from_a * each)) {
                        let crossed = self.span(a.x + side * nx + up_from_a * slope, 0.0);
                        (from, to) = (from.min(crossed[0]), to.max(crossed[1]));
                    }
                }
                if near == NOTHING {
                    self.paint(row, from, to, tick);
                } else {
                    self.paint(row, from, near[0], tick);
                    self.paint(row, near[1], to, tick);
                }
            }
            self.discs.swap(0, 1);
        }
    }

    /// A place in cells: whole numbers are their middles.
    fn in_cells(&self, p: Point) -> Point {
        Point::new(p.x / self.cell - 0.5, p.y / self.cell - 0.5)
    }

    /// The band's rows whose middles lie between two heights, in cells.
    fn rows_of(&self, low: f64, high: f64) -> core::ops::Range<u32> {
        if high < 0.0 || (high - low).is_nan() {
            return 0..0;
        }
        up(low).max(self.low)..(high as u32).saturating_add(1).min(self.low + self.rows)
    }

    /// The columns whose middles lie within `half` of `x`, both in cells; an empty span tells where it is.
    fn span(&self, x: f64, half: f64) -> Span {
        let last = x + half;
        let behind = if last < 0.0 {
            0
        } else {
            (last as u32).saturating_add(1)
        };
        [up(x - half), behind].map(|column| column.min(self.columns))
    }

    /// Works out a disc, as the second one.
    fn disc(&mut self, middle: Point, r: f64) {
        let rows = self.rows_of(middle.y - r, middle.y + r);
        let mut spans = core::mem::take(&mut self.discs[1].spans);
        spans.clear();
        spans.extend(rows.clone().map(|row| {
            let off = f64::from(row) - middle.y;
            self.span(middle.x, (r * r - off * off).max(0.0).sqrt())
        }));
        self.discs[1] = Disc {
            middle,
            r,
            first: rows.start,
            spans,
        };
    }

    /// Takes all cells inside an outline away from the start.
    pub fn fill(&mut self, outline: &[Point]) {
        let (cell, columns) = (self.cell, f64::from(self.columns));
        let middle = |row: u32| (f64::from(row) + 0.5) * cell;
        let end = self.low + self.rows;
        let mut crossed: Vec<(u32, f64)> = Vec::new();
        for (p, q) in outline.iter().zip(outline.iter().cycle().skip(1)) {
            let row = |y: f64| (y / cell).clamp(f64::from(self.low), f64::from(end)) as u32;
            let (first, last) = (row(p.y.min(q.y)), row(p.y.max(q.y)));
            crate::work::count(1 + (last - first) as usize);
            for row in first.saturating_sub(1).max(self.low)..(last + 1).min(end) {
                let y = middle(row);
                if (p.y > y) != (q.y > y) {
                    crossed.push((row, p.x + (y - p.y) / (q.y - p.y) * (q.x - p.x)));
                }
            }
        }
        crossed.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        // A closed outline crosses every row an even number of times.
        for pair in crossed.chunks_exact(2) {
            let a = (pair[0].1 / cell - 0.5).ceil().clamp(0.0, columns) as u32;
            let b = ((pair[1].1 / cell - 0.5).floor() + 1.0).clamp(0.0, columns) as u32;
            self.paint(pair[0].0, a, b, NEVER);
        }
    }

    /// Cuts a row into runs (where each begins and its value), and leaves it as it was before anything was
    /// painted.
    pub fn runs(&mut self, row: u32, mut found: impl FnMut(u32, Tick)) {
        let row = (row - self.low) as usize;
        let columns = self.columns as usize;
        let cells = &mut self.cells[row * columns..(row + 1) * columns];
        let mut before = None;
        let mut run = |at: usize, value: Tick| {
            if before != Some(value) {
                found(at as u32, value);
                before = Some(value);
            }
        };
        // Where the last block that was looked at ended.
        let mut done = 0;
        for (word, bits) in self.painted[row * self.words..(row + 1) * self.words]
            .iter_mut()
            .enumerate()
        {
            while *bits != 0 {
                let first = (word * 64 + bits.trailing_zeros() as usize) * BLOCK;
                *bits &= *bits - 1;
                if first > done {
                    run(done, METAL);
                }
                done = (first + BLOCK).min(columns);
                crate::work::count(BLOCK / 8);
                for (cell, at) in cells[first..done].iter_mut().zip(first..) {
                    run(at, *cell);
                    *cell = METAL;
                }
            }
        }
        if done < columns {
            run(done, METAL);
        }
    }
}
