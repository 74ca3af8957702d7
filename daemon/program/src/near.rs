//! What lies near what: the closed contours and the open paths, a dozen chords to a box, in a tree.

use std::collections::BTreeMap;

use rstar::{AABB, RTree, RTreeObject};
use units::{Bounds, Point};

use crate::contour::{Contour, Contours};
use crate::flat::{Flat, between};
use crate::shape::crossing;

/// So many chords share a box.
const CHORDS: usize = 12;
/// A path of up to so many boxes is looked up in one piece.
const AT_ONCE: usize = 16;

/// A few chords of one path.
struct Boxed {
    cut: usize,
    /// The points that the first chord begins and the last one ends in.
    from: usize,
    to: usize,
    envelope: AABB<[f64; 2]>,
}

impl RTreeObject for Boxed {
    type Envelope = AABB<[f64; 2]>;

    fn envelope(&self) -> Self::Envelope {
        self.envelope
    }
}

/// A path without its lead-in and over-burn where it is a contour, whole where it is none.
#[derive(Clone, Copy)]
struct Strand<'a> {
    points: &'a [Point],
    closed: bool,
}

impl<'a> Strand<'a> {
    fn of(flat: &'a Flat, contours: &'a Contours, cut: usize) -> Self {
        match contours.of_cut(cut) {
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
        let next = if i + 1 < self.points.len() { i + 1 } else { 0 };
        (self.points[i], self.points[next])
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

/// The tree of all paths.
pub(crate) struct Boxes {
    /// By cut: where its boxes begin; one more at the end.
    first: Vec<usize>,
    boxes: Vec<AABB<[f64; 2]>>,
    tree: RTree<Boxed>,
}

impl Boxes {
    pub fn new(flat: &Flat, contours: &Contours) -> Self {
        let (mut first, mut boxes, mut all) = (vec![0], Vec::new(), Vec::new());
        for cut in 0..flat.cuts() {
            let strand = Strand::of(flat, contours, cut);
            let n = strand.chords();
            for from in (0..n).step_by(CHORDS) {
                let to = (from + CHORDS).min(n);
                let mut b = Bounds::of(strand.points[from]);
                for i in from..to {
                    b.add(strand.chord(i).1);
                }
                let envelope = envelope(&b, 0.0);
                boxes.push(envelope);
                all.push(Boxed {
                    cut,
                    from,
                    to,
                    envelope,
                });
            }
            first.push(boxes.len());
        }
        Self {
            first,
            boxes,
            tree: RTree::bulk_load(all),
        }
    }
}

/// The paths with their tree.
#[derive(Clone, Copy)]
pub(crate) struct Near<'a> {
    pub flat: &'a Flat,
    pub contours: &'a Contours,
    pub boxes: &'a Boxes,
}

impl<'a> Near<'a> {
    fn strand(&self, cut: usize) -> Strand<'a> {
        Strand::of(self.flat, self.contours, cut)
    }

    /// The pairs of cuts whose paths come within so many mm of each other, in order.
    pub fn pairs(&self, within_mm: f64) -> Vec<Pair> {
        let mut found = Vec::new();
        for cut in 0..self.flat.cuts() {
            let own = self.boxes.first[cut]..self.boxes.first[cut + 1];
            let mut best: BTreeMap<usize, Pair> = BTreeMap::new();
            if own.len() <= AT_ONCE {
                let Some(all) = joined(&self.boxes.boxes[own.clone()]) else {
                    continue;
                };
                self.later(cut, &all, within_mm, |other| {
                    for i in own.clone() {
                        self.compare(cut, i, other, within_mm, &mut best);
                    }
                });
            } else {
                for i in own {
                    self.later(cut, &self.boxes.boxes[i], within_mm, |other| {
                        self.compare(cut, i, other, within_mm, &mut best);
                    });
                }
            }
            found.extend(best.into_values());
        }
        found
    }

    fn later(
        &self,
        cut: usize,
        about: &AABB<[f64; 2]>,
        within_mm: f64,
        mut with: impl FnMut(&Boxed),
    ) {
        let grown = grown(about, within_mm);
        for other in self.boxes.tree.locate_in_envelope_intersecting(&grown) {
            if other.cut > cut {
                with(other);
            }
        }
    }

    /// Box `i` of a cut with a box of a later cut.
    fn compare(
        &self,
        cut: usize,
        i: usize,
        other: &Boxed,
        within_mm: f64,
        best: &mut BTreeMap<usize, Pair>,
    ) {
        let limit = best.get(&other.cut).map_or(within_mm, |p| p.apart_mm);
        if gap(&self.boxes.boxes[i], &other.envelope) >= limit {
            return;
        }
        let (mine, theirs) = (self.strand(cut), self.strand(other.cut));
        let from = (i - self.boxes.first[cut]) * CHORDS;
        let to = (from + CHORDS).min(mine.chords());
        let mut limit = limit;
        for m in from..to {
            let (a, b) = mine.chord(m);
            if gap(&aabb(a, b), &other.envelope) >= limit {
                continue;
            }
            for t in other.from..other.to {
                let (c, d) = theirs.chord(t);
                let (apart_mm, on_a) = between(a, b, c, d);
                if apart_mm < limit {
                    limit = apart_mm;
                    let on_b = c.toward(d, crate::flat::nearest_part(c, d, on_a));
                    best.insert(
                        other.cut,
                        Pair {
                            a: cut,
                            b: other.cut,
                            apart_mm,
                            on_a,
                            on_b,
                        },
                    );
                }
            }
        }
    }

    /// The chords of all cuts within so many mm of a rectangle.
    pub fn about(
        self,
        bounds: &Bounds,
        within_mm: f64,
    ) -> impl Iterator<Item = (usize, Point, Point)> + 'a {
        let near = envelope(bounds, within_mm);
        self.boxes
            .tree
            .locate_in_envelope_intersecting(&near)
            .flat_map(move |boxed| {
                let strand = self.strand(boxed.cut);
                (boxed.from..boxed.to).map(move |i| {
                    let (a, b) = strand.chord(i);
                    (boxed.cut, a, b)
                })
            })
    }
}

