//! The cuts as polylines on the sheet: what geometry that compares cuts with each other works
//! on. Arcs are flattened to 0.02 mm of sagitta.

use crate::geometry::plane::nearest_part;
use units::{Bounds, Point, Segment};

use crate::CutList;
use crate::geometry::plane::Placer;

/// No chord is further than this from its arc, mm.
pub(crate) const SAGITTA_MM: f64 = 0.02;

/// All cuts of a program as polylines, sheet mm, in one list.
#[derive(Debug, Default)]
pub(crate) struct Polylines {
    points: Vec<Point>,
    /// How far along its cut each point lies, mm.
    along: Vec<f64>,
    /// The element of its cut that ends in each point (0 for the pierce).
    element: Vec<u32>,
    /// Where each cut begins in the lists; one more at the end.
    starts: Vec<usize>,
}

/// One cut as a polyline: its first point is the pierce.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Polyline<'a> {
    pub points: &'a [Point],
    /// How far along the cut each point lies, mm.
    pub along: &'a [f64],
    /// The element of the cut that ends in each point.
    pub element: &'a [u32],
}

impl Polylines {
    pub fn new(list: &CutList, placer: &Placer) -> Self {
        let mut flat = Self::default();
        for cut in &list.cuts {
            flat.starts.push(flat.points.len());
            flat.points.push(placer.place(cut.pierce));
            flat.along.push(0.0);
            flat.element.push(0);
            let mut done = 0.0;
            for (e, k) in cut.path.iter().zip(0_u32..) {
                let segment = placer.segment(&e.segment);
                match segment {
                    Segment::Line { from, to } => {
                        done += from.distance(to);
                        flat.points.push(to);
                        flat.along.push(done);
                        flat.element.push(k);
                    }
                    Segment::Arc { .. } => flat.arc(&segment, k, &mut done),
                }
            }
        }
        flat.starts.push(flat.points.len());
        flat
    }

    fn arc(&mut self, segment: &Segment, element: u32, done: &mut f64) {
        let Segment::Arc {
            from, to, centre, ..
        } = *segment
        else {
            return;
        };
        let (sweep, r) = (segment.sweep(), from.distance(centre));
        // One chord is near enough: nearly every arc that stands for a piece of a curve. Its sagitta is less
        // than r sweep^2 / 8.
        if r * sweep * sweep < 8.0 * SAGITTA_MM.min(r / 2.0) {
            *done += r * sweep.abs();
            self.points.push(to);
            self.along.push(*done);
            self.element.push(element);
            return;
        }
        let step = 2.0 * (1.0 - (SAGITTA_MM / r).min(0.5)).acos();
        let n = (sweep.abs() / step).ceil().clamp(1.0, 1e5) as usize;
        let part = r * sweep.abs() / n as f64;
        let (sin, cos) = (sweep / n as f64).sin_cos();
        let (mut dx, mut dy) = (from.x - centre.x, from.y - centre.y);
        for k in 1..=n {
            (dx, dy) = (dx * cos - dy * sin, dx * sin + dy * cos);
            *done += part;
            // The turned radius drifts by some 1e-13 a step; the end is the arc's own.
            let p = if k == n { to } else { centre.moved(dx, dy) };
            self.points.push(p);
            self.along.push(*done);
            self.element.push(element);
        }
    }

    /// How many cuts there are.
    pub fn cuts(&self) -> usize {
        self.starts.len().saturating_sub(1)
    }

    /// A cut, from 0.
    pub fn line(&self, cut: usize) -> Polyline<'_> {
        let range = match (self.starts.get(cut), self.starts.get(cut + 1)) {
            (Some(&a), Some(&b)) => a..b,
            _ => 0..0,
        };
        Polyline {
            points: &self.points[range.clone()],
            along: &self.along[range.clone()],
            element: &self.element[range],
        }
    }
}

impl<'a> Polyline<'a> {
    /// Its length, mm.
    pub fn length(&self) -> f64 {
        self.along.last().copied().unwrap_or(0.0)
    }

    /// Its pieces, with how far along each begins and ends.
    pub fn chords(&self) -> impl DoubleEndedIterator<Item = Chord> + '_ {
        (1..self.points.len()).map(|i| self.chord(i))
    }

    /// The piece that ends in point `i` (1 or more).
    pub fn chord(&self, i: usize) -> Chord {
        crate::work::count(1);
        Chord {
            a: self.points[i - 1],
            b: self.points[i],
            s: self.along[i - 1],
            end: i,
        }
    }

    /// The piece in which `s` lies: the index of the point that ends it.
    pub fn index_at(&self, s: f64) -> usize {
        crate::work::count(1);
        let i = self.along.partition_point(|a| *a < s);
        i.clamp(1, self.points.len().saturating_sub(1).max(1))
    }

    /// The place `s` mm along it, held within its ends.
    pub fn at(&self, s: f64) -> Point {
        let first = self.points.first().copied().unwrap_or_default();
        if self.points.len() < 2 || s <= 0.0 {
            return first;
        }
        self.at_in(self.index_at(s), s)
    }

    /// The place `s` mm along it, which lies in the piece that ends in point `i`.
    fn at_in(&self, i: usize, s: f64) -> Point {
        let (a, b) = (self.along[i - 1], self.along[i]);
        let part = if b > a {
            ((s - a) / (b - a)).clamp(0.0, 1.0)
        } else {
            1.0
        };
        self.points[i - 1].toward(self.points[i], part)
    }

    /// Goes along it from its start: for places one after the other, without searching for each.
    pub fn walk(self) -> Walk<'a> {
        Walk { line: self, end: 1 }
    }

    /// The direction of travel `s` mm along it.
    pub fn direction(&self, s: f64) -> (f64, f64) {
        if self.points.len() < 2 {
            return (0.0, 0.0);
        }
        self.direction_in(self.index_at(s))
    }

    /// The direction of the piece that ends in point `i`.
    fn direction_in(&self, i: usize) -> (f64, f64) {
        let c = self.chord(i);
        let d = c.a.distance(c.b);
        if d > 0.0 {
            ((c.b.x - c.a.x) / d, (c.b.y - c.a.y) / d)
        } else {
            (0.0, 0.0)
        }
    }

    /// Its points from `from` to `to` mm along, those two places included.
    pub fn part(&self, from: f64, to: f64) -> Vec<Point> {
        self.chain(from, to).collect()
    }

    /// The same one by one.
    pub fn chain(&self, from: f64, to: f64) -> impl Iterator<Item = Point> {
        let inner = self.along.partition_point(|a| *a <= from);
        let end = self.along.partition_point(|a| *a < to).max(inner);
        let between = self.points.get(inner..end).unwrap_or_default();
        crate::work::count(1 + between.len());
        core::iter::once(self.at(from))
            .chain(between.iter().copied())
            .chain(core::iter::once(self.at(to)))
    }
}

