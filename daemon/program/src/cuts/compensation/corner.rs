//! Pieces moved aside, and how two of them meet at a corner.

use units::{Point, Segment};

use crate::reader::on_bisector;

/// Ends nearer than this are one place, mm.
pub(super) const SNAP_MM: f64 = 1e-3;
/// Rounding of the program's own numbers may keep two offsets from meeting by so much, mm, where the
/// path turns by no more than this, radians.
const NOISE_MM: f64 = 0.03;
const NOISE_TURN: f64 = 0.05;
/// A corner may be left pointed where the point stands out by no more than this, mm.
const POINTED_MM: f64 = 0.002;
/// An arc of a smaller radius is none, mm.
const SMALLEST_RADIUS_MM: f64 = 1e-3;

/// Why a path cannot be offset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct TooSmall {
    /// Which piece of the programmed path, from 0.
    pub element: usize,
    /// Where, program coordinates, mm.
    pub at: Point,
    pub what: &'static str,
}

/// What two pieces do where they meet.
#[derive(Clone, Copy, Debug)]
pub(super) enum Join {
    /// Both end here.
    Meet(Point),
    /// An arc goes round the outside of the corner.
    Round(Segment),
}

/// A piece moved to the left by `left_mm` (to the right below 0). `None`: an arc too small for it.
pub(super) fn moved(s: &Segment, left_mm: f64) -> Option<Segment> {
    match *s {
        Segment::Line { from, to } => {
            let (dx, dy) = s.direction_at(0.0);
            let (nx, ny) = (-dy * left_mm, dx * left_mm);
            Some(Segment::Line {
                from: from.moved(nx, ny),
                to: to.moved(nx, ny),
            })
        }
        Segment::Arc {
            from,
            to,
            centre,
            clockwise,
        } => {
            let grown = if clockwise { left_mm } else { -left_mm };
            let out = |p: Point| {
                let r = p.distance(centre);
                (r + grown > SMALLEST_RADIUS_MM).then(|| centre.toward(p, (r + grown) / r))
            };
            Some(Segment::Arc {
                from: out(from)?,
                to: out(to)?,
                centre,
                clockwise,
            })
        }
    }
}

/// How far the path turns from one piece to the next, radians, to the left above 0.
pub(super) fn turn(a: &Segment, b: &Segment) -> f64 {
    let (ax, ay) = a.direction_at(a.length());
    let (bx, by) = b.direction_at(0.0);
    (ax * by - ay * bx).atan2(ax * bx + ay * by)
}

/// How the offsets `a` and `b` of two pieces meet at their corner. `None`: they do not.
pub(super) fn join(
    corner: Point,
    turn: f64,
    a: &Segment,
    b: &Segment,
    left_mm: f64,
) -> Option<Join> {
    let gap = a.to().distance(b.from());
    if gap <= SNAP_MM {
        return Some(Join::Meet(a.to()));
    }
    let noise = gap <= NOISE_MM && turn.abs() <= NOISE_TURN;
    let middle = Some(Join::Meet(a.to().toward(b.from(), 0.5)));
    // A path that turns back on itself goes round its tip.
    let inside = turn * left_mm > 0.0 && turn.abs() < core::f64::consts::PI - 1e-6;
    if inside {
        let met = meetings(a, b)
            .into_iter()
            .flatten()
            .filter(|p| on(a, *p) && on(b, *p))
            .map(|p| (a.length() - a.nearest(p).0, p))
            .min_by(|x, y| x.0.total_cmp(&y.0));
        return match met {
            Some((_, p)) => Some(Join::Meet(p)),
            None if noise => middle,
            None => None,
        };
    }
    let straight = a.radius().is_none() && b.radius().is_none();
    let point = left_mm.abs() * (1.0 / (turn / 2.0).cos() - 1.0);
    if straight
        && point.abs() <= POINTED_MM
        && let Some(p) = meetings(a, b)[0]
    {
        return Some(Join::Meet(p));
    }
    match round(corner, a.to(), b.from(), left_mm) {
        Some(arc) => Some(Join::Round(arc)),
        None if noise => middle,
        None => None,
    }
}

