//! Whether a path is a circle: the one place that says so, and by what.
//!
//! Judged is where the path runs, not how it is written: whole circles, arcs, short lines, begun
//! anywhere, with whatever lead-in, over-burn and lead-out. The longest stretch about the middle of
//! the path that keeps to one circle is looked for; it is a circle if it goes all the way round.

use core::f64::consts::TAU;

use units::Point;

use super::Circle;
use super::close::{Closed, Closing, LEAD_OUT_MM, TAB_MM};
use crate::cuts::polylines::Polyline;

/// Corners of a path lie on a circle within this part of its radius, or this many mm.
const FIT_PART: f64 = 0.01;
const FIT_MM: f64 = 0.05;
/// A guess from three places may be so much worse.
const GUESS: f64 = 4.0;
/// A stretch ends where it leaves the circle by so many times what the rest of it is off: a tangent
/// lead-in keeps near to it for long.
const LEAVES: f64 = 3.0;
/// No path is known better than this, mm.
const KNOWN_MM: f64 = 0.004;
/// A circle has at least so many corners (one of 0.3 mm has 9): a hexagon is none.
const CORNERS: usize = 8;
/// A gap is at most this part of the circle.
const GAP_PART: f64 = 0.25;
/// So often is the circle fitted anew to what was found to lie on it.
const ROUNDS: usize = 3;

/// The circle that a path cuts, and where on the path it begins and ends; `None`: it is none.
pub(super) fn round(line: Polyline<'_>, kerf_mm: f64) -> Option<(Circle, Closing)> {
    // Where the middle of the path lies on a lead of its own, one of its quarters does not.
    [0.5, 0.7, 0.3]
        .into_iter()
        .find_map(|part| about(&line, part * line.length(), kerf_mm))
}

/// A stretch of a path: the first and the last of its points.
#[derive(Clone, Copy)]
struct Stretch {
    from: usize,
    to: usize,
}

/// The circle about a place of the path.
fn about(line: &Polyline<'_>, middle: f64, kerf_mm: f64) -> Option<(Circle, Closing)> {
    let (mut circle, at) = guess(line, middle)?;
    let fit = |r: f64| (FIT_PART * r).max(FIT_MM);
    let mut stretch = grow(line, at, &circle, GUESS * fit(circle.radius_mm));
    for _ in 0..ROUNDS {
        circle = fitted(&line.points[stretch.from..=stretch.to])?;
        stretch = grow(line, at, &circle, fit(circle.radius_mm));
    }
    if turned(line, stretch, circle.centre).abs() < TAU * (1.0 - GAP_PART) {
        return None;
    }
    // The middle half of it is on the circle for sure: what the leads add is not part of it.
    let quarter = (stretch.to - stretch.from) / 4;
    let sure = &line.points[stretch.from + quarter..=stretch.to - quarter];
    if sure.len() >= CORNERS {
        circle = fitted(sure)?;
    }
    let off = sure
        .iter()
        .map(|p| (p.distance(circle.centre) - circle.radius_mm).abs());
    let off = off.fold(0.0, f64::max);
    let near = (LEAVES * off).max(KNOWN_MM).min(fit(circle.radius_mm));
    let tight = grow(line, at, &circle, near);
    let whole = |s: Stretch| turned(line, s, circle.centre).abs() >= TAU * (1.0 - GAP_PART);
    if whole(tight) {
        stretch = tight;
    }
    circle.fit_mm = off;
    let corners = stretch.to - stretch.from;
    if corners < CORNERS {
        return None;
    }
    Some((circle, closing(line, stretch, &circle, kerf_mm)?))
}

/// The circle through three corners about a place, and the middle one of them.
fn guess(line: &Polyline<'_>, middle: f64) -> Option<(Circle, usize)> {
    let apart = line.length() / 8.0;
    let [i, k, j] = [middle - apart, middle, middle + apart].map(|s| line.index_at(s));
    if i >= k || k >= j {
        return None;
    }
    let (a, b, c) = (line.points[i], line.points[k], line.points[j]);
    let (bx, by, cx, cy) = (b.x - a.x, b.y - a.y, c.x - a.x, c.y - a.y);
    let twice = 2.0 * (bx * cy - by * cx);
    let (bb, cc) = (bx * bx + by * by, cx * cx + cy * cy);
    let centre = a.moved((cy * bb - by * cc) / twice, (bx * cc - cx * bb) / twice);
    let radius_mm = centre.distance(a);
    // It must fit into the path; three places in line give no radius that would.
    let possible = radius_mm > 0.0 && radius_mm * TAU * (1.0 - GAP_PART) <= 1.1 * line.length();
    possible.then_some((
        Circle {
            centre,
            radius_mm,
            fit_mm: 0.0,
        },
        k,
    ))
}

