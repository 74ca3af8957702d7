//! Free pieces: metal that no cell joins to the rest of the sheet.

use std::collections::VecDeque;

use units::{Bounds, Point};

use super::grid::{CELL_MM, Grid, TILE};
use crate::rough::tips::Freed;

/// So many pieces that do not fall are kept in mind: one to each side of a path, and those before.
const KNOWN: usize = 4;

/// Takes the metal at each of these places away if it has come free and is no longer than `falls_mm`.
/// What reaches the sheet's edge stays: there it is held or lies on what holds it. Gives the free pieces
/// that stay and are no longer than `tells_mm`.
pub(super) fn drop_free(
    grid: &mut Grid,
    seeds: impl Iterator<Item = Point>,
    falls_mm: f64,
    tells_mm: f64,
) -> Vec<Freed> {
    let most = (falls_mm.max(tells_mm) / CELL_MM) as i64;
    let falls = (falls_mm / CELL_MM).trunc();
    let mut told = Vec::new();
    // Places beside one path mostly lie on the same few pieces.
    let mut stays: VecDeque<Window> = VecDeque::with_capacity(KNOWN);
    for seed in seeds {
        let cell = grid.cell(seed);
        if !grid.metal_at(seed)
            || !row_is_short(grid, cell, most)
            || stays.iter().any(|piece| piece.reaches(cell))
        {
            continue;
        }
        let mut piece = Window::around(grid, cell, most);
        match piece.free(grid, cell, most) {
            Some((_, length)) if length <= falls => {
                piece.take_from(grid);
                continue;
            }
            Some((bounds, length)) => told.push(Freed {
                bounds,
                length_mm: length * CELL_MM,
            }),
            None => {}
        }
        stays.truncate(KNOWN - 1);
        stays.push_front(piece);
    }
    told
}

/// Whether the run of metal in this row is short enough for a piece that falls: most are not, and
/// are done with here.
fn row_is_short(grid: &Grid, (x, y): (i64, i64), most: i64) -> bool {
    let mut run = 0;
    let mut at = x;
    while run <= most {
        let (column, bit) = (at.div_euclid(TILE), at.rem_euclid(TILE));
        let ones = i64::from((!(grid.word(y, column) >> bit)).trailing_zeros()).min(TILE - bit);
        run += ones;
        at += ones;
        if ones < TILE - bit {
            break;
        }
    }
    run <= most
}

/// Tiles round a place: their metal, and what of it was reached.
struct Window {
    /// First row and column of tiles.
    first: (i64, i64),
    /// Words in a row, rows.
    wide: usize,
    high: usize,
    metal: Vec<u64>,
    reached: Vec<u64>,
}

impl Window {
    fn around(grid: &Grid, (x, y): (i64, i64), most: i64) -> Self {
        let tiles = |c: i64| {
            (
                (c - most - 2).div_euclid(TILE),
                (c + most + 2).div_euclid(TILE),
            )
        };
        let ((x0, x1), (y0, y1)) = (tiles(x), tiles(y));
        let (wide, high) = ((x1 - x0 + 1) as usize, ((y1 - y0 + 1) * TILE) as usize);
        let mut metal = vec![0; wide * high];
        for row in y0..=y1 {
            for column in x0..=x1 {
                let tile = grid.tile((row, column));
                let at = (row - y0) as usize * TILE as usize * wide + (column - x0) as usize;
                for (k, word) in tile.iter().enumerate() {
                    metal[at + k * wide] = *word;
                }
            }
        }
        Self {
            first: (y0, x0),
            wide,
            high,
            reached: vec![0; metal.len()],
            metal,
        }
    }

