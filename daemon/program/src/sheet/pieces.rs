//! What stays connected: the sheet with its kerfs at the moment of every cut, its pieces, which of
//! them holds the ground clamp, which are free, which have dropped.
//!
//! The final kerfs are laid on a grid ([`grid`]), each cell with the moment at which it is cut away
//! ([`strand`]); going through the moments backwards tells when each piece came free ([`split`]).
//! Afterwards any question can be asked for any moment.

mod band;
mod freed;
pub(crate) mod grid;
pub(crate) mod size;
pub(crate) mod split;
mod straight;
pub(crate) mod strand;

use units::{Bounds, Point};

pub use freed::FreedNear;

use crate::cuts::polylines::Polylines;
use crate::sheet::pieces::strand::{METAL, NEVER};
use crate::vetting::facts::Slats;
use crate::watch::Watch;
use grid::{Grid, Laying};
use split::{NONE, Split};
use strand::{Strands, Tick};

/// A piece that comes free of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Its name among the pieces.
    pub id: u32,
    /// The cut that frees it, from 1; `None`: it was apart from the start.
    pub freed_by: Option<usize>,
    /// How far along that cut, mm.
    pub freed_at_mm: f64,
    /// Its area as it comes free, mm2.
    pub area_mm2: f64,
    /// The upright rectangle round it, sheet mm.
    pub bounds: Bounds,
    /// The smallest rectangle round it, along its own axes: longer and shorter side, mm.
    pub sides_mm: [f64; 2],
    /// Its greatest length, mm: a rectangle's diagonal.
    pub length_mm: f64,
    /// Its least width, mm.
    pub width_mm: f64,
    /// A place in it, sheet mm.
    pub inside: Point,
    /// The piece of which it came free.
    pub from: Option<u32>,
    /// It holds the ground clamp when it comes free.
    pub clamped: bool,
    /// It is short enough to fall between the slats.
    pub falls: bool,
}

impl Piece {
    /// How high its end may rise when it tips over a slat, mm: at most half its length, and no more
    /// than it can sink on the other side. 0 for a piece that falls through.
    #[must_use]
    pub fn tip_up_mm(&self, slats: &Slats) -> f64 {
        if self.falls {
            0.0
        } else {
            (self.length_mm / 2.0).min(slats.depth_mm)
        }
    }

    /// It is of a size that may tip between the slats: half to two pitches (common practice, no
    /// source).
    #[must_use]
    pub fn may_tip(&self, slats: &Slats) -> bool {
        !self.falls && self.length_mm <= 2.0 * slats.pitch_mm
    }
}

/// Pieces smaller than this are crumbs of the grid, not of the sheet, mm2.
const CRUMB_MM2: f64 = 4.0;
/// A piece shorter than this part of the pitch falls through (common practice, no source).
const FALLS_PART: f64 = 0.5;
/// A clamp on the very edge of a kerf bites within this, mm.
const CLAMP_MM: f64 = 3.0;

/// The sheet through all cuts of a program.
#[derive(Debug)]
pub struct PieceMap {
    pub(crate) strands: Strands,
    grid: Grid,
    split: Split,
    slats: Slats,
    /// The run on which the clamp bites.
    clamp: Option<usize>,
    /// The piece that is left behind in the end.
    main: u32,
    drops: Vec<bool>,
    sizes: Vec<size::Size>,
}

/// What the map is made from.
pub(crate) struct MapInput<'a> {
    pub flat: &'a Polylines,
    pub sheet: Point,
    pub kerf_mm: f64,
    pub used: &'a [Vec<Point>],
    pub clamp: Option<Point>,
    pub slats: Slats,
    pub watch: &'a dyn Watch,
}

/// What lies under a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Under {
    /// No metal: a kerf, a gap, an area used before, beside the sheet.
    Nothing,
    /// This piece.
    Piece(u32),
}

impl PieceMap {
    /// Works it out; `None`: there is more path than any sheet takes.
    pub(crate) fn new(input: &MapInput<'_>) -> Option<Self> {
        let strands = Strands::new(input.flat);
        let grid = Grid::new(
            &Laying {
                size: input.sheet,
                kerf_mm: input.kerf_mm,
                flat: input.flat,
                strands: &strands,
                used: input.used,
            },
            input.watch,
        )?;
        let split = Split::new(&grid, strands.end() - 1);
        let main = (0..split.parts.len() as u32)
            .filter(|k| split.parts[*k as usize].from == NONE)
            .max_by_key(|k| {
                let p = &split.parts[*k as usize];
                (p.edge, p.cells, core::cmp::Reverse(*k))
            })
            .unwrap_or(NONE);
        let falls = FALLS_PART * input.slats.pitch_mm;
        let sizes = size::sizes(&grid, &split, main);
        let drops = (0_u32..)
            .zip(&sizes)
            .map(|(k, size)| k != main && size.length_mm < falls)
            .collect();
        let clamp = input.clamp.and_then(|p| bite(&grid, p));
        Some(Self {
            strands,
            grid,
            split,
            slats: input.slats,
            clamp,
            main,
            drops,
            sizes,
        })
    }

