//! Points, lines and arcs in the plane, in millimetres.

use core::f64::consts::TAU;

use serde::{Deserialize, Serialize};

/// A place in the plane, mm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<f64>", into = "[f64; 2]")]
pub struct Point {
    /// To the right, mm.
    pub x: f64,
    /// Away, mm.
    pub y: f64,
}

/// A list of numbers that is no place: a third number would else be let fall in silence.
impl TryFrom<Vec<f64>> for Point {
    type Error = String;

    fn try_from(numbers: Vec<f64>) -> Result<Self, String> {
        match numbers[..] {
            [x, y] => Ok(Self { x, y }),
            _ => Err(format!(
                "2 numbers [x, y] are wanted, not {}",
                numbers.len()
            )),
        }
    }
}

impl From<[f64; 2]> for Point {
    fn from([x, y]: [f64; 2]) -> Self {
        Self { x, y }
    }
}

impl From<Point> for [f64; 2] {
    fn from(p: Point) -> Self {
        [p.x, p.y]
    }
}

impl Point {
    /// The place (x, y), mm.
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// The straight distance to another place, mm.
    #[must_use]
    pub fn distance(self, other: Self) -> f64 {
        // Not `hypot`: it guards against overflow that no sheet comes near, at ten times the price.
        let (dx, dy) = (self.x - other.x, self.y - other.y);
        (dx * dx + dy * dy).sqrt()
    }

    /// This place moved by (dx, dy), mm.
    #[must_use]
    pub fn moved(self, dx: f64, dy: f64) -> Self {
        Self::new(self.x + dx, self.y + dy)
    }

    /// The way to this place from another, mm along x and y.
    fn seen_from(self, other: Self) -> (f64, f64) {
        (self.x - other.x, self.y - other.y)
    }

    /// The place `part` (0 to 1) of the way to another.
    #[must_use]
    pub fn toward(self, other: Self, part: f64) -> Self {
        self.moved((other.x - self.x) * part, (other.y - self.y) * part)
    }
}

/// Above 0: `b` lies to the left of `a`.
fn cross(a: (f64, f64), b: (f64, f64)) -> f64 {
    a.0 * b.1 - a.1 * b.0
}

/// Above 0: `b` lies ahead of `a`.
fn dot(a: (f64, f64), b: (f64, f64)) -> f64 {
    a.0 * b.0 + a.1 * b.1
}

/// Up to this tangent the series of the arc tangent is used.
const SMALL_TANGENT: f64 = 0.05;

/// The angle whose sine and cosine (or the same multiple of both) these are, radians from -pi to pi.
///
/// Nearly every turn of a program is a small one, between short pieces of curves. For those six terms of
/// the series of the arc tangent leave less than a double can hold (0.05^12 / 13 is 2e-17 of the angle), at a
/// fifth of the price of the library's function.
#[must_use]
pub fn angle_of(sin: f64, cos: f64) -> f64 {
    let t = sin / cos;
    if cos > 0.0 && t.abs() < SMALL_TANGENT {
        let q = t * t;
        let inner = 1.0 / 5.0 - q * (1.0 / 7.0 - q * (1.0 / 9.0 - q / 11.0));
        return t * (1.0 - q * (1.0 / 3.0 - q * inner));
    }
    sin.atan2(cos)
}

/// A piece of a path: a straight line or a circular arc.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Segment {
    /// A straight line.
    Line {
        /// Where it begins.
        from: Point,
        /// Where it ends.
        to: Point,
    },
    /// An arc about a centre. Its radius is measured at the start; equal ends are a full circle.
    Arc {
        /// Where it begins.
        from: Point,
        /// Where it ends.
        to: Point,
        /// The centre.
        centre: Point,
        /// Clockwise as seen from above (G2).
        clockwise: bool,
    },
}

/// The place `s` mm along a path of these pieces, held at its start; `None` beyond its end.
#[must_use]
pub fn point_along(path: impl IntoIterator<Item = Segment>, s: f64) -> Option<Point> {
    let mut left = s.max(0.0);
    for segment in path {
        let length = segment.length();
        if left <= length {
            return Some(segment.point_at(left));
        }
        left -= length;
    }
    None
}

