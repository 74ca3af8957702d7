//! Plane geometry that the rules share.

use units::{Bounds, Placement, Point, Segment};

/// A placement with its sine and cosine worked out once: a program has many points.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Placer {
    origin: Point,
    cos: f64,
    sin: f64,
}

impl Placer {
    pub fn new(placement: &Placement) -> Self {
        let turn = Placement {
            origin: Point::default(),
            rotation_deg: placement.rotation_deg,
        };
        let along = turn.place(Point::new(1.0, 0.0));
        Self {
            origin: placement.origin,
            cos: along.x,
            sin: along.y,
        }
    }

    pub fn place(&self, p: Point) -> Point {
        crate::work::count(1);
        self.origin.moved(
            p.x * self.cos - p.y * self.sin,
            p.x * self.sin + p.y * self.cos,
        )
    }

    pub fn segment(&self, s: &Segment) -> Segment {
        match *s {
            Segment::Line { from, to } => Segment::Line {
                from: self.place(from),
                to: self.place(to),
            },
            Segment::Arc {
                from,
                to,
                centre,
                clockwise,
            } => Segment::Arc {
                from: self.place(from),
                to: self.place(to),
                centre: self.place(centre),
                clockwise,
            },
        }
    }
}

/// Straight pieces of a segment, close enough that nothing is further than 0.02 mm from it.
pub(crate) fn chords(s: &Segment) -> Vec<(Point, Point)> {
    let mut from = s.from();
    let ends = match s {
        Segment::Line { to, .. } => vec![*to],
        Segment::Arc { .. } => s.flatten(0.02),
    };
    ends.into_iter()
        .map(|to| {
            let piece = (from, to);
            from = to;
            piece
        })
        .collect()
}

/// Whether a place lies inside an outline (even-odd).
pub(crate) fn inside(p: Point, outline: &[Point]) -> bool {
    crate::work::count(1);
    let mut within = false;
    let mut previous = match outline.last() {
        Some(&last) => last,
        None => return false,
    };
    for &corner in outline {
        within ^= is_left_of(p, previous, corner);
        previous = corner;
    }
    within
}

/// Whether a ray from `p` toward higher x crosses the edge `from`-`to`.
pub(crate) fn is_left_of(p: Point, from: Point, to: Point) -> bool {
    crate::work::count(1);
    (to.y > p.y) != (from.y > p.y) && p.x < x_at(p.y, from, to)
}

/// The x of the edge `from`-`to` at a height between its ends.
pub(crate) fn x_at(y: f64, from: Point, to: Point) -> f64 {
    crate::work::count(1);
    to.x + (y - to.y) / (from.y - to.y) * (from.x - to.x)
}

/// How far along `a`-`b` (0 to 1) it crosses `c`-`d`.
pub(crate) fn crossing(a: Point, b: Point, c: Point, d: Point) -> Option<f64> {
    crate::work::count(1);
    let (rx, ry) = (b.x - a.x, b.y - a.y);
    let (sx, sy) = (d.x - c.x, d.y - c.y);
    let cross = rx * sy - ry * sx;
    if cross == 0.0 {
        return None;
    }
    let t = ((c.x - a.x) * sy - (c.y - a.y) * sx) / cross;
    let u = ((c.x - a.x) * ry - (c.y - a.y) * rx) / cross;
    ((0.0..=1.0).contains(&t) && (0.0..=1.0).contains(&u)).then_some(t)
}

/// The nearest place of the straight piece `a`-`b` to an upright rectangle: distance (0 inside)
/// and place on the piece.
pub(crate) fn distance_to_box(a: Point, b: Point, low: Point, high: Point) -> (f64, Point) {
    let off = |p: Point| {
        let dx = (low.x - p.x).max(p.x - high.x).max(0.0);
        let dy = (low.y - p.y).max(p.y - high.y).max(0.0);
        dx.hypot(dy)
    };
    // Where they do not meet, an end of the piece or a corner of the rectangle is nearest.
    let meets = meeting(a, b, &Bounds { low, high }).map(|(from, _)| a.toward(b, from));
    let corners = [
        low,
        Point::new(high.x, low.y),
        high,
        Point::new(low.x, high.y),
    ];
    let beside = corners.map(|c| a.toward(b, nearest_part(a, b, c)));
    [a, b]
        .into_iter()
        .chain(meets)
        .chain(beside)
        .map(|p| (off(p), p))
        .fold((f64::INFINITY, a), |best, next| {
            if next.0 < best.0 { next } else { best }
        })
}

/// The angle between two directions, degrees, 0 to 180.
pub(crate) fn break_deg(a: (f64, f64), b: (f64, f64)) -> f64 {
    crate::work::count(1);
    let cross = a.0 * b.1 - a.1 * b.0;
    let dot = a.0 * b.0 + a.1 * b.1;
    cross.atan2(dot).abs().to_degrees()
}

