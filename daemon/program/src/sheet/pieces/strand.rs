//! The paths in short strands, in the order in which they are cut: the clock of the sheet. What is
//! asked of the sheet is asked for the moment just before a strand.

use crate::cuts::polylines::Polylines;

/// A strand is no longer than this, mm: so fine is the order within one cut.
const STRAND_MM: f64 = 6.0;
/// There are no more than about so many.
const STRANDS: f64 = 400_000.0;

/// A moment: what is cut by strands of a lower number is cut. 0 is before everything.
pub(crate) type Tick = u32;

/// This is never cut away.
pub(crate) const METAL: Tick = Tick::MAX;

/// Here is no metal from the start.
pub(crate) const NEVER: Tick = 0;

/// A short stretch of one cut.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Strand {
    /// Which cut, from 0.
    pub cut: u32,
    /// Where it begins and ends, mm along the cut.
    pub from_mm: f64,
    pub to_mm: f64,
}

/// All strands. Strand `i` is cut at tick `i + 1`.
#[derive(Debug, Default)]
pub(crate) struct Strands {
    pub all: Vec<Strand>,
    /// By cut: its first strand; one more at the end.
    first: Vec<u32>,
}

impl Strands {
    pub fn new(flat: &Polylines) -> Self {
        let total: f64 = (0..flat.cuts()).map(|c| flat.line(c).length()).sum();
        let most = STRAND_MM.max(total / STRANDS);
        let mut strands = Self::default();
        for cut in 0..flat.cuts() {
            strands.first.push(strands.all.len() as u32);
            let length = flat.line(cut).length();
            let n = (length / most).ceil().max(1.0) as u32;
            for k in 0..n {
                strands.all.push(Strand {
                    cut: cut as u32,
                    from_mm: length * f64::from(k) / f64::from(n),
                    to_mm: length * f64::from(k + 1) / f64::from(n),
                });
            }
        }
        strands.first.push(strands.all.len() as u32);
        strands
    }

    /// The moment at which a cut (from 0) begins.
    pub fn start(&self, cut: usize) -> Tick {
        let last = self.all.len() as u32;
        self.first.get(cut).copied().unwrap_or(last) + 1
    }

    /// The moment at which a cut (from 0) reaches a place along it.
    pub fn tick_at(&self, cut: usize, mm: f64) -> Tick {
        let (Some(&a), Some(&b)) = (self.first.get(cut), self.first.get(cut + 1)) else {
            return self.end();
        };
        let own = &self.all[a as usize..b as usize];
        let within = own
            .partition_point(|s| s.to_mm <= mm)
            .min(own.len().saturating_sub(1));
        a + within as u32 + 1
    }

    /// The strands of a cut (from 0) with their ticks.
    pub fn of_cut(&self, cut: usize) -> impl Iterator<Item = (Tick, &Strand)> {
        let range = match (self.first.get(cut), self.first.get(cut + 1)) {
            (Some(&a), Some(&b)) => a as usize..b as usize,
            _ => 0..0,
        };
        range.map(|i| (i as u32 + 1, &self.all[i]))
    }

    /// The moment when all is cut.
    pub fn end(&self) -> Tick {
        self.all.len() as u32 + 1
    }

    /// The cut (from 0) that is under way at a tick.
    pub fn cut_at(&self, tick: Tick) -> Option<usize> {
        let strand = self.all.get(tick.checked_sub(1)? as usize)?;
        Some(strand.cut as usize)
    }
}
