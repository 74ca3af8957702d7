//! The sheet as rows of runs, each with the moment at which it is cut away.
//!
//! A cell counts as cut away when its middle lies within half a kerf **and a little more** of a
//! path. With cells of at most 0.45 mm and 0.15 mm more, a bridge of 1.0 mm always holds (what is
//! left of it, 0.7 mm less the flattening of arcs, is wider than the diagonal of a cell, 0.64 mm) and
//! one of 0.3 mm never does (nothing is left of it).

use units::Point;

use super::strand::{Strand, Strands, Tick};
use crate::flat::{Flat, Line};

/// Cells are no larger, mm; nor than a third of the kerf.
const CELL_MM: f64 = 0.45;
/// Nor smaller, mm: no plasma cuts a slot so fine that it mattered.
const FINEST_MM: f64 = 0.1;
/// A kerf counts as wider by this on each side, mm.
pub(crate) const MORE_MM: f64 = 0.15;
/// So many cells of kerf are laid at most: beyond that the program is no cutting program.
const MOST_CELLS: f64 = 4e8;

/// The hole of a pierce is a disc of 1.6 kerfs across: so many kerfs more than the kerf, on each side.
pub(crate) const PIERCE_MORE: f64 = 0.3;

/// This is never cut away.
pub(crate) const METAL: Tick = Tick::MAX;
/// Here is no metal from the start.
pub(crate) const NEVER: Tick = 0;

/// The sheet in rows of runs.
#[derive(Debug)]
pub(crate) struct Grid {
    pub cell_mm: f64,
    pub columns: u32,
    /// Where each row begins among the runs; one more at the end.
    pub rows: Vec<u32>,
    /// The first column of each run.
    pub from: Vec<u32>,
    /// When each run is cut away.
    pub value: Vec<Tick>,
}

/// What of a row is cut away by one strand.
type Stroke = (u32, u32, Tick);

/// What the grid is laid from.
pub(crate) struct Laying<'a> {
    pub size: Point,
    pub kerf_mm: f64,
    pub flat: &'a Flat,
    pub strands: &'a Strands,
    pub used: &'a [Vec<Point>],
}

impl Grid {
    /// Lays it; `None`: there is too much path for it.
    pub fn new(l: &Laying<'_>) -> Option<Self> {
        let cell = (l.kerf_mm / 3.0).clamp(FINEST_MM, CELL_MM);
        let radius = l.kerf_mm / 2.0 + MORE_MM;
        lay(l, cell, radius, MORE_MM, |lay, strand, line| {
            let mut a = line.at(strand.from_mm);
            let first = line.index_at(strand.from_mm + 1e-9);
            for i in first..line.points.len() {
                let last = line.along[i] >= strand.to_mm;
                let b = if last {
                    line.at(strand.to_mm)
                } else {
                    line.points[i]
                };
                lay.capsule(a, b, radius);
                a = b;
                if last {
                    break;
                }
            }
        })
    }

    /// Lays it in coarse cells, each strand as one straight piece of the given half width, edges drawn
    /// in by `edge`.
    pub fn coarse(l: &Laying<'_>, cell: f64, radius: f64, edge: f64) -> Option<Self> {
        lay(l, cell, radius, edge, |lay, strand, line| {
            lay.capsule(line.at(strand.from_mm), line.at(strand.to_mm), radius);
        })
    }

    /// The run that holds a place; `None`: off the sheet.
    pub fn run_at(&self, p: Point) -> Option<usize> {
        let (row, column) = (p.y / self.cell_mm, p.x / self.cell_mm);
        if !(row >= 0.0 && column >= 0.0) || column >= f64::from(self.columns) {
            return None;
        }
        self.run_in(row as usize, column as u32)
    }

    fn run_in(&self, row: usize, column: u32) -> Option<usize> {
        let (&a, &b) = (self.rows.get(row)?, self.rows.get(row + 1)?);
        let own = &self.from[a as usize..b as usize];
        Some(a as usize + own.partition_point(|x| *x <= column).checked_sub(1)?)
    }

    /// Where a run ends: the first column behind it.
    pub fn end_of(&self, run: usize, row: usize) -> u32 {
        let last = self
            .rows
            .get(row + 1)
            .is_none_or(|e| run + 1 >= *e as usize);
        if last {
            self.columns
        } else {
            self.from[run + 1]
        }
    }

