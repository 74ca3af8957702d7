//! Which path is near a place: an index of all strands, for distances that the grid is too coarse for.

use units::{Bounds, Point};

use crate::flat::{Flat, nearest_part};
use crate::pieces::strand::{Strand, Strands};
use crate::tree::{Tree, grown};

/// An index of strands.
pub(crate) struct Kerfs {
    tree: Tree,
}

impl Kerfs {
    pub fn new(flat: &Flat, strands: &Strands) -> Self {
        Self {
            tree: Tree::new(strands.all.iter().map(|s| bounds(flat, s))),
        }
    }

    /// The distance of a place from the nearest path cut before strand `before` (a number from 0),
    /// if it is less than `radius`, mm. Strands of later cuts cost nothing, and of those that lie on
    /// one place the first is enough.
    pub fn distance(
        &self,
        flat: &Flat,
        strands: &Strands,
        p: Point,
        radius: f64,
        before: u32,
    ) -> Option<f64> {
        self.tree.nearest(p, radius, before, |strand| {
            strands
                .all
                .get(strand as usize)
                .map_or(f64::INFINITY, |s| off(flat, s, p))
        })
    }
}

impl Kerfs {
    /// Whether a path cut before strand `before` comes nearer than `radius` mm to a place: where many
    /// cross each other, one is enough.
    pub fn is_near(
        &self,
        flat: &Flat,
        strands: &Strands,
        p: Point,
        radius: f64,
        before: u32,
    ) -> bool {
        let mut found = false;
        self.tree
            .within(&grown(&Bounds::of(p), radius), before, |strand| {
                let strand = strands.all.get(strand as usize);
                found = strand.is_some_and(|s| off(flat, s, p) < radius);
                found
            });
        found
    }
}

fn bounds(flat: &Flat, s: &Strand) -> Bounds {
    let line = flat.line(s.cut as usize);
    let mut b = Bounds::of(line.at(s.from_mm));
    line.chain(s.from_mm, s.to_mm).for_each(|p| b.add(p));
    b
}

fn off(flat: &Flat, s: &Strand, p: Point) -> f64 {
    let line = flat.line(s.cut as usize);
    let mut from = line.at(s.from_mm);
    let mut least = f64::INFINITY;
    for to in line.chain(s.from_mm, s.to_mm).skip(1) {
        least = least.min(from.toward(to, nearest_part(from, to, p)).distance(p));
        from = to;
    }
    least
}