/// The arc round the outside of a corner. `None`: the ends do not lie so that one leads to the other
/// round the outside.
pub(super) fn round(corner: Point, from: Point, to: Point, left_mm: f64) -> Option<Segment> {
    let arc = Segment::Arc {
        from,
        to,
        // Equally far from both ends, where the program's numbers leave the corner a little off.
        centre: on_bisector(from, to, corner),
        clockwise: left_mm > 0.0,
    };
    (arc.sweep().abs() <= core::f64::consts::PI + 0.01).then_some(arc)
}

fn on(s: &Segment, p: Point) -> bool {
    s.nearest(p).1 <= 1e-6
}

/// Where the whole lines or circles of two pieces meet.
fn meetings(a: &Segment, b: &Segment) -> [Option<Point>; 2] {
    match (*a, *b) {
        (Segment::Line { .. }, Segment::Line { .. }) => {
            let (ax, ay) = a.direction_at(0.0);
            let (bx, by) = b.direction_at(0.0);
            let cross = ax * by - ay * bx;
            if cross.abs() < 1e-12 {
                return [None, None];
            }
            let (p, q) = (a.to(), b.from());
            let t = ((q.x - p.x) * by - (q.y - p.y) * bx) / cross;
            [Some(p.moved(ax * t, ay * t)), None]
        }
        (Segment::Line { .. }, Segment::Arc { from, centre, .. }) => {
            line_circle(a, centre, from.distance(centre))
        }
        (Segment::Arc { from, centre, .. }, Segment::Line { .. }) => {
            line_circle(b, centre, from.distance(centre))
        }
        (
            Segment::Arc {
                from: f1,
                centre: c1,
                ..
            },
            Segment::Arc {
                from: f2,
                centre: c2,
                ..
            },
        ) => {
            let (r1, r2) = (f1.distance(c1), f2.distance(c2));
            let d = c1.distance(c2);
            if d < 1e-12 {
                return [None, None];
            }
            let along = (d * d + r1 * r1 - r2 * r2) / (2.0 * d);
            let high = r1 * r1 - along * along;
            if high < 0.0 {
                return [None, None];
            }
            let foot = c1.toward(c2, along / d);
            let (ux, uy) = ((c2.x - c1.x) / d, (c2.y - c1.y) / d);
            let h = high.sqrt();
            [
                Some(foot.moved(-uy * h, ux * h)),
                Some(foot.moved(uy * h, -ux * h)),
            ]
        }
    }
}

fn line_circle(line: &Segment, centre: Point, r: f64) -> [Option<Point>; 2] {
    let (dx, dy) = line.direction_at(0.0);
    let from = line.from();
    let along = (centre.x - from.x) * dx + (centre.y - from.y) * dy;
    let foot = from.moved(dx * along, dy * along);
    let off = foot.distance(centre);
    if off > r {
        return [None, None];
    }
    let h = (r * r - off * off).sqrt();
    [
        Some(foot.moved(dx * h, dy * h)),
        Some(foot.moved(-dx * h, -dy * h)),
    ]
}

/// A piece between other ends: a line between them, an arc that bends as much. A new start that
/// lies on the piece shortens it and bends nothing.
pub(super) fn between(s: &Segment, from: Point, to: Point) -> Segment {
    match *s {
        Segment::Line { .. } => Segment::Line { from, to },
        Segment::Arc {
            from: f,
            to: t,
            centre,
            clockwise,
        } => {
            let (r0, r1) = (from.distance(centre), to.distance(centre));
            let r = f.distance(centre);
            if (r0 - r).abs() <= SNAP_MM && (r1 - r).abs() <= SNAP_MM {
                return Segment::Arc {
                    from,
                    to,
                    centre,
                    clockwise,
                };
            }
            let (old, new) = (f.distance(t), from.distance(to));
            if old < SNAP_MM || new < SNAP_MM {
                return Segment::Line { from, to };
            }
            // The centre stands to the new chord as it stood to the old one.
            let (ux, uy) = ((t.x - f.x) / old, (t.y - f.y) / old);
            let (cx, cy) = (centre.x - f.x, centre.y - f.y);
            let (along, high) = (cx * ux + cy * uy, cy * ux - cx * uy);
            let (vx, vy) = ((to.x - from.x) / old, (to.y - from.y) / old);
            Segment::Arc {
                from,
                to,
                centre: from.moved(along * vx - high * vy, along * vy + high * vx),
                clockwise,
            }
        }
    }
}
