//! Which cut was the last, before another, that freed a piece near a place.
//!
//! The pieces lie in the order in which they come free, in blocks of 8, 16, 32 and so on, each block
//! with a tree of the rectangles round its pieces. What is asked for one cut takes log n such trees,
//! however many pieces are freed elsewhere or later.

use units::{Bounds, Point};

use super::PieceMap;
use crate::geometry::tree::{Tree, gap, grown};

/// Pieces of the smallest block, which has no tree.
const BLOCK: usize = 8;

/// See the module.
#[derive(Debug, Default)]
pub struct FreedNear {
    /// The cut that frees each piece (from 0), in order, and the rectangle round the piece.
    pieces: Vec<(usize, Bounds)>,
    /// By size, from twice [`BLOCK`] on: the whole blocks of that size.
    trees: Vec<Vec<Tree>>,
}

impl FreedNear {
    /// The pieces that come free of a sheet; those that lay apart from the start count for no cut.
    #[must_use]
    pub fn new(map: &PieceMap) -> Self {
        let freed = |p: super::Piece| Some((p.freed_by?.checked_sub(1)?, p.bounds));
        Self::of(map.pieces().into_iter().filter_map(freed).collect())
    }

    fn of(pieces: Vec<(usize, Bounds)>) -> Self {
        let mut trees = Vec::new();
        let mut size = 2 * BLOCK;
        while size <= pieces.len() {
            let block = |all: &[(usize, Bounds)]| Tree::new(all.iter().map(|(_, b)| *b));
            trees.push(pieces.chunks_exact(size).map(block).collect());
            size *= 2;
        }
        Self { pieces, trees }
    }

    /// The last cut before `cut` (both from 0) that frees a piece whose rectangle is no further than
    /// `within_mm` from a place.
    #[must_use]
    pub fn last_before(&self, cut: usize, p: Point, within_mm: f64) -> Option<usize> {
        let mut end = self.pieces.partition_point(|(freed, _)| *freed < cut);
        while end > 0 {
            let size = self.size_before(end);
            if let Some(found) = self.last_in(end - size, size, p, within_mm) {
                return Some(found);
            }
            end -= size;
        }
        None
    }

    /// The largest block that ends at a place: its size.
    fn size_before(&self, end: usize) -> usize {
        match end % (2 * BLOCK) {
            0 => (1 << end.trailing_zeros()).min(BLOCK << self.trees.len()),
            n if n > BLOCK => n - BLOCK,
            n => n,
        }
    }

    /// The last of a block that is near.
    fn last_in(&self, first: usize, size: usize, p: Point, within_mm: f64) -> Option<usize> {
        let near = |(_, b): &&(usize, Bounds)| {
            crate::work::count(1);
            gap(b, p) <= within_mm
        };
        if size <= BLOCK {
            let own = &self.pieces[first..first + size];
            return own.iter().rev().find(near).map(|(cut, _)| *cut);
        }
        let level = (size / BLOCK).ilog2() as usize - 1;
        let mut any = false;
        self.trees[level][first / size].within(&grown(&Bounds::of(p), within_mm), u32::MAX, |k| {
            any = near(&&self.pieces[first + k as usize]);
            any
        });
        let half = size / 2;
        any.then(|| {
            self.last_in(first + half, half, p, within_mm)
                .or_else(|| self.last_in(first, half, p, within_mm))
        })
        .flatten()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::work::by_phase;

    fn square(x: f64, y: f64, side: f64) -> Bounds {
        let p = Point::new(x, y);
        Bounds {
            low: p,
            high: p.moved(side, side),
        }
    }

    proptest! {
        #[test]
        fn it_is_the_last_of_those_that_asking_each_finds(
            all in prop::collection::vec((0_usize..3, 0.0_f64..90.0, 0.0_f64..90.0, 0.0_f64..9.0), 0..200),
            asked in prop::collection::vec((0_usize..300, 0.0_f64..100.0, 0.0_f64..100.0), 1..9),
        ) {
            // Some cuts free several pieces, some none.
            let mut cut = 0;
            let pieces: Vec<(usize, Bounds)> = all
                .into_iter()
                .map(|(step, x, y, side)| {
                    cut += step;
                    (cut, square(x, y, side))
                })
                .collect();
            let near = FreedNear::of(pieces.clone());
            for (cut, x, y) in asked {
                let p = Point::new(x, y);
                let each = pieces.iter().filter(|(freed, b)| *freed < cut && gap(b, p) <= 5.0);
                prop_assert_eq!(near.last_before(cut, p, 5.0), each.map(|(freed, _)| *freed).max());
            }
        }
    }

    #[test]
    fn asking_for_every_cut_grows_no_faster_than_n_log_n() {
        // A grid of pieces; all on one place; each round the one before.
        let grid = |k: usize| square((k % 64) as f64 * 20.0, (k / 64) as f64 * 20.0, 9.0);
        let one_place = |_| square(0.0, 0.0, 50.0);
        let nested = |k: usize| square(-(k as f64), -(k as f64), 2.0 * k as f64);
        let kinds: [(&str, &dyn Fn(usize) -> Bounds); 3] = [
            ("grid", &grid),
            ("one place", &one_place),
            ("nested", &nested),
        ];
        for (name, of) in kinds {
            let cost = |n: usize| -> u64 {
                let phases = by_phase(|_| {
                    let near = FreedNear::of((0..n).map(|k| (k, of(k))).collect());
                    for k in 0..n {
                        let p = of(k).low.moved(1.0, 1.0);
                        std::hint::black_box(near.last_before(k, p, 3.0));
                    }
                });
                phases.iter().map(|(_, n)| n).sum()
            };
            let power = (cost(2048) as f64 / cost(1024) as f64).log2();
            assert!(power < 1.3, "{name}: n^{power:.2}");
        }
    }
}
