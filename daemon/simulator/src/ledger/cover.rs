//! What the arc did to the metal: which stations of which planned cut it passed, how often, and
//! how far beside the path it was.

use units::{Bounds, Point, Segment};

use super::spans::Spans;
use super::stray::{ON_PATH, Stray};
use crate::harness::Plan;
use crate::metal::Metal;

/// An arc struck further than this from every path belongs to no cut, mm.
const NEAR: f64 = 3.0;
/// So much motion settles which of several paths is followed, mm.
const SETTLES: f64 = 1.0;
/// Paths that fit equally well within this are told apart by their rank, mm.
const EQUAL: f64 = 0.03;
/// A path is passed forwards: of two that fit, the one that this arc went back on by more than so much
/// less than on the other was followed, mm.
const BACK: f64 = 0.5;
/// An arc that is struck anew may begin so far beyond the furthest place passed, mm: where it was lost is not
/// known exactly. What lies further beyond is not what it comes to next, where something nearer lies in
/// the same place: a path that ends over its own start is passed there first by its start.
const LEAPS: f64 = 15.0;
/// The middle of a kerf is looked at for metal this far apart, mm.
const LOOK_EVERY: f64 = 0.05;
/// Within this of an end is the end, mm.
const AT_END: f64 = 0.01;

/// A planned cut.
#[derive(Clone, Debug)]
struct CutPath {
    segments: Vec<Segment>,
    /// Station of each segment's start, and of the end.
    stations: Vec<f64>,
    bounds: Bounds,
    covered: Spans,
}

impl CutPath {
    fn new(segments: &[Segment]) -> Option<Self> {
        let mut bounds = segments.first()?.bounds();
        let mut stations = vec![0.0];
        let mut s = 0.0;
        for segment in segments {
            bounds.join(&segment.bounds());
            s += segment.length();
            stations.push(s);
        }
        Some(Self {
            segments: segments.to_vec(),
            stations,
            bounds,
            covered: Spans::default(),
        })
    }

    fn length(&self) -> f64 {
        self.stations.last().copied().unwrap_or(0.0)
    }

    /// How much of its middle still has metal on it, mm.
    fn uncut_mm(&self, metal: &Metal) -> f64 {
        let uncut = |segment: &Segment| {
            let length = segment.length();
            let count = (length / LOOK_EVERY).ceil().max(1.0);
            let step = length / count;
            let left = (0..count as u64)
                .filter(|k| metal.at(segment.point_at((*k as f64 + 0.5) * step)))
                .count();
            left as f64 * step
        };
        self.segments.iter().map(uncut).sum()
    }

    fn point_at(&self, s: f64) -> Option<Point> {
        let index = self
            .stations
            .partition_point(|at| *at <= s)
            .checked_sub(1)?;
        let segment = self.segments.get(index)?;
        Some(segment.point_at(s - self.stations[index]))
    }

    fn complete(&self) -> bool {
        self.length() - self.covered.total() < 0.02
    }

    fn outside(&self, p: Point) -> f64 {
        let b = &self.bounds;
        let dx = (b.low.x - p.x).max(p.x - b.high.x).max(0.0);
        let dy = (b.low.y - p.y).max(p.y - b.high.y).max(0.0);
        dx.hypot(dy)
    }

    /// The nearest place with a station from `low` to `high`: the station and the distance.
    fn nearest_between(&self, p: Point, low: f64, high: f64) -> (f64, f64) {
        let first = self
            .stations
            .partition_point(|&s| s <= low)
            .saturating_sub(1);
        let mut best = (low, f64::INFINITY);
        for (index, segment) in self.segments.iter().enumerate().skip(first) {
            let start = self.stations[index];
            if start > high {
                break;
            }
            // A full circle's two ends are one place: the nearest may be told as the wrong one of
            // them, so that the ends of the window are tried too.
            for s in [start + segment.nearest(p).0, low, high] {
                let s = s.clamp(low, high).clamp(start, self.stations[index + 1]);
                let off = p.distance(segment.point_at(s - start));
                if off < best.1 {
                    best = (s, off);
                }
            }
        }
        best
    }

