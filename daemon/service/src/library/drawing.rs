//! A sheet and its cuts as a screen draws them.

use program::Setup;
use serde::{Deserialize, Serialize};
use units::{Point, Segment};

/// How far a drawn path may be from the true one, mm: half a pixel of a held cut drawn four times
/// as large.
const DRAWN_WITHIN_MM: f64 = 0.1;
/// Most points of a drawing; beyond, it gets coarser.
const POINTS_MAX: usize = 60_000;

/// Most loose pieces that are marked.
const LOOSE_MAX: usize = 500;

/// A sheet and what is cut from it, in sheet coordinates, mm.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Drawing {
    /// Sheet size; `None`: nobody has said what lies on the table.
    pub sheet: Option<Point>,
    /// The sheet's lower left corner in machine coordinates, which the scales show.
    pub corner: Point,
    /// Width of the slot, mm.
    pub kerf_mm: Option<f64>,
    /// The cuts in order.
    pub cuts: Vec<DrawnCut>,
    /// The ground clamp.
    pub clamp: Option<Point>,
    /// Things that stand on the sheet: lower left corner and size.
    pub keepouts: Vec<[Point; 2]>,
    /// Outlines of areas already cut away.
    pub used: Vec<Vec<Point>>,
    /// Outlines of what is loose in the end.
    #[serde(default)]
    pub loose: Vec<Vec<Point>>,
}

/// One cut as drawn.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DrawnCut {
    /// Where it is pierced.
    pub pierce: [f64; 2],
    /// True length, mm.
    pub length_mm: f64,
    /// Places along it with their true distance from the pierce: x, y, mm along.
    pub points: Vec<[f64; 3]>,
}

impl Drawing {
    pub(super) fn of(cuts: impl Iterator<Item = (Point, Vec<Segment>)>, corner: Point) -> Self {
        let cuts: Vec<_> = cuts.collect();
        let mut within = DRAWN_WITHIN_MM;
        loop {
            let drawn: Vec<DrawnCut> = cuts.iter().map(|(p, s)| draw(*p, s, within)).collect();
            let points: usize = drawn.iter().map(|d| d.points.len()).sum();
            // Every path keeps its two ends: beyond that nothing can be left out.
            if points <= POINTS_MAX.max(2 * drawn.len()) || within > 100.0 {
                return Self {
                    corner,
                    cuts: drawn,
                    ..Self::default()
                };
            }
            within *= 2.0;
        }
    }

    pub(super) fn loosen(&mut self, loose: &[program::Loose]) {
        let rounded = |p: &Point| Point::new(round(p.x), round(p.y));
        let outline = |l: &program::Loose| {
            let places: Vec<_> = l.outline.iter().map(|p| (*p, 0.0)).collect();
            let kept = thin(&places, DRAWN_WITHIN_MM);
            kept.iter().map(|(p, _)| rounded(p)).collect()
        };
        self.loose = loose.iter().take(LOOSE_MAX).map(outline).collect();
    }

    pub(super) fn lay(&mut self, setup: &Setup) {
        self.sheet = Some(setup.sheet);
        self.clamp = setup.clamp;
        self.used.clone_from(&setup.used);
        self.keepouts = setup
            .keepouts
            .iter()
            .map(|k| [k.at.moved(-k.size.x / 2.0, -k.size.y / 2.0), k.size])
            .collect();
    }
}

fn draw(pierce: Point, path: &[Segment], within: f64) -> DrawnCut {
    let mut along = 0.0;
    let mut places = vec![(pierce, 0.0)];
    for segment in path {
        let length = segment.length();
        let flat = segment.flatten(within / 2.0);
        let n = flat.len() as f64;
        // A flattened arc is cut into equal parts, so its places are equally far along.
        for (k, p) in flat.iter().enumerate() {
            places.push((*p, along + length * (k as f64 + 1.0) / n));
        }
        along += length;
    }
    let kept = thin(&places, within / 2.0);
    DrawnCut {
        pierce: [round(pierce.x), round(pierce.y)],
        length_mm: round(along),
        points: kept
            .iter()
            .map(|(p, s)| [round(p.x), round(p.y), round(*s)])
            .collect(),
    }
}

/// Leaves out places that lie within `off` mm of the line between those that stay. One pass: from
/// the last place that stays, the directions that pass all places since within `off` are a cone
/// that only narrows; the first place outside it begins a new line.
fn thin(places: &[(Point, f64)], off: f64) -> Vec<(Point, f64)> {
    let Some(&first) = places.first() else {
        return Vec::new();
    };
    let mut kept = vec![first];
    let mut anchor = first.0;
    let mut cone: Option<Cone> = None;
    let mut before = first;
    for &place in &places[1..] {
        let fits = match &mut cone {
            Some(cone) => cone.narrow(anchor, place.0, off),
            None => {
                cone = Cone::new(anchor, place.0, off);
                true
            }
        };
        if !fits {
            kept.push(before);
            anchor = before.0;
            cone = Cone::new(anchor, place.0, off);
        }
        before = place;
    }
    if places.len() > 1 {
        kept.push(before);
    }
    kept
}

