//! What lies near what: the closed contours and the open paths, a dozen chords to a box, in a tree.

use std::collections::BTreeMap;

use units::{Bounds, Point};

mod slab;

use slab::Slab;

use crate::contours::{Contour, Contours};
use crate::cuts::polylines::Polylines;
use crate::geometry::plane::between;
use crate::geometry::tree::{Tree, grown};
use crate::watch::Watch;

/// So many chords share a box.
const CHORDS: usize = 12;
/// A box is compared with no more other cuts than this...
const CROWD: usize = 32;
/// ... and as many again for so much of its own length, mm. Kerfs that leave metal between each
/// other are fewer by far; without a limit many copies of one cut would be compared each with each.
const CROWD_MM: f64 = 10.0;
/// Nor with more path than would cut away the metal within reach of it so many times over.
const OVER: f64 = 2.0;
/// So many pairs are kept in all, 56 bytes each: some hundred for each of 10,000 cuts.
const MOST_PAIRS: usize = 1_000_000;

/// A kerf is no finer, mm.
const CRUMB_MM: f64 = 1e-3;

/// A few chords of one path.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Boxed {
    /// Which cut, from 0.
    pub cut: usize,
    /// The points that the first chord begins and the last one ends in.
    from: usize,
    to: usize,
    bounds: Bounds,
    slab: Slab,
}

impl Boxed {
    /// The rectangle round its chords.
    pub fn bounds(&self) -> Bounds {
        self.bounds
    }
}

/// A path without its lead-in and over-burn where it is a contour, whole where it is none.
#[derive(Clone, Copy)]
pub(crate) struct Strand<'a> {
    points: &'a [Point],
    closed: bool,
}

impl<'a> Strand<'a> {
    pub fn of(flat: &'a Polylines, contour: Option<&'a Contour>, cut: usize) -> Self {
        match contour {
            Some(c) => Strand {
                points: &c.points,
                closed: true,
            },
            None => Strand {
                points: flat.line(cut).points,
                closed: false,
            },
        }
    }

    fn chords(&self) -> usize {
        match self.closed {
            true => self.points.len(),
            false => self.points.len().saturating_sub(1),
        }
    }

    /// Chord `i`: a closed strand's last one leads back to its first point.
    fn chord(&self, i: usize) -> (Point, Point) {
        crate::work::count(1);
        let next = if i + 1 < self.points.len() { i + 1 } else { 0 };
        (self.points[i], self.points[next])
    }

    /// The chords of a box of it.
    pub fn chords_of(self, boxed: &Boxed) -> impl Iterator<Item = (Point, Point)> + use<'a> {
        (boxed.from..boxed.to).map(move |i| self.chord(i))
    }
}

/// Two cuts that come near each other.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pair {
    /// The earlier cut, from 0.
    pub a: usize,
    /// The later one.
    pub b: usize,
    /// Between their paths, mm.
    pub apart_mm: f64,
    /// The place of the earlier one that is nearest.
    pub on_a: Point,
    /// The place of the later one that is nearest.
    pub on_b: Point,
}

/// The pairs of cuts that come near each other.
#[derive(Debug, Default)]
pub(crate) struct Pairs {
    /// In order.
    pub all: Vec<Pair>,
    /// The first cut (from 0) beside which lie more others than are compared, and where.
    pub crowded: Option<(usize, Point)>,
    /// So many such cuts there are.
    pub crowds: usize,
}

/// The tree of all paths.
#[derive(Debug, Default)]
pub(crate) struct Boxes {
    /// By cut: where its boxes begin; one more at the end.
    first: Vec<usize>,
    all: Vec<Boxed>,
    tree: Tree,
}

