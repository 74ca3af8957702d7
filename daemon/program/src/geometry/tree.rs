//! A static tree of rectangles: which of many things lie near a place, without asking each of them.
//!
//! The rectangles are put in the order of a curve that fills the plane (Morton order of their
//! middles) and packed, [`FAN`] to a node, level upon level. Building costs n log n, a question
//! log n and what it finds. A thing's name is its place in the list that the tree was built from;
//! every node knows the lowest name below it, so that things that come later (cuts that are not
//! cut yet) are passed over without being looked at, however many lie on one place.

use units::{Bounds, Point};

/// Children of a node.
const FAN: usize = 8;

/// See the module.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tree {
    /// Of all levels, leaves first.
    nodes: Vec<Node>,
    /// Where each level begins in `nodes`; one more at the end.
    levels: Vec<usize>,
}

#[derive(Clone, Copy, Debug)]
struct Node {
    bounds: Bounds,
    /// The lowest name below it; a leaf's own name.
    least: u32,
}

impl Tree {
    /// Of rectangles that are named by their order.
    pub fn new(all: impl Iterator<Item = Bounds>) -> Self {
        Self::named(all.zip(0_u32..))
    }

    /// Of rectangles with their names.
    pub fn named(all: impl Iterator<Item = (Bounds, u32)>) -> Self {
        let mut leaves: Vec<Node> = all.map(|(bounds, least)| Node { bounds, least }).collect();
        let Some(whole) = leaves.iter().map(|n| n.bounds).reduce(joined) else {
            return Self::default();
        };
        crate::work::count(leaves.len());
        leaves.sort_by_cached_key(|n| (morton(&n.bounds, &whole), n.least));
        let mut tree = Self {
            levels: vec![0, leaves.len()],
            nodes: leaves,
        };
        let mut from = 0;
        while tree.nodes.len() - from > 1 {
            let to = tree.nodes.len();
            for first in (from..to).step_by(FAN) {
                let own = &tree.nodes[first..(first + FAN).min(to)];
                let node = own.iter().copied().reduce(|a, b| Node {
                    bounds: joined(a.bounds, b.bounds),
                    least: a.least.min(b.least),
                });
                tree.nodes.extend(node);
            }
            tree.levels.push(tree.nodes.len());
            from = to;
        }
        tree
    }

    /// The children of a node of a level (1 or more): the place of the first in `nodes`, and them.
    fn children(&self, level: usize, node: usize) -> (usize, &[Node]) {
        let (start, end) = (self.levels[level - 1], self.levels[level]);
        let first = start + (node - end) * FAN;
        (first, &self.nodes[first..(first + FAN).min(end)])
    }

    /// The root: its level and place.
    fn root(&self) -> Option<(usize, usize)> {
        Some((self.levels.len().checked_sub(2)?, self.nodes.len() - 1))
    }

    /// The things below `before` whose rectangles touch a window, in no order; until `seen` says true.
    pub fn within(&self, window: &Bounds, before: u32, mut seen: impl FnMut(u32) -> bool) {
        self.descend(
            &|n: &Node| n.least < before && touch(&n.bounds, window),
            &mut seen,
        );
    }

    /// How many things have rectangles that touch a window, up to `most`: counting ends there. What lies
    /// wholly in it is counted without being looked at, however much it is.
    pub fn count(&self, window: &Bounds, most: usize) -> usize {
        self.root().map_or(0, |(level, root)| {
            self.count_below(level, root, window, most).min(most)
        })
    }

    fn count_below(&self, level: usize, node: usize, window: &Bounds, most: usize) -> usize {
        crate::work::count(1);
        let bounds = &self.nodes[node].bounds;
        if !touch(bounds, window) {
            return 0;
        }
        if level == 0 {
            return 1;
        }
        if holds(window, bounds) {
            return self.leaves_below(level, node);
        }
        let (first, children) = self.children(level, node);
        let mut found = 0;
        for child in first..first + children.len() {
            if found >= most {
                break;
            }
            found += self.count_below(level - 1, child, window, most - found);
        }
        found
    }

    /// Levels are packed from the left: a node's leaves follow from its place.
    fn leaves_below(&self, level: usize, node: usize) -> usize {
        let width = FAN.pow(level as u32);
        let from = (node - self.levels[level]) * width;
        width.min(self.levels[1].saturating_sub(from))
    }