/// A length in words: at most three decimals, no idle zeros.
pub(crate) fn mm(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// Numbers in words: `3`, `3 and 4`, `3, 4 and 7`; of many the first ones.
pub(crate) fn numbers(all: &[usize]) -> String {
    const MOST: usize = 8;
    let words: Vec<String> = all.iter().take(MOST).map(usize::to_string).collect();
    match words.split_last() {
        _ if all.len() > MOST => format!("{} and {} more", words.join(", "), all.len() - MOST),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// Whether two rectangles are further than `by` mm from each other.
pub(crate) fn apart(a: &Bounds, b: &Bounds, by: f64) -> bool {
    crate::work::count(1);
    a.low.x > b.high.x + by
        || a.high.x < b.low.x - by
        || a.low.y > b.high.y + by
        || a.high.y < b.low.y - by
}

/// The part of `a`-`b` (0 to 1) inside a rectangle; one place is no part.
pub(crate) fn clip(a: Point, b: Point, to: &Bounds) -> Option<(f64, f64)> {
    meeting(a, b, to).filter(|(from, until)| from < until)
}

/// From where to where (0 to 1) `a`-`b` is on a rectangle, if only in one place.
fn meeting(a: Point, b: Point, to: &Bounds) -> Option<(f64, f64)> {
    crate::work::count(1);
    let (mut from, mut until) = (0.0_f64, 1.0_f64);
    for (p, d, low, high) in [
        (a.x, b.x - a.x, to.low.x, to.high.x),
        (a.y, b.y - a.y, to.low.y, to.high.y),
    ] {
        if d == 0.0 {
            if p < low || p > high {
                return None;
            }
            continue;
        }
        let (t, u) = ((low - p) / d, (high - p) / d);
        from = from.max(t.min(u));
        until = until.min(t.max(u));
    }
    (from <= until).then_some((from, until))
}

/// A place in words.
pub(crate) fn place(p: Point) -> String {
    format!("({}, {})", mm(p.x), mm(p.y))
}

/// How far a place is off a chain of chords, mm; infinite for none.
pub(crate) fn off_mm(chain: &[Point], p: Point) -> f64 {
    chain
        .windows(2)
        .map(|w| w[0].toward(w[1], nearest_part(w[0], w[1], p)).distance(p))
        .fold(f64::INFINITY, f64::min)
}

/// How far along `a`-`b` (0 to 1) the place nearest to `p` lies.
pub(crate) fn nearest_part(a: Point, b: Point, p: Point) -> f64 {
    crate::work::count(1);
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let square = dx * dx + dy * dy;
    if square <= 0.0 {
        return 0.0;
    }
    (((p.x - a.x) * dx + (p.y - a.y) * dy) / square).clamp(0.0, 1.0)
}

/// Distance between two straight pieces and the nearest place on the first, mm.
pub(crate) fn between(a: Point, b: Point, c: Point, d: Point) -> (f64, Point) {
    if let Some(part) = crossing(a, b, c, d) {
        return (0.0, a.toward(b, part));
    }
    let on_first = |p: Point| {
        let q = a.toward(b, nearest_part(a, b, p));
        (q.distance(p), q)
    };
    let on_second = |p: Point| (c.toward(d, nearest_part(c, d, p)).distance(p), p);
    [on_first(c), on_first(d), on_second(a), on_second(b)]
        .into_iter()
        .fold((f64::INFINITY, a), |best, next| {
            if next.0 < best.0 { next } else { best }
        })
}

/// How far a rectangle stays from the sheet's edge, mm; negative beyond it.
pub(crate) fn room(b: &Bounds, sheet: Point) -> f64 {
    b.low
        .x
        .min(b.low.y)
        .min(sheet.x - b.high.x)
        .min(sheet.y - b.high.y)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn no_place_of_a_piece_is_nearer_to_a_rectangle_than_is_said(
            (ax, ay, bx, by) in (-9_i32..9, -9_i32..9, -9_i32..9, -9_i32..9),
            (x, y, w, h) in (-5_i32..5, -5_i32..5, 0_i32..5, 0_i32..5),
        ) {
            let [ax, ay, bx, by, x, y, w, h] = [ax, ay, bx, by, x, y, w, h].map(f64::from);
            let (a, b) = (Point::new(ax, ay), Point::new(bx, by));
            let (low, high) = (Point::new(x, y), Point::new(x + w, y + h));
            let off = |p: Point| {
                let dx = (low.x - p.x).max(p.x - high.x).max(0.0);
                dx.hypot((low.y - p.y).max(p.y - high.y).max(0.0))
            };
            let (distance, at) = distance_to_box(a, b, low, high);
            prop_assert!((off(at) - distance).abs() < 1e-12);
            let on = a.toward(b, nearest_part(a, b, at));
            prop_assert!(on.distance(at) < 1e-9, "{at:?} is off the piece");
            for k in 0..=500 {
                let p = a.toward(b, f64::from(k) / 500.0);
                prop_assert!(off(p) > distance - 1e-9, "{p:?} {at:?} {distance}");
            }
        }
    }
}
