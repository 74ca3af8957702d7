//! The sheet after each cut, worked out by an independent polygon engine: kerfs as strips round their
//! paths, taken away one after the other.

use geo::algorithm::buffer::{BufferStyle, LineCap, LineJoin};
use geo::{
    Area, BooleanOps, BoundingRect, Buffer, Contains, ConvexHull, Coord, Distance, Euclidean,
    InteriorPoint, LineString, MinimumRotatedRect, MultiPolygon, Point, Polygon, Rect,
};

use crate::sheets::{P, Sheet};

/// The hole of a pierce, in kerfs across (process handbook, common practice).
const PIERCE: f64 = 1.6;

pub fn point(p: P) -> Point {
    Point::new(p[0], p[1])
}

pub fn line(path: &[P]) -> LineString {
    LineString::from_iter(path.iter().map(|p| Coord { x: p[0], y: p[1] }))
}

/// Everything within `radius` of a path.
fn strip(path: &[P], radius: f64) -> MultiPolygon {
    let style = BufferStyle::new(radius)
        .line_cap(LineCap::Round(0.1))
        .line_join(LineJoin::Round(0.1));
    line(path).buffer_with_style(style)
}

/// The path beside a drawn edge: from the pierce, which comes first, to the nearest place of the edge
/// moved aside (outward round an outline, inward in a hole), and round it.
pub fn beside(drawn: &[P], outline: bool, by: f64) -> Vec<P> {
    let edge = Polygon::new(line(&drawn[1..]), Vec::new());
    let style = BufferStyle::new(if outline { by } else { -by }).line_join(LineJoin::Round(0.1));
    let moved = edge.buffer_with_style(style);
    let ring = moved
        .iter()
        .max_by(|a, b| area(a).total_cmp(&area(b)))
        .map(|p| {
            p.exterior()
                .coords()
                .map(|c| [c.x, c.y])
                .collect::<Vec<P>>()
        })
        .expect("an edge is wider than its kerf");
    let first = drawn[1];
    // The place of the ring beside the start of the edge.
    let mut best = (f64::INFINITY, 0, ring[0]);
    for (k, w) in ring.windows(2).enumerate() {
        let (dx, dy) = (w[1][0] - w[0][0], w[1][1] - w[0][1]);
        let part = ((first[0] - w[0][0]) * dx + (first[1] - w[0][1]) * dy)
            / (dx * dx + dy * dy).max(1e-18);
        let part = part.clamp(0.0, 1.0);
        let at = [w[0][0] + part * dx, w[0][1] + part * dy];
        let off = (at[0] - first[0]).hypot(at[1] - first[1]);
        if off < best.0 {
            best = (off, k, at);
        }
    }
    let (_, k, at) = best;
    let mut path = vec![drawn[0], at];
    path.extend(&ring[k + 1..ring.len() - 1]);
    path.extend(&ring[..=k]);
    path.push(at);
    // Round the same way as the edge is drawn.
    let twice = |all: &[P]| -> f64 {
        all.windows(2)
            .map(|w| w[0][0] * w[1][1] - w[1][0] * w[0][1])
            .sum()
    };
    if (twice(&drawn[1..]) > 0.0) != (twice(&path[1..]) > 0.0) {
        path[1..].reverse();
    }
    path
}

pub fn disc(p: P, radius: f64) -> MultiPolygon {
    let n = 64;
    let ring = (0..n).map(|k| {
        let a = std::f64::consts::TAU * f64::from(k) / f64::from(n);
        Coord {
            x: p[0] + radius * a.cos(),
            y: p[1] + radius * a.sin(),
        }
    });
    Polygon::new(LineString::from_iter(ring), Vec::new()).into()
}

/// The sheet with every kerf wider by `more` on each side, after each cut; the first is before all.
pub struct Model {
    pub after: Vec<MultiPolygon>,
    kerf: f64,
    more: f64,
}

impl Model {
    pub fn new(sheet: &Sheet, more: f64) -> Self {
        let [w, h] = sheet.size;
        let mut metal: MultiPolygon = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: w, y: h })
            .to_polygon()
            .into();
        for area in &sheet.used {
            metal = metal.difference(&Polygon::new(line(area), Vec::new()));
        }
        let mut model = Self {
            after: vec![metal.clone()],
            kerf: sheet.kerf,
            more,
        };
        for path in &sheet.paths {
            metal = model.without(&metal, path);
            model.after.push(metal.clone());
        }
        model
    }

    /// The metal that is left when so much of a cut was made.
    pub fn without(&self, metal: &MultiPolygon, path: &[P]) -> MultiPolygon {
        let left = metal.difference(&disc(path[0], PIERCE * self.kerf / 2.0 + self.more));
        if path.len() < 2 {
            left
        } else {
            left.difference(&strip(path, self.kerf / 2.0 + self.more))
        }
    }

    /// The piece under a place after so many cuts.
    pub fn piece(&self, cuts: usize, p: P) -> Option<&Polygon> {
        under(&self.after[cuts], p)
    }
}

/// The piece under a place.
pub fn under(metal: &MultiPolygon, p: P) -> Option<&Polygon> {
    metal.iter().find(|piece| piece.contains(&point(p)))
}

/// The greatest length of a piece.
pub fn length(piece: &Polygon) -> f64 {
    let hull: Vec<Coord> = piece.convex_hull().exterior().coords().copied().collect();
    let mut most = 0.0_f64;
    for (k, a) in hull.iter().enumerate() {
        for b in &hull[k + 1..] {
            most = most.max((a.x - b.x).hypot(a.y - b.y));
        }
    }
    most
}

pub fn perimeter(piece: &Polygon) -> f64 {
    use geo::Length;
    std::iter::once(piece.exterior())
        .chain(piece.interiors())
        .map(|ring| Euclidean.length(ring))
        .sum()
}

pub fn area(piece: &Polygon) -> f64 {
    piece.unsigned_area()
}

pub fn inside(piece: &Polygon) -> Option<P> {
    piece.interior_point().map(|p| [p.x(), p.y()])
}

/// How far a place is from a piece; 0 in it.
pub fn apart(p: P, piece: &Polygon) -> f64 {
    Euclidean.distance(&point(p), piece)
}

/// Lower left and upper right corner.
pub fn corners(piece: &Polygon) -> [P; 2] {
    let b = piece.bounding_rect().expect("a piece has places");
    [[b.min().x, b.min().y], [b.max().x, b.max().y]]
}

pub fn holds(piece: &Polygon, p: P) -> bool {
    piece.contains(&point(p))
}

/// The longer and the shorter side of the smallest rectangle round a piece.
pub fn sides(piece: &Polygon) -> Option<[f64; 2]> {
    let around = piece.minimum_rotated_rect()?;
    let c: Vec<Coord> = around.exterior().coords().copied().collect();
    let side = |k: usize| (c[k].x - c[k + 1].x).hypot(c[k].y - c[k + 1].y);
    Some([side(0).max(side(1)), side(0).min(side(1))])
}

/// How much of a straight way lies over a piece, mm.
pub fn over(piece: &Polygon, a: P, b: P) -> f64 {
    use geo::Length;
    let way: geo::MultiLineString = line(&[a, b]).into();
    Euclidean.length(&piece.clip(&way, false))
}

/// The part of a disc about a place that is metal.
pub fn metal_part(p: P, radius: f64, metal: &[&Polygon]) -> f64 {
    let disc = disc(p, radius);
    let whole = disc.unsigned_area();
    metal
        .iter()
        .map(|piece| disc.intersection(*piece).unsigned_area())
        .sum::<f64>()
        / whole
}
