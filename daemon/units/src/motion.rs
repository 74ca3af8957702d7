//! How fast axes with a limited acceleration pass along a path: mm, mm/s, mm/s2, s.

use crate::geometry::{Segment, angle_of};

/// Time for a length from speed `v0` to speed `v1`, at most at speed `v`; mm, mm/s, mm/s2. Where the
/// length is too short for the change of speed, the end speed is what can be reached.
#[must_use]
pub fn stretch_s(length: f64, v: f64, v0: f64, v1: f64, accel: f64) -> f64 {
    if length <= 0.0 || v <= 0.0 || accel <= 0.0 {
        return 0.0;
    }
    let (v0, v1) = (v0.clamp(0.0, v), v1.clamp(0.0, v));
    let peak = peak_mm_s(length, v0, v1, accel);
    if peak < v0.max(v1) {
        // One change of speed, all the way.
        let other = (v0.min(v1).powi(2) + 2.0 * accel * length).sqrt();
        return 2.0 * length / (v0.min(v1) + other);
    }
    let top = peak.min(v);
    let changing = (2.0 * top * top - v0 * v0 - v1 * v1) / (2.0 * accel);
    (2.0 * top - v0 - v1) / accel + (length - changing).max(0.0) / top
}

/// The speed that a length suffices for, between two speeds.
fn peak_mm_s(length: f64, v0: f64, v1: f64, accel: f64) -> f64 {
    (accel * length + (v0 * v0 + v1 * v1) / 2.0).sqrt()
}

/// The speed through a corner that turns by `turn` radians, when the velocity may step by `step`
/// mm/s: `step / (2 sin(turn / 2))`.
#[must_use]
pub fn corner_mm_s(turn: f64, step: f64) -> f64 {
    let sine = (turn.abs() / 2.0).sin();
    if sine < 1e-9 {
        f64::INFINITY
    } else {
        step / (2.0 * sine)
    }
}

/// The highest speed on an arc: `sqrt(accel * radius)`, mm/s.
#[must_use]
pub fn arc_mm_s(radius_mm: f64, accel: f64) -> f64 {
    (accel * radius_mm).max(0.0).sqrt()
}

/// The turn from the end of one piece to the start of the next, radians, anticlockwise positive.
#[must_use]
pub fn turn(a: &Segment, b: &Segment) -> f64 {
    bend(a, b).angle()
}

/// A turn by its sine and cosine: most questions about it need no angle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bend {
    /// Above 0: anticlockwise.
    pub sin: f64,
    /// 1: straight on. Both are 0 where one of the pieces has no length.
    pub cos: f64,
}

/// The turn from the end of one piece to the start of the next.
#[must_use]
pub fn bend(a: &Segment, b: &Segment) -> Bend {
    let (a, b) = (a.direction_at_end(), b.direction_at(0.0));
    Bend {
        sin: a.0 * b.1 - a.1 * b.0,
        cos: a.0 * b.0 + a.1 * b.1,
    }
}

/// Whether one piece goes on from another with less of a turn than the one with this cosine (above 0). As
/// [`bend`], and asked of nearly every two pieces of a program: without a root.
#[must_use]
pub fn bends_less(a: &Segment, b: &Segment, cos: f64) -> bool {
    let (a, b) = (a.heading_at_end(), b.heading());
    let along = a.0 * b.0 + a.1 * b.1;
    let lengths = (a.0 * a.0 + a.1 * a.1) * (b.0 * b.0 + b.1 * b.1);
    along > 0.0 && along * along > cos * cos * lengths
}

impl Bend {
    /// The angle, radians, anticlockwise positive.
    #[must_use]
    pub fn angle(self) -> f64 {
        angle_of(self.sin, self.cos)
    }
}