/// See [`Polyline::walk`].
pub(crate) struct Walk<'a> {
    line: Polyline<'a>,
    /// The point that ends the piece it has come to.
    end: usize,
}

impl Walk<'_> {
    /// As [`Polyline::index_at`], of places in ascending order.
    fn index_at(&mut self, s: f64) -> usize {
        crate::work::count(1);
        while self.end + 1 < self.line.points.len() && self.line.along[self.end] < s {
            self.end += 1;
        }
        self.end
    }

    /// As [`Polyline::at`], of places in ascending order.
    pub fn at(&mut self, s: f64) -> Point {
        if self.line.points.len() < 2 || s <= 0.0 {
            return self.line.at(s);
        }
        let i = self.index_at(s);
        self.line.at_in(i, s)
    }

    /// As [`Polyline::direction`], of places in ascending order.
    pub fn direction(&mut self, s: f64) -> (f64, f64) {
        if self.line.points.len() < 2 {
            return (0.0, 0.0);
        }
        let i = self.index_at(s);
        self.line.direction_in(i)
    }
}

/// A straight piece of a cut.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Chord {
    pub a: Point,
    pub b: Point,
    /// How far along the cut it begins, mm.
    pub s: f64,
    /// Index of the point that ends it.
    pub end: usize,
}

impl Chord {
    pub fn bounds(&self) -> Bounds {
        let mut b = Bounds::of(self.a);
        b.add(self.b);
        b
    }

    /// The nearest place of it to `p`: how far along the cut, and how far off, mm.
    pub fn nearest(&self, p: Point) -> (f64, f64) {
        let part = nearest_part(self.a, self.b, p);
        let at = self.a.toward(self.b, part);
        (self.s + part * self.a.distance(self.b), at.distance(p))
    }
}

#[cfg(test)]
mod tests {
    use crate::geometry::plane::between;
    use units::Placement;

    use super::*;
    use crate::{ReadingRules, read};

    fn flat(text: &str) -> Polylines {
        let reading = read(text.as_bytes(), &ReadingRules::default());
        Polylines::new(&reading.cut_list, &Placer::new(&Placement::default()))
    }

    #[test]
    fn an_arc_keeps_its_length_and_no_point_leaves_it() {
        let f = flat("G21 G0 X10 Y0\nM3\nG3 X10 Y0 I-10 J0 F600\nM5\nM2\n");
        let line = f.line(0);
        assert!((line.length() - core::f64::consts::TAU * 10.0).abs() < 1e-9);
        let centre = Point::new(0.0, 0.0);
        assert!(
            line.points
                .iter()
                .all(|p| (p.distance(centre) - 10.0).abs() < 1e-9)
        );
        for c in line.chords() {
            let sagitta = 10.0 - c.a.toward(c.b, 0.5).distance(centre);
            assert!(sagitta <= SAGITTA_MM + 1e-9, "{sagitta}");
        }
        // Check of circle chords: r 10, 0.01 mm needs 71 (computed: 2 acos(1 - 0.01/10)); 0.02: 50.
        assert_eq!(line.points.len() - 1, 50);
    }

    #[test]
    fn places_along_a_cut_are_found() {
        let f = flat("G21 G0 X0 Y0\nM3\nG1 X10 F600\nG1 Y10\nM5\nM2\n");
        let line = f.line(0);
        assert_eq!(line.at(5.0), Point::new(5.0, 0.0));
        assert_eq!(line.at(15.0), Point::new(10.0, 5.0));
        assert_eq!(line.at(99.0), Point::new(10.0, 10.0));
        assert_eq!(line.direction(12.0), (0.0, 1.0));
        let mut walk = line.walk();
        for k in -2..24 {
            let s = f64::from(k);
            assert_eq!(walk.at(s), line.at(s), "{s}");
            assert_eq!(walk.direction(s + 1e-9), line.direction(s + 1e-9), "{s}");
        }
        assert_eq!(
            line.part(8.0, 12.0),
            [
                Point::new(8.0, 0.0),
                Point::new(10.0, 0.0),
                Point::new(10.0, 2.0)
            ]
        );
        assert_eq!(f.line(7).points.len(), 0);
    }

    #[test]
    fn pieces_that_cross_are_at_no_distance() {
        let p = Point::new;
        assert_eq!(
            between(p(0.0, 0.0), p(2.0, 0.0), p(1.0, -1.0), p(1.0, 1.0)).0,
            0.0
        );
        let (off, at) = between(p(0.0, 0.0), p(2.0, 0.0), p(1.0, 3.0), p(1.0, 1.0));
        assert_eq!((off, at), (1.0, p(1.0, 0.0)));
    }
}
