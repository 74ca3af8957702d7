//! Which cuts are contours: where they close, which way they go, what lies inside what.
//!
//! A path is closed when its end comes within one kerf of an earlier point of itself. The lead-in
//! ends where the path is met again within 0.1 mm (failing that, nearest). Direction is that of the
//! signed area, nesting by even-odd containment: depth 0 is an outline, 1 a hole, 2 a part in a hole.

mod close;
pub(crate) mod near;
mod nest;
mod round;

use std::sync::OnceLock;

use units::{Bounds, Point};

use crate::contours::near::Boxes;
use crate::cuts::polylines::{Polyline, Polylines};
use crate::geometry::outline::Edges;

/// What a closed contour cuts out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A part: what is kept lies inside.
    Outline,
    /// A hole in a part: what is kept lies outside.
    Hole,
}

/// A circle fitted to a contour's path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Circle {
    pub centre: Point,
    /// Of the path, mm: the finished edge lies half a kerf off.
    pub radius_mm: f64,
    /// The corners of the path are off it by no more than this, mm.
    pub fit_mm: f64,
}

/// The circles among the cuts of a program. Of a program whose kerf
/// is not known a gap of up to half a millimetre counts as closed.
pub(crate) fn circles(flat: &Polylines) -> impl Iterator<Item = Circle> {
    (0..flat.cuts()).filter_map(|cut| Some(round::round(flat.line(cut), 0.5)?.0))
}

/// A closed contour.
#[derive(Clone, Debug)]
pub(crate) struct Contour {
    /// Which cut, from 0.
    pub cut: usize,
    /// Where the lead-in ends, mm along the cut; 0: pierced on the contour.
    pub joint_mm: f64,
    /// Where the contour is closed, mm along the cut.
    pub closed_mm: f64,
    /// The end passes the start by so much; below 0: it stops short, mm.
    pub overlap_mm: f64,
    /// 0: closed. Above: a tab of so many mm is left between the end and the start, so that what
    /// is inside stays held; direction, nesting and sides are those of the contour all the same.
    pub tab_mm: f64,
    /// What follows behind the over-burn: a lead-out, mm.
    pub lead_out_mm: f64,
    /// The closed path, without repeating its first point.
    pub points: Vec<Point>,
    /// Above 0: anticlockwise, mm2.
    pub area_mm2: f64,
    pub bounds: Bounds,
    /// How many other contours lie round it.
    pub depth: usize,
    /// The innermost of them: an index into [`Contours::all`].
    pub parent: Option<usize>,
    pub kind: Kind,
    pub circle: Option<Circle>,
    /// The contour that it cuts once more: an index into [`Contours::all`].
    pub twin_of: Option<usize>,
    /// Made when first asked for.
    edges: OnceLock<Edges>,
}

impl Contour {
    /// The index of its edges, for whoever has many questions.
    pub fn edges(&self) -> &Edges {
        self.edges.get_or_init(|| Edges::new(&self.points))
    }

    /// Whether a place lies in the rectangle round it.
    pub fn in_bounds(&self, p: Point) -> bool {
        crate::work::count(1);
        let b = &self.bounds;
        p.x >= b.low.x && p.x <= b.high.x && p.y >= b.low.y && p.y <= b.high.y
    }

    pub fn clockwise(&self) -> bool {
        self.area_mm2 < 0.0
    }

    pub fn contains(&self, p: Point) -> bool {
        self.in_bounds(p) && crate::geometry::plane::inside(p, &self.points)
    }

    /// Whether a place lies on the side of it that is kept.
    pub fn on_part(&self, p: Point) -> bool {
        self.contains(p) == (self.kind == Kind::Outline)
    }

    /// The distance of a place from the closed path, mm.
    pub fn distance(&self, p: Point) -> f64 {
        let n = self.points.len();
        (0..n)
            .map(|i| {
                let (a, b) = (self.points[i], self.points[(i + 1) % n]);
                a.toward(b, crate::geometry::plane::nearest_part(a, b, p))
                    .distance(p)
            })
            .fold(f64::INFINITY, f64::min)
    }

    /// How large what it cuts out is at most: the diameter of a round hole, mm.
    pub fn across_mm(&self, kerf_mm: f64) -> f64 {
        let box_mm = self.bounds.width().max(self.bounds.height());
        let path_mm = self.circle.map_or(box_mm, |c| 2.0 * c.radius_mm);
        match self.kind {
            Kind::Outline => path_mm - kerf_mm,
            Kind::Hole => path_mm + kerf_mm,
        }
    }

    /// The finished diameter of a round hole, mm.
    pub fn hole_mm(&self, kerf_mm: f64) -> Option<f64> {
        let circle = self.circle.filter(|_| self.kind == Kind::Hole)?;
        Some(2.0 * circle.radius_mm + kerf_mm)
    }
}