/// How far a path keeps to a circle within `near`, both ways from point `at`.
fn grow(line: &Polyline<'_>, at: usize, circle: &Circle, near: f64) -> Stretch {
    let off = |p: Point| p.distance(circle.centre) - circle.radius_mm;
    // Middles of long facets must not cut far into it either.
    let keeps = |i: usize, j: usize| {
        let (p, q) = (line.points[i], line.points[j]);
        let facet = near.max(FIT_PART * circle.radius_mm).max(FIT_MM);
        off(q).abs() <= near && off(p.toward(q, 0.5)) >= -2.0 * facet
    };
    let (mut from, mut to) = (at, at);
    while to + 1 < line.points.len() && keeps(to, to + 1) {
        to += 1;
    }
    while from > 0 && keeps(from, from - 1) {
        from -= 1;
    }
    Stretch { from, to }
}

/// The circle with the least squares of (distance squared - radius squared) to these places.
fn fitted(points: &[Point]) -> Option<Circle> {
    let n = points.len() as f64;
    let mean = points.iter().fold(Point::default(), |sum, p| {
        Point::new(sum.x + p.x / n, sum.y + p.y / n)
    });
    let [mut xx, mut xy, mut yy, mut xz, mut yz, mut z] = [0.0; 6];
    for p in points {
        let (x, y) = (p.x - mean.x, p.y - mean.y);
        let square = x * x + y * y;
        xx += x * x;
        xy += x * y;
        yy += y * y;
        xz += x * square;
        yz += y * square;
        z += square;
    }
    let twice = 2.0 * (xx * yy - xy * xy);
    if twice <= 1e-12 * z * z {
        return None;
    }
    let (u, v) = ((xz * yy - yz * xy) / twice, (yz * xx - xz * xy) / twice);
    Some(Circle {
        centre: mean.moved(u, v),
        radius_mm: (z / n + u * u + v * v).sqrt(),
        fit_mm: 0.0,
    })
}

/// How far a stretch turns about a place, radians, anticlockwise positive.
fn turned(line: &Polyline<'_>, stretch: Stretch, centre: Point) -> f64 {
    line.points[stretch.from..=stretch.to]
        .windows(2)
        .map(|w| {
            let (px, py) = (w[0].x - centre.x, w[0].y - centre.y);
            let (qx, qy) = (w[1].x - centre.x, w[1].y - centre.y);
            (px * qy - py * qx).atan2(px * qx + py * qy)
        })
        .sum()
}

/// How the circle closes; `None`: too much is missing of it, or too much follows it.
fn closing(
    line: &Polyline<'_>,
    stretch: Stretch,
    circle: &Circle,
    kerf_mm: f64,
) -> Option<Closing> {
    let (joint_mm, end_mm) = (line.along[stretch.from], line.along[stretch.to]);
    let lead_out_mm = line.length() - end_mm;
    if lead_out_mm > LEAD_OUT_MM {
        return None;
    }
    let turned = turned(line, stretch, circle.centre).abs();
    // Angles add up to a whole turn but for the last bits.
    let over = (turned - TAU) * circle.radius_mm;
    let over = if over.abs() < KNOWN_MM { 0.0 } else { over };
    let closed = |tab_mm: f64| Closed {
        joint_mm,
        closed_mm: end_mm - over.max(0.0),
        overlap_mm: over,
        tab_mm,
        lead_out_mm,
    };
    if -over <= kerf_mm {
        Some(Closing::Closed(closed(0.0)))
    } else {
        (-over <= TAB_MM.min(line.length() / 10.0)).then(|| Closing::Held(closed(-over)))
    }
}
