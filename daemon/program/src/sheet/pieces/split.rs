//! How the sheet comes apart, found by going through the cuts backwards: each strand gives its metal
//! back, and what it joins were two pieces after it.

use units::Point;

use super::grid::Grid;
use super::strand::Tick;
use crate::sheet::pieces::strand::{METAL, NEVER};

/// No piece.
pub(crate) const NONE: u32 = u32::MAX;

/// Along x and along y.
const AXES: usize = 2;

/// A piece, as it comes free.
#[derive(Clone, Debug)]
pub(crate) struct Part {
    /// What it comes free of; [`NONE`]: it was a piece of its own from the start.
    pub from: u32,
    /// The strand that frees it; 0: none.
    pub freed: Tick,
    pub cells: u64,
    /// It reaches the sheet's edge.
    pub edge: bool,
    low: [f32; AXES],
    high: [f32; AXES],
    /// A place in it: the middle of its longest run.
    pub inside: Point,
    longest: u32,
}

impl Part {
    fn new() -> Self {
        Self {
            from: NONE,
            freed: 0,
            cells: 0,
            edge: false,
            low: [f32::INFINITY; AXES],
            high: [f32::NEG_INFINITY; AXES],
            inside: Point::default(),
            longest: 0,
        }
    }

    fn add_run(&mut self, grid: &Grid, row: usize, from: u32, to: u32) {
        self.cells += u64::from(to - from);
        self.edge |= row <= 1 || row + 3 >= grid.rows.len() || from <= 1 || to + 1 >= grid.columns;
        let c = grid.cell_mm;
        let y = (row as f64 + 0.5) * c;
        for x in [f64::from(from) * c, f64::from(to) * c] {
            for (k, d) in [x as f32, y as f32].into_iter().enumerate() {
                self.low[k] = self.low[k].min(d);
                self.high[k] = self.high[k].max(d);
            }
        }
        if to - from > self.longest {
            self.longest = to - from;
            self.inside = Point::new(f64::midpoint(f64::from(from), f64::from(to)) * c, y);
        }
    }

    fn absorb(&mut self, other: &Self) {
        self.cells += other.cells;
        self.edge |= other.edge;
        for k in 0..AXES {
            self.low[k] = self.low[k].min(other.low[k]);
            self.high[k] = self.high[k].max(other.high[k]);
        }
        if other.longest > self.longest {
            (self.longest, self.inside) = (other.longest, other.inside);
        }
    }

    /// The upright rectangle round it.
    pub fn bounds(&self) -> units::Bounds {
        let p = |v: &[f32; AXES]| Point::new(f64::from(v[0]), f64::from(v[1]));
        units::Bounds {
            low: p(&self.low),
            high: p(&self.high),
        }
    }
}

/// All pieces, and to which each run belongs just before it is cut away (or in the end).
#[derive(Debug)]
pub(crate) struct Split {
    pub parts: Vec<Part>,
    pub of_run: Vec<u32>,
    /// By piece: a piece further out along those that it comes free of, for [`Split::at`].
    jump: Vec<u32>,
    /// The pieces, each behind the one that it comes free of.
    order: Vec<u32>,
}

struct Joining<'a> {
    grid: &'a Grid,
    /// By run: the first run of the row below, and of the row above, that lies beside it.
    beside: [Vec<u32>; 2],
    up: Vec<u32>,
    /// By root: its piece; [`NONE`]: only metal that was given back at this tick.
    part: Vec<u32>,
    parts: Vec<Part>,
}

impl Split {
    pub fn new(grid: &Grid, last: Tick) -> Self {
        let n = grid.value.len();
        let (order, starts) = by_value(&grid.value, last);
        let mut j = Joining {
            grid,
            beside: beside(grid),
            up: (0..n as u32).collect(),
            part: vec![NONE; n],
            parts: Vec::new(),
        };
        let row_of = rows_of(grid);
        let mut of_run = vec![NONE; n];
        // Metal that stays comes first, then tick after tick backwards.
        for (tick, slot) in core::iter::once((METAL, last as usize + 1))
            .chain((1..=last).rev().map(|t| (t, t as usize)))
        {
            let own = &order[starts[slot] as usize..starts[slot + 1] as usize];
            for &run in own {
                j.join_neighbours(run as usize, row_of[run as usize] as usize, tick);
            }
            for &run in own {
                let root = j.root(run);
                let mut part = j.part[root as usize];
                if part == NONE {
                    part = j.parts.len() as u32;
                    j.parts.push(Part::new());
                    j.part[root as usize] = part;
                }
                of_run[run as usize] = part;
                let row = row_of[run as usize] as usize;
                let to = grid.end_of(run as usize, row);
                j.parts[part as usize].add_run(grid, row, grid.from[run as usize], to);
            }
        }
        let mut split = Self {
            jump: vec![NONE; j.parts.len()],
            order: Vec::with_capacity(j.parts.len()),
            parts: j.parts,
            of_run,
        };
        split.link();
        split
    }

    /// Fills in the order and the jumps: each piece knows the one that it comes free of, and one so
    /// much further out that any is reached in log n steps, however deep the pieces are nested.
    fn link(&mut self) {
        let mut depth = vec![0_u32; self.parts.len()];
        let mut done = vec![false; self.parts.len()];
        let mut way = Vec::new();
        for part in 0..self.parts.len() as u32 {
            let mut at = part;
            while at != NONE && !done[at as usize] {
                way.push(at);
                at = self.parts[at as usize].from;
            }
            for part in way.drain(..).rev() {
                let from = self.parts[part as usize].from;
                if from != NONE {
                    let far = self.jump[from as usize];
                    let span = |a: u32, b: u32| depth[a as usize] - depth[b as usize];
                    let further = (far != NONE)
                        .then(|| self.jump[far as usize])
                        .filter(|f| *f != NONE && span(from, far) == span(far, *f));
                    self.jump[part as usize] = further.unwrap_or(from);
                    depth[part as usize] = depth[from as usize] + 1;
                }
                done[part as usize] = true;
                self.order.push(part);
            }
        }
    }