impl Boxes {
    /// `of_cut` says which contour a cut (from 0) is.
    pub fn new<'a>(flat: &'a Polylines, of_cut: impl Fn(usize) -> Option<&'a Contour>) -> Self {
        let (mut first, mut all) = (vec![0], Vec::new());
        for cut in 0..flat.cuts() {
            let strand = Strand::of(flat, of_cut(cut), cut);
            let n = strand.chords();
            for from in (0..n).step_by(CHORDS) {
                let to = (from + CHORDS).min(n);
                let mut bounds = Bounds::of(strand.points[from]);
                (from..to).for_each(|i| bounds.add(strand.chord(i).1));
                all.push(Boxed {
                    cut,
                    from,
                    to,
                    bounds,
                    slab: Slab::round(strand, from..to),
                });
            }
            first.push(all.len());
        }
        let tree = Tree::new(all.iter().map(|b| b.bounds));
        Self { first, all, tree }
    }

    fn of_cut(&self, cut: usize) -> &[Boxed] {
        match (self.first.get(cut), self.first.get(cut + 1)) {
            (Some(&a), Some(&b)) => &self.all[a..b],
            _ => &[],
        }
    }

    /// The boxes of cuts before `cut` that come within `by_mm` of a rectangle, until `seen` says true.
    pub fn earlier(
        &self,
        cut: usize,
        about: &Bounds,
        by_mm: f64,
        mut seen: impl FnMut(&Boxed) -> bool,
    ) {
        let before = self.first.get(cut).map_or(u32::MAX, |n| *n as u32);
        self.tree.within(&grown(about, by_mm), before, |name| {
            seen(&self.all[name as usize])
        });
    }

    /// The box that a ray toward lower x meets first: `meets` says at which x, if it does.
    pub fn to_the_left(
        &self,
        p: Point,
        mut meets: impl FnMut(&Boxed) -> Option<f64>,
    ) -> Option<(&Boxed, f64)> {
        let (name, x) = self
            .tree
            .to_the_left(p, |name| meets(&self.all[name as usize]))?;
        Some((&self.all[name as usize], x))
    }
}

/// The paths with their tree.
#[derive(Clone, Copy)]
pub(crate) struct Near<'a> {
    pub flat: &'a Polylines,
    pub contours: &'a Contours,
}

impl<'a> Near<'a> {
    /// A cut's path.
    pub fn strand(&self, cut: usize) -> Strand<'a> {
        Strand::of(self.flat, self.contours.of_cut(cut), cut)
    }

    fn boxes(&self) -> &'a Boxes {
        &self.contours.boxes
    }

    /// The pairs of cuts whose paths come within so many mm of each other.
    pub fn pairs(&self, within_mm: f64, kerf_mm: f64, watch: &dyn Watch) -> Pairs {
        let mut found = Pairs::default();
        for cut in 0..self.flat.cuts() {
            if cut % 64 == 0 && !watch.go_on() {
                break;
            }
            let mut best: BTreeMap<usize, Pair> = BTreeMap::new();
            let mut at: Option<Point> = None;
            for own in self.boxes().of_cut(cut) {
                let length_mm = own.bounds.width() + own.bounds.height();
                let most = CROWD + (CROWD as f64 * length_mm / CROWD_MM) as usize;
                let [long_mm, wide_mm] = own.slab.sides_within(within_mm);
                let room_mm = OVER * long_mm * wide_mm / kerf_mm.max(CRUMB_MM);
                let mut beside_mm = 0.0;
                let mut others = Crowd::default();
                let mut crowded = false;
                self.boxes().earlier(cut, &own.bounds, within_mm, |other| {
                    let limit = best.get(&other.cut).map_or(within_mm, |p| p.apart_mm);
                    if gap(&other.bounds, &own.bounds) < limit && own.slab.gap(&other.slab) < limit
                    {
                        // No more of it than may lie within reach.
                        beside_mm += other.slab.length().min(long_mm + wide_mm);
                        self.compare(other, own, limit, &mut best);
                    }
                    crowded = others.count(other.cut) > most || beside_mm > room_mm;
                    crowded
                });
                if crowded {
                    at.get_or_insert(self.strand(cut).points[own.from]);
                }
            }
            found.all.extend(best.into_values());
            let full = found.all.len() > MOST_PAIRS;
            if full {
                let begin = self.strand(cut).points.first().copied();
                at = at.or(begin).or(Some(Point::default()));
                found.crowds += self.flat.cuts() - cut - 1;
            }
            if let Some(at) = at {
                found.crowded.get_or_insert((cut, at));
                found.crowds += 1;
            }
            if full {
                break;
            }
        }
        found.all.sort_by_key(|p| (p.a, p.b));
        found
    }

    /// A box of an earlier cut with one of a later cut: what is nearer than `limit` mm.
    fn compare(
        &self,
        earlier: &Boxed,
        later: &Boxed,
        mut limit: f64,
        best: &mut BTreeMap<usize, Pair>,
    ) {
        let (mine, theirs) = (self.strand(earlier.cut), self.strand(later.cut));
        for (a, b) in mine.chords_of(earlier) {
            let about = span(a, b);
            if gap(&about, &later.bounds) >= limit {
                continue;
            }
            for (c, d) in theirs.chords_of(later) {
                if gap(&about, &span(c, d)) >= limit {
                    continue;
                }
                let (apart_mm, on_a) = between(a, b, c, d);
                if apart_mm < limit {
                    limit = apart_mm;
                    let on_b = c.toward(d, crate::geometry::plane::nearest_part(c, d, on_a));
                    best.insert(
                        earlier.cut,
                        Pair {
                            a: earlier.cut,
                            b: later.cut,
                            apart_mm,
                            on_a,
                            on_b,
                        },
                    );
                }
            }
        }
    }

    /// Whether two boxes hold chords that touch.
    pub fn touch(&self, one: &Boxed, other: &Boxed, within_mm: f64) -> bool {
        if one.slab.gap(&other.slab) > within_mm {
            return false;
        }
        let (mine, theirs) = (self.strand(one.cut), self.strand(other.cut));
        mine.chords_of(one).any(|(a, b)| {
            let about = span(a, b);
            gap(&about, &other.bounds) <= within_mm
                && theirs.chords_of(other).any(|(c, d)| {
                    gap(&about, &span(c, d)) <= within_mm && between(a, b, c, d).0 <= within_mm
                })
        })
    }

    /// The boxes of a cut.
    pub fn boxes_of(&self, cut: usize) -> &'a [Boxed] {
        self.boxes().of_cut(cut)
    }

    /// The chords of cuts before `before` (from 0) within so many mm of a rectangle, until `seen`
    /// says true.
    pub fn about(
        &self,
        bounds: &Bounds,
        within_mm: f64,
        before: usize,
        mut seen: impl FnMut(usize, Point, Point) -> bool,
    ) {
        self.boxes().earlier(before, bounds, within_mm, |boxed| {
            let mut chords = self.strand(boxed.cut).chords_of(boxed);
            chords.any(|(a, b)| seen(boxed.cut, a, b))
        });
    }
}

