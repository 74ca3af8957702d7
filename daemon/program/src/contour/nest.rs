//! What lies inside what, and what is the same contour once more.

use std::collections::BTreeMap;

use rstar::{AABB, RTree, RTreeObject};
use units::Point;

use super::{Contour, Kind};
use crate::flat::Flat;

struct Boxed {
    index: usize,
    envelope: AABB<[f64; 2]>,
}

impl RTreeObject for Boxed {
    type Envelope = AABB<[f64; 2]>;

    fn envelope(&self) -> Self::Envelope {
        self.envelope
    }
}

/// A contour round another is larger by this factor.
const LARGER: f64 = 1.001;

/// Fills in depth, parent and kind. A contour that is cut twice is one contour: its second cut lies
/// where, and is what, the first one is, and stands round nothing.
pub(super) fn nest(all: &mut [Contour], flat: &Flat, kerf_mm: f64) {
    for (i, twin_of) in twins(all, kerf_mm / 2.0).into_iter().enumerate() {
        all[i].twin_of = twin_of;
    }
    let firsts = all.iter().enumerate().filter(|(_, c)| c.twin_of.is_none());
    let boxes = firsts.map(|(index, c)| Boxed {
        index,
        envelope: AABB::from_corners(
            [c.bounds.low.x, c.bounds.low.y],
            [c.bounds.high.x, c.bounds.high.y],
        ),
    });
    let tree = RTree::bulk_load(boxes.collect());
    let found: Vec<(usize, Option<usize>)> = all
        .iter()
        .enumerate()
        .map(|(i, c)| {
            if c.twin_of.is_some() {
                return (0, None);
            }
            let p = c.points[0];
            let mut round: Vec<usize> = tree
                .locate_in_envelope_intersecting(&AABB::from_point([p.x, p.y]))
                .map(|b| b.index)
                .filter(|&o| o != i && encloses(&all[o], c))
                .collect();
            round.sort_by(|&a, &b| all[a].area_mm2.abs().total_cmp(&all[b].area_mm2.abs()));
            (round.len(), round.first().copied())
        })
        .collect();
    let mut full = vec![false; all.len()];
    for (_, parent) in &found {
        if let Some(slot) = parent.and_then(|p| full.get_mut(p)) {
            *slot = true;
        }
    }
    for (i, (depth, parent)) in found.into_iter().enumerate() {
        let c = &mut all[i];
        c.depth = depth;
        c.parent = parent;
        let pierced_inside = flat
            .line(c.cut)
            .points
            .first()
            .is_some_and(|p| c.contains(*p));
        // A hole straight into the sheet, as both its lead-in and its direction say.
        let in_sheet = depth == 0 && !full[i] && pierced_inside && !c.clockwise();
        c.kind = if depth % 2 == 1 || in_sheet {
            Kind::Hole
        } else {
            Kind::Outline
        };
    }
    for i in 0..all.len() {
        if let Some(first) = all[i].twin_of {
            (all[i].depth, all[i].parent) = (all[first].depth, all[first].parent);
            all[i].kind = all[first].kind;
        }
    }
}

/// Nor further than this part of what they measure.
const SAME_PART: f64 = 0.05;
/// So many places of two contours are compared.
const COMPARED: usize = 24;

/// By contour: the first one that runs nowhere further than so many mm from it.
fn twins(all: &[Contour], within_mm: f64) -> Vec<Option<usize>> {
    // In squares of this size lie the lower left corners of the boxes round the first of each: two
    // that belong together lie in the same square or in squares beside each other.
    let square = 2.0 * within_mm.max(0.01);
    let mut firsts: BTreeMap<(i64, i64), Vec<usize>> = BTreeMap::new();
    let mut found = Vec::with_capacity(all.len());
    for (i, c) in all.iter().enumerate() {
        let low = c.bounds.low;
        let (x, y) = (low.x / square, low.y / square);
        let near = |v: f64| [(v - 0.5).floor() as i64, (v + 0.5).floor() as i64];
        let candidates = near(x)
            .into_iter()
            .flat_map(|x| near(y).map(|y| (x, y)))
            .filter_map(|key| firsts.get(&key));
        let first = candidates
            .flatten()
            .copied()
            .filter(|&k| same(&all[k], c, within_mm))
            .min();
        if first.is_none() {
            let own = (x.floor() as i64, y.floor() as i64);
            firsts.entry(own).or_default().push(i);
        }
        found.push(first);
    }
    found
}

/// Whether two contours run along each other all the way round.
fn same(a: &Contour, b: &Contour, within_mm: f64) -> bool {
    // Of a small one, less: a ring in a ring is two contours.
    let size = a.bounds.width().max(a.bounds.height());
    let within_mm = within_mm.min(SAME_PART * size);
    let sides = [
        a.bounds.low.x - b.bounds.low.x,
        a.bounds.low.y - b.bounds.low.y,
        a.bounds.high.x - b.bounds.high.x,
        a.bounds.high.y - b.bounds.high.y,
    ];
    let along = |of: &Contour, other: &Contour| {
        let n = of.points.len();
        (0..COMPARED.min(n))
            .all(|k| other.distance(of.points[k * n / COMPARED.min(n)]) <= within_mm)
    };
    sides.iter().all(|d| d.abs() <= within_mm) && along(a, b) && along(b, a)
}

/// Most of a handful of places of the inner one lie inside.
fn encloses(outer: &Contour, inner: &Contour) -> bool {
    if outer.area_mm2.abs() <= inner.area_mm2.abs() * LARGER {
        return false;
    }
    let n = inner.points.len();
    let tried: Vec<Point> = (0..5).map(|k| inner.points[k * n / 5]).collect();
    tried.iter().filter(|p| outer.contains(**p)).count() >= 3
}
