//! What lies inside what, and what is the same contour once more.
//!
//! Where contours do not touch each other, everything round a contour lies round its leftmost corner
//! as well, and what lies round that follows from the first contour that a ray to the left meets:
//! that contour too, if the corner lies inside it, and all that lies round it. Contours are asked
//! from left to right, so that one answer is enough for each: n log n in all, however deep they are
//! nested. Contours that touch others, and those beside them, are compared with each that could lie
//! round them, place by place. A contour that is cut twice counts once.

mod twins;

use units::{Bounds, Point};

use super::{Contour, Contours, Kind};
use crate::contours::near::{Crowd, Near};
use crate::cuts::polylines::Polylines;
use crate::geometry::plane::x_at;
use crate::geometry::tree::Tree;

/// A contour round another is larger by this factor.
const LARGER: f64 = 1.001;
/// Paths nearer than this touch, mm.
const TOUCH_MM: f64 = 1e-6;
/// So many contours on one place are compared with each other; the rest of such a pile touches it.
const CROWD: usize = 256;
/// So many comparisons of two contours are made in all, and [`COMPARED_EACH`] for each contour: more
/// are wanted by heaps of contours that all cross each other alone, and their parts are refused.
const COMPARED: usize = 1_000_000;
const COMPARED_EACH: usize = 64;

/// Where a contour lies among those that it does not touch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Face {
    /// How many lie round it.
    depth: usize,
    /// The smallest of them.
    parent: Option<usize>,
}

/// How many contours lie round a contour by rule (those that are larger), and the smallest of them.
type Place = (usize, Option<usize>);

/// What is known of where contours lie.
#[derive(Debug, Default)]
pub(super) struct Nesting {
    /// By contour; `None`: it touches others.
    faces: Vec<Option<Face>>,
    /// The rectangles of the contours, each once however often it is cut.
    bounds: Tree,
    /// Which contours those are.
    firsts: Vec<usize>,
}

impl Nesting {
    /// Whether an odd number of contours lies round a place.
    pub fn odd(&self, contours: &Contours, p: Point, flat: &Polylines) -> bool {
        let all = &contours.all;
        let Some(left) = first_to_the_left(contours, p, usize::MAX, flat) else {
            return false;
        };
        match self.faces.get(left).copied().flatten() {
            Some(face) => (face.depth % 2 == 1) != is_inside(&all[left], p),
            None => {
                let mut odd = false;
                self.bounds.within(&Bounds::of(p), u32::MAX, |k| {
                    odd ^= is_inside(&all[self.firsts[k as usize]], p);
                    false
                });
                odd
            }
        }
    }
}

/// Fills in depth, parent and kind. A contour that is cut twice is one contour: its second cut lies
/// where, and is what, the first one is, and stands round nothing.
pub(super) fn nest(found: &mut Contours, flat: &Polylines, kerf_mm: f64) {
    let twins = twins::twins(&found.all, kerf_mm / 2.0);
    for (contour, twin_of) in found.all.iter_mut().zip(twins) {
        contour.twin_of = twin_of;
    }
    let firsts: Vec<usize> = (0..found.all.len())
        .filter(|&i| found.all[i].twin_of.is_none())
        .collect();
    let mut work = Work {
        flat,
        contours: found,
        touches: touching(&Near {
            flat,
            contours: found,
        }),
        nesting: Nesting {
            faces: vec![None; found.all.len()],
            bounds: Tree::new(firsts.iter().map(|&i| found.all[i].bounds)),
            firsts,
        },
        places: vec![(0, None); found.all.len()],
        left: COMPARED + COMPARED_EACH * found.all.len(),
    };
    work.all();
    let (places, nesting) = (work.places, work.nesting);
    found.nesting = nesting;
    let mut full = vec![false; found.all.len()];
    for (_, parent) in &places {
        if let Some(slot) = parent.and_then(|p| full.get_mut(p)) {
            *slot = true;
        }
    }
    for ((c, (depth, parent)), full) in found.all.iter_mut().zip(places).zip(full) {
        c.depth = depth;
        c.parent = parent;
        let pierced_inside = flat
            .line(c.cut)
            .points
            .first()
            .is_some_and(|p| c.contains(*p));
        // A hole straight into the sheet, as both its lead-in and its direction say.
        let in_sheet = depth == 0 && !full && pierced_inside && !c.clockwise();
        c.kind = if depth % 2 == 1 || in_sheet {
            Kind::Hole
        } else {
            Kind::Outline
        };
    }
    let all = &mut found.all;
    for i in 0..all.len() {
        if let Some(first) = all[i].twin_of {
            (all[i].depth, all[i].parent) = (all[first].depth, all[first].parent);
            all[i].kind = all[first].kind;
        }
    }
}

