//! The datum check: features of the sheet that are known, where the torch was found to stand over
//! them, and what follows for where the sheet lies. Pure.
//!
//! After a doubtful place the axes are referenced again, and a zero may come out other than before.
//! What was cut already shows by how much: the kerfs on the sheet are the datum.

use planning::{Job, JobCut};
use serde::{Deserialize, Serialize};
use units::{Placement, Point, Segment};

/// Within this the sheet lies where it was, mm (process handbook, invented).
pub const DATUM_MM: f64 = 0.3;
/// Features nearer together than this do not tell how the sheet is turned, mm.
const APART_MM: f64 = 20.0;
/// An arc of so much of a full circle has a centre that can be seen.
const ROUND: f64 = 0.97;

/// A feature of the sheet, sheet coordinates, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DatumMark {
    /// Where it is.
    pub place: Point,
    /// What it is.
    pub feature: Feature,
    /// The cut that made it, from 1; `None`: the sheet's own edge.
    pub cut: Option<usize>,
}

/// What can be seen of a feature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Feature {
    /// The centre of a round hole that is cut.
    HoleCentre,
    /// The centre of a pierce.
    Pierce,
    /// The sheet's left edge: it tells nothing of the place along it.
    LeftEdge,
    /// The sheet's lower edge.
    LowerEdge,
}

impl Feature {
    /// The directions in which it tells a place.
    fn tells(self) -> &'static [(f64, f64)] {
        match self {
            Self::HoleCentre | Self::Pierce => &[(1.0, 0.0), (0.0, 1.0)],
            Self::LeftEdge => &[(1.0, 0.0)],
            Self::LowerEdge => &[(0.0, 1.0)],
        }
    }
}

/// Where the torch was found to stand over a mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// The mark.
    pub mark: DatumMark,
    /// The controller's place there, machine coordinates, mm.
    pub found: Point,
}

/// Where the sheet lies after all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Sheet to machine.
    pub sheet_at: Placement,
    /// The largest distance of a mark from where it was believed, mm.
    pub off_mm: f64,
    /// The largest distance of a mark from the fit, mm.
    pub residual_mm: f64,
}

/// The least-squares shift and turn of the sheet; `None`: the marks do not tell it.
#[must_use]
pub fn fit(seen: &[Seen], believed: &Placement) -> Option<Fit> {
    let expected: Vec<Point> = seen.iter().map(|s| believed.place(s.mark.place)).collect();
    let n = expected.len() as f64;
    if expected.is_empty() {
        return None;
    }
    let centre = Point::new(
        expected.iter().map(|p| p.x).sum::<f64>() / n,
        expected.iter().map(|p| p.y).sum::<f64>() / n,
    );
    // Unknown: shift along X and Y, and turn about the centre. One row for each direction told;
    // an edge turns with the sheet, which is of the second order here.
    let mut normal = [[0.0; 4]; 3];
    let mut off_mm: f64 = 0.0;
    let turned = believed.rotation_deg.to_radians().sin_cos();
    for (s, e) in seen.iter().zip(&expected) {
        let (dx, dy) = (s.found.x - e.x, s.found.y - e.y);
        let mut off = 0.0;
        for (ux, uy) in s.mark.feature.tells() {
            let (nx, ny) = (ux * turned.1 - uy * turned.0, ux * turned.0 + uy * turned.1);
            let row = [nx, ny, -(e.y - centre.y) * nx + (e.x - centre.x) * ny];
            let value = dx * nx + dy * ny;
            off += value * value;
            for i in 0..3 {
                for k in 0..3 {
                    normal[i][k] += row[i] * row[k];
                }
                normal[i][3] += row[i] * value;
            }
        }
        off_mm = off_mm.max(f64::sqrt(off));
    }
    let [dx, dy, turn] = solve(normal).or_else(|| shift(&normal))?;
    let (sin, cos) = turn.sin_cos();
    let moved = |p: Point| {
        let (x, y) = (p.x - centre.x, p.y - centre.y);
        Point::new(
            centre.x + dx + x * cos - y * sin,
            centre.y + dy + x * sin + y * cos,
        )
    };
    let sheet_at = Placement {
        origin: moved(believed.origin),
        rotation_deg: believed.rotation_deg + turn.to_degrees(),
    };
    let residual = seen.iter().map(|s| {
        let p = sheet_at.place(s.mark.place);
        let (dx, dy) = (s.found.x - p.x, s.found.y - p.y);
        let tells = s.mark.feature.tells().iter();
        tells
            .map(|(ux, uy)| {
                let (nx, ny) = (ux * turned.1 - uy * turned.0, ux * turned.0 + uy * turned.1);
                (dx * nx + dy * ny).powi(2)
            })
            .sum::<f64>()
            .sqrt()
    });
    Some(Fit {
        sheet_at,
        off_mm,
        residual_mm: residual.fold(0.0, f64::max),
    })
}

