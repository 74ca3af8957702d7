//! An outline of many corners with an index of its edges: whether a place lies inside, how far off it
//! is, where a straight piece crosses, for the price of the edges near by. The answers are those of
//! asking every edge.

use units::{Bounds, Point};

use crate::geometry::plane::nearest_part;
use crate::geometry::plane::{crossing, inside, is_left_of};
use crate::geometry::tree::{Tree, grown};

/// So many edges to a leaf.
const LEAF: usize = 4;
/// Outlines with fewer corners are asked edge by edge.
const FEW: usize = 48;
/// Crossings are reckoned with rounding: what is this near to an edge's rectangle is asked, mm.
const CRUMB_MM: f64 = 1e-6;

/// The index of a closed outline's edges.
#[derive(Clone, Debug, Default)]
pub(crate) struct Edges {
    /// `None`: few corners.
    tree: Option<Tree>,
}

impl Edges {
    pub fn new(points: &[Point]) -> Self {
        let leaf = |k: usize| {
            let mut b = Bounds::of(points[k * LEAF]);
            edges(points, k as u32).for_each(|(_, to)| b.add(to));
            b
        };
        let leaves = points.len().div_ceil(LEAF);
        Self {
            tree: (points.len() > FEW).then(|| Tree::new((0..leaves).map(leaf))),
        }
    }

    /// Whether a place lies inside (even-odd).
    pub fn contains(&self, points: &[Point], p: Point) -> bool {
        let Some(tree) = &self.tree else {
            return inside(p, points);
        };
        let ray = Bounds {
            low: p,
            high: Point::new(f64::INFINITY, p.y),
        };
        let mut within = false;
        tree.within(&ray, u32::MAX, |leaf| {
            for (from, to) in edges(points, leaf) {
                within ^= is_left_of(p, from, to);
            }
            false
        });
        within
    }

    /// How far a place is off the outline, mm, if it is nearer than `radius`.
    pub fn nearer(&self, points: &[Point], p: Point, radius: f64) -> Option<f64> {
        let off = |leaf: u32| {
            edges(points, leaf)
                .map(|(a, b)| a.toward(b, nearest_part(a, b, p)).distance(p))
                .fold(f64::INFINITY, f64::min)
        };
        match &self.tree {
            Some(tree) => tree.nearest(p, radius, u32::MAX, off),
            None => {
                let leaves = points.len().div_ceil(LEAF) as u32;
                let least = (0..leaves).map(off).fold(f64::INFINITY, f64::min);
                (least < radius).then_some(least)
            }
        }
    }

    /// Adds where (0 to 1) the piece `a`-`b` crosses edges.
    pub fn crossings(&self, points: &[Point], a: Point, b: Point, parts: &mut Vec<f64>) {
        let mut ask = |leaf: u32| {
            parts.extend(edges(points, leaf).filter_map(|(c, d)| crossing(a, b, c, d)));
            false
        };
        match &self.tree {
            Some(tree) => {
                let mut window = Bounds::of(a);
                window.add(b);
                tree.within(&grown(&window, CRUMB_MM), u32::MAX, ask);
            }
            None => {
                for leaf in 0..points.len().div_ceil(LEAF) as u32 {
                    ask(leaf);
                }
            }
        }
    }
}

/// The edges of a leaf; the outline's last leads back to its first corner.
fn edges(points: &[Point], leaf: u32) -> impl Iterator<Item = (Point, Point)> + '_ {
    let from = leaf as usize * LEAF;
    let to = (from + LEAF).min(points.len());
    (from..to).map(move |i| {
        let next = if i + 1 < points.len() { i + 1 } else { 0 };
        (points[i], points[next])
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn an_index_says_what_every_edge_says(
            outline in prop::collection::vec((0_i32..40, 0_i32..40), 3..160),
            (x, y, w) in (-2_i32..42, -2_i32..42, -20_i32..20),
            half in any::<bool>(),
        ) {
            // Whole numbers make ties: places on corners, edges along the ray.
            let points: Vec<Point> =
                outline.iter().map(|(x, y)| Point::new(f64::from(*x), f64::from(*y))).collect();
            let more = if half { 0.5 } else { 0.0 };
            let p = Point::new(f64::from(x) + more, f64::from(y) + more);
            let q = p.moved(f64::from(w), 7.0);
            let index = Edges::new(&points);
            prop_assert_eq!(index.contains(&points, p), inside(p, &points));
            let every: Vec<(Point, Point)> =
                points.iter().copied().zip(points.iter().copied().cycle().skip(1)).collect();
            let least = every
                .iter()
                .map(|(a, b)| a.toward(*b, nearest_part(*a, *b, p)).distance(p))
                .fold(f64::INFINITY, f64::min);
            prop_assert_eq!(index.nearer(&points, p, f64::INFINITY), Some(least));
            prop_assert_eq!(index.nearer(&points, p, least), None);
            let mut found = Vec::new();
            index.crossings(&points, p, q, &mut found);
            let mut plain: Vec<f64> =
                every.iter().filter_map(|(c, d)| crossing(p, q, *c, *d)).collect();
            found.sort_by(f64::total_cmp);
            plain.sort_by(f64::total_cmp);
            prop_assert_eq!(found, plain);
        }
    }
}