/// Directions from a place, as angles from a first direction.
struct Cone {
    along: (f64, f64),
    low: f64,
    high: f64,
    reach: f64,
}

impl Cone {
    /// `None`: so near that every direction passes it.
    fn new(anchor: Point, to: Point, off: f64) -> Option<Self> {
        let reach = anchor.distance(to);
        if reach <= off {
            return None;
        }
        let half = (off / reach).asin();
        Some(Self {
            along: ((to.x - anchor.x) / reach, (to.y - anchor.y) / reach),
            low: -half,
            high: half,
            reach,
        })
    }

    /// Narrows it by a further place; false if that place lies outside, or the path turns back.
    fn narrow(&mut self, anchor: Point, to: Point, off: f64) -> bool {
        let reach = anchor.distance(to);
        if reach < self.reach {
            return false;
        }
        let (dx, dy) = (to.x - anchor.x, to.y - anchor.y);
        let (ax, ay) = self.along;
        let angle = (ax * dy - ay * dx).atan2(ax * dx + ay * dy);
        if angle < self.low || angle > self.high {
            return false;
        }
        let half = (off / reach).asin();
        self.low = self.low.max(angle - half);
        self.high = self.high.min(angle + half);
        self.reach = reach;
        true
    }
}

fn round(mm: f64) -> f64 {
    (mm * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(r: f64) -> Vec<Segment> {
        let start = Point::new(r, 0.0);
        vec![Segment::Arc {
            from: start,
            to: start,
            centre: Point::new(0.0, 0.0),
            clockwise: false,
        }]
    }

    #[test]
    fn a_drawn_circle_stays_within_a_tenth_and_ends_at_its_true_length() {
        let path = draw(Point::new(50.0, 0.0), &circle(50.0), DRAWN_WITHIN_MM);
        for pair in path.points.windows(2) {
            let middle =
                Point::new(pair[0][0], pair[0][1]).toward(Point::new(pair[1][0], pair[1][1]), 0.5);
            let off = (middle.distance(Point::new(0.0, 0.0)) - 50.0).abs();
            assert!(off < 0.11, "{off}");
        }
        let last = path.points[path.points.len() - 1];
        assert!((last[2] - 100.0 * std::f64::consts::PI).abs() < 0.01);
    }

    #[test]
    fn a_straight_path_in_a_thousand_pieces_is_drawn_with_two_points() {
        let path: Vec<Segment> = (0..1000)
            .map(|k| Segment::Line {
                from: Point::new(f64::from(k), 0.0),
                to: Point::new(f64::from(k + 1), 0.0),
            })
            .collect();
        let drawn = draw(Point::new(0.0, 0.0), &path, DRAWN_WITHIN_MM);
        assert_eq!(drawn.points, vec![[0.0, 0.0, 0.0], [1000.0, 0.0, 1000.0]]);
    }

    #[test]
    fn a_path_that_turns_back_keeps_its_turning_point() {
        let at = |x: f64| Point::new(x, 0.0);
        let out_and_back = [
            Segment::Line {
                from: at(0.0),
                to: at(80.0),
            },
            Segment::Line {
                from: at(80.0),
                to: at(20.0),
            },
        ];
        let drawn = draw(at(0.0), &out_and_back, DRAWN_WITHIN_MM);
        let xs: Vec<f64> = drawn.points.iter().map(|p| p[0]).collect();
        assert_eq!(xs, [0.0, 80.0, 20.0]);
    }

    #[test]
    fn a_huge_program_is_drawn_coarser_and_not_longer() {
        let zigzag = |n: usize| -> Vec<Segment> {
            (0..n)
                .map(|k| {
                    let at = |k: usize| {
                        Point::new(k as f64, if k.is_multiple_of(2) { 0.0 } else { 0.4 })
                    };
                    Segment::Line {
                        from: at(k),
                        to: at(k + 1),
                    }
                })
                .collect()
        };
        let cuts = (0..4).map(|_| (Point::new(0.0, 0.0), zigzag(40_000)));
        let drawing = Drawing::of(cuts, Point::default());
        let points: usize = drawing.cuts.iter().map(|c| c.points.len()).sum();
        assert!(points <= POINTS_MAX, "{points}");
    }
}
