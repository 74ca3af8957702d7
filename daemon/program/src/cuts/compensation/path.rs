//! One cut's path, moved aside.

use units::{Point, Segment};

use super::contour::{self, Loop};
use super::corner::{self, Join, SNAP_MM, TooSmall};
use super::crossings::{self, Sourced};
use crate::cuts::cut_list::Compensation;
use crate::cuts::cut_list::{Cut, Element};

/// Shorter pieces are crumbs of rounding: they say nothing of a direction, mm.
const CRUMB_MM: f64 = 0.005;
/// So short a piece that turns straight back is an over-run taken back, and no tip to go round, mm.
const TAKEN_BACK_MM: f64 = 0.05;

const CORNER: &str = "An inner corner is too small";
const ARC: &str = "An arc is too small";
const NECK: &str = "What lies between two stretches of the path is too narrow";

/// Pierce and path of a cut moved aside by half a kerf, mm.
pub(super) fn offset(
    cut: &Cut,
    asked: &Compensation,
    half_mm: f64,
) -> Result<(Point, Vec<Element>), TooSmall> {
    let count = asked.elements.unwrap_or(cut.path.len()).min(cut.path.len());
    let (under, behind) = cut.path.split_at(count);
    let (programmed, sources) = without_crumbs(under);
    if programmed.is_empty() {
        return Ok((cut.pierce, cut.path.clone()));
    }
    let work = Work {
        left_mm: half_mm * asked.side.sign(),
        found: contour::find(&programmed),
        enters: !asked.travelled,
        pierce: cut.pierce,
        programmed: &programmed,
    };
    let pieces = work.pieces().map_err(|small| TooSmall {
        element: sources.get(small.element).copied().unwrap_or(0),
        ..small
    })?;
    let mut path = Vec::with_capacity(pieces.len() + behind.len());
    let pierce = pieces.first().map_or(cut.pierce, |(s, _)| s.from());
    let mut at = pierce;
    for (segment, source) in pieces {
        let segment = starting(&segment, at);
        at = segment.to();
        if let Some(&e) = sources.get(source).and_then(|&k| under.get(k)) {
            path.push(Element { segment, ..e });
        }
    }
    // No exit move: the first piece behind G40 starts where the path is.
    let exit = behind.iter().map(|e| {
        let segment = starting(&e.segment, at);
        at = segment.to();
        Element { segment, ..*e }
    });
    path.extend(exit);
    Ok((pierce, path))
}

/// A piece with another start; a full circle stays one.
fn starting(s: &Segment, at: Point) -> Segment {
    match *s {
        _ if s.from() == at => *s,
        Segment::Arc {
            from,
            to,
            centre,
            clockwise,
        } if from == to => Segment::Arc {
            from: at,
            to: at,
            centre,
            clockwise,
        },
        _ => corner::between(s, at, s.to()),
    }
}

/// The pieces that have a direction, and which of the path each one is.
fn without_crumbs(path: &[Element]) -> (Vec<Segment>, Vec<usize>) {
    let (mut kept, mut sources): (Vec<Segment>, Vec<usize>) = (Vec::new(), Vec::new());
    let mut owed: Option<Point> = None;
    for (i, e) in path.iter().enumerate() {
        let mut segment = e.segment;
        let back = segment.length() < TAKEN_BACK_MM
            && kept
                .last()
                .is_some_and(|k| corner::turn(k, &segment).abs() > 3.0);
        if back || segment.length() < CRUMB_MM {
            match kept.last_mut() {
                Some(Segment::Line { to, .. }) => *to = segment.to(),
                _ => {
                    owed.get_or_insert(segment.from());
                }
            }
            continue;
        }
        if let (Some(start), Segment::Line { from, .. }) = (owed.take(), &mut segment) {
            *from = start;
        }
        kept.push(segment);
        sources.push(i);
    }
    (kept, sources)
}

struct Work<'a> {
    programmed: &'a [Segment],
    left_mm: f64,
    found: Option<Loop>,
    /// The first straight move leads from the programmed pierce to the offset path.
    enters: bool,
    pierce: Point,
}

/// A piece moved aside, between the ends that its corners leave it.
#[derive(Clone, Copy)]
struct Moved {
    whole: Segment,
    from: Point,
    to: Point,
    /// The arc round the corner behind it.
    round: Option<Segment>,
}

impl Moved {
    fn segment(&self) -> Segment {
        with_ends(&self.whole, self.from, self.to)
    }

