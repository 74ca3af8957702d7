//! What is the same contour once more: cut again along the same path, wherever it is begun.

use std::collections::BTreeMap;

use crate::contours::Contour;

/// Nor further than this part of what they measure.
const SAME_PART: f64 = 0.05;
/// So many places of two contours are compared.
const PLACES: usize = 24;

/// So many different contours with one and the same rectangle round them are compared with each
/// other: more are no drawing of parts, and they all cross each other.
const ALIKE: usize = 64;

/// The sides of a rectangle in whole squares.
type Sides = [i64; 4];

/// By contour: the first one that runs nowhere further than so many mm from it.
pub(super) fn twins(all: &[Contour], within_mm: f64) -> Vec<Option<usize>> {
    // Two that belong together have their sides in the same square of this size, or in squares
    // beside each other.
    let square = 2.0 * within_mm.max(0.01);
    let mut firsts: BTreeMap<Sides, Vec<usize>> = BTreeMap::new();
    let mut found = Vec::with_capacity(all.len());
    for (i, c) in all.iter().enumerate() {
        let b = &c.bounds;
        let sides = [b.low.x, b.low.y, b.high.x, b.high.y].map(|v| v / square);
        let first = (0..16)
            .filter_map(|k| firsts.get(&beside(sides, k)))
            .flatten()
            .copied()
            .filter(|&k| same(&all[k], c, within_mm))
            .min();
        if first.is_none() {
            let own = firsts.entry(sides.map(|v| v.floor() as i64)).or_default();
            if own.len() < ALIKE {
                own.push(i);
            }
        }
        found.push(first);
    }
    found
}

/// One of the 16 choices (0 to 15) between the two squares that each side is nearest to.
fn beside(sides: [f64; 4], choice: usize) -> Sides {
    let mut bit = 1;
    sides.map(|v| {
        let off = if choice & bit == 0 { -0.5 } else { 0.5 };
        bit <<= 1;
        (v + off).floor() as i64
    })
}

/// Whether two contours run along each other all the way round.
fn same(a: &Contour, b: &Contour, within_mm: f64) -> bool {
    // Of a small one, less: a ring in a ring is two contours.
    crate::work::count(1);
    let size = a.bounds.width().max(a.bounds.height());
    let within_mm = within_mm.min(SAME_PART * size);
    let sides = [
        a.bounds.low.x - b.bounds.low.x,
        a.bounds.low.y - b.bounds.low.y,
        a.bounds.high.x - b.bounds.high.x,
        a.bounds.high.y - b.bounds.high.y,
    ];
    let reach = within_mm.next_up();
    let along = |of: &Contour, other: &Contour| {
        let n = of.points.len();
        (0..PLACES.min(n))
            .map(|k| of.points[k * n / PLACES.min(n)])
            .all(|p| other.edges().nearer(&other.points, p, reach).is_some())
    };
    sides.iter().all(|d| d.abs() <= within_mm) && along(a, b) && along(b, a)
}
