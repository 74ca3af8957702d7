//! Short pieces joined into lines and arcs, for a controller that cannot be fed fast enough.

use units::motion::turn;
use units::{Point, Segment};

use crate::cuts::cut_list::{Cut, CutList, Element};

/// The joined path stays this near to the original, and the original to it, mm.
pub const JOIN_MM: f64 = 0.02;

/// Longer pieces are left as they are, mm.
const SHORT_MM: f64 = 5.0;
/// A sharper turn is a corner and stays one, radians (25 degrees).
const CORNER: f64 = 0.436;
/// An arc is made of so many pieces at least.
const LEAST_FOR_ARC: usize = 3;
/// An arc turns by no more than this, radians: the rest becomes another.
const MOST_SWEEP: f64 = 1.5 * core::f64::consts::PI;
/// A flatter arc is a line, mm.
const LARGEST_RADIUS_MM: f64 = 10_000.0;
/// Of the tolerance so much is used: places are rounded when they are written to the controller.
const USED: f64 = 0.9;

/// Joins runs of short pieces with one feed into lines and arcs that stay within `tolerance_mm` of
/// them, and they of it. Corners stay; every cut begins and ends where it did; a joined piece has the
/// line and column of its first.
#[must_use]
pub fn join(list: &CutList, tolerance_mm: f64) -> CutList {
    let cut = |cut: &Cut| Cut {
        path: joined(&cut.path, tolerance_mm * USED),
        ..*cut
    };
    CutList {
        cuts: list.cuts.iter().map(cut).collect(),
        stops: list.stops.clone(),
    }
}

fn joined(path: &[Element], tolerance: f64) -> Vec<Element> {
    let mut out = Vec::new();
    let mut at = 0;
    while let Some(first) = path.get(at) {
        let run = run_length(path, at);
        if run < 2 {
            out.push(*first);
            at += 1;
            continue;
        }
        let strip = Strip::new(path.get(at..at + run).unwrap_or_default());
        let mut from = 0;
        while from < run {
            let (to, segment) = strip.longest(from, tolerance);
            let Some(e) = path.get(at + from) else {
                break;
            };
            out.push(match segment {
                Some(segment) => Element { segment, ..*e },
                None => *e,
            });
            from = to;
        }
        at += run;
    }
    out
}

/// How many pieces from here on are short, have one feed and no corner between them.
fn run_length(path: &[Element], at: usize) -> usize {
    let short = |e: &Element| {
        let length = e.segment.length();
        length > 1e-6 && length <= SHORT_MM
    };
    let Some(first) = path.get(at).filter(|e| short(e)) else {
        return 1;
    };
    let goes_on = |two: &[Element]| {
        short(&two[1])
            && two[1].feed_mm_s == first.feed_mm_s
            && turn(&two[0].segment, &two[1].segment).abs() <= CORNER
    };
    let rest = path.get(at..).unwrap_or_default();
    1 + rest.windows(2).take_while(|two| goes_on(two)).count()
}

/// A run of pieces as points.
struct Strip {
    points: Vec<Point>,
    /// The point at the start of each piece; one more at the end.
    starts: Vec<usize>,
}

impl Strip {
    fn new(pieces: &[Element]) -> Self {
        let mut points: Vec<Point> = pieces
            .first()
            .map(|e| e.segment.from())
            .into_iter()
            .collect();
        let mut starts = vec![0];
        for e in pieces {
            points.extend(e.segment.flatten(JOIN_MM / 50.0));
            starts.push(points.len() - 1);
        }
        Self { points, starts }
    }

    fn pieces(&self) -> usize {
        self.starts.len() - 1
    }

    /// The longest line or arc from the start of a piece on: the piece behind it, and it; `None`
    /// where the piece stays as it is.
    fn longest(&self, from: usize, tolerance: f64) -> (usize, Option<Segment>) {
        let mut best = (from + 1, None);
        let mut step = 2;
        // Galloping, then halving: long runs are not tried one by one.
        let mut too_far = None;
        while from + step <= self.pieces() {
            match self.fit(from, from + step, tolerance) {
                Some(s) => best = (from + step, Some(s)),
                None => {
                    // A short piece of a wide arc may fail where a longer one fits.
                    if step > 4 {
                        too_far = Some(from + step);
                        break;
                    }
                }
            }
            step *= 2;
        }
        let mut high = too_far.unwrap_or(self.pieces() + 1);
        while high > best.0 + 1 {
            let middle = (best.0 + high) / 2;
            match self.fit(from, middle, tolerance) {
                Some(s) => best = (middle, Some(s)),
                None => high = middle,
            }
        }
        best
    }