/// The speed through a corner between two directions of travel, see [`corner_mm_s`].
fn corner_between_mm_s(a: (f64, f64), b: (f64, f64), step: f64) -> f64 {
    if a == (0.0, 0.0) || b == (0.0, 0.0) {
        return f64::INFINITY;
    }
    // The chord between two unit vectors is twice the sine of half the angle between them.
    let (dx, dy) = (a.0 - b.0, a.1 - b.1);
    let twice_sine = (dx * dx + dy * dy).sqrt();
    if twice_sine < 2e-9 {
        f64::INFINITY
    } else {
        step / twice_sine
    }
}

/// A piece of a path with the speeds that it is passed at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Which piece of the path that was given.
    pub piece: usize,
    /// Its length, mm.
    pub length_mm: f64,
    /// The feed that is asked for, mm/s.
    pub feed_mm_s: f64,
    /// The most that it can be passed at: the feed, or what its radius allows, mm/s.
    pub most_mm_s: f64,
    /// The speed at its start, mm/s.
    pub from_mm_s: f64,
    /// The speed at its end, mm/s.
    pub to_mm_s: f64,
}

impl Stretch {
    /// How long it takes, s.
    #[must_use]
    pub fn time_s(&self, accel: f64) -> f64 {
        stretch_s(
            self.length_mm,
            self.most_mm_s,
            self.from_mm_s,
            self.to_mm_s,
            accel,
        )
    }

    /// How much of it is passed under a part (0 to 1) of its feed, mm.
    #[must_use]
    pub fn slow_mm(&self, part: f64, accel: f64) -> f64 {
        let limit = part * self.feed_mm_s * (1.0 - 1e-9);
        let peak = peak_mm_s(self.length_mm, self.from_mm_s, self.to_mm_s, accel);
        if peak.min(self.most_mm_s) < limit {
            return self.length_mm;
        }
        let ramp = |v: f64| ((limit * limit - v * v) / (2.0 * accel)).max(0.0);
        (ramp(self.from_mm_s) + ramp(self.to_mm_s)).min(self.length_mm)
    }
}