    /// The moment at which a cut (from 1) has come so far, mm along it.
    #[must_use]
    pub fn moment(&self, cut: usize, mm: f64) -> Tick {
        self.strands.tick_at(cut.saturating_sub(1), mm)
    }

    /// The moment when all is cut.
    #[must_use]
    pub fn end(&self) -> Tick {
        self.strands.end()
    }

    /// What lies under a place at a moment.
    #[must_use]
    pub fn under(&self, p: Point, tick: Tick) -> Under {
        let Some(run) = self.grid.run_at(p) else {
            return Under::Nothing;
        };
        self.of_run(run, tick)
    }

    fn of_run(&self, run: usize, tick: Tick) -> Under {
        let value = self.grid.value[run];
        if value < tick || value == NEVER {
            return Under::Nothing;
        }
        let part = self.split.at(self.split.of_run[run], tick);
        if part == NONE
            || (self.drops[part as usize]
                && self.split.parts[part as usize].freed < tick
                && self.is_free(part))
        {
            return Under::Nothing;
        }
        Under::Piece(part)
    }

    /// The piece under a place as if nothing ever dropped: a slug lies where it was.
    pub(crate) fn piece_at(&self, p: Point, tick: Tick) -> Option<u32> {
        let run = self.grid.run_at(p)?;
        let value = self.grid.value[run];
        (value >= tick && value != NEVER).then(|| self.split.at(self.split.of_run[run], tick))
    }

    /// Whether a place may lie within half a kerf of a path that is cut before a moment, by the cells
    /// about it: false is sure, true is to be measured.
    pub(crate) fn may_be_cut(&self, p: Point, tick: Tick) -> bool {
        self.grid.any_about(p, |value| value < tick)
    }

    /// When the kerf's grid says that a place is cut away; `None`: beside the sheet.
    pub(crate) fn gone_at(&self, p: Point) -> Option<Tick> {
        Some(self.grid.value[self.grid.run_at(p)?])
    }

    /// Whether a piece is not what is left behind.
    #[must_use]
    pub fn is_free(&self, piece: u32) -> bool {
        piece != self.main
    }

    /// The piece that is left behind when all is cut.
    #[must_use]
    pub fn main(&self) -> u32 {
        self.main
    }

    /// The piece that holds the ground clamp at a moment; `None`: where the clamp bites is not
    /// known, or there is no metal.
    #[must_use]
    pub fn clamped(&self, tick: Tick) -> Option<u32> {
        let run = self.clamp?;
        let value = self.grid.value[run];
        (value >= tick).then(|| self.split.at(self.split.of_run[run], tick))
    }

    /// The pieces of metal within `radius` of a place, slugs that have dropped where they were: each
    /// told once or more; stops when `seen` says so.
    pub(crate) fn near_as_laid(
        &self,
        p: Point,
        radius: f64,
        tick: Tick,
        mut seen: impl FnMut(u32) -> bool,
    ) {
        self.grid.runs_near(p, radius, |run| {
            let value = self.grid.value[run];
            value >= tick && value != NEVER && seen(self.split.at(self.split.of_run[run], tick))
        });
    }

    /// A piece; `None` for what is left behind and for what does not exist.
    #[must_use]
    pub fn piece(&self, id: u32) -> Option<Piece> {
        let part = self.split.parts.get(id as usize)?;
        let size = self.sizes.get(id as usize)?;
        let cell = self.grid.cell_mm * self.grid.cell_mm;
        let strand = part
            .freed
            .checked_sub(1)
            .and_then(|k| self.strands.all.get(k as usize));
        Some(Piece {
            id,
            freed_by: strand.map(|s| s.cut as usize + 1),
            freed_at_mm: strand.map_or(0.0, |s| s.to_mm),
            area_mm2: part.cells as f64 * cell,
            bounds: part.bounds(),
            sides_mm: size.sides_mm,
            length_mm: size.length_mm,
            width_mm: size.width_mm,
            inside: tenths(part.inside),
            from: (part.from != NONE).then_some(part.from),
            clamped: self.clamped(part.freed.saturating_add(1)) == Some(id),
            falls: self.drops[id as usize],
        })
    }

    /// All pieces that come free, in the order in which they do; crumbs are left out. Pieces that
    /// lay apart from the start come first.
    #[must_use]
    pub fn pieces(&self) -> Vec<Piece> {
        let mut all: Vec<Piece> = (0..self.split.parts.len() as u32)
            .filter(|id| *id != self.main)
            .filter_map(|id| self.piece(id))
            .filter(|p| p.area_mm2 >= CRUMB_MM2 && p.width_mm > 2.0 * self.grid.cell_mm)
            .collect();
        all.sort_by_key(|p| (self.split.parts[p.id as usize].freed, p.id));
        all
    }

