//! A program reduced to what the torch does.

use units::{Bounds, Point, Segment};

/// A program reduced to cuts, in program coordinates, mm.
///
/// The coordinates are those of the zero that the program has when it starts: a `G92` given after
/// the torch has moved shifts what follows, it does not shift the list.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CutList {
    /// The cuts in order.
    pub cuts: Vec<Cut>,
    /// Places where the program asks to stop between cuts (`M0`, `M1`).
    pub stops: Vec<Stop>,
}

/// A stop between cuts that the program asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stop {
    /// Line of the stop word, from 1.
    pub line: u32,
    /// How many cuts are done by then.
    pub after_cuts: usize,
    /// `M1`: only if the operator wants it.
    pub optional: bool,
}

/// The panel's own way from the end of a cut to the next pierce: straight, at traverse height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Traverse {
    /// End of the cut before.
    pub from: Point,
    /// The pierce it leads to.
    pub to: Point,
    /// The cut it leads to, from 1.
    pub cut: usize,
    /// Line of that cut's torch on.
    pub line: u32,
    /// Column of that cut's torch on.
    pub column: u32,
}

impl CutList {
    /// Length of all cuts, mm.
    #[must_use]
    pub fn cut_mm(&self) -> f64 {
        self.cuts.iter().map(Cut::length_mm).sum()
    }

    /// The traverses between cuts, in order. The way to the first pierce and the moves after the
    /// last cut are the panel's own affair and left out.
    pub fn traverses(&self) -> impl Iterator<Item = Traverse> + '_ {
        self.cuts
            .iter()
            .zip(self.cuts.iter().skip(1))
            .zip(2..)
            .map(|((a, b), cut)| Traverse {
                from: a.end(),
                to: b.pierce,
                cut,
                line: b.on_line,
                column: b.on_column,
            })
    }

    /// Length of the traverses between cuts, mm.
    #[must_use]
    pub fn rapid_mm(&self) -> f64 {
        // Not `sum`: of nothing that is -0.
        let each = self.traverses().map(|t| t.from.distance(t.to));
        each.fold(0.0, |all, mm| all + mm)
    }

    /// The smallest upright rectangle round all cuts, in program coordinates.
    #[must_use]
    pub fn bounds(&self) -> Option<Bounds> {
        let mut all: Option<Bounds> = None;
        for cut in &self.cuts {
            let b = all.get_or_insert(Bounds::of(cut.pierce));
            b.add(cut.pierce);
            for e in &cut.path {
                b.join(&e.segment.bounds());
            }
        }
        all
    }
}

/// From torch on to torch off.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// Where it is pierced.
    pub pierce: Point,
    /// Line of torch on, from 1.
    pub on_line: u32,
    /// Column of torch on, from 1.
    pub on_column: u32,
    /// Line of torch off, from 1; the last line if it never goes off.
    pub off_line: u32,
    /// The path, without gaps. Empty when the torch is on without moving.
    pub path: Vec<Element>,
    /// Kerf compensation that the program asks for (G41, G42).
    pub compensation: Option<Compensation>,
}

impl Cut {
    /// Length of the path, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.path.iter().map(|e| e.segment.length()).sum()
    }

    /// The place `s` mm along its path, held within its ends.
    #[must_use]
    pub fn point_at(&self, s: f64) -> Point {
        units::point_along(self.path.iter().map(|e| e.segment), s).unwrap_or_else(|| self.end())
    }

    /// Where it ends: the pierce itself when it has no path.
    #[must_use]
    pub fn end(&self) -> Point {
        self.path.last().map_or(self.pierce, |e| e.segment.to())
    }
}

/// A piece of path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Element {
    /// The line or arc.
    pub segment: Segment,
    /// Feed in force, mm/s; `None`: none was given.
    pub feed_mm_s: Option<f64>,
    /// Line it came from, from 1.
    pub line: u32,
    /// Column of the word that moves, from 1.
    pub column: u32,
}

/// The side of travel that the path is moved to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// G41.
    Left,
    /// G42.
    Right,
}

impl Side {
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Left => "G41",
            Self::Right => "G42",
        }
    }

    /// Above 0: to the left.
    pub(crate) fn sign(self) -> f64 {
        match self {
            Self::Left => 1.0,
            Self::Right => -1.0,
        }
    }
}

/// How far the compensation of a cut has come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CarriedOut {
    /// The path is the programmed one.
    NotYet,
    /// The path was moved aside by half this kerf, mm.
    Offset {
        /// The kerf, mm.
        kerf_mm: f64,
    },
    /// It cannot be; the path is the programmed one, and a finding says why.
    Refused,
}

/// The compensation of one cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compensation {
    /// Which side of travel.
    pub side: Side,
    /// The kerf that the program itself states, mm.
    pub kerf_mm: Option<f64>,
    /// Line of the word, from 1.
    pub line: u32,
    /// Column of the word, from 1.
    pub column: u32,
    /// How many pieces of the programmed path it holds for; `None`: all.
    pub elements: Option<usize>,
    /// The torch travelled between the word and torch on: the pierce itself is moved aside.
    pub travelled: bool,
    /// Whether the cut's path is the offset one.
    pub carried_out: CarriedOut,
}
