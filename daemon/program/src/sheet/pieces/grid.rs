//! The sheet as rows of runs, each with the moment at which it is cut away.
//!
//! A cell counts as cut away when its middle lies within half a kerf **and a little more** of a
//! path. With cells of at most 0.45 mm and 0.15 mm more, a bridge of 1.0 mm always holds (what is
//! left of it, 0.7 mm less the flattening of arcs and 0.02 mm for the places that `straight` leaves out, is
//! wider than the diagonal of a cell, 0.64 mm) and one of 0.3 mm never does (nothing is left of it).

use crate::sheet::pieces::strand::NEVER;
use units::Point;

use super::band::Band;
use super::straight::Straight;
use super::strand::{Strand, Strands, Tick};
use crate::cuts::polylines::{Polyline, Polylines};
use crate::watch::Watch;

/// Cells are no larger, mm; nor than a third of the kerf.
const CELL_MM: f64 = 0.45;
/// Nor smaller, mm: no plasma cuts a slot so fine that it mattered.
const FINEST_MM: f64 = 0.1;
/// A kerf counts as wider by this on each side, mm.
pub(crate) const MORE_MM: f64 = 0.15;
/// So many cells of kerf are laid at most: beyond that the program is no cutting program.
const MOST_CELLS: f64 = 4e8;

/// The sheet is painted so many cells at a time: 32 MB.
const BAND_CELLS: u32 = 8 << 20;
/// A sheet falls into no more runs than this: what follows from them takes 28 bytes a run.
const MOST_RUNS: usize = 4_000_000;
/// The hole of a pierce is a disc of 1.6 kerfs across: so many kerfs more than the kerf, on each side.
pub(crate) const PIERCE_MORE: f64 = 0.3;

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
    directory: Directory,
}

/// By row and block of columns the run that holds the block's first column: where to look for a run,
/// instead of in the whole row.
#[derive(Debug)]
struct Directory {
    /// A block is 2^shift columns wide.
    shift: u32,
    /// Blocks in a row.
    blocks: usize,
    /// Row by row; one more at the end: how many runs there are.
    runs: Vec<u32>,
}

impl Directory {
    /// Of runs with their first columns, rows beginning as `rows` says.
    fn new(rows: &[u32], from: &[u32], columns: u32) -> Self {
        let shift = LEAST_BLOCK.max(columns.div_ceil(MOST_BLOCKS).next_power_of_two().ilog2());
        let blocks = columns.div_ceil(1 << shift).max(1) as usize;
        let mut runs = Vec::with_capacity(rows.len() * blocks);
        for row in rows.windows(2) {
            let (mut run, end) = (row[0] as usize, row[1] as usize);
            for block in 0..blocks {
                let column = (block as u32) << shift;
                while run + 1 < end && from[run + 1] <= column {
                    run += 1;
                }
                runs.push(run as u32);
            }
        }
        crate::work::count(runs.len() / 8);
        runs.push(from.len() as u32);
        Self {
            shift,
            blocks,
            runs,
        }
    }

    /// The run in which the block of a column begins, and the last that the column may lie in.
    fn between(&self, row: usize, column: u32) -> Option<(usize, usize)> {
        let block = (column >> self.shift) as usize;
        let first = row * self.blocks + block;
        let (&a, &b) = (self.runs.get(first)?, self.runs.get(first + 1)?);
        // Behind a row's last block comes the first run of the next row.
        let next_row = u32::from(block + 1 == self.blocks);
        Some((a as usize, (b - next_row) as usize))
    }
}

/// Blocks are at least 2^6 columns wide...
const LEAST_BLOCK: u32 = 6;
/// ... and no more than so many in a row: of a large sheet in fine cells 2.5 MB.
const MOST_BLOCKS: u32 = 32;

/// What the grid is laid from.
pub(crate) struct Laying<'a> {
    pub size: Point,
    pub kerf_mm: f64,
    pub flat: &'a Polylines,
    pub strands: &'a Strands,
    pub used: &'a [Vec<Point>],
}