/// By contour: it touches or crosses another.
fn touching(near: &Near<'_>) -> Vec<bool> {
    let contours = near.contours;
    let mut touches = vec![false; contours.all.len()];
    for (this, contour) in contours.all.iter().enumerate() {
        if contour.twin_of.is_some() {
            continue;
        }
        for own in near.boxes_of(contour.cut) {
            let mut crowd = Crowd::default();
            contours
                .boxes
                .earlier(contour.cut, &own.bounds(), TOUCH_MM, |other| {
                    let Some(that) = contours.index(other.cut) else {
                        return false;
                    };
                    let first = contours.all[that].twin_of.is_none();
                    if first
                        && !(touches[this] && touches[that])
                        && near.touch(other, own, TOUCH_MM)
                    {
                        (touches[this], touches[that]) = (true, true);
                    }
                    let crowded = crowd.count(other.cut) > CROWD;
                    touches[this] |= crowded;
                    crowded
                });
        }
    }
    touches
}

/// The contour that a ray from `p` toward lower x meets first; `but` is passed over. One that is cut
/// again is met where it is cut again, too.
fn first_to_the_left(contours: &Contours, p: Point, but: usize, flat: &Polylines) -> Option<usize> {
    let first = |cut: usize| {
        let own = contours.index(cut)?;
        Some(contours.all.get(own)?.twin_of.unwrap_or(own))
    };
    let (boxed, _) = contours.boxes.to_the_left(p, |boxed| {
        first(boxed.cut).filter(|i| *i != but)?;
        crate::contours::near::Strand::of(flat, contours.of_cut(boxed.cut), boxed.cut)
            .chords_of(boxed)
            .filter(|(a, b)| (a.y > p.y) != (b.y > p.y))
            .map(|(a, b)| x_at(p.y, a, b))
            .filter(|x| *x < p.x)
            .reduce(f64::max)
    })?;
    first(boxed.cut)
}

struct Work<'a> {
    flat: &'a Polylines,
    contours: &'a Contours,
    touches: Vec<bool>,
    nesting: Nesting,
    places: Vec<Place>,
    /// So many comparisons may still be made.
    left: usize,
}