/// The shift alone, where marks lie too near together to tell a turn; `None`: not even that.
fn shift(m: &[[f64; 4]; 3]) -> Option<[f64; 3]> {
    let det = m[0][0] * m[1][1] - m[0][1] * m[1][0];
    (det > 0.25).then(|| {
        let dx = (m[0][3] * m[1][1] - m[1][3] * m[0][1]) / det;
        let dy = (m[1][3] * m[0][0] - m[0][3] * m[1][0]) / det;
        [dx, dy, 0.0]
    })
}

/// Three equations by elimination; `None`: they do not tell the three unknowns.
fn solve(mut m: [[f64; 4]; 3]) -> Option<[f64; 3]> {
    // A turn that is told by less than this lever arm is not told, mm2.
    let least = [0.5, 0.5, (APART_MM / 2.0).powi(2) / 2.0];
    for i in 0..3 {
        let best = (i..3).max_by(|a, b| m[*a][i].abs().total_cmp(&m[*b][i].abs()))?;
        m.swap(i, best);
        if m[i][i].abs() < least[i] * 0.5 {
            return None;
        }
        let pivot = m[i];
        for (_, row) in m.iter_mut().enumerate().filter(|(k, _)| *k != i) {
            let by = row[i] / pivot[i];
            for (value, p) in row.iter_mut().zip(pivot) {
                *value -= by * p;
            }
        }
    }
    Some([m[0][3] / m[0][0], m[1][3] / m[1][1], m[2][3] / m[2][2]])
}

/// The marks that a check is made with: the two round holes that lie furthest apart of those that
/// are cut, else pierces beside them, else the sheet's own edges. `done`: by cut, wholly cut.
#[must_use]
pub fn marks(job: &Job, done: &[bool]) -> Vec<DatumMark> {
    let cuts = || {
        job.cuts
            .iter()
            .zip(done)
            .enumerate()
            .filter(|(_, (_, done))| **done)
    };
    let holes: Vec<DatumMark> = cuts()
        .filter_map(|(k, (cut, _))| {
            Some(DatumMark {
                place: round_centre(cut)?,
                feature: Feature::HoleCentre,
                cut: Some(k + 1),
            })
        })
        .collect();
    let pierces = cuts().map(|(k, (cut, _))| DatumMark {
        place: cut.pierce,
        feature: Feature::Pierce,
        cut: Some(k + 1),
    });
    let all: Vec<DatumMark> = holes.iter().copied().chain(pierces).collect();
    if let Some(pair) = furthest(&holes).or_else(|| furthest(&all)) {
        return pair.to_vec();
    }
    let (w, h) = (job.sheet.x, job.sheet.y);
    let edge = |x: f64, y: f64, feature| DatumMark {
        place: Point::new(x, y),
        feature,
        cut: None,
    };
    vec![
        edge(0.2 * w, 0.0, Feature::LowerEdge),
        edge(0.8 * w, 0.0, Feature::LowerEdge),
        edge(0.0, 0.5 * h, Feature::LeftEdge),
    ]
}

fn furthest(of: &[DatumMark]) -> Option<[DatumMark; 2]> {
    let mut best: Option<(f64, [DatumMark; 2])> = None;
    for (k, a) in of.iter().enumerate() {
        for b in &of[k + 1..] {
            let far = a.place.distance(b.place);
            if far >= APART_MM && best.is_none_or(|(d, _)| far > d + 1e-9) {
                best = Some((far, [*a, *b]));
            }
        }
    }
    best.map(|(_, pair)| pair)
}