impl Segment {
    /// Where it begins.
    #[must_use]
    pub fn from(&self) -> Point {
        match *self {
            Self::Line { from, .. } | Self::Arc { from, .. } => from,
        }
    }

    /// Where it ends.
    #[must_use]
    pub fn to(&self) -> Point {
        match *self {
            Self::Line { to, .. } | Self::Arc { to, .. } => to,
        }
    }

    /// The radius of an arc, mm; `None` for a line.
    #[must_use]
    pub fn radius(&self) -> Option<f64> {
        match *self {
            Self::Line { .. } => None,
            Self::Arc { from, centre, .. } => Some(from.distance(centre)),
        }
    }

    /// The angle an arc turns through, radians, anticlockwise positive; 0 for a line.
    #[must_use]
    pub fn sweep(&self) -> f64 {
        match *self {
            Self::Line { .. } => 0.0,
            Self::Arc {
                from,
                to,
                centre,
                clockwise,
            } => {
                let (a, e) = (from.seen_from(centre), to.seen_from(centre));
                // One angle between the two, not the difference of two: its sign is that of the
                // cross product, as everywhere else.
                let turn = match angle_of(cross(a, e), dot(a, e)) {
                    turn if turn < 0.0 => turn + TAU,
                    turn => turn,
                };
                let full = from == to;
                match (clockwise, full) {
                    (false, true) => TAU,
                    (true, true) => -TAU,
                    (false, false) => turn,
                    (true, false) if turn == 0.0 => 0.0,
                    (true, false) => turn - TAU,
                }
            }
        }
    }

    /// Its length, mm.
    #[must_use]
    pub fn length(&self) -> f64 {
        match *self {
            Self::Line { from, to } => from.distance(to),
            Self::Arc { .. } => self.radius().unwrap_or(0.0) * self.sweep().abs(),
        }
    }

    /// The place `s` mm along it, held within its ends.
    #[must_use]
    pub fn point_at(&self, s: f64) -> Point {
        let length = self.length();
        if s <= 0.0 || length <= 0.0 {
            return self.from();
        }
        if s >= length {
            return self.to();
        }
        match *self {
            Self::Line { from, to } => from.toward(to, s / length),
            Self::Arc { from, centre, .. } => {
                let angle = self.sweep() * (s / length);
                let (sin, cos) = angle.sin_cos();
                let (dx, dy) = (from.x - centre.x, from.y - centre.y);
                centre.moved(dx * cos - dy * sin, dx * sin + dy * cos)
            }
        }
    }

    /// The direction of travel `s` mm along it, as a unit vector; (0, 0) if it has no length.
    #[must_use]
    pub fn direction_at(&self, s: f64) -> (f64, f64) {
        match *self {
            Self::Line { from, to } => {
                let d = from.distance(to);
                if d > 0.0 {
                    ((to.x - from.x) / d, (to.y - from.y) / d)
                } else {
                    (0.0, 0.0)
                }
            }
            Self::Arc {
                centre, clockwise, ..
            } => {
                let p = if s <= 0.0 {
                    self.from()
                } else {
                    self.point_at(s)
                };
                tangent(p, centre, clockwise)
            }
        }
    }

    /// The direction of travel at its end, as a unit vector; (0, 0) if it has no length.
    #[must_use]
    pub fn direction_at_end(&self) -> (f64, f64) {
        match *self {
            Self::Line { .. } => self.direction_at(0.0),
            Self::Arc {
                to,
                centre,
                clockwise,
                ..
            } => tangent(to, centre, clockwise),
        }
    }

    /// The direction in which it begins, of any length; (0, 0) if it has no length.
    #[must_use]
    pub fn heading(&self) -> (f64, f64) {
        match *self {
            Self::Line { from, to } => to.seen_from(from),
            Self::Arc {
                from,
                centre,
                clockwise,
                ..
            } => across(from.seen_from(centre), clockwise),
        }
    }