impl Work<'_> {
    fn all(&mut self) {
        let corner = |c: &Contour| {
            let first = |a: &Point, b: &Point| a.x < b.x || (a.x == b.x && a.y < b.y);
            c.points.iter().fold(
                c.points[0],
                |best, p| if first(p, &best) { *p } else { best },
            )
        };
        let mut order: Vec<(Point, usize)> = (self.nesting.firsts.iter())
            .map(|&i| (corner(&self.contours.all[i]), i))
            .collect();
        order.sort_by(|a, b| a.0.x.total_cmp(&b.0.x).then(a.1.cmp(&b.1)));
        for (corner, i) in order {
            if self.touches[i] {
                self.places[i] = self.compared(i, corner);
                continue;
            }
            let face = self.face(i, corner);
            self.nesting.faces[i] = Some(face);
            self.places[i] = match self.larger(i, face) {
                Some(place) => place,
                None => self.compared(i, corner),
            };
        }
    }

    fn left_of(&self, i: usize, corner: Point) -> Option<usize> {
        first_to_the_left(self.contours, corner, i, self.flat)
    }

    /// What lies round a contour that touches none.
    fn face(&mut self, i: usize, corner: Point) -> Face {
        let all = &self.contours.all;
        let Some(left) = self.left_of(i, corner) else {
            return Face {
                depth: 0,
                parent: None,
            };
        };
        let round = |depth: usize, parent: Option<usize>| match is_inside(&all[left], corner) {
            true => Face {
                depth: depth + 1,
                parent: Some(left),
            },
            false => Face { depth, parent },
        };
        if let Some(face) = self.nesting.faces[left] {
            return round(face.depth, face.parent);
        }
        let mut within = Vec::new();
        if !self.candidates(i, |o, _| within.push(o)) {
            let (depth, parent) = self.places[left];
            return round(depth, parent);
        }
        within.retain(|&o| is_inside(&all[o], all[i].points[0]));
        Face {
            depth: within.len(),
            parent: self.smallest(&within),
        }
    }

    /// Those of a face that are larger than the contour itself; `None`: one by one must be looked.
    fn larger(&self, i: usize, face: Face) -> Option<Place> {
        let all = &self.contours.all;
        let (mut depth, mut parent) = (face.depth, face.parent);
        while let Some(p) = parent
            && !is_larger(&all[p], &all[i])
        {
            depth -= 1;
            parent = self.nesting.faces[p]?.parent;
        }
        Some((depth, parent))
    }

    /// Compared with every contour that could lie round it.
    fn compared(&mut self, i: usize, corner: Point) -> Place {
        let all = &self.contours.all;
        let mut round = Vec::new();
        if !self.candidates(i, |o, larger| {
            if larger {
                round.push(o);
            }
        }) {
            return match self.left_of(i, corner) {
                Some(left) if is_inside(&all[left], corner) => {
                    (self.places[left].0 + 1, Some(left))
                }
                Some(left) => self.places[left],
                None => (0, None),
            };
        }
        round.retain(|&o| encloses(&all[o], &all[i]));
        (round.len(), self.smallest(&round))
    }

    /// The contours whose rectangles hold a contour's first point, and whether they are larger;
    /// false: there were too many.
    fn candidates(&mut self, i: usize, mut with: impl FnMut(usize, bool)) -> bool {
        let all = &self.contours.all;
        let (left, firsts) = (&mut self.left, &self.nesting.firsts);
        self.nesting
            .bounds
            .within(&Bounds::of(all[i].points[0]), u32::MAX, |k| {
                let o = firsts[k as usize];
                if o != i {
                    with(o, is_larger(&all[o], &all[i]));
                }
                *left = left.saturating_sub(1);
                *left == 0
            });
        *left > 0
    }

    fn smallest(&self, of: &[usize]) -> Option<usize> {
        let area = |i: &usize| self.contours.all[*i].area_mm2.abs();
        let mut sorted = of.to_vec();
        sorted.sort_unstable();
        sorted
            .into_iter()
            .min_by(|a, b| area(a).total_cmp(&area(b)))
    }
}

fn is_larger(outer: &Contour, inner: &Contour) -> bool {
    crate::work::count(1);
    outer.area_mm2.abs() > inner.area_mm2.abs() * LARGER
}

/// Most of a handful of places of the inner one lie inside.
fn encloses(outer: &Contour, inner: &Contour) -> bool {
    let n = inner.points.len();
    let inside = |k: &usize| is_inside(outer, inner.points[k * n / 5]);
    (0..5).filter(inside).count() >= 3
}

fn is_inside(outer: &Contour, p: Point) -> bool {
    outer.in_bounds(p) && outer.edges().contains(&outer.points, p)
}