    fn snapped(&self, s: f64) -> f64 {
        if s < AT_END {
            0.0
        } else if s > self.length() - AT_END {
            self.length()
        } else {
            s
        }
    }
}

/// A path that the arc may be following.
#[derive(Clone, Debug)]
struct Following {
    cut: usize,
    s: f64,
    off: f64,
    worst: f64,
    /// How far the arc has gone back on it and not come forward again, mm.
    back: f64,
    stray: Stray,
    passed: Vec<(f64, f64)>,
}

/// The account of arc on metal.
#[derive(Clone, Debug, Default)]
pub(super) struct Cover {
    cuts: Vec<Option<CutPath>>,
    kerf_mm: f64,
    /// While the arc burns: the paths that it may be following, the likeliest first.
    following: Vec<Following>,
    burning: bool,
    moved: f64,
    recut_mm: f64,
    off_path_mm: f64,
    entry_mm: f64,
    pierces: u32,
}

impl Cover {
    pub(super) fn new(plan: &Plan) -> Self {
        Self {
            cuts: plan.cuts.iter().map(|c| CutPath::new(c)).collect(),
            kerf_mm: plan.kerf_mm,
            ..Self::default()
        }
    }

    pub(super) fn length_of(&self, cut: usize) -> Option<f64> {
        Some(self.cuts.get(cut)?.as_ref()?.length())
    }

    pub(super) fn pierce_of(&self, cut: usize) -> Option<Point> {
        Some(self.cuts.get(cut)?.as_ref()?.segments.first()?.from())
    }

    /// The cut in hand (from 0) and the station reached, while the arc burns on a path.
    pub(super) fn in_hand(&self) -> Option<(usize, f64)> {
        let f = self.following.first()?;
        (f.off <= ON_PATH).then_some((f.cut, f.s))
    }

    pub(super) fn plan_mm(&self) -> f64 {
        self.cuts.iter().flatten().map(CutPath::length).sum()
    }

    /// Middle of the kerfs that still has metal on it, mm: bridges that an arc has left count with
    /// the width that they have.
    pub(super) fn uncut_mm(&self, metal: &Metal) -> f64 {
        self.cuts.iter().flatten().map(|c| c.uncut_mm(metal)).sum()
    }

    /// So much of a stretch of a cut was passed by an arc that is out, mm. While an arc burns, what it
    /// has passed is not settled.
    pub(super) fn passed_mm(&self, cut: usize, from: f64, to: f64) -> f64 {
        let cut = self.cuts.get(cut).and_then(Option::as_ref);
        cut.map_or(0.0, |c| c.covered.within(from, to))
    }

    /// So much of the middle of a stretch of a cut still has metal on it, mm.
    pub(super) fn uncut_of_mm(&self, metal: &Metal, cut: usize, from: f64, to: f64) -> f64 {
        let Some(cut) = self.cuts.get(cut).and_then(Option::as_ref) else {
            return 0.0;
        };
        let count = ((to - from) / LOOK_EVERY).ceil().max(0.0);
        let step = (to - from) / count.max(1.0);
        let left = (0..count as u64)
            .map(|k| from + (k as f64 + 0.5) * step)
            .filter(|s| cut.point_at(*s).is_some_and(|p| metal.at(p)))
            .count();
        left as f64 * step
    }

    pub(super) fn recut_mm(&self) -> f64 {
        self.recut_mm
    }

    pub(super) fn off_path_mm(&self) -> f64 {
        self.off_path_mm
    }

    pub(super) fn entry_mm(&self) -> f64 {
        self.entry_mm
    }

    pub(super) fn pierces(&self) -> u32 {
        self.pierces
    }