/// How many different cuts were met.
#[derive(Default)]
pub(crate) struct Crowd {
    seen: Vec<usize>,
}

impl Crowd {
    /// Counts a cut; how many different ones by now.
    pub fn count(&mut self, cut: usize) -> usize {
        if let Err(place) = self.seen.binary_search(&cut) {
            // What it moves in memory, 8 numbers at a time.
            crate::work::count(1 + (self.seen.len() - place) / 8);
            self.seen.insert(place, cut);
        }
        self.seen.len()
    }
}

fn span(a: Point, b: Point) -> Bounds {
    let mut bounds = Bounds::of(a);
    bounds.add(b);
    bounds
}

/// Between two rectangles, mm; 0 where they overlap.
fn gap(a: &Bounds, b: &Bounds) -> f64 {
    crate::work::count(1);
    let dx = (a.low.x - b.high.x).max(b.low.x - a.high.x).max(0.0);
    let dy = (a.low.y - b.high.y).max(b.low.y - a.high.y).max(0.0);
    (dx * dx + dy * dy).sqrt()
}

/// Whether one contour's path runs inside the other by more than so many mm, and where: neither
/// lies wholly within the other.
pub(crate) fn overlap(a: &Contour, b: &Contour, by_mm: f64) -> Option<Point> {
    // A copy lies on its original, and not within it.
    if a.points == b.points {
        return None;
    }
    enters(a, b, by_mm).or_else(|| enters(b, a, by_mm))
}

/// A place of `a` that lies deeper than `by_mm` inside `b`.
fn enters(a: &Contour, b: &Contour, by_mm: f64) -> Option<Point> {
    let n = a.points.len();
    let edges = b.edges();
    let near = |p: Point| {
        p.x >= b.bounds.low.x
            && p.x <= b.bounds.high.x
            && p.y >= b.bounds.low.y
            && p.y <= b.bounds.high.y
    };
    let deep = |p: &Point| {
        let clear = || edges.nearer(&b.points, *p, by_mm.next_up()).is_none();
        near(*p) && edges.contains(&b.points, *p) && clear()
    };
    // A long chord may pass right through without an end inside.
    (0..n).find_map(|i| {
        let (p, q) = (a.points[i], a.points[(i + 1) % n]);
        if deep(&p) {
            return Some(p);
        }
        let mut low = Bounds::of(p);
        low.add(q);
        if low.high.x < b.bounds.low.x
            || low.low.x > b.bounds.high.x
            || low.high.y < b.bounds.low.y
            || low.low.y > b.bounds.high.y
        {
            return None;
        }
        middles(p, q, b).into_iter().find(|m| deep(m))
    })
}