    /// Its corners leave something of it, in its own direction.
    fn remains(&self) -> bool {
        let near = |a: Point, b: Point| a.distance(b) <= SNAP_MM;
        if near(self.from, self.whole.from()) && near(self.to, self.whole.to()) {
            return true;
        }
        match self.whole {
            Segment::Line { .. } => {
                let (dx, dy) = self.whole.direction_at(0.0);
                (self.to.x - self.from.x) * dx + (self.to.y - self.from.y) * dy > 0.0
            }
            Segment::Arc { .. } => {
                let along = |p: Point| self.whole.nearest(p).0;
                let start = if near(self.from, self.whole.from()) {
                    0.0
                } else {
                    along(self.from)
                };
                let end = if near(self.to, self.whole.to()) {
                    self.whole.length()
                } else {
                    along(self.to)
                };
                end > start
            }
        }
    }
}

/// The same line or circle between other ends.
fn with_ends(s: &Segment, from: Point, to: Point) -> Segment {
    match *s {
        Segment::Line { .. } => Segment::Line { from, to },
        Segment::Arc {
            centre, clockwise, ..
        } => Segment::Arc {
            from,
            to,
            centre,
            clockwise,
        },
    }
}

impl Work<'_> {
    fn pieces(&self) -> Result<Vec<Sourced>, TooSmall> {
        let n = self.programmed.len();
        let mut moved = self.moved()?;
        let lead = self.found.map_or(0, |l| l.first);
        let end = self.found.map_or(n, |l| l.end);
        let entry = self.enters
            && n > 1
            && self.programmed[0].radius().is_none()
            && (lead > 0 || self.found.is_none());
        for i in 1..n {
            // Lead-in and lead-out join the contour and take nothing from it.
            let joint = self.found.is_some() && (i == lead || i == end);
            let entered = entry && i == 1;
            if !joint && !entered {
                self.meet(&mut moved, i - 1, i)?;
            }
        }
        if let Some(l) = self.found.filter(|l| l.exact) {
            self.meet(&mut moved, l.end - 1, l.first)?;
        }
        if let Some(k) = moved.iter().position(|m| !m.remains()) {
            return Err(self.too_small(k, CORNER));
        }
        let mut out: Vec<Sourced> = Vec::with_capacity(2 * n);
        let first_whole = usize::from(entry);
        for (k, m) in moved.iter().enumerate().take(lead).skip(first_whole) {
            if k + 1 == lead {
                self.lead_in(&mut out, m, k, moved[lead].from);
            } else {
                push(&mut out, m, k, k + 1);
            }
        }
        if entry {
            let target = out
                .first()
                .map_or(moved[1.max(lead)].from, |(s, _)| s.from());
            let entering = self.entering(target);
            out.splice(0..0, entering);
        }
        let start = out.len();
        for (k, m) in moved
            .iter()
            .enumerate()
            .take(end)
            .skip(lead.max(first_whole))
        {
            push(&mut out, m, k, (k + 1).min(end - 1));
        }
        self.check(&out[start..], moved.get(lead))?;
        self.lead_out(&mut out, &moved[end..], end);
        Ok(out)
    }

    fn moved(&self) -> Result<Vec<Moved>, TooSmall> {
        let all = self.programmed.iter().enumerate().map(|(i, s)| {
            let whole = corner::moved(s, self.left_mm).ok_or_else(|| self.too_small(i, ARC))?;
            Ok(Moved {
                whole,
                from: whole.from(),
                to: whole.to(),
                round: None,
            })
        });
        all.collect()
    }

    fn too_small(&self, element: usize, what: &'static str) -> TooSmall {
        let at = self
            .programmed
            .get(element)
            .map_or(self.pierce, |s| s.point_at(s.length() / 2.0));
        TooSmall { element, at, what }
    }

    /// Joins piece `a` to the piece `b` that follows it.
    fn meet(&self, moved: &mut [Moved], a: usize, b: usize) -> Result<(), TooSmall> {
        let (pa, pb) = (&self.programmed[a], &self.programmed[b]);
        let turn = corner::turn(pa, pb);
        let (wa, wb) = (moved[a].whole, moved[b].whole);
        match corner::join(pb.from(), turn, &wa, &wb, self.left_mm) {
            Some(Join::Meet(p)) => {
                moved[a].to = p;
                moved[b].from = p;
            }
            Some(Join::Round(arc)) => moved[a].round = Some(arc),
            None => {
                return Err(TooSmall {
                    at: pb.from(),
                    ..self.too_small(a, CORNER)
                });
            }
        }
        Ok(())
    }

    /// The first straight move, from the pierce to the start of the offset path.
    fn entering(&self, target: Point) -> Vec<Sourced> {
        let corner = self.programmed[0].to();
        let straight = Segment::Line {
            from: self.pierce,
            to: target,
        };
        let (r, d) = (self.left_mm.abs(), self.pierce.distance(corner));
        let clear = straight.nearest(corner).1 >= r - 1e-6;
        if clear || d <= r || (target.distance(corner) - r).abs() > SNAP_MM {
            return vec![(straight, 0)];
        }
        // The tangent from the pierce to the circle about the corner.
        let back = (self.pierce.y - corner.y).atan2(self.pierce.x - corner.x);
        let angle = back - (r / d).acos().copysign(self.left_mm);
        let touch = corner.moved(r * angle.cos(), r * angle.sin());
        let tangent = Segment::Line {
            from: self.pierce,
            to: touch,
        };
        match corner::round(corner, touch, target, self.left_mm) {
            Some(round) => vec![(tangent, 0), (round, 1)],
            None => vec![(straight, 0)],
        }
    }

    /// The last piece of the lead-in, to where the contour's offset starts.
    fn lead_in(&self, out: &mut Vec<Sourced>, m: &Moved, k: usize, target: Point) {
        let (own, next) = (&self.programmed[k], &self.programmed[k + 1]);
        let outside = corner::turn(own, next) * self.left_mm < 0.0;
        let on_circle = (target.distance(next.from()) - self.left_mm.abs()).abs() <= SNAP_MM;
        let round = corner::round(next.from(), m.to, target, self.left_mm)
            .filter(|_| outside && on_circle && m.to.distance(target) > SNAP_MM);
        if let Some(round) = round {
            out.push((m.segment(), k));
            out.push((round, k + 1));
        } else {
            out.push((corner::between(&m.whole, m.from, target), k));
        }
    }

    /// What follows the contour, from where its offset ends.
    fn lead_out(&self, out: &mut Vec<Sourced>, moved: &[Moved], end: usize) {
        for (m, k) in moved.iter().zip(end..) {
            let at = out.last().map_or(m.from, |(s, _)| s.to());
            let joined = Moved { from: at, ..*m };
            if k == end && m.whole.radius().is_none() && !joined.remains() {
                // All of it was cut by trimming the corner that the contour closes in.
                continue;
            }
            if k == end {
                out.push((corner::between(&m.whole, at, m.to), k));
                if let Some(round) = m.round {
                    out.push((round, k + 1));
                }
            } else {
                push(out, m, k, k + 1);
            }
        }
    }

    /// Nothing has vanished or folded over.
    fn check(&self, offset: &[Sourced], first: Option<&Moved>) -> Result<(), TooSmall> {
        let mut tried = offset.to_vec();
        let closed = self.found.is_some();
        if let (Some(l), Some(first)) = (self.found.filter(|l| !l.exact), first) {
            // Only the way round: what passes its start is cut twice on purpose.
            tried.retain(|(_, k)| *k <= l.meets);
            if let Some((s, _)) = tried.last_mut() {
                *s = s.part(0.0, s.nearest(first.from).0);
            }
        }
        if let Some((at, element)) = crossings::find(&tried, self.programmed, closed) {
            return Err(TooSmall {
                element,
                at,
                what: NECK,
            });
        }
        if let Some(l) = self.found.filter(|l| l.exact) {
            let before = area(self.programmed[l.first..l.end].iter());
            let after = area(tried.iter().map(|(s, _)| s));
            if before * after < 0.0 {
                return Err(self.too_small(l.first, CORNER));
            }
        }
        Ok(())
    }
}

fn push(out: &mut Vec<Sourced>, m: &Moved, source: usize, next: usize) {
    out.push((m.segment(), source));
    if let Some(round) = m.round {
        out.push((round, next));
    }
}

/// The area that a closed path goes round, anticlockwise above 0, mm2 (Green's theorem).
fn area<'a>(path: impl Iterator<Item = &'a Segment>) -> f64 {
    path.map(|s| {
        let (a, b) = (s.from(), s.to());
        let r = s.radius().unwrap_or(0.0);
        let sweep = s.sweep();
        (a.x * b.y - b.x * a.y) / 2.0 + r * r * (sweep - sweep.sin()) / 2.0
    })
    .sum()
}