    /// A line or arc for the pieces from `a` up to `b`.
    fn fit(&self, a: usize, b: usize, tolerance: f64) -> Option<Segment> {
        let (i, k) = (*self.starts.get(a)?, *self.starts.get(b)?);
        let points = self.points.get(i..=k)?;
        line(points, tolerance).or_else(|| {
            (b - a >= LEAST_FOR_ARC)
                .then(|| arc(points, tolerance))
                .flatten()
        })
    }
}

/// The line from the first to the last point, if all lie near it and follow each other along it.
fn line(points: &[Point], tolerance: f64) -> Option<Segment> {
    let (from, to) = (*points.first()?, *points.last()?);
    let length = from.distance(to);
    if length < 1e-6 {
        return None;
    }
    let (ux, uy) = ((to.x - from.x) / length, (to.y - from.y) / length);
    let mut along = -1e-9;
    for p in points {
        let (dx, dy) = (p.x - from.x, p.y - from.y);
        let s = dx * ux + dy * uy;
        if s < along || s > length + 1e-9 || (dx * uy - dy * ux).abs() > tolerance {
            return None;
        }
        along = s;
    }
    Some(Segment::Line { from, to })
}

/// An arc from the first to the last point, if all lie near it and follow each other along it.
fn arc(points: &[Point], tolerance: f64) -> Option<Segment> {
    let (from, to) = (*points.first()?, *points.last()?);
    // The centre lies on the bisector of the chord: so both ends have one radius exactly.
    let chord = from.distance(to);
    if chord < 10.0 * tolerance {
        return None;
    }
    let middle = from.toward(to, 0.5);
    let (nx, ny) = ((from.y - to.y) / chord, (to.x - from.x) / chord);
    let off = |p: &Point| {
        // Where the bisector is as far from `p` as from the ends.
        let (dx, dy) = (p.x - middle.x, p.y - middle.y);
        let side = dx * nx + dy * ny;
        let square = dx * dx + dy * dy - chord * chord / 4.0;
        (side.abs() > 1e-9).then(|| square / (2.0 * side))
    };
    let mut offs: Vec<f64> = (1..8)
        .filter_map(|k| off(points.get(points.len() * k / 8)?))
        .collect();
    offs.sort_by(f64::total_cmp);
    let h = *offs.get(offs.len() / 2)?;
    let centre = middle.moved(h * nx, h * ny);
    let radius = from.distance(centre);
    if radius > LARGEST_RADIUS_MM || radius < 10.0 * tolerance {
        return None;
    }
    let angle = |p: &Point| (p.y - centre.y).atan2(p.x - centre.x);
    let mut sweep: f64 = 0.0;
    for two in points.windows(2) {
        let (a, b) = (two[0], two[1]);
        let step = wrapped(angle(&b) - angle(&a));
        // It goes one way, and no piece goes far round.
        if step.abs() > 1.0 || step * sweep < 0.0 || step == 0.0 {
            return None;
        }
        sweep += step;
        let nearest = Segment::Line { from: a, to: b }.nearest(centre).1;
        let farthest = a.distance(centre).max(b.distance(centre));
        if nearest < radius - tolerance || farthest > radius + tolerance {
            return None;
        }
    }
    (sweep.abs() <= MOST_SWEEP).then_some(Segment::Arc {
        from,
        to,
        centre,
        clockwise: sweep < 0.0,
    })
}

fn wrapped(angle: f64) -> f64 {
    use core::f64::consts::{PI, TAU};
    (angle + PI).rem_euclid(TAU) - PI
}

#[cfg(test)]
mod tests {
    use core::f64::consts::TAU;

    use super::*;
    use proptest::prelude::*;

    fn path(points: &[Point]) -> Vec<Element> {
        points
            .windows(2)
            .zip(1..)
            .map(|(two, line)| Element {
                segment: Segment::Line {
                    from: two[0],
                    to: two[1],
                },
                feed_mm_s: Some(20.0),
                line,
                column: 1,
            })
            .collect()
    }

    fn list(path: Vec<Element>) -> CutList {
        CutList {
            cuts: vec![Cut {
                pierce: path.first().map_or(Point::default(), |e| e.segment.from()),
                on_line: 1,
                on_column: 1,
                off_line: 9,
                compensation: None,
                path,
            }],
            stops: Vec::new(),
        }
    }

    /// The furthest that places of one path lie from the other, mm.
    fn off(of: &[Element], from: &[Element]) -> f64 {
        let places = of.iter().flat_map(|e| {
            let n = (e.segment.length() / 0.05).ceil().max(1.0) as usize;
            (0..=n).map(move |k| e.segment.point_at(e.segment.length() * k as f64 / n as f64))
        });
        places
            .map(|p| {
                let near = from.iter().map(|e| e.segment.nearest(p).1);
                near.fold(f64::INFINITY, f64::min)
            })
            .fold(0.0, f64::max)
    }