/// The speeds along a path from rest to rest, with look-ahead over all its corners. Given are its
/// pieces with their feeds, mm/s; pieces without length and without feed are left out. Linear in the
/// number of pieces.
#[must_use]
pub fn profile(
    path: impl IntoIterator<Item = (Segment, f64)>,
    accel: f64,
    corner_step: f64,
) -> Vec<Stretch> {
    let path = path.into_iter();
    let mut stretches: Vec<Stretch> = Vec::with_capacity(path.size_hint().0);
    // The direction in which the piece before ends. At first `from_mm_s` is the highest speed that the
    // corner at a piece's start allows.
    let mut ends = (0.0, 0.0);
    for (piece, (segment, feed)) in path.enumerate() {
        let length_mm = segment.length();
        let on_arc = segment
            .radius()
            .map_or(f64::INFINITY, |r| arc_mm_s(r, accel));
        let most_mm_s = feed.min(on_arc).max(0.0);
        if length_mm <= 1e-6 || most_mm_s <= 0.0 {
            continue;
        }
        let corner = stretches.last().map_or(0.0, |before| {
            corner_between_mm_s(ends, segment.direction_at(0.0), corner_step)
                .min(before.most_mm_s)
                .min(most_mm_s)
        });
        ends = segment.direction_at_end();
        stretches.push(Stretch {
            piece,
            length_mm,
            feed_mm_s: feed,
            most_mm_s,
            from_mm_s: corner,
            to_mm_s: 0.0,
        });
    }
    let reached = |mm_s: f64, length_mm: f64| (mm_s * mm_s + 2.0 * accel * length_mm).sqrt();
    let mut next = 0.0;
    for s in stretches.iter_mut().rev() {
        s.from_mm_s = s.from_mm_s.min(reached(next, s.length_mm));
        s.to_mm_s = next;
        next = s.from_mm_s;
    }
    let mut now = next;
    for s in &mut stretches {
        s.from_mm_s = now;
        s.to_mm_s = s.to_mm_s.min(reached(now, s.length_mm));
        now = s.to_mm_s;
    }
    stretches
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Point;

    const ACCEL: f64 = 400.0;

    fn line(a: [f64; 2], b: [f64; 2]) -> Segment {
        Segment::Line {
            from: Point::from(a),
            to: Point::from(b),
        }
    }

    fn slow(path: &[(Segment, f64)], part: f64) -> f64 {
        let profile = profile(path.iter().copied(), ACCEL, 8.0);
        profile.iter().map(|s| s.slow_mm(part, ACCEL)).sum()
    }

    #[test]
    fn a_line_is_slow_at_its_ends_only() {
        let v = 40.0;
        // 0.64 v2 / 2a at either end.
        let ends = 2.0 * 0.64 * v * v / (2.0 * ACCEL);
        assert!((slow(&[(line([0.0, 0.0], [50.0, 0.0]), v)], 0.8) - ends).abs() < 1e-6);
        // Too short for 0.8 v: slow all along.
        assert_eq!(slow(&[(line([0.0, 0.0], [2.0, 0.0]), v)], 0.8), 2.0);
    }

    #[test]
    fn a_corner_adds_its_own_braking_and_speeding_up() {
        let v = 40.0;
        let l = [
            (line([0.0, 0.0], [50.0, 0.0]), v),
            (line([50.0, 0.0], [50.0, 50.0]), v),
        ];
        let corner = 8.0 / 2_f64.sqrt();
        let by_hand = (0.64 * v * v + 0.64 * v * v - corner * corner) / ACCEL;
        assert!((slow(&l, 0.8) - by_hand).abs() < 1e-6);
    }

    #[test]
    fn an_arc_that_allows_less_is_slow_all_along() {
        let arc = |r: f64| Segment::Arc {
            from: Point::new(r, 0.0),
            to: Point::new(r, 0.0),
            centre: Point::new(0.0, 0.0),
            clockwise: false,
        };
        // sqrt(400 x 4) = 40: exactly 0.8 of 50 is not under it, the ends are.
        let r4 = arc(4.0);
        assert!((slow(&[(r4, 51.0)], 0.8) - r4.length()).abs() < 1e-9);
        assert!((slow(&[(r4, 50.0)], 0.8) - 40.0 * 40.0 / ACCEL).abs() < 1e-6);
    }

    #[test]
    fn a_small_turn_is_as_exact_as_the_librarys() {
        for k in -4_000_i32..=4_000 {
            // Down to 1e-12 and up over the seam of the series.
            for angle in [f64::from(k) / 40_000.0, f64::from(k) * 1e-12] {
                let (sin, cos) = (3.0 * angle.sin(), 3.0 * angle.cos());
                let (own, library) = (angle_of(sin, cos), sin.atan2(cos));
                assert!((own - library).abs() <= 2.3e-16 * library.abs(), "{angle}");
            }
        }
        for (sin, cos) in [(0.01, -1.0), (-0.01, -1.0), (1.0, 0.0), (0.0, 0.0)] {
            assert_eq!(angle_of(sin, cos), f64::atan2(sin, cos));
        }
    }

    #[test]
    fn less_of_a_bend_is_told_without_a_root() {
        let limit = 0.349_f64.cos();
        let first = line([0.0, 0.0], [7.0, 0.0]);
        for degrees in -180_i32..=180 {
            let (y, x) = f64::from(degrees).to_radians().sin_cos();
            let next = line([7.0, 0.0], [7.0 + 0.1 * x, 0.1 * y]);
            let less = bend(&first, &next).cos > limit;
            assert_eq!(bends_less(&first, &next, limit), less, "{degrees}");
        }
        let nothing = line([7.0, 0.0], [7.0, 0.0]);
        assert!(!bends_less(&first, &nothing, limit));
    }

    #[test]
    fn the_turn_has_the_sign_of_its_direction() {
        let a = line([0.0, 0.0], [1.0, 0.0]);
        assert!((turn(&a, &line([1.0, 0.0], [1.0, 1.0])).to_degrees() - 90.0).abs() < 1e-9);
        assert!((turn(&a, &line([1.0, 0.0], [1.0, -1.0])).to_degrees() + 90.0).abs() < 1e-9);
    }
}