    /// Reaches the piece of a cell, as much of it as tells whether it is free and no longer than so many
    /// cells; where it lies then, and its length in cells.
    fn free(&mut self, grid: &Grid, (x, y): (i64, i64), most: i64) -> Option<(Bounds, f64)> {
        let (left, low) = (self.first.1 * TILE, self.first.0 * TILE);
        let row = (y - low) as usize;
        let at = row * self.wide + ((x - left) / TILE) as usize;
        self.reached[at] = 1 << (x - left).rem_euclid(TILE);
        self.fill_row(row);
        let (mut from, mut to) = (row, row);
        loop {
            let mut changed = false;
            // Upwards, then downwards: rows next to what was reached.
            let mut k = from;
            while k < self.high - 1 && (k <= to) {
                if self.spread(k, k + 1) {
                    changed = true;
                    to = to.max(k + 1);
                }
                k += 1;
            }
            let mut k = to;
            while k > 0 && k >= from {
                if self.spread(k, k - 1) {
                    changed = true;
                    from = from.min(k - 1);
                }
                k -= 1;
            }
            if (to - from) as i64 >= most {
                return None;
            }
            if !changed {
                break;
            }
        }
        let (left, low) = (self.first.1 * TILE, self.first.0 * TILE);
        let [width, height, rising, falling] = self.extents(from, to)?;
        let (x0, x1) = (left + width.0, left + width.1);
        let (y0, y1) = (low + height.0, low + height.1);
        let edge = x0 <= 0 || y0 <= 0 || x1 >= grid.cells.0 - 1 || y1 >= grid.cells.1 - 1;
        let across = |e: (i64, i64)| (e.1 - e.0 + 1) as f64;
        let slant = |e: (i64, i64)| across(e) * core::f64::consts::FRAC_1_SQRT_2;
        let length = across(width)
            .max(across(height))
            .max(slant(rising).max(slant(falling)));
        let bounds = Bounds {
            low: grid.place((x0, y0)),
            high: grid.place((x1 + 1, y1 + 1)),
        };
        (!edge && length <= most as f64).then_some((bounds, length))
    }

    /// Whether a cell is of the piece that was reached.
    fn reaches(&self, (x, y): (i64, i64)) -> bool {
        let (column, row) = (x.div_euclid(TILE) - self.first.1, y - self.first.0 * TILE);
        let inside = column >= 0 && column < self.wide as i64 && row >= 0 && row < self.high as i64;
        inside
            && self.reached[row as usize * self.wide + column as usize] >> x.rem_euclid(TILE) & 1
                == 1
    }

    /// What was reached in these rows, from its least to its greatest x, y, x + y and x - y.
    fn extents(&self, from: usize, to: usize) -> Option<[(i64, i64); 4]> {
        let mut extents: Option<[(i64, i64); 4]> = None;
        for row in from..=to {
            let words = &self.reached[row * self.wide..(row + 1) * self.wide];
            let Some(first) = words.iter().position(|w| *w != 0) else {
                continue;
            };
            let last = words.iter().rposition(|w| *w != 0)?;
            let x0 = first as i64 * TILE + i64::from(words[first].trailing_zeros());
            let x1 = last as i64 * TILE + 63 - i64::from(words[last].leading_zeros());
            let y = row as i64;
            let here = [(x0, x1), (y, y), (x0 + y, x1 + y), (x0 - y, x1 - y)];
            extents = Some(extents.map_or(here, |all| {
                core::array::from_fn(|k| (all[k].0.min(here[k].0), all[k].1.max(here[k].1)))
            }));
        }
        extents
    }

    /// What is reached in row `from` reaches the metal beside it in row `to`; whether that is new.
    fn spread(&mut self, from: usize, to: usize) -> bool {
        let mut changed = false;
        for w in 0..self.wide {
            let (a, b) = (from * self.wide + w, to * self.wide + w);
            let new = self.reached[a] & self.metal[b] & !self.reached[b];
            self.reached[b] |= new;
            changed |= new != 0;
        }
        if changed {
            self.fill_row(to);
        }
        changed
    }

    /// All of every run of metal in a row of which some is reached.
    fn fill_row(&mut self, row: usize) {
        let words = row * self.wide..(row + 1) * self.wide;
        let mut carry = 0;
        for at in words.clone() {
            let r = up((self.reached[at] | carry) & self.metal[at], self.metal[at]);
            carry = r >> 63;
            self.reached[at] = r;
        }
        let mut carry = 0;
        for at in words.rev() {
            let r = (self.reached[at] | carry << 63) & self.metal[at];
            let r = up(r.reverse_bits(), self.metal[at].reverse_bits()).reverse_bits();
            carry = r & 1;
            self.reached[at] = r;
        }
    }

    fn take_from(&self, grid: &mut Grid) {
        let rows = TILE as usize;
        for row in 0..self.high / rows {
            for column in 0..self.wide {
                let at = |k: usize| self.reached[(row * rows + k) * self.wide + column];
                if (0..rows).any(|k| at(k) != 0) {
                    let key = (self.first.0 + row as i64, self.first.1 + column as i64);
                    grid.take_cells(key, (0..rows).map(|k| (k, at(k))));
                }
            }
        }
    }
}

/// Spreads bits towards the higher ones as long as there is metal.
fn up(mut reached: u64, mut metal: u64) -> u64 {
    for shift in [1, 2, 4, 8, 16, 32] {
        reached |= metal & (reached << shift);
        metal &= metal << shift;
    }
    reached
}