    /// The things below `before` whose rectangles, grown by `by` mm, a straight piece passes
    /// through; until `seen` says true.
    pub fn along(
        &self,
        (a, b): (Point, Point),
        by: f64,
        before: u32,
        mut seen: impl FnMut(u32) -> bool,
    ) {
        let mut window = Bounds::of(a);
        window.add(b);
        let window = grown(&window, by);
        let near = |n: &Node| {
            n.least < before
                && touch(&n.bounds, &window)
                && crate::geometry::plane::clip(a, b, &grown(&n.bounds, by)).is_some()
        };
        self.descend(&near, &mut seen);
    }

    /// All things below nodes that are wanted, until `seen` says true.
    fn descend(&self, wanted: &impl Fn(&Node) -> bool, seen: &mut impl FnMut(u32) -> bool) {
        let Some((level, root)) = self.root() else {
            return;
        };
        crate::work::count(1);
        if wanted(&self.nodes[root]) {
            self.go(level, root, wanted, seen);
        }
    }

    fn go(
        &self,
        level: usize,
        node: usize,
        wanted: &impl Fn(&Node) -> bool,
        seen: &mut impl FnMut(u32) -> bool,
    ) -> bool {
        if level == 0 {
            return seen(self.nodes[node].least);
        }
        let (first, children) = self.children(level, node);
        crate::work::count(children.len());
        children
            .iter()
            .enumerate()
            .any(|(k, child)| wanted(child) && self.go(level - 1, first + k, wanted, seen))
    }

    /// The least distance of a place from the things below `before`, if under `radius` mm; `off`
    /// measures one of them.
    pub fn nearest(
        &self,
        p: Point,
        radius: f64,
        before: u32,
        mut off: impl FnMut(u32) -> f64,
    ) -> Option<f64> {
        let reach = |n: &Node| {
            if n.least < before {
                gap(&n.bounds, p)
            } else {
                f64::INFINITY
            }
        };
        let mut best = radius;
        self.best(&mut best, &reach, &mut off);
        (best < radius).then_some(best)
    }

    /// The least that `value` gives for a thing, found by way of nodes of which `bound` says that
    /// nothing below is less; `best` holds what it must come under, and what is found.
    fn best(
        &self,
        best: &mut f64,
        bound: &impl Fn(&Node) -> f64,
        value: &mut impl FnMut(u32) -> f64,
    ) {
        if let Some((level, root)) = self.root()
            && bound(&self.nodes[root]) < *best
        {
            self.best_below(level, root, best, bound, value);
        }
    }

    fn best_below(
        &self,
        level: usize,
        node: usize,
        best: &mut f64,
        bound: &impl Fn(&Node) -> f64,
        value: &mut impl FnMut(u32) -> f64,
    ) {
        if level == 0 {
            *best = best.min(value(self.nodes[node].least));
            return;
        }
        let (first, children) = self.children(level, node);
        crate::work::count(children.len());
        let mut order = [(f64::INFINITY, 0_usize); FAN];
        for (slot, (k, child)) in order.iter_mut().zip(children.iter().enumerate()) {
            *slot = (bound(child), k);
        }
        let order = &mut order[..children.len()];
        order.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        for &(least, k) in order.iter() {
            if least >= *best {
                break;
            }
            self.best_below(level - 1, first + k, best, bound, value);
        }
    }

    /// The thing that a ray from `p` toward lower x meets first: `meets` says at which x it crosses
    /// one thing, if it does.
    pub fn to_the_left(
        &self,
        p: Point,
        mut meets: impl FnMut(u32) -> Option<f64>,
    ) -> Option<(u32, f64)> {
        let bound = |n: &Node| {
            let b = &n.bounds;
            if b.low.y <= p.y && p.y <= b.high.y && b.low.x <= p.x {
                -b.high.x
            } else {
                f64::INFINITY
            }
        };
        let (mut best, mut found) = (f64::INFINITY, None);
        let mut value = |name: u32| {
            let Some(x) = meets(name) else {
                return f64::INFINITY;
            };
            if found.is_none_or(|(_, least)| x > least) {
                found = Some((name, x));
            }
            -x
        };
        self.best(&mut best, &bound, &mut value);
        found
    }
}

fn joined(mut a: Bounds, b: Bounds) -> Bounds {
    a.join(&b);
    a
}

/// A rectangle grown on all sides.
pub(crate) fn grown(b: &Bounds, by: f64) -> Bounds {
    Bounds {
        low: b.low.moved(-by, -by),
        high: b.high.moved(by, by),
    }
}

fn touch(a: &Bounds, b: &Bounds) -> bool {
    a.low.x <= b.high.x && a.high.x >= b.low.x && a.low.y <= b.high.y && a.high.y >= b.low.y
}

fn holds(outer: &Bounds, inner: &Bounds) -> bool {
    outer.low.x <= inner.low.x
        && outer.high.x >= inner.high.x
        && outer.low.y <= inner.low.y
        && outer.high.y >= inner.high.y
}