/// The centre of a cut whose contour is one circle.
fn round_centre(cut: &JobCut) -> Option<Point> {
    let mut around: Option<(Point, f64)> = None;
    for e in &cut.path {
        if let Segment::Arc { centre, .. } = e.segment {
            let (c, sweep) = around.get_or_insert((centre, 0.0));
            if c.distance(centre) > 0.02 {
                (*c, *sweep) = (centre, 0.0);
            }
            *sweep += e.segment.sweep();
        }
    }
    let (centre, sweep) = around?;
    (sweep.abs() >= ROUND * core::f64::consts::TAU).then_some(centre)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const BELIEVED: Placement = Placement {
        origin: Point { x: 50.0, y: 60.0 },
        rotation_deg: 0.0,
    };

    fn mark(x: f64, y: f64, feature: Feature) -> DatumMark {
        DatumMark {
            place: Point::new(x, y),
            feature,
            cut: Some(1),
        }
    }

    fn seen_at(truth: &Placement, marks: &[DatumMark]) -> Vec<Seen> {
        marks
            .iter()
            .map(|mark| Seen {
                mark: *mark,
                found: truth.place(mark.place),
            })
            .collect()
    }

    #[test]
    fn a_shift_is_found_by_two_holes() {
        let marks = [
            mark(20.0, 30.0, Feature::HoleCentre),
            mark(220.0, 130.0, Feature::HoleCentre),
        ];
        let truth = Placement {
            origin: Point::new(50.8, 59.6),
            rotation_deg: 0.0,
        };
        let fit = fit(&seen_at(&truth, &marks), &BELIEVED).expect("two holes tell it");
        assert!(fit.sheet_at.origin.distance(truth.origin) < 1e-9, "{fit:?}");
        assert!(fit.sheet_at.rotation_deg.abs() < 1e-9 && fit.residual_mm < 1e-9);
        assert!((fit.off_mm - 0.8_f64.hypot(0.4)).abs() < 1e-9);
    }

    /// Closed form: two points 200 mm apart, the second found 1 mm too far along their line. The fit
    /// moves by half of it and both are off by the other half.
    #[test]
    fn what_no_shift_and_turn_explains_is_left_over() {
        let marks = [
            mark(0.0, 0.0, Feature::HoleCentre),
            mark(200.0, 0.0, Feature::HoleCentre),
        ];
        let mut seen = seen_at(&BELIEVED, &marks);
        seen[1].found.x += 1.0;
        let fit = fit(&seen, &BELIEVED).expect("two holes tell it");
        assert!((fit.residual_mm - 0.5).abs() < 1e-9, "{fit:?}");
        assert!((fit.sheet_at.origin.x - 50.5).abs() < 1e-9);
    }

    #[test]
    fn marks_too_near_together_tell_a_shift_and_no_turn_and_one_edge_not_even_that() {
        let one = mark(20.0, 30.0, Feature::HoleCentre);
        let near = [one, mark(21.0, 30.0, Feature::HoleCentre)];
        let mut seen = seen_at(&BELIEVED, &near);
        for s in &mut seen {
            s.found = s.found.moved(0.6, -0.2);
        }
        let found = fit(&seen, &BELIEVED).expect("a shift");
        assert!(found.sheet_at.rotation_deg.abs() < 1e-12);
        assert!(found.sheet_at.origin.distance(Point::new(50.6, 59.8)) < 1e-9);
        let edges = [
            mark(60.0, 0.0, Feature::LowerEdge),
            mark(240.0, 0.0, Feature::LowerEdge),
        ];
        assert_eq!(fit(&seen_at(&BELIEVED, &edges), &BELIEVED), None);
        assert_eq!(fit(&[], &BELIEVED), None);
    }

    proptest! {
        /// A small shift and turn is found again, by holes and by edges.
        #[test]
        fn a_small_move_of_the_sheet_is_found(
            dx in -5.0_f64..5.0, dy in -5.0_f64..5.0, deg in -0.5_f64..0.5,
            ax in 0.0_f64..100.0, ay in 0.0_f64..100.0, bx in 200.0_f64..400.0, by in 0.0_f64..300.0,
            rotation_deg in -90.0_f64..90.0,
        ) {
            let believed = Placement { rotation_deg, ..BELIEVED };
            let truth = Placement {
                origin: believed.origin.moved(dx, dy),
                rotation_deg: rotation_deg + deg,
            };
            let holes = [mark(ax, ay, Feature::HoleCentre), mark(bx, by, Feature::Pierce)];
            let found = fit(&seen_at(&truth, &holes), &believed).expect("two points tell it");
            for p in [Point::new(0.0, 0.0), Point::new(400.0, 300.0)] {
                // Of the second order in the turn: 0.5 degrees over 400 mm.
                prop_assert!(found.sheet_at.place(p).distance(truth.place(p)) < 0.06, "{found:?}");
            }
        }
    }
}