    fn check(path: Vec<Element>) -> Vec<Element> {
        let before = list(path);
        let after = join(&before, JOIN_MM);
        let (a, b) = (&before.cuts[0].path, &after.cuts[0].path);
        assert!(off(a, b) < JOIN_MM, "{} mm from it", off(a, b));
        assert!(off(b, a) < JOIN_MM, "{} mm from the original", off(b, a));
        assert_eq!(
            a.first().map(|e| e.segment.from()),
            b.first().map(|e| e.segment.from())
        );
        assert_eq!(
            a.last().map(|e| e.segment.to()),
            b.last().map(|e| e.segment.to())
        );
        assert!(
            b.windows(2)
                .all(|two| two[0].segment.to() == two[1].segment.from()),
            "no gaps"
        );
        assert!(b.len() <= a.len());
        for e in b {
            let original = a
                .iter()
                .find(|o| o.line == e.line)
                .expect("a line of the original");
            assert_eq!(original.segment.from(), e.segment.from());
            assert_eq!(original.feed_mm_s, e.feed_mm_s);
            if let Segment::Arc {
                from, to, centre, ..
            } = e.segment
            {
                assert!((from.distance(centre) - to.distance(centre)).abs() < 1e-6);
            }
        }
        after.cuts.into_iter().next().expect("one cut").path
    }

    /// A circle of radius `r` in so many pieces, closed.
    fn circle(r: f64, pieces: usize) -> Vec<Point> {
        (0..=pieces)
            .map(|k| {
                let (sin, cos) = (TAU * (k % pieces) as f64 / pieces as f64).sin_cos();
                Point::new(r * cos, r * sin)
            })
            .collect()
    }

    #[test]
    fn a_circle_in_a_thousand_pieces_becomes_a_few_arcs() {
        let arcs = check(path(&circle(10.0, 1256)));
        assert!(arcs.len() <= 3, "{arcs:?}");
        assert!(
            arcs.iter()
                .all(|e| e.segment.radius().is_some_and(|r| (r - 10.0).abs() < 0.02))
        );
    }

    #[test]
    fn a_straight_line_in_pieces_becomes_one() {
        let points: Vec<Point> = (0..=400)
            .map(|k| Point::new(0.1 * f64::from(k), 7.0))
            .collect();
        assert_eq!(check(path(&points)).len(), 1);
    }

    #[test]
    fn corners_feeds_and_long_pieces_stay() {
        let mut points: Vec<Point> = (0..=100)
            .map(|k| Point::new(0.1 * f64::from(k), 0.0))
            .collect();
        points.extend((1..=100).map(|k| Point::new(10.0, 0.1 * f64::from(k))));
        points.push(Point::new(60.0, 10.0));
        points.push(Point::new(60.0, 70.0));
        let mut pieces = path(&points);
        assert_eq!(check(pieces.clone()).len(), 4);
        for e in &mut pieces[150..200] {
            e.feed_mm_s = Some(15.0);
        }
        assert_eq!(check(pieces).len(), 5);
        // Facets too coarse for the tolerance: 5 degrees off at 10 mm are 0.095 mm.
        assert_eq!(check(path(&circle(10.0, 36))).len(), 36);
    }

    #[test]
    fn short_arcs_are_joined_as_well() {
        let points = circle(10.0, 600);
        let arcs: Vec<Element> = path(&points)
            .into_iter()
            .map(|e| Element {
                segment: Segment::Arc {
                    from: e.segment.from(),
                    to: e.segment.to(),
                    centre: Point::new(0.0, 0.0),
                    clockwise: false,
                },
                ..e
            })
            .collect();
        assert!(check(arcs).len() <= 3);
    }

    proptest! {
        #[test]
        fn whatever_is_joined_stays_near_both_ways(
            turns in prop::collection::vec((-0.6_f64..0.6, 0.05_f64..0.6, 1_usize..40), 1..12),
        ) {
            // Pieces of curves of many radii with kinks between them.
            let (mut at, mut heading) = (Point::new(0.0, 0.0), 0.0_f64);
            let mut points = vec![at];
            for (kink, length, count) in turns {
                heading += if count % 3 == 0 { 4.0 * kink } else { 0.0 };
                for _ in 0..count {
                    heading += kink / 8.0;
                    at = at.moved(length * heading.cos(), length * heading.sin());
                    points.push(at);
                }
            }
            check(path(&points));
        }
    }
}