/// All closed contours of a program (those that a tab holds among them), and how far the open ones are from closing.
#[derive(Debug, Default)]
pub(crate) struct Contours {
    /// In the order of their cuts.
    pub all: Vec<Contour>,
    /// By cut: its contour's index in `all`.
    of_cut: Vec<Option<usize>>,
    /// By cut that is not closed: the gap between its end and the nearest earlier part of it, mm.
    gaps: Vec<Option<f64>>,
    /// The paths of all cuts in a tree.
    pub boxes: Boxes,
    nesting: nest::Nesting,
}

impl Contours {
    /// `kerf_mm` decides what counts as closed.
    pub fn new(flat: &Polylines, kerf_mm: f64) -> Self {
        let mut found = Self::default();
        for cut in 0..flat.cuts() {
            let line = flat.line(cut);
            let (circle, closing) = match round::round(line, kerf_mm) {
                Some((circle, closing)) => (Some(circle), closing),
                None => (None, close::close(line, kerf_mm)),
            };
            let (contour, gap) = match closing {
                close::Closing::Closed(c) => (contour(cut, line, c, circle), None),
                close::Closing::Held(c) => (contour(cut, line, c, circle), Some(c.tab_mm)),
                close::Closing::Open { gap_mm } => (None, Some(gap_mm)),
            };
            found.of_cut.push(contour.as_ref().map(|_| found.all.len()));
            found.gaps.push(gap);
            found.all.extend(contour);
        }
        found.boxes = Boxes::new(flat, |cut| found.of_cut(cut));
        nest::nest(&mut found, flat, kerf_mm);
        found
    }

    /// Which of `all` is the contour of a cut (from 0).
    pub(crate) fn index(&self, cut: usize) -> Option<usize> {
        self.of_cut.get(cut).copied().flatten()
    }

    /// Whether an odd number of contours lies round a place: it is in a part.
    pub fn in_part(&self, flat: &Polylines, p: Point) -> bool {
        self.nesting.odd(self, p, flat)
    }

    /// The contour of a cut (from 0).
    pub fn of_cut(&self, cut: usize) -> Option<&Contour> {
        self.all.get(self.index(cut)?)
    }

    /// The contours, each told once however often it is cut.
    pub fn firsts(&self) -> impl Iterator<Item = &Contour> {
        self.all.iter().filter(|c| c.twin_of.is_none())
    }

    /// Whether two cuts (from 0) cut the same contour.
    pub fn same(&self, a: usize, b: usize) -> bool {
        let first = |cut: usize| {
            let own = self.of_cut.get(cut).copied().flatten()?;
            self.all.get(own)?.twin_of.or(Some(own))
        };
        first(a).is_some_and(|one| first(b) == Some(one))
    }

    /// The cut (from 0) that has cut the contour of this one before.
    pub fn cut_before(&self, cut: usize) -> Option<usize> {
        Some(self.all.get(self.of_cut(cut)?.twin_of?)?.cut)
    }

    /// How far a cut that is not closed is from closing, mm.
    pub fn gap_mm(&self, cut: usize) -> Option<f64> {
        self.gaps.get(cut).copied().flatten()
    }
}

fn contour(
    cut: usize,
    line: Polyline<'_>,
    c: close::Closed,
    circle: Option<Circle>,
) -> Option<Contour> {
    let mut points = line.part(c.joint_mm, c.closed_mm);
    while points.len() > 1
        && points
            .first()
            .map(|p| p.distance(points[points.len() - 1]) < 1e-6)
            == Some(true)
    {
        points.pop();
    }
    if points.len() < 3 {
        return None;
    }
    let mut bounds = Bounds::of(points[0]);
    points.iter().for_each(|p| bounds.add(*p));
    let area_mm2 = area(&points);
    if area_mm2 == 0.0 {
        return None;
    }
    Some(Contour {
        cut,
        joint_mm: c.joint_mm,
        closed_mm: c.closed_mm,
        overlap_mm: c.overlap_mm,
        tab_mm: c.tab_mm,
        lead_out_mm: c.lead_out_mm,
        circle,
        points,
        area_mm2,
        bounds,
        depth: 0,
        parent: None,
        kind: Kind::Outline,
        twin_of: None,
        edges: OnceLock::new(),
    })
}

/// Signed area of a polygon, mm2.
fn area(points: &[Point]) -> f64 {
    crate::work::count(points.len());
    let o = points[0];
    let next = points.iter().cycle().skip(1);
    let twice: f64 = points
        .iter()
        .zip(next)
        .map(|(p, q)| (p.x - o.x) * (q.y - o.y) - (q.x - o.x) * (p.y - o.y))
        .sum();
    if twice.abs() < 1e-9 { 0.0 } else { twice / 2.0 }
}

#[cfg(test)]
mod tests;
