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
    /// if it is less than `radius`, mm. A pierce counts as nearer by `pierce_mm`: its hole is so much
    /// wider than the kerf, on each side.
    pub fn distance(
        &self,
        (flat, strands): (&Flat, &Strands),
        p: Point,
        radius: f64,
        before: u32,
        pierce_mm: f64,
    ) -> Option<f64> {
        let reach = radius + pierce_mm;
        let window = AABB::from_corners([p.x - reach, p.y - reach], [p.x + reach, p.y + reach]);
        self.tree
            .locate_in_envelope_intersecting(&window)
            .filter(|e| e.strand < before)
            .filter_map(|e| strands.all.get(e.strand as usize))
            .map(|s| {
                let path = off(flat, s, p);
                let pierced = match flat.line(s.cut as usize).points.first() {
                    Some(at) if s.from_mm <= 0.0 => at.distance(p) - pierce_mm,
                    _ => f64::INFINITY,
                };
                path.min(pierced)
            })
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