    /// The pieces, each behind the one that it comes free of.
    pub fn outermost_first(&self) -> &[u32] {
        &self.order
    }

    /// The piece that a piece is at a moment: the first one, from itself outward, that is free by
    /// then. What a piece comes free of was free before it.
    pub fn at(&self, mut part: u32, tick: Tick) -> u32 {
        while let Some(p) = self.parts.get(part as usize)
            && p.freed >= tick
            && p.from != NONE
        {
            crate::work::count(1);
            let far = self.jump[part as usize];
            let not_yet = |k: u32| self.parts.get(k as usize).is_some_and(|p| p.freed >= tick);
            part = if not_yet(far) { far } else { p.from };
        }
        part
    }
}

impl Joining<'_> {
    fn root(&mut self, mut run: u32) -> u32 {
        while self.up[run as usize] != run {
            crate::work::count(1);
            let above = self.up[self.up[run as usize] as usize];
            self.up[run as usize] = above;
            run = above;
        }
        run
    }

    fn join_neighbours(&mut self, run: usize, row: usize, tick: Tick) {
        let grid = self.grid;
        let (first, end) = (grid.rows[row] as usize, grid.rows[row + 1] as usize);
        if run > first && grid.value[run - 1] >= tick {
            self.join(run, run - 1, tick);
        }
        if run + 1 < end && grid.value[run + 1] >= tick {
            self.join(run, run + 1, tick);
        }
        let to = grid.end_of(run, row);
        // What begins where this run ends, or beyond, lies beside it no more.
        for other in 0..self.beside.len() {
            let start = self.beside[other][run];
            if start == NONE {
                continue;
            }
            let row = if other == 0 { row - 1 } else { row + 1 };
            for next in start as usize..grid.rows[row + 1] as usize {
                crate::work::count(1);
                if next > start as usize && grid.from[next] >= to {
                    break;
                }
                if grid.value[next] >= tick {
                    self.join(run, next, tick);
                }
            }
        }
    }

    fn join(&mut self, a: usize, b: usize, tick: Tick) {
        let (a, b) = (self.root(a as u32), self.root(b as u32));
        if a == b {
            return;
        }
        let part = match (self.part[a as usize], self.part[b as usize]) {
            (NONE, p) | (p, NONE) => p,
            (p, q) => self.one_of(p, q, tick),
        };
        // The lower number leads: as good as any order, and always the same.
        let (lead, follow) = if a < b { (a, b) } else { (b, a) };
        self.up[follow as usize] = lead;
        self.part[lead as usize] = part;
    }

    /// Two pieces were one before this tick. The one at the sheet's edge, else the larger, keeps
    /// its name.
    fn one_of(&mut self, p: u32, q: u32, tick: Tick) -> u32 {
        let rank = |k: u32| {
            let part = &self.parts[k as usize];
            (part.edge, part.cells, core::cmp::Reverse(k))
        };
        let (stays, freed) = if rank(p) >= rank(q) { (p, q) } else { (q, p) };
        let gone = &mut self.parts[freed as usize];
        gone.from = stays;
        gone.freed = tick;
        let gone = gone.clone();
        self.parts[stays as usize].absorb(&gone);
        stays
    }
}

/// By run: the first run of the row below, and of the row above, that lies beside it; [`NONE`]: there
/// is no such row.
fn beside(grid: &Grid) -> [Vec<u32>; 2] {
    let n = grid.from.len();
    let mut found = [vec![NONE; n], vec![NONE; n]];
    let mut row_pair = |of: usize, row: usize, other: usize| {
        let range = |row: usize| grid.rows[row] as usize..grid.rows[row + 1] as usize;
        let others = range(other);
        let mut at = others.start;
        for run in range(row) {
            while at + 1 < others.end && grid.from[at + 1] <= grid.from[run] {
                at += 1;
            }
            found[of][run] = at as u32;
        }
    };
    for row in 1..grid.rows.len().saturating_sub(1) {
        row_pair(0, row, row - 1);
        row_pair(1, row - 1, row);
    }
    found
}

/// The runs in order of their value, and where each value begins; [`METAL`] stands at `last + 1`.
fn by_value(values: &[Tick], last: Tick) -> (Vec<u32>, Vec<u32>) {
    let slot = |v: Tick| {
        if v == METAL {
            last as usize + 1
        } else {
            v as usize
        }
    };
    let mut starts = vec![0_u32; last as usize + 3];
    for &v in values {
        starts[slot(v) + 1] += 1;
    }
    for k in 1..starts.len() {
        starts[k] += starts[k - 1];
    }
    let mut next = starts.clone();
    let mut order = vec![0_u32; values.len()];
    for (&v, run) in values.iter().zip(0_u32..) {
        debug_assert!(v == METAL || v == NEVER || v <= last);
        let place = &mut next[slot(v)];
        order[*place as usize] = run;
        *place += 1;
    }
    (order, starts)
}

fn rows_of(grid: &Grid) -> Vec<u32> {
    let mut row_of = vec![0; grid.from.len()];
    for (row, pair) in grid.rows.windows(2).enumerate() {
        row_of[pair[0] as usize..pair[1] as usize].fill(row as u32);
    }
    row_of
}