    /// The transferred arc is at `p`, having moved `moved` mm in this step; `None`: no arc.
    pub(super) fn arc(&mut self, at: Option<Point>, moved: f64) {
        let Some(p) = at else {
            if self.burning {
                self.settle();
                self.following.clear();
                self.burning = false;
            }
            return;
        };
        if !self.burning {
            self.burning = true;
            self.moved = 0.0;
            self.following = self.find(p, NEAR, false);
            return;
        }
        if moved <= 0.0 {
            return;
        }
        if self.moved == 0.0 {
            self.pierces += 1;
        }
        self.moved += moved;
        if self.following.is_empty() {
            self.entry_mm += moved;
        }
        for f in &mut self.following {
            if let Some(cut) = &self.cuts[f.cut] {
                f.follow(cut, p, moved, self.kerf_mm);
            }
        }
        if self.following.iter().all(|f| f.off > ON_PATH) {
            // Off what was followed: perhaps a lead-in has now come to a path.
            let enters = self.following.iter().all(|f| f.stray.enters());
            let found = self.find(p, ON_PATH, enters);
            if !found.is_empty() {
                self.settle();
                self.following = found;
                self.moved = moved;
            }
        }
        if self.moved >= SETTLES {
            self.narrow();
        }
    }

    /// Gives up the paths that fit worse. Where the end of a path lies over its start, both fit until
    /// they part: only then is it known which of them was followed.
    fn narrow(&mut self) {
        let best = Fit::best(&self.following);
        self.following.retain(|f| best.is_met_by(f));
        if self.following.len() == 1 {
            self.settle();
        }
    }

    /// Settles for the path that fits best, and books what was passed on it.
    fn settle(&mut self) {
        let best = Fit::best(&self.following);
        let Some(index) = self.following.iter().position(|f| best.is_met_by(f)) else {
            return;
        };
        let mut kept = self.following.swap_remove(index);
        let (within, entered) = kept.stray.take();
        self.off_path_mm = self.off_path_mm.max(within);
        self.entry_mm += entered;
        if let Some(cut) = &mut self.cuts[kept.cut] {
            for (a, b) in kept.passed.drain(..) {
                self.recut_mm += cut.covered.add(a, b);
            }
        }
        self.following = vec![kept];
    }

    /// The paths within `reach` of `p`, the likeliest first: one that begins here and is not
    /// begun, then the lowest number that is not complete, then what an arc has come to, then where uncut
    /// path is nearest ahead.
    /// `enters`: the arc is on its way in from further off than a kerf.
    fn find(&self, p: Point, reach: f64, enters: bool) -> Vec<Following> {
        let mut found = Vec::new();
        for (index, cut) in self.cuts.iter().enumerate() {
            let Some(cut) = cut else { continue };
            if cut.outside(p) > reach {
                continue;
            }
            let mut follow = |s: f64, off: f64| {
                if off <= reach {
                    found.push(Following {
                        cut: index,
                        s: cut.snapped(s),
                        off,
                        worst: off,
                        back: 0.0,
                        stray: Stray::begin(off, enters, self.kerf_mm),
                        passed: Vec::new(),
                    });
                }
            };
            for (k, segment) in cut.segments.iter().enumerate() {
                let (local, off) = segment.nearest(p);
                follow(cut.stations[k] + local, off);
                // A full circle's two ends are one place, and only one of them is told.
                if segment.from().distance(segment.to()) < AT_END {
                    follow(cut.stations[k], p.distance(segment.from()));
                    follow(cut.stations[k + 1], p.distance(segment.to()));
                }
            }
        }
        let nearest = found.iter().map(|f| f.off).fold(f64::INFINITY, f64::min);
        found.retain(|f| f.off <= nearest + 0.15);
        found.sort_by(|a, b| self.rank(a).total_cmp(&self.rank(b)));
        found.dedup_by(|b, a| a.cut == b.cut && (a.s - b.s).abs() < 0.01);
        found.truncate(16);
        found
    }

    fn rank(&self, f: &Following) -> f64 {
        let Some(cut) = &self.cuts[f.cut] else {
            return f64::INFINITY;
        };
        let fresh = f.s == 0.0 && cut.covered.is_empty();
        let free = cut.covered.free_from(f.s);
        let ahead = if free >= cut.length() - AT_END {
            1e3
        } else {
            (free - f.s).min(999.0)
        };
        let class = match (fresh, cut.complete()) {
            (true, _) => 0.0,
            (false, false) => 1.0,
            (false, true) => 2.0,
        };
        let beyond = f.s > cut.covered.furthest() + LEAPS;
        class * 1e12 + f.cut as f64 * 1e4 + if beyond { 5e3 } else { 0.0 } + ahead
    }
}