    /// The direction in which it ends, of any length; (0, 0) if it has no length.
    #[must_use]
    pub fn heading_at_end(&self) -> (f64, f64) {
        match *self {
            Self::Line { .. } => self.heading(),
            Self::Arc {
                to,
                centre,
                clockwise,
                ..
            } => across(to.seen_from(centre), clockwise),
        }
    }

    /// The nearest place of it to `p`: how far along (mm) and how far off (mm).
    #[must_use]
    pub fn nearest(&self, p: Point) -> (f64, f64) {
        let length = self.length();
        match *self {
            Self::Line { from, to } => {
                if length <= 0.0 {
                    return (0.0, p.distance(from));
                }
                let (dx, dy) = ((to.x - from.x) / length, (to.y - from.y) / length);
                let s = ((p.x - from.x) * dx + (p.y - from.y) * dy).clamp(0.0, length);
                (s, p.distance(self.point_at(s)))
            }
            Self::Arc { from, centre, .. } => {
                let sweep = self.sweep();
                let r = self.radius().unwrap_or(0.0);
                let a0 = (from.y - centre.y).atan2(from.x - centre.x);
                let a = (p.y - centre.y).atan2(p.x - centre.x);
                let turned = if sweep >= 0.0 {
                    (a - a0).rem_euclid(TAU)
                } else {
                    (a0 - a).rem_euclid(TAU)
                };
                let inside = if turned <= sweep.abs() {
                    Some(turned * r)
                } else {
                    None
                };
                let mut best = (0.0, p.distance(self.from()));
                let end = (length, p.distance(self.to()));
                if end.1 < best.1 {
                    best = end;
                }
                if let Some(s) = inside {
                    let off = p.distance(self.point_at(s));
                    if off < best.1 {
                        best = (s, off);
                    }
                }
                best
            }
        }
    }

    /// The part of it from `s0` to `s1` mm along, held within its ends. An empty part is a line
    /// without length: an arc whose ends are equal would be a full circle.
    #[must_use]
    pub fn part(&self, s0: f64, s1: f64) -> Self {
        let (from, to) = (self.point_at(s0), self.point_at(s1));
        let whole = s0 <= 0.0 && s1 >= self.length();
        match *self {
            Self::Arc {
                centre, clockwise, ..
            } if whole || from != to => Self::Arc {
                from,
                to,
                centre,
                clockwise,
            },
            Self::Line { .. } | Self::Arc { .. } => Self::Line { from, to },
        }
    }