    /// The runs with a cell whose middle lies within `radius` of a place.
    pub fn runs_near(&self, p: Point, radius: f64, mut seen: impl FnMut(usize) -> bool) {
        let c = self.cell_mm;
        let low = ((p.y - radius) / c - 0.5).ceil().max(0.0) as usize;
        let high = ((p.y + radius) / c - 0.5).floor();
        if high < 0.0 {
            return;
        }
        for row in low..=(high as usize).min(self.rows.len().saturating_sub(2)) {
            let dy = (row as f64 + 0.5) * c - p.y;
            let half = (radius * radius - dy * dy).max(0.0).sqrt();
            let first = ((p.x - half) / c - 0.5).ceil().max(0.0);
            let last = ((p.x + half) / c - 0.5)
                .floor()
                .min(f64::from(self.columns) - 1.0);
            if first > last {
                continue;
            }
            let Some(mut run) = self.run_in(row, first as u32) else {
                continue;
            };
            let end = self.rows[row + 1] as usize;
            while run < end && f64::from(self.from[run]) <= last {
                if seen(run) {
                    return;
                }
                run += 1;
            }
        }
    }
}

/// Lays all strands, each as `draw` says.
fn lay(
    l: &Laying<'_>,
    cell: f64,
    radius: f64,
    edge: f64,
    draw: impl Fn(&mut Lay, &Strand, &Line<'_>),
) -> Option<Grid> {
    let total: f64 = (0..l.flat.cuts()).map(|c| l.flat.line(c).length()).sum();
    let cells = (total + radius) * radius * 2.0 / (cell * cell);
    if cells > MOST_CELLS {
        return None;
    }
    let (rows, columns) = (count(l.size.y, cell), count(l.size.x, cell));
    let mut lay = Lay {
        cell,
        columns,
        strokes: vec![Vec::new(); rows as usize],
        local: Vec::new(),
        low: 0,
    };
    let pierced = PIERCE_MORE * l.kerf_mm + radius;
    for (strand, tick) in l.strands.all.iter().zip(1_u32..) {
        let line = l.flat.line(strand.cut as usize);
        if line.points.is_empty() {
            continue;
        }
        if strand.from_mm <= 0.0 {
            lay.capsule(line.points[0], line.points[0], pierced);
        }
        draw(&mut lay, strand, &line);
        lay.emit(tick);
    }
    let used: Vec<Vec<(u32, u32)>> = spans_of(l.used, rows, cell, columns);
    let margin = |n: u32| {
        (0..n)
            .take_while(|i| (f64::from(*i) + 0.5) * cell < edge)
            .count() as u32
    };
    Some(lay.finish(&used, margin(columns), margin(rows)))
}

fn count(size: f64, cell: f64) -> u32 {
    (size / cell).ceil().max(1.0) as u32
}

struct Lay {
    cell: f64,
    columns: u32,
    strokes: Vec<Vec<Stroke>>,
    /// Of the strand at hand: spans by row, from row `low`.
    local: Vec<Vec<(u32, u32)>>,
    low: usize,
}

impl Lay {
    /// Adds all cells within `r` of the straight piece `a`-`b`.
    fn capsule(&mut self, a: Point, b: Point, r: f64) {
        let c = self.cell;
        let top = self.strokes.len() as f64;
        let first = ((a.y.min(b.y) - r) / c - 0.5).ceil().max(0.0);
        let last = ((a.y.max(b.y) + r) / c - 0.5).floor().min(top - 1.0);
        if first > last || (last - first).is_nan() {
            return;
        }
        let (dx, dy) = (b.x - a.x, b.y - a.y);
        let length = dx.hypot(dy);
        let (nx, ny) = if length > 0.0 {
            (-dy / length * r, dx / length * r)
        } else {
            (0.0, 0.0)
        };
        for row in first as usize..=last as usize {
            let y = (row as f64 + 0.5) * c;
            let mut span = (f64::INFINITY, f64::NEG_INFINITY);
            let mut hold = |x0: f64, x1: f64| span = (span.0.min(x0), span.1.max(x1));
            for p in [a, b] {
                let off = y - p.y;
                if off.abs() <= r {
                    let half = (r * r - off * off).sqrt();
                    hold(p.x - half, p.x + half);
                }
            }
            if length > 0.0 && dy != 0.0 {
                for side in [1.0, -1.0] {
                    let part = (y - (a.y + side * ny)) / dy;
                    if (0.0..=1.0).contains(&part) {
                        let x = a.x + side * nx + part * dx;
                        hold(x, x);
                    }
                }
            }
            let x0 = (span.0 / c - 0.5).ceil().max(0.0);
            let x1 = (span.1 / c - 0.5)
                .floor()
                .min(f64::from(self.columns) - 1.0);
            if x0 <= x1 {
                self.hold(row, x0 as u32, x1 as u32 + 1);
            }
        }
    }

    fn hold(&mut self, row: usize, from: u32, to: u32) {
        if self.local.is_empty() {
            self.low = row;
        }
        while row < self.low {
            self.local.insert(0, Vec::new());
            self.low -= 1;
        }
        let slot = row - self.low;
        if self.local.len() <= slot {
            self.local.resize(slot + 1, Vec::new());
        }
        let spans = &mut self.local[slot];
        match spans.last_mut() {
            Some(last) if from <= last.1 && to >= last.0 => {
                *last = (last.0.min(from), last.1.max(to));
            }
            _ => spans.push((from, to)),
        }
    }

    fn emit(&mut self, tick: Tick) {
        for (spans, row) in self.local.iter_mut().zip(self.low..) {
            self.strokes[row].extend(spans.drain(..).map(|(a, b)| (a, b, tick)));
        }
        self.local.clear();
    }

    /// Paints each row, the first strand to come on top, and cuts it into runs.
    fn finish(self, used: &[Vec<(u32, u32)>], side: u32, end: u32) -> Grid {
        let mut grid = Grid {
            cell_mm: self.cell,
            columns: self.columns,
            rows: Vec::with_capacity(self.strokes.len() + 1),
            from: Vec::new(),
            value: Vec::new(),
        };
        let mut row_cells = vec![METAL; self.columns as usize];
        let mut breaks: Vec<u32> = Vec::new();
        let n = self.strokes.len();
        for (row, strokes) in self.strokes.into_iter().enumerate() {
            grid.rows.push(grid.from.len() as u32);
            if row < end as usize || row + (end as usize) >= n {
                grid.from.push(0);
                grid.value.push(NEVER);
                continue;
            }
            let inner = (side, self.columns.saturating_sub(side).max(side));
            let edges = [(0, inner.0), (inner.1, self.columns)];
            let gone = used.get(row).into_iter().flatten().chain(&edges);
            breaks.clear();
            breaks.push(0);
            for &(a, b, tick) in strokes.iter().rev() {
                row_cells[a as usize..b as usize].fill(tick);
                breaks.extend([a, b]);
            }
            for &(a, b) in gone.clone() {
                row_cells[a as usize..b as usize].fill(NEVER);
                breaks.extend([a, b]);
            }
            breaks.sort_unstable();
            breaks.dedup();
            let mut before = None;
            for &x in &breaks {
                let Some(&value) = row_cells.get(x as usize) else {
                    continue;
                };
                if before != Some(value) {
                    grid.from.push(x);
                    grid.value.push(value);
                    before = Some(value);
                }
            }
            for &(a, b, _) in &strokes {
                row_cells[a as usize..b as usize].fill(METAL);
            }
            for &(a, b) in gone {
                row_cells[a as usize..b as usize].fill(METAL);
            }
        }
        grid.rows.push(grid.from.len() as u32);
        grid
    }
}

/// The cells inside outlines, row by row.
fn spans_of(outlines: &[Vec<Point>], rows: u32, cell: f64, columns: u32) -> Vec<Vec<(u32, u32)>> {
    let mut all: Vec<Vec<(u32, u32)>> = Vec::new();
    if outlines.is_empty() {
        return all;
    }
    all.resize(rows as usize, Vec::new());
    for outline in outlines {
        for (spans, row) in all.iter_mut().zip(0..rows) {
            let y = (f64::from(row) + 0.5) * cell;
            let next = outline.iter().cycle().skip(1);
            let mut xs: Vec<f64> = outline
                .iter()
                .zip(next)
                .filter(|(p, q)| (p.y > y) != (q.y > y))
                .map(|(p, q)| p.x + (y - p.y) / (q.y - p.y) * (q.x - p.x))
                .collect();
            xs.sort_by(f64::total_cmp);
            for pair in xs.chunks_exact(2) {
                let a = (pair[0] / cell - 0.5).ceil().clamp(0.0, f64::from(columns)) as u32;
                let b = (pair[1] / cell - 0.5).floor() + 1.0;
                let b = b.clamp(0.0, f64::from(columns)) as u32;
                if a < b {
                    spans.push((a, b));
                }
            }
        }
    }
    all
}