    /// When a piece comes free.
    pub(crate) fn freed(&self, id: u32) -> Tick {
        self.split.parts.get(id as usize).map_or(0, |p| p.freed)
    }

    /// How far along the cut that frees a piece it does so, mm.
    pub(crate) fn freed_at_mm(&self, id: u32) -> f64 {
        let strand = self.freed(id).checked_sub(1);
        strand
            .and_then(|k| self.strands.all.get(k as usize))
            .map_or(0.0, |s| s.to_mm)
    }

    /// When the clamp's piece comes free of what is left behind; `None`: never. 0: it lay apart from
    /// the start.
    pub(crate) fn clamp_freed(&self) -> Option<Tick> {
        let mut part = self.split.of_run[self.clamp?];
        if part == self.main || part == NONE {
            return None;
        }
        while let Some(p) = self.split.parts.get(part as usize)
            && p.from != self.main
            && p.from != NONE
        {
            part = p.from;
        }
        // A clamp whose own metal is cut away before is on the path: another rule's word.
        let freed = self.freed(part);
        (self.grid.value[self.clamp?] > freed).then_some(freed)
    }

    /// The slats that the sheet lies on.
    #[must_use]
    pub fn slats(&self) -> &Slats {
        &self.slats
    }

    /// The sheet is known in cells of this size, mm.
    pub(crate) fn cell_mm(&self) -> f64 {
        self.grid.cell_mm
    }

    /// How many runs the grid has: what it weighs.
    #[must_use]
    pub fn runs(&self) -> usize {
        self.grid.value.len()
    }
}

/// A place in it is as good to a tenth of a millimetre, and easier to read.
fn tenths(p: Point) -> Point {
    Point::new((p.x * 10.0).round() / 10.0, (p.y * 10.0).round() / 10.0)
}

/// Where the sheet is wide: what is left of it when every kerf and edge is drawn in by half of the
/// width asked for.
pub(crate) struct Wide {
    grid: Grid,
    split: Split,
    clamp: Option<usize>,
}

/// How a place hangs together with the clamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Strait {
    /// By metal of the width asked for.
    Wide,
    /// By less, somewhere.
    Narrow,
}

/// Cells for the question how wide something is, mm.
const COARSE_MM: f64 = 2.0;

impl Wide {
    pub fn new(input: &MapInput<'_>, strands: &Strands, wide_mm: f64) -> Option<Self> {
        let laying = Laying {
            size: input.sheet,
            kerf_mm: input.kerf_mm,
            flat: input.flat,
            strands,
            used: input.used,
        };
        // What is left of a band of the width asked for must hold a row of cells.
        let half = wide_mm / 2.0 - 0.75 * COARSE_MM;
        let grid = Grid::coarse(
            &laying,
            [COARSE_MM, input.kerf_mm / 2.0 + half, half],
            input.watch,
        )?;
        let split = Split::new(&grid, strands.end() - 1);
        let clamp = input.clamp.and_then(|p| {
            let mut best: Option<usize> = None;
            grid.runs_near(p, wide_mm, |run| {
                if best.is_none_or(|b| grid.value[run] > grid.value[b]) {
                    best = Some(run);
                }
                grid.value[run] == METAL
            });
            best
        });
        Some(Self { grid, split, clamp })
    }

    /// How metal within `radius` of a place hangs together with the clamp.
    pub fn joined(&self, p: Point, radius: f64, tick: Tick) -> Strait {
        let piece = |run: usize| {
            let value = self.grid.value[run];
            (value >= tick && value != NEVER).then(|| self.split.at(self.split.of_run[run], tick))
        };
        let clamped = self.clamp.and_then(piece);
        // The place's own cell nearly always answers; its middle lies up to 0.71 of a cell away.
        let own = || self.grid.run_at(p).is_some_and(|run| piece(run) == clamped);
        if clamped.is_some() && radius > self.grid.cell_mm && own() {
            return Strait::Wide;
        }
        let mut joined = false;
        self.grid.runs_near(p, radius, |run| {
            joined |= clamped.is_some() && piece(run) == clamped;
            joined
        });
        if joined { Strait::Wide } else { Strait::Narrow }
    }
}

/// The run on which a clamp at `p` bites: metal that stays before metal that is cut.
fn bite(grid: &Grid, p: Point) -> Option<usize> {
    let mut best = grid.run_at(p);
    if best.is_some_and(|run| grid.value[run] == METAL) {
        return best;
    }
    for step in 1..=6 {
        let radius = CLAMP_MM * f64::from(step) / 6.0;
        grid.runs_near(p, radius, |run| {
            let better = best.is_none_or(|b| grid.value[run] > grid.value[b]);
            if better {
                best = Some(run);
            }
            grid.value[run] == METAL
        });
        if best.is_some_and(|run| grid.value[run] == METAL) {
            break;
        }
    }
    best
}

#[cfg(test)]
mod tests;