impl Grid {
    /// Lays it; `None`: there is too much path for it.
    pub fn new(l: &Laying<'_>, watch: &dyn Watch) -> Option<Self> {
        let cell = (l.kerf_mm / 3.0).clamp(FINEST_MM, CELL_MM);
        let radius = l.kerf_mm / 2.0 + MORE_MM;
        lay(l, [cell, radius, MORE_MM], watch, |strand, line, piece| {
            let mut straight = Straight::new(line.at(strand.from_mm));
            let first = line.index_at(strand.from_mm + 1e-9);
            for i in first..line.points.len() {
                let last = line.along[i] >= strand.to_mm;
                let b = if last {
                    line.at(strand.to_mm)
                } else {
                    line.points[i]
                };
                straight.on(b, piece);
                if last {
                    break;
                }
            }
            straight.end(piece);
        })
    }

    /// Lays it in coarse cells, each strand as one straight piece of the given half width, edges drawn
    /// in by `edge`.
    pub fn coarse(
        l: &Laying<'_>,
        [cell, radius, edge]: [f64; 3],
        watch: &dyn Watch,
    ) -> Option<Self> {
        lay(l, [cell, radius, edge], watch, |strand, line, piece| {
            piece(line.at(strand.from_mm), line.at(strand.to_mm));
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

    /// Whether one of the nine cells about a place, itself included, is as `wanted`; also where some of
    /// them are off the sheet.
    ///
    /// A place within half a kerf of a path has such a cell that is cut away with it: from the place go
    /// one cell's width toward the path, or to it. The middle of the cell there is off by at most 0.71
    /// of a cell, and so lies nearer to the path than half a kerf, or at least within 0.71 of a third
    /// of the kerf.
    pub fn any_about(&self, p: Point, wanted: impl Fn(Tick) -> bool) -> bool {
        let (row, column) = (p.y / self.cell_mm, p.x / self.cell_mm);
        let rows = self.rows.len().saturating_sub(1) as f64;
        if row < 1.0 || column < 1.0 || row + 2.0 > rows || column + 2.0 > f64::from(self.columns) {
            return true;
        }
        let (row, column) = (row as usize, column as u32);
        (row - 1..=row + 1).any(|row| {
            let Some(first) = self.run_in(row, column - 1) else {
                return true;
            };
            let end = self.rows[row + 1] as usize;
            let own = self.from[first..end].iter().zip(&self.value[first..end]);
            let mut cells = own.take_while(|(from, _)| **from <= column + 1);
            cells.any(|(_, value)| wanted(*value))
        })
    }

    fn run_in(&self, row: usize, column: u32) -> Option<usize> {
        crate::work::count(1);
        let (first, last) = self.directory.between(row, column)?;
        let behind = self.from.get(first + 1..=last)?;
        Some(first + behind.partition_point(|x| *x <= column))
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
                crate::work::count(1);
                if seen(run) {
                    return;
                }
                run += 1;
            }
        }
    }
}

/// Draws a strand piece by piece.
type Piece<'p> = &'p mut dyn FnMut(Point, Point);

/// Lays all strands, each as `draw` says. The sheet is painted in bands of rows, so that a large
/// one takes no more memory than [`BAND_CELLS`] cells; of a row only the blocks that something is
/// painted in are looked at.
fn lay(
    l: &Laying<'_>,
    [cell, radius, edge]: [f64; 3],
    watch: &dyn Watch,
    draw: impl Fn(&Strand, &Polyline<'_>, Piece<'_>),
) -> Option<Grid> {
    let total: f64 = (0..l.flat.cuts()).map(|c| l.flat.line(c).length()).sum();
    let cells = (total + radius) * radius * 2.0 / (cell * cell);
    if cells > MOST_CELLS {
        return None;
    }
    let (rows, columns) = (count(l.size.y, cell), count(l.size.x, cell));
    let mut starts = Vec::with_capacity(rows as usize + 1);
    let (mut first, mut value) = (Vec::new(), Vec::new());
    let margin = |n: u32| {
        (0..n)
            .take_while(|i| (f64::from(*i) + 0.5) * cell < edge)
            .count() as u32
    };
    let (side, end) = (margin(columns), margin(rows));
    let high = (BAND_CELLS / columns).clamp(1, rows);
    let reach = radius + PIERCE_MORE * l.kerf_mm;
    let heights = heights(l, reach, high < rows, &draw);
    let mut band = Band::new(cell, columns, high);
    let mut low = 0;
    while low < rows {
        band.begin(low, high.min(rows - low));
        paint(l, &mut band, radius, &heights, watch, &draw)?;
        for outline in l.used {
            band.fill(outline);
        }
        for row in low..low + band.rows {
            starts.push(first.len() as u32);
            if row < end || row + end >= rows {
                band.paint(row, 0, columns, NEVER);
            }
            band.paint(row, 0, side, NEVER);
            band.paint(row, columns.saturating_sub(side).max(side), columns, NEVER);
            band.runs(row, |from, gone| {
                first.push(from);
                value.push(gone);
            });
        }
        if first.len() > MOST_RUNS {
            return None;
        }
        low += band.rows;
    }
    starts.push(first.len() as u32);
    Some(Grid {
        cell_mm: cell,
        columns,
        directory: Directory::new(&starts, &first, columns),
        rows: starts,
        from: first,
        value,
    })
}

/// Paints the strands of a band, the first to come on top; `None`: nobody wants it any more.
fn paint(
    l: &Laying<'_>,
    band: &mut Band,
    radius: f64,
    heights: &[[f64; 2]],
    watch: &dyn Watch,
    draw: &impl Fn(&Strand, &Polyline<'_>, Piece<'_>),
) -> Option<()> {
    let pierced = PIERCE_MORE * l.kerf_mm + radius;
    let [bottom, top] = band.heights();
    for (strand, tick) in l.strands.all.iter().zip(1_u32..) {
        crate::work::count(1);
        if tick % 4096 == 0 && !watch.go_on() {
            return None;
        }
        let outside = |[low, high]: &[f64; 2]| *high < bottom || *low > top;
        if heights.get(tick as usize - 1).is_some_and(outside) {
            continue;
        }
        let line = l.flat.line(strand.cut as usize);
        if line.points.is_empty() {
            continue;
        }
        if strand.from_mm <= 0.0 {
            band.capsule(line.points[0], line.points[0], pierced, tick);
        }
        draw(strand, &line, &mut |a, b| band.capsule(a, b, radius, tick));
    }
    Some(())
}

/// By strand: from where to where along Y it cuts metal away; none where there is one band only.
fn heights(
    l: &Laying<'_>,
    reach: f64,
    wanted: bool,
    draw: &impl Fn(&Strand, &Polyline<'_>, Piece<'_>),
) -> Vec<[f64; 2]> {
    let one = |strand: &Strand| {
        let mut range = [f64::INFINITY, f64::NEG_INFINITY];
        let line = l.flat.line(strand.cut as usize);
        let first = line.points.first().copied();
        if let Some(p) = first.filter(|_| strand.from_mm <= 0.0) {
            range = [p.y - reach, p.y + reach];
        }
        if first.is_some() {
            draw(strand, &line, &mut |a, b| {
                range[0] = range[0].min(a.y.min(b.y) - reach);
                range[1] = range[1].max(a.y.max(b.y) + reach);
            });
        }
        range
    };
    match wanted {
        true => l.strands.all.iter().map(one).collect(),
        false => Vec::new(),
    }
}

fn count(size: f64, cell: f64) -> u32 {
    (size / cell).ceil().max(1.0) as u32
}
