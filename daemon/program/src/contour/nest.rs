//! What lies inside what.

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

/// A contour round another is larger by this factor: one that is cut twice is not its own parent.
const LARGER: f64 = 1.001;

/// Fills in depth, parent and kind.
pub(super) fn nest(all: &mut [Contour], flat: &Flat) {
    let boxes = all.iter().enumerate().map(|(index, c)| Boxed {
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
