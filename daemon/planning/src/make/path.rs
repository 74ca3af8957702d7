//! Paths of the torch's middle: closed contours with lead-in and over-burn, and open ones.

use units::{Placement, Point, Segment};

/// One cut of a simple program.
#[derive(Clone, Debug, PartialEq)]
pub struct MadeCut {
    /// What it is, for the program's comment.
    pub name: &'static str,
    /// From the pierce to the end; without gaps.
    pub path: Vec<Segment>,
    /// How many pieces of it are the lead-in.
    pub lead_in: usize,
    /// How many pieces at its end are over-burn.
    pub over_burn: usize,
    /// Feed, mm/min.
    pub feed_mm_min: f64,
}

impl MadeCut {
    /// The contour alone, without lead-in and over-burn.
    #[must_use]
    pub fn contour(&self) -> &[Segment] {
        let end = self.path.len().saturating_sub(self.over_burn);
        self.path.get(self.lead_in..end).unwrap_or_default()
    }

    /// Where it is pierced.
    #[must_use]
    pub fn pierce(&self) -> Point {
        self.path.first().map(Segment::from).unwrap_or_default()
    }

    pub(super) fn moved(&self, by: Point) -> Self {
        self.placed(by, 0.0)
    }

    pub(super) fn placed(&self, origin: Point, rotation_deg: f64) -> Self {
        let placement = Placement {
            origin,
            rotation_deg,
        };
        Self {
            path: self.path.iter().map(|s| s.placed(&placement)).collect(),
            ..self.clone()
        }
    }
}

/// A line through places one after the other, and arcs.
pub(super) struct Pen {
    at: Point,
    pub path: Vec<Segment>,
}

/// Shorter than this is no piece of path, mm.
const NOTHING_MM: f64 = 1e-3;

impl Pen {
    pub fn at(x: f64, y: f64) -> Self {
        Self {
            at: Point::new(x, y),
            path: Vec::new(),
        }
    }

    pub fn line(&mut self, x: f64, y: f64) {
        let to = Point::new(x, y);
        if self.at.distance(to) > NOTHING_MM {
            self.path.push(Segment::Line { from: self.at, to });
            self.at = to;
        }
    }

    /// An arc to a place about a centre.
    pub fn arc(&mut self, to: (f64, f64), centre: (f64, f64), clockwise: bool) {
        let to = Point::new(to.0, to.1);
        self.path.push(Segment::Arc {
            from: self.at,
            to,
            centre: Point::new(centre.0, centre.1),
            clockwise,
        });
        self.at = to;
    }
}

/// An outline's end passes its start by this, mm: no burr is left there (`overlap-at-close` allows
/// up to 3 mm).
const OVER_BURN_MM: f64 = 2.0;

/// An outline: from its lowest middle `(0, -low)` to the left and clockwise round; a tangent arc of
/// radius `lead` leads in from the outside, and the end passes the start.
pub(super) fn outline(name: &'static str, contour: Vec<Segment>, lead: f64, feed: f64) -> MadeCut {
    let start = contour.first().map(Segment::from).unwrap_or_default();
    let length: f64 = contour.iter().map(Segment::length).sum();
    let mut left = OVER_BURN_MM.min(length / 8.0);
    let mut tail = Vec::new();
    for piece in &contour {
        let part = left.min(piece.length());
        tail.push(piece.part(0.0, part));
        left -= part;
        if left < NOTHING_MM {
            break;
        }
    }
    let mut pen = Pen::at(start.x + lead, start.y - lead);
    pen.arc((start.x, start.y), (start.x, start.y - lead), false);
    let mut path = pen.path;
    path.extend(contour);
    let over_burn = tail.len();
    path.extend(tail);
    MadeCut {
        name,
        path,
        lead_in: 1,
        over_burn,
        feed_mm_min: feed,
    }
}

/// A round hole about a place, anticlockwise: led into straight, in the direction `angle` (radians), in
/// which it ends as well. Its edge is not cut twice: no over-burn.
pub(super) fn hole(
    (centre, radius): (Point, f64),
    angle: f64,
    lead: f64,
    feed: f64,
    name: &'static str,
) -> MadeCut {
    let (x, y) = (angle.cos(), angle.sin());
    let to = (centre.x + radius * x, centre.y + radius * y);
    let mut pen = Pen::at(
        centre.x + (radius - lead) * x,
        centre.y + (radius - lead) * y,
    );
    pen.line(to.0, to.1);
    pen.arc(to, (centre.x, centre.y), false);
    MadeCut {
        name,
        path: pen.path,
        lead_in: 1,
        over_burn: 0,
        feed_mm_min: feed,
    }
}
