//! Which path is near a place: an index of all strands, for distances that the grid is too coarse for.

use rstar::{AABB, RTree, RTreeObject};
use units::{Bounds, Point};

use crate::flat::Flat;
use crate::pieces::strand::{Strand, Strands};

struct Entry {
    strand: u32,
    envelope: AABB<[f64; 2]>,
}

impl RTreeObject for Entry {
    type Envelope = AABB<[f64; 2]>;

    fn envelope(&self) -> Self::Envelope {
        self.envelope
    }
}

/// An index of strands.
pub(crate) struct Kerfs {
    tree: RTree<Entry>,
}

impl Kerfs {
    pub fn new(flat: &Flat, strands: &Strands) -> Self {
        let entries = strands.all.iter().zip(0_u32..).map(|(s, strand)| {
            let b = bounds(flat, s);
            Entry {
                strand,
                envelope: AABB::from_corners([b.low.x, b.low.y], [b.high.x, b.high.y]),
            }
        });
        Self {
            tree: RTree::bulk_load(entries.collect()),
        }
    }

    /// The distance of a place from the nearest path cut before strand `before` (a number from 0),
    /// if it is less than `radius`, mm.
    pub fn distance(
        &self,
        flat: &Flat,
        strands: &Strands,
        p: Point,
        radius: f64,
        before: u32,
    ) -> Option<f64> {
        let window = AABB::from_corners([p.x - radius, p.y - radius], [p.x + radius, p.y + radius]);
        self.tree
            .locate_in_envelope_intersecting(&window)
            .filter(|e| e.strand < before)
            .filter_map(|e| strands.all.get(e.strand as usize))
            .map(|s| off(flat, s, p))
            .min_by(f64::total_cmp)
            .filter(|d| *d < radius)
    }
}

fn bounds(flat: &Flat, s: &Strand) -> Bounds {
    let line = flat.line(s.cut as usize);
    let part = line.part(s.from_mm, s.to_mm);
    let mut b = Bounds::of(part[0]);
    part.iter().for_each(|p| b.add(*p));
    b
}

fn off(flat: &Flat, s: &Strand, p: Point) -> f64 {
    let part = flat.line(s.cut as usize).part(s.from_mm, s.to_mm);
    part.windows(2)
        .map(|w| {
            w[0].toward(w[1], crate::flat::nearest_part(w[0], w[1], p))
                .distance(p)
        })
        .fold(f64::INFINITY, f64::min)
}
