//! Which path is near a place: an index of all strands, for distances that the grid is too coarse for.

use std::collections::BTreeSet;

use units::{Bounds, Point};

use crate::cuts::polylines::Polylines;
use crate::geometry::plane::nearest_part;
use crate::geometry::tree::{Tree, grown};
use crate::sheet::pieces::strand::{Strand, Strands};

/// Strands that run nowhere further from each other count as one, mm: no kerf is known so well. Of cuts
/// nearly on one place no more than a bounded number are asked, however many there are.
const SAME_MM: f64 = 0.01;

/// An index of strands.
pub(crate) struct Kerfs {
    tree: Tree,
    pierce_mm: f64,
}

impl Kerfs {
    /// `pierce_mm`: by so much the hole of a pierce is wider than the kerf, on each side.
    pub fn new(flat: &Polylines, strands: &Strands, pierce_mm: f64) -> Self {
        let reach = |s: &Strand| {
            let mut b = bounds(flat, s);
            if let Some(at) = pierce(flat, s) {
                b.join(&grown(&Bounds::of(at), pierce_mm));
            }
            b
        };
        // Strands that run where an earlier one has run say nothing new at any moment: many copies
        // of one cut are as cheap as one.
        let mut seen = BTreeSet::new();
        let firsts = (strands.all.iter().zip(0_u32..)).filter(|(s, _)| seen.insert(run(flat, s)));
        Self {
            tree: Tree::named(firsts.map(|(s, name)| (reach(s), name))),
            pierce_mm,
        }
    }

    /// The distance of a place from the nearest path cut before strand `before` (a number from 0),
    /// if it is less than `radius`, mm. A pierce counts as nearer by as
    /// much as its hole is wider than the kerf, on each side. Strands of later cuts cost nothing, and of those that lie on
    /// one place the first is enough.
    pub fn distance(
        &self,
        (flat, strands): (&Polylines, &Strands),
        p: Point,
        radius: f64,
        before: u32,
    ) -> Option<f64> {
        self.tree.nearest(p, radius, before, |strand| {
            strands
                .all
                .get(strand as usize)
                .map_or(f64::INFINITY, |s| off_metal(flat, s, p, self.pierce_mm))
        })
    }

    /// The pieces of path cut before strand `before` that come nearer than `radius` mm to a place, a pierce
    /// counting as in [`Kerfs::distance`]; `None`: more than `most`.
    pub fn nearby(
        &self,
        (flat, strands): (&Polylines, &Strands),
        p: Point,
        radius: f64,
        (before, most): (u32, usize),
    ) -> Option<Nearby> {
        let mut found = Vec::new();
        let mut add = |a: Point, b: Point, wider: f64| {
            if a.toward(b, nearest_part(a, b, p)).distance(p) - wider < radius {
                found.push((a, b, wider));
            }
            found.len() > most
        };
        let mut full = false;
        self.tree
            .within(&grown(&Bounds::of(p), radius), before, |strand| {
                let Some(s) = strands.all.get(strand as usize) else {
                    return false;
                };
                let line = flat.line(s.cut as usize);
                let mut from = line.at(s.from_mm);
                full = line.chain(s.from_mm, s.to_mm).skip(1).any(|to| {
                    let full = add(from, to, 0.0);
                    from = to;
                    full
                }) || pierce(flat, s).is_some_and(|at| add(at, at, self.pierce_mm));
                full
            });
        (!full).then_some(Nearby(found))
    }

    /// Whether a path cut before strand `before` comes nearer than `radius` mm to a place, a pierce
    /// counting as in [`Kerfs::distance`]: where many cross each other, one is enough.
    pub fn is_near(
        &self,
        (flat, strands): (&Polylines, &Strands),
        p: Point,
        radius: f64,
        before: u32,
    ) -> bool {
        let mut found = false;
        self.tree
            .within(&grown(&Bounds::of(p), radius), before, |strand| {
                let strand = strands.all.get(strand as usize);
                found = strand.is_some_and(|s| off_metal(flat, s, p, self.pierce_mm) < radius);
                found
            });
        found
    }
}

/// Pieces of path near a place, for many questions about its surroundings.
pub(crate) struct Nearby(Vec<(Point, Point, f64)>);

impl Nearby {
    /// Whether one of them comes nearer than `radius` mm to a place.
    pub fn is_near(&self, p: Point, radius: f64) -> bool {
        self.0
            .iter()
            .any(|(a, b, wider)| a.toward(*b, nearest_part(*a, *b, p)).distance(p) - wider < radius)
    }
}

/// Where a strand runs, in steps of [`SAME_MM`], and whether it begins with a pierce: as two hash
/// values, which take less room than the places themselves.
fn run(flat: &Polylines, s: &Strand) -> [u64; 2] {
    let mut hash = [u64::from(pierce(flat, s).is_some()), 1];
    for p in flat.line(s.cut as usize).chain(s.from_mm, s.to_mm) {
        for v in [p.x, p.y] {
            // Half a step to the left, so that a whole number cut off is the nearest one.
            let step = (v / SAME_MM + FAR_STEPS) as u64;
            for (part, odd) in hash.iter_mut().zip(MIXES) {
                *part = (*part ^ step).wrapping_mul(odd);
                *part ^= *part >> 29;
            }
        }
    }
    hash
}

/// Places further to the left or below than so many steps count as there; a half more to round.
const FAR_STEPS: f64 = (1_u64 << 40) as f64 + 0.5;
/// Odd numbers of many bits (the fractions of the golden ratio and of the root of 2): a product with one
/// spreads every bit of a step over those above it.
const MIXES: [u64; 2] = [0x9e37_79b9_7f4a_7c15, 0x6a09_e667_f3bc_c909];

/// Where a strand begins with a pierce.
fn pierce(flat: &Polylines, s: &Strand) -> Option<Point> {
    let points = flat.line(s.cut as usize).points;
    points.first().copied().filter(|_| s.from_mm <= 0.0)
}

/// From a strand's path to a place, mm; its pierce counts as nearer by `pierce_mm`.
fn off_metal(flat: &Polylines, s: &Strand, p: Point, pierce_mm: f64) -> f64 {
    let path = off(flat, s, p);
    pierce(flat, s).map_or(path, |at| path.min(at.distance(p) - pierce_mm))
}

fn bounds(flat: &Polylines, s: &Strand) -> Bounds {
    let line = flat.line(s.cut as usize);
    let mut b = Bounds::of(line.at(s.from_mm));
    line.chain(s.from_mm, s.to_mm).for_each(|p| b.add(p));
    b
}

fn off(flat: &Polylines, s: &Strand, p: Point) -> f64 {
    let line = flat.line(s.cut as usize);
    let mut from = line.at(s.from_mm);
    let mut least = f64::INFINITY;
    for to in line.chain(s.from_mm, s.to_mm).skip(1) {
        least = least.min(from.toward(to, nearest_part(from, to, p)).distance(p));
        from = to;
    }
    least
}