    /// The smallest upright rectangle round it: nothing of it lies outside, and it touches each
    /// side. Worked out without an angle: a program may have a million arcs.
    #[must_use]
    pub fn bounds(&self) -> Bounds {
        let mut b = Bounds::of(self.from());
        b.add(self.to());
        if let Self::Arc { centre, from, .. } = *self
            && !self.is_within_a_quarter()
        {
            let r = from.distance(centre);
            for axis in [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)] {
                if self.passes(axis) {
                    b.add(centre.moved(r * axis.0, r * axis.1));
                }
            }
        }
        b
    }

    /// Whether it surely passes none of the four axes through its centre, as nearly every arc does that
    /// stands for a piece of a curve: both ends lie in one quarter, and it goes the short way round.
    fn is_within_a_quarter(&self) -> bool {
        let Self::Arc {
            from,
            to,
            centre,
            clockwise,
        } = *self
        else {
            return true;
        };
        let (a, e) = (from.seen_from(centre), to.seen_from(centre));
        let turn = cross(a, e);
        a.0 * e.0 > 0.0 && a.1 * e.1 > 0.0 && if clockwise { turn < 0.0 } else { turn > 0.0 }
    }

    /// Whether an arc passes the place that lies in this direction from its centre, ends included;
    /// never for a line. A direction nearer to an end than the last bits of a number may count
    /// either way: the place is then the end itself.
    #[must_use]
    pub fn passes(&self, direction: (f64, f64)) -> bool {
        let Self::Arc {
            from,
            to,
            centre,
            clockwise,
        } = *self
        else {
            return false;
        };
        if from == to {
            return true;
        }
        let (from, to) = (from.seen_from(centre), to.seen_from(centre));
        // As if anticlockwise.
        let (start, end) = if clockwise { (to, from) } else { (from, to) };
        // Seen from the start, by quarters of a turn: within one quarter the sign of a cross
        // product tells which of two directions comes first, and no two directions of the same
        // quarter lie opposite each other, where that sign is left to the last bit.
        let quarter = |d: (f64, f64)| match (dot(start, d), cross(start, d)) {
            (along, across) if across >= 0.0 && along > 0.0 => 0,
            (along, across) if across > 0.0 && along <= 0.0 => 1,
            (along, across) if across <= 0.0 && along < 0.0 => 2,
            // Also a start or an end that is the centre itself.
            _ => 3,
        };
        match (quarter(direction), quarter(end)) {
            (d, e) if d == e => cross(direction, end) >= 0.0,
            (d, e) => d < e,
        }
    }

    /// Places along it, its start left out and its end included, so close together that no chord
    /// is further than `sagitta` mm from it.
    #[must_use]
    pub fn flatten(&self, sagitta: f64) -> Vec<Point> {
        let Some(r) = self.radius() else {
            return vec![self.to()];
        };
        let step = if sagitta >= r {
            TAU / 4.0
        } else {
            2.0 * (1.0 - sagitta / r).acos()
        };
        let n = (self.sweep().abs() / step).ceil().clamp(1.0, 1e5) as usize;
        let length = self.length();
        (1..=n)
            .map(|k| self.point_at(length * k as f64 / n as f64))
            .collect()
    }

    /// It as it lies on the sheet.
    #[must_use]
    pub fn placed(&self, by: &Placement) -> Self {
        match *self {
            Self::Line { from, to } => Self::Line {
                from: by.place(from),
                to: by.place(to),
            },
            Self::Arc {
                from,
                to,
                centre,
                clockwise,
            } => Self::Arc {
                from: by.place(from),
                to: by.place(to),
                centre: by.place(centre),
                clockwise,
            },
        }
    }
}

/// The direction of travel at a place of an arc.
fn tangent(p: Point, centre: Point, clockwise: bool) -> (f64, f64) {
    let r = p.distance(centre);
    if r <= 0.0 {
        return (0.0, 0.0);
    }
    let (x, y) = p.seen_from(centre);
    across((x / r, y / r), clockwise)
}

/// The way on round a centre, from the way out of it.
fn across((x, y): (f64, f64), clockwise: bool) -> (f64, f64) {
    if clockwise { (y, -x) } else { (-y, x) }
}

/// Where a program's zero lies on the sheet, and how it is turned about that zero.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Placement {
    /// The program's zero on the sheet, mm.
    pub origin: Point,
    /// Anticlockwise about that zero, degrees.
    pub rotation_deg: f64,
}

impl Placement {
    /// A program's place as it lies on the sheet. Quarter turns are exact.
    #[must_use]
    pub fn place(&self, p: Point) -> Point {
        let (sin, cos) = match self.rotation_deg.rem_euclid(360.0) {
            0.0 => (0.0, 1.0),
            90.0 => (1.0, 0.0),
            180.0 => (0.0, -1.0),
            270.0 => (-1.0, 0.0),
            other => other.to_radians().sin_cos(),
        };
        self.origin
            .moved(p.x * cos - p.y * sin, p.x * sin + p.y * cos)
    }
}

/// An upright rectangle, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bounds {
    /// Lower left corner.
    pub low: Point,
    /// Upper right corner.
    pub high: Point,
}

impl Bounds {
    /// The rectangle of one place.
    #[must_use]
    pub fn of(p: Point) -> Self {
        Self { low: p, high: p }
    }

    /// Grows it to hold a place.
    pub fn add(&mut self, p: Point) {
        self.low = Point::new(self.low.x.min(p.x), self.low.y.min(p.y));
        self.high = Point::new(self.high.x.max(p.x), self.high.y.max(p.y));
    }

    /// Grows it to hold another.
    pub fn join(&mut self, other: &Self) {
        self.add(other.low);
        self.add(other.high);
    }

    /// Width along x, mm.
    #[must_use]
    pub fn width(&self) -> f64 {
        self.high.x - self.low.x
    }

    /// Height along y, mm.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.high.y - self.low.y
    }
}