/// How well the best of some paths fits where the arc went.
#[derive(Clone, Copy, Debug)]
struct Fit {
    worst: f64,
    back: f64,
}

impl Fit {
    fn best(of: &[Following]) -> Self {
        let least = |all: &mut dyn Iterator<Item = f64>| all.fold(f64::INFINITY, f64::min);
        let worst = least(&mut of.iter().map(|f| f.worst));
        let near = of.iter().filter(|f| f.worst <= worst + EQUAL);
        let back = least(&mut near.map(|f| f.back));
        Self { worst, back }
    }

    fn is_met_by(self, f: &Following) -> bool {
        f.worst <= self.worst + EQUAL && f.back <= self.back + BACK
    }
}

impl Following {
    fn follow(&mut self, cut: &CutPath, p: Point, moved: f64, kerf_mm: f64) {
        let window = moved * 1.5 + 0.05;
        let (mut s, mut off) = cut.nearest_between(p, self.s, (self.s + window).min(cut.length()));
        if off > 0.01 {
            let back = cut.nearest_between(p, (self.s - window).max(0.0), self.s);
            if back.1 < off - 0.01 {
                (s, off) = back;
            }
        }
        let s = cut.snapped(s);
        let on_path = self.stray.follow(off, moved, kerf_mm);
        if on_path && s != self.s {
            let (a, b) = (self.s.min(s), self.s.max(s));
            match self.passed.last_mut() {
                Some(last) if (last.1 - a).abs() < 1e-9 => last.1 = b,
                _ => self.passed.push((a, b)),
            }
        }
        self.back = (self.back + self.s - s).max(0.0);
        self.s = s;
        self.off = off;
        self.worst = self.worst.max(off);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The arc along a path, a step at a time, beside it by the play of the axes.
    fn walked(path: &[Segment], (dx, dy): (f64, f64)) -> Cover {
        let plan = Plan {
            cuts: vec![path.to_vec()],
            kerf_mm: 1.4,
            ..Plan::default()
        };
        let mut cover = Cover::new(&plan);
        let start = path[0].from();
        let mut last = start.moved(dx, dy);
        cover.arc(Some(last), 0.0);
        for segment in path {
            let steps = (segment.length() / 0.03).ceil();
            for k in 1..=steps as u32 {
                let p = segment.point_at(segment.length() * f64::from(k) / steps);
                let p = p.moved(dx, dy);
                cover.arc(Some(p), p.distance(last));
                last = p;
            }
        }
        cover.arc(None, 0.0);
        cover
    }

    /// The arc on one cut, from a station to another; then it is out.
    fn passed_on(cover: &mut Cover, path: &[Segment], (from, to): (f64, f64)) {
        let cut = CutPath::new(path).expect("a path");
        let at = |s: f64| {
            cut.point_at(s.min(cut.length() - 1e-9))
                .expect("on the path")
        };
        let mut last = at(from);
        cover.arc(Some(last), 0.0);
        let steps = ((to - from) / 0.03).ceil();
        for k in 1..=steps as u32 {
            let p = at(from + (to - from) * f64::from(k) / steps);
            cover.arc(Some(p), p.distance(last));
            last = p;
        }
        cover.arc(None, 0.0);
    }

    fn lines(corners: &[(f64, f64)]) -> Vec<Segment> {
        let point = |(x, y): (f64, f64)| Point { x, y };
        corners
            .windows(2)
            .map(|w| Segment::Line {
                from: point(w[0]),
                to: point(w[1]),
            })
            .collect()
    }

    /// Cut in several goes, each lost and gone on with: only what was passed again counts as such, and
    /// nothing beyond where it was lost counts as passed.
    #[track_caller]
    fn gone_on_with(path: &[Segment], goes: &[(f64, f64)]) {
        let mut cover = Cover::new(&Plan {
            cuts: vec![path.to_vec()],
            kerf_mm: 1.4,
            ..Plan::default()
        });
        let (mut again, mut furthest) = (0.0, 0.0_f64);
        for (from, to) in goes {
            passed_on(&mut cover, path, (*from, *to));
            again += (furthest - from).max(0.0);
            furthest = furthest.max(*to);
            let beyond = cover.passed_mm(0, furthest + 0.1, f64::INFINITY);
            assert!(beyond < 0.1, "{goes:?}: {beyond} mm beyond {furthest}");
            let recut = cover.recut_mm();
            assert!(
                (recut - again).abs() < 0.1,
                "{goes:?}: {recut} mm again, not {again}"
            );
        }
    }

    #[test]
    fn on_a_path_that_ends_over_its_own_start_the_pass_is_known_by_how_far_it_had_come() {
        // A lead-in of 6 mm, a square of 54 mm, and 22.5 mm of its first edge once more.
        let square = lines(&[
            (56.0, 23.0),
            (56.0, 29.0),
            (29.0, 29.0),
            (29.0, 83.0),
            (83.0, 83.0),
            (83.0, 29.0),
            (33.5, 29.0),
        ]);
        let end = 6.0 + 27.0 + 3.0 * 54.0 + 49.5;
        // Lost on the first pass, twice; on the second; by a long way back on either.
        gone_on_with(&square, &[(0.0, 22.0), (21.9, 24.4), (24.3, end)]);
        gone_on_with(
            &square,
            &[(0.0, 12.0), (11.5, 14.0), (13.5, 16.0), (15.5, end)],
        );
        gone_on_with(&square, &[(0.0, 231.0), (230.2, 233.0), (232.4, end)]);
        gone_on_with(&square, &[(0.0, 231.0), (224.0, end)]);
        gone_on_with(&square, &[(0.0, 150.0), (12.0, end)]);
    }

    #[test]
    fn on_an_edge_that_is_cut_there_and_back_the_pass_is_known_by_which_way_it_goes() {
        let there_and_back = lines(&[(0.0, 0.0), (50.0, 0.0), (0.0, 0.0), (0.0, 30.0)]);
        gone_on_with(&there_and_back, &[(0.0, 20.0), (19.5, 23.0), (22.5, 130.0)]);
        gone_on_with(&there_and_back, &[(0.0, 70.0), (69.5, 73.0), (72.5, 130.0)]);
        gone_on_with(&there_and_back, &[(0.0, 40.0), (39.5, 58.0), (57.5, 130.0)]);
    }

    #[test]
    fn on_a_path_that_crosses_itself_each_leg_is_passed_for_itself() {
        let loop_ = lines(&[
            (0.0, 0.0),
            (40.0, 0.0),
            (40.0, 30.0),
            (20.0, 30.0),
            (20.0, -20.0),
        ]);
        // The crossing is at 20 mm and at 120 mm.
        gone_on_with(&loop_, &[(0.0, 20.0), (19.5, 22.0), (21.0, 140.0)]);
        gone_on_with(&loop_, &[(0.0, 119.8), (119.5, 121.5), (121.0, 140.0)]);
    }

    #[test]
    fn a_path_that_touches_itself_is_followed_through() {
        for r in [4.0, 8.0, 12.6, 20.4, 40.0] {
            let start = Point { x: 50.0, y: 50.0 };
            let disc = |x: f64, clockwise| Segment::Arc {
                from: start,
                to: start,
                centre: Point { x, y: 50.0 },
                clockwise,
            };
            for play in [
                (0.0, 0.0),
                (0.02, 0.02),
                (0.02, -0.02),
                (-0.02, 0.02),
                (-0.02, -0.02),
            ] {
                let cover = walked(&[disc(50.0 + r, true), disc(50.0 - r, false)], play);
                let told = (cover.recut_mm(), cover.off_path_mm());
                assert!(told.0 < 0.1 && told.1 < 0.1, "r {r}, {play:?}: {told:?}");
            }
        }
    }
}