/// From a place to a rectangle, mm; 0 inside.
pub(crate) fn gap(b: &Bounds, p: Point) -> f64 {
    let dx = (b.low.x - p.x).max(p.x - b.high.x).max(0.0);
    let dy = (b.low.y - p.y).max(p.y - b.high.y).max(0.0);
    (dx * dx + dy * dy).sqrt()
}

/// Where a rectangle's middle lies on the curve, in 2^16 steps each way.
fn morton(b: &Bounds, whole: &Bounds) -> u32 {
    let step = |at: f64, low: f64, high: f64| {
        let part = (at - low) / (high - low).max(1e-9);
        spread((part * 65_535.0) as u32 & 0xffff)
    };
    let x = step(f64::midpoint(b.low.x, b.high.x), whole.low.x, whole.high.x);
    let y = step(f64::midpoint(b.low.y, b.high.y), whole.low.y, whole.high.y);
    x | (y << 1)
}

/// A bit of 0 between every two bits.
fn spread(n: u32) -> u32 {
    let n = (n | (n << 8)) & 0x00ff_00ff;
    let n = (n | (n << 4)) & 0x0f0f_0f0f;
    let n = (n | (n << 2)) & 0x3333_3333;
    (n | (n << 1)) & 0x5555_5555
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn boxes() -> impl Strategy<Value = Vec<Bounds>> {
        let one = (0.0_f64..100.0, 0.0_f64..100.0, 0.0_f64..20.0, 0.0_f64..20.0);
        prop::collection::vec(one, 0..300).prop_map(|all| {
            all.into_iter()
                .map(|(x, y, w, h)| Bounds {
                    low: Point::new(x, y),
                    high: Point::new(x + w, y + h),
                })
                .collect()
        })
    }

    proptest! {
        #[test]
        fn the_tree_finds_what_asking_each_finds(
            all in boxes(),
            (x, y, w) in (-5.0_f64..105.0, -5.0_f64..105.0, 0.0_f64..30.0),
            before in 0_u32..320,
        ) {
            let tree = Tree::new(all.iter().copied());
            let p = Point::new(x, y);
            let window = Bounds { low: p, high: p.moved(w, w) };
            let (mut found, mut along) = (Vec::new(), Vec::new());
            tree.within(&window, before, |k| { found.push(k as usize); false });
            tree.along((p, p.moved(w, -w)), 3.0, u32::MAX, |k| { along.push(k as usize); false });
            found.sort_unstable();
            along.sort_unstable();
            let each = |wanted: &dyn Fn(usize, &Bounds) -> bool| -> Vec<usize> {
                (0..all.len()).filter(|k| wanted(*k, &all[*k])).collect()
            };
            prop_assert_eq!(found, each(&|k, b| k < before as usize && touch(b, &window)));
            prop_assert_eq!(tree.count(&window, usize::MAX), each(&|_, b| touch(b, &window)).len());
            let wide = grown(&window, 40.0);
            let in_wide = each(&|_, b| touch(b, &wide)).len();
            prop_assert_eq!(tree.count(&wide, usize::MAX), in_wide);
            prop_assert_eq!(tree.count(&wide, 7), in_wide.min(7));
            prop_assert_eq!(along, each(&|_, b| crate::geometry::plane::clip(p, p.moved(w, -w), &grown(b, 3.0)).is_some()));
            let off = |k: u32| gap(&all[k as usize], p);
            let nearest = tree.nearest(p, 10.0, before, off);
            let least = (0..all.len() as u32).filter(|k| *k < before).map(off).fold(10.0, f64::min);
            prop_assert_eq!(nearest, (least < 10.0).then_some(least));
            // A ray that meets the right sides.
            let meets = |k: u32| {
                let b = &all[k as usize];
                (b.low.y <= y && y <= b.high.y && b.high.x <= x).then_some(b.high.x)
            };
            let left = tree.to_the_left(p, meets).map(|(_, at)| at);
            prop_assert_eq!(left, (0..all.len() as u32).filter_map(meets).reduce(f64::max));
        }
    }

    #[test]
    fn nothing_is_found_where_there_is_nothing() {
        let tree = Tree::new(core::iter::empty());
        let everywhere = Bounds {
            low: Point::new(-1e9, -1e9),
            high: Point::new(1e9, 1e9),
        };
        tree.within(&everywhere, u32::MAX, |_| unreachable!());
        assert_eq!(tree.nearest(Point::default(), 1e9, u32::MAX, |_| 0.0), None);
        assert_eq!(tree.to_the_left(Point::default(), |_| Some(0.0)), None);
    }
}