/// The middles of the parts into which a contour cuts a straight piece.
pub(crate) fn middles(p: Point, q: Point, contour: &Contour) -> Vec<Point> {
    let mut parts = vec![0.0, 1.0];
    contour.edges().crossings(&contour.points, p, q, &mut parts);
    parts.sort_by(f64::total_cmp);
    parts
        .windows(2)
        .map(|two| p.toward(q, f64::midpoint(two[0], two[1])))
        .collect()
}

#[cfg(test)]
mod tests {
    use units::Placement;

    use super::*;
    use crate::geometry::plane::Placer;
    use crate::{ReadingRules, read};

    fn on_table(text: &str, with: impl FnOnce(&Near<'_>, &Contours)) {
        let reading = read(text.as_bytes(), &ReadingRules::default());
        let flat = Polylines::new(&reading.cut_list, &Placer::new(&Placement::default()));
        let contours = Contours::new(&flat, 1.45);
        with(
            &Near {
                flat: &flat,
                contours: &contours,
            },
            &contours,
        );
    }

    fn square(x: f64, y: f64, side: f64) -> String {
        format!(
            "G0 X{x} Y{y}\nM3\nG1 Y{} F600\nG1 X{}\nG1 Y{y}\nG1 X{x}\nM5\n",
            y + side,
            x + side
        )
    }

    #[test]
    fn near_pairs_are_those_that_plain_comparison_of_all_chords_finds() {
        let mut text = "G21\n".to_owned();
        // A large ring of many chords round rows of squares that come nearer and nearer.
        text += "G0 X150 Y50\nM3\nG3 X150 Y50 I-100 J0 F600\nM5\n";
        for k in 0..12 {
            let k = f64::from(k);
            text += &square(10.0 * k + 0.13 * k * k, 3.0 * k, 8.0);
        }
        on_table(&text, |near, contours| {
            let limit = 6.0;
            let found = near.pairs(limit, 1.45, &crate::Unwatched).all;
            let mut plain = Vec::new();
            for (i, a) in contours.all.iter().enumerate() {
                for b in &contours.all[i + 1..] {
                    let apart = a.points.iter().map(|p| b.distance(*p));
                    let back = b.points.iter().map(|p| a.distance(*p));
                    let mut least = apart.chain(back).fold(f64::INFINITY, f64::min);
                    if overlap(a, b, 0.0).is_some() && !crossed(a, b).is_empty() {
                        least = 0.0;
                    }
                    if least < limit {
                        plain.push((a.cut, b.cut, (least * 1e6).round()));
                    }
                }
            }
            assert!(plain.len() > 10, "{plain:?}");
            let found: Vec<_> = found
                .iter()
                .map(|p| (p.a, p.b, (p.apart_mm * 1e6).round()))
                .collect();
            assert_eq!(found, plain);
        });
    }

    fn crossed(a: &Contour, b: &Contour) -> Vec<Point> {
        let n = a.points.len();
        (0..n)
            .flat_map(|i| {
                let (p, q) = (a.points[i], a.points[(i + 1) % n]);
                let parts = middles(p, q, b);
                if parts.len() > 1 { parts } else { Vec::new() }
            })
            .collect()
    }

    #[test]
    fn bars_that_cross_overlap_although_no_corner_of_either_lies_in_the_other() {
        let bar = |x: f64, y: f64, w: f64, h: f64| {
            format!(
                "G0 X{x} Y{y}\nM3\nG1 Y{} F600\nG1 X{}\nG1 Y{y}\nG1 X{x}\nM5\n",
                y + h,
                x + w
            )
        };
        let text = format!(
            "G21\n{}{}",
            bar(0.0, 40.0, 100.0, 10.0),
            bar(40.0, 0.0, 10.0, 100.0)
        );
        on_table(&text, |_, c| {
            assert!(overlap(&c.all[0], &c.all[1], 0.05).is_some());
        });
        // Side by side on one line, and a twentieth of a millimetre into each other.
        for (x, deep) in [(50.0, false), (49.96, false), (49.9, true)] {
            let text = format!("G21\n{}{}", square(0.0, 0.0, 50.0), square(x, 0.0, 50.0));
            on_table(&text, |_, c| {
                assert_eq!(overlap(&c.all[0], &c.all[1], 0.05).is_some(), deep, "{x}");
            });
        }
    }
}
