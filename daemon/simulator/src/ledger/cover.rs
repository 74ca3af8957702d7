//! What the arc did to the metal: which stations of which planned cut it passed, how often, and
//! how far beside the path it was.

use units::{Bounds, Point, Segment};

use super::spans::Spans;
use crate::harness::Plan;

/// Beside the path by more than this, no station is passed, mm.
const ON_PATH: f64 = 0.3;
/// An arc struck further than this from every path belongs to no cut, mm.
const NEAR: f64 = 3.0;
/// So much motion settles which of several paths is followed, mm.
const SETTLES: f64 = 1.0;
/// Paths that fit equally well within this are told apart by their rank, mm.
const EQUAL: f64 = 0.03;
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
    passed: Vec<(f64, f64)>,
}

/// The account of arc on metal.
#[derive(Clone, Debug, Default)]
pub(super) struct Cover {
    cuts: Vec<Option<CutPath>>,
    /// While the arc burns: the paths that it may be following, the likeliest first.
    following: Vec<Following>,
    burning: bool,
    moved: f64,
    recut_mm: f64,
    off_path_mm: f64,
    pierces: u32,
}

impl Cover {
    pub(super) fn new(plan: &Plan) -> Self {
        Self {
            cuts: plan.cuts.iter().map(|c| CutPath::new(c)).collect(),
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

    pub(super) fn uncut_mm(&self) -> f64 {
        self.cuts
            .iter()
            .flatten()
            .map(|c| (c.length() - c.covered.total()).max(0.0))
            .sum()
    }

    pub(super) fn recut_mm(&self) -> f64 {
        self.recut_mm
    }

    pub(super) fn off_path_mm(&self) -> f64 {
        self.off_path_mm
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
            self.following = self.find(p, NEAR);
            if self.following.is_empty() {
                let nearest = self
                    .cuts
                    .iter()
                    .flatten()
                    .map(|c| c.nearest_between(p, 0.0, c.length()).1);
                let nearest = nearest.fold(f64::INFINITY, f64::min);
                if nearest.is_finite() {
                    self.off_path_mm = self.off_path_mm.max(nearest);
                }
            }
            return;
        }
        if moved <= 0.0 {
            return;
        }
        if self.moved == 0.0 {
            self.pierces += 1;
        }
        self.moved += moved;
        for f in &mut self.following {
            if let Some(cut) = &self.cuts[f.cut] {
                f.follow(cut, p, moved);
            }
        }
        if self.following.iter().all(|f| f.off > ON_PATH) {
            // Off what was followed: perhaps a lead-in has now come to a path.
            let found = self.find(p, ON_PATH);
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
        let best = self
            .following
            .iter()
            .map(|f| f.worst)
            .fold(f64::INFINITY, f64::min);
        self.following.retain(|f| f.worst <= best + EQUAL);
        if self.following.len() == 1 {
            self.settle();
        }
    }

    /// Settles for the path that fits best, and books what was passed on it.
    fn settle(&mut self) {
        let best = self
            .following
            .iter()
            .map(|f| f.worst)
            .fold(f64::INFINITY, f64::min);
        let Some(index) = self.following.iter().position(|f| f.worst <= best + EQUAL) else {
            return;
        };
        let mut kept = self.following.swap_remove(index);
        self.off_path_mm = self.off_path_mm.max(kept.worst);
        if let Some(cut) = &mut self.cuts[kept.cut] {
            for (a, b) in kept.passed.drain(..) {
                self.recut_mm += cut.covered.add(a, b);
            }
        }
        self.following = vec![kept];
    }

    /// The paths within `reach` of `p`, the likeliest first: one that begins here and is not
    /// begun, then the lowest number that is not complete, then where uncut path is nearest ahead.
    fn find(&self, p: Point, reach: f64) -> Vec<Following> {
        let mut found = Vec::new();
        for (index, cut) in self.cuts.iter().enumerate() {
            let Some(cut) = cut else { continue };
            if cut.outside(p) > reach {
                continue;
            }
            for (k, segment) in cut.segments.iter().enumerate() {
                let (local, off) = segment.nearest(p);
                if off <= reach {
                    found.push(Following {
                        cut: index,
                        s: cut.snapped(cut.stations[k] + local),
                        off,
                        worst: off,
                        passed: Vec::new(),
                    });
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
        class * 1e12 + f.cut as f64 * 1e4 + ahead
    }
}

impl Following {
    fn follow(&mut self, cut: &CutPath, p: Point, moved: f64) {
        let window = moved * 1.5 + 0.05;
        let (mut s, mut off) = cut.nearest_between(p, self.s, (self.s + window).min(cut.length()));
        if off > 0.01 {
            let back = cut.nearest_between(p, (self.s - window).max(0.0), self.s);
            if back.1 < off - 0.01 {
                (s, off) = back;
            }
        }
        let s = cut.snapped(s);
        if off <= ON_PATH && s != self.s {
            let (a, b) = (self.s.min(s), self.s.max(s));
            match self.passed.last_mut() {
                Some(last) if (last.1 - a).abs() < 1e-9 => last.1 = b,
                _ => self.passed.push((a, b)),
            }
        }
        self.s = s;
        self.off = off;
        self.worst = self.worst.max(off);
    }
}