fn aabb(a: Point, b: Point) -> AABB<[f64; 2]> {
    AABB::from_corners([a.x, a.y], [b.x, b.y])
}

fn envelope(b: &Bounds, by: f64) -> AABB<[f64; 2]> {
    AABB::from_corners([b.low.x - by, b.low.y - by], [b.high.x + by, b.high.y + by])
}

fn grown(b: &AABB<[f64; 2]>, by: f64) -> AABB<[f64; 2]> {
    let (low, high) = (b.lower(), b.upper());
    AABB::from_corners([low[0] - by, low[1] - by], [high[0] + by, high[1] + by])
}

fn joined(boxes: &[AABB<[f64; 2]>]) -> Option<AABB<[f64; 2]>> {
    use rstar::Envelope;
    let (first, rest) = boxes.split_first()?;
    Some(rest.iter().fold(*first, |all, b| all.merged(b)))
}

/// Between two rectangles, mm; 0 where they overlap.
fn gap(a: &AABB<[f64; 2]>, b: &AABB<[f64; 2]>) -> f64 {
    let off = |k: usize| {
        (a.lower()[k] - b.upper()[k])
            .max(b.lower()[k] - a.upper()[k])
            .max(0.0)
    };
    off(0).hypot(off(1))
}

/// Whether one contour's path runs inside the other by more than so many mm, and where: neither
/// lies wholly within the other.
pub(crate) fn overlap(a: &Contour, b: &Contour, by_mm: f64) -> Option<Point> {
    enters(a, b, by_mm).or_else(|| enters(b, a, by_mm))
}

/// A place of `a` that lies deeper than `by_mm` inside `b`.
fn enters(a: &Contour, b: &Contour, by_mm: f64) -> Option<Point> {
    let n = a.points.len();
    let near = |p: Point| {
        p.x >= b.bounds.low.x
            && p.x <= b.bounds.high.x
            && p.y >= b.bounds.low.y
            && p.y <= b.bounds.high.y
    };
    let deep = |p: &Point| near(*p) && b.contains(*p) && b.distance(*p) > by_mm;
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
        middles(p, q, &b.points).into_iter().find(|m| deep(m))
    })
}

/// The middles of the parts into which an outline cuts a straight piece.
pub(crate) fn middles(p: Point, q: Point, outline: &[Point]) -> Vec<Point> {
    let n = outline.len();
    let mut parts: Vec<f64> = (0..n)
        .filter_map(|i| crossing(p, q, outline[i], outline[(i + 1) % n]))
        .collect();
    parts.extend([0.0, 1.0]);
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
    use crate::shape::Placer;
    use crate::{ReadingRules, read};

    fn on_table(text: &str, with: impl FnOnce(&Near<'_>, &Contours)) {
        let reading = read(text.as_bytes(), &ReadingRules::default());
        let flat = Flat::new(&reading.cut_list, &Placer::new(&Placement::default()));
        let contours = Contours::new(&flat, 1.45);
        let boxes = Boxes::new(&flat, &contours);
        with(
            &Near {
                flat: &flat,
                contours: &contours,
                boxes: &boxes,
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
            let found: Vec<_> = near.pairs(limit);
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
                let parts = middles(p, q, &b.points);
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
