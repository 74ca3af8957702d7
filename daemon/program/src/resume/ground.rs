//! The sheet as it is now: where there is metal, which of it the arc's current can leave by, and
//! which of it is scrap.

use core::cell::OnceCell;

use units::{Bounds, Point, Segment};

use super::{REACH_MM, Stopped};
use crate::contours::{Contour, Contours, Kind};
use crate::cuts::polylines::Polylines;
use crate::geometry::plane::apart;
use crate::geometry::plane::off_mm;
use crate::sheet::pieces::{MapInput, PieceMap, Under};
use crate::vetting::lead;
use crate::vetting::on_sheet::OnSheet;
use crate::{Cut, CutList, Element};

/// What is left of a path is measured in steps of this, mm.
const LEFT_STEP_MM: f64 = 0.02;
/// Where whole metal is asked for, it must be so for this far round, mm.
const WHOLE_MM: f64 = 1.0;
/// ... in this part of the places looked at.
const WHOLE_PART: f64 = 0.9;
/// What lies further off than this is in no lead-in's way, mm.
const NEAR_MM: f64 = 20.0;
/// A kerf that is crossed, however slantwise, is no wider than so many kerfs along the path (invented).
const VOID_KERFS: f64 = 4.0;

/// The sheet now, and the contours as the program draws them.
pub(super) struct Ground<'a, 'd> {
    map: PieceMap,
    holder: u32,
    /// The sheet when all is cut as the program draws it, worked out when first asked for.
    finished: OnceCell<Option<PieceMap>>,
    /// The program as it was drawn.
    drawn: &'a OnSheet<'d>,
    contours: &'a Contours,
    cuts: &'a [Cut],
    done: &'a [Vec<[f64; 2]>],
    pub kerf_mm: f64,
}

impl<'a, 'd> Ground<'a, 'd> {
    /// `None`: the sheet or the kerf is not known.
    pub fn new(stopped: &Stopped<'a>, drawn: &'a OnSheet<'d>) -> Option<Self> {
        let kerf_mm = drawn.input.kerf_mm?;
        let now = Polylines::new(&history(stopped), &drawn.placer);
        let map = through(&now, drawn)?;
        let holder = map.clamped(map.end()).unwrap_or_else(|| map.main());
        Some(Self {
            map,
            holder,
            finished: OnceCell::new(),
            drawn,
            contours: drawn.contours()?,
            cuts: stopped.cuts,
            done: stopped.done,
            kerf_mm,
        })
    }

    /// The contour of a cut.
    pub fn contour(&self, cut: usize) -> Option<&Contour> {
        self.contours.of_cut(cut)
    }

    /// Where the contour of a cut begins and where it is closed, mm along the cut.
    pub fn joint_and_close(&self, cut: usize) -> Option<(f64, f64)> {
        let contour = self.contour(cut)?;
        let joint = lead::joint(self.drawn, contour);
        let end = self.length_mm(cut) - contour.lead_out_mm;
        Some((joint.at_mm, end - joint.overlap_mm))
    }

    /// What is left of a cut's own lead-in from `at_mm` on, as places along it.
    pub fn lead_in_from(&self, cut: usize, at_mm: f64) -> Vec<Point> {
        match self.joint_and_close(cut) {
            Some((joint_mm, _)) if at_mm < joint_mm => {
                self.drawn.flat().line(cut).part(at_mm, joint_mm)
            }
            _ => Vec::new(),
        }
    }

    /// The ways into the cuts to come near a place: their pierces want whole metal.
    pub fn ways_in_near(&self, p: Point, but: usize) -> Vec<Vec<Point>> {
        let here = Bounds::of(p);
        (0..self.cuts.len())
            .filter(|cut| *cut != but && self.done.get(*cut).is_none_or(Vec::is_empty))
            .filter(|cut| !apart(&self.drawn.bounds(cut + 1), &here, NEAR_MM))
            .map(|cut| self.lead_in_from(cut, 0.0))
            .collect()
    }

    /// The way out at a cut's end, as places along it.
    pub fn way_out(&self, cut: usize) -> Vec<Point> {
        match self.contour(cut) {
            Some(contour) if contour.lead_out_mm > 0.0 => {
                let end = self.length_mm(cut);
                self.drawn
                    .flat()
                    .line(cut)
                    .part(end - contour.lead_out_mm, end)
            }
            _ => Vec::new(),
        }
    }

    /// The length of a cut, mm.
    pub fn length_mm(&self, cut: usize) -> f64 {
        self.drawn.length_mm(cut + 1)
    }

    /// The place and the direction of travel `s` mm along a cut.
    pub fn along(&self, cut: usize, s: f64) -> (Point, (f64, f64)) {
        // The place itself, not one on a chord: what goes on from there may be an arc.
        let at = self
            .cuts
            .get(cut)
            .map_or_else(Point::default, |c| c.point_at(s));
        (at, self.drawn.flat().line(cut).direction(s))
    }

    /// Metal by which the arc's current finds back to the clamp.
    pub fn holds(&self, p: Point) -> bool {
        self.map.under(p, self.map.end()) == Under::Piece(self.holder)
    }

    /// Whole metal round a place that the clamp holds: a pierce finds its plate there.
    pub fn whole(&self, p: Point) -> bool {
        let mut held = 0;
        let mut all = 0;
        for (r, n) in [(0.0, 1_u32), (0.5, 8), (1.0, 12)] {
            for k in 0..n {
                let a = core::f64::consts::TAU * f64::from(k) / f64::from(n);
                all += 1;
                if self.holds(p.moved(r * WHOLE_MM * a.cos(), r * WHOLE_MM * a.sin())) {
                    held += 1;
                }
            }
        }
        f64::from(held) >= WHOLE_PART * f64::from(all)
    }

    /// Neither part nor kept: the innermost contour round it is a hole's, or none is and it stays with
    /// what is left behind. Parts that share their edges have no contour each.
    pub fn is_scrap(&self, p: Point) -> bool {
        let innermost = self
            .contours
            .all
            .iter()
            .filter(|c| c.contains(p))
            .max_by_key(|c| c.depth);
        match innermost {
            Some(contour) => contour.kind == Kind::Hole,
            None => self.is_left_behind(p),
        }
    }

    /// When all is cut it is of what is left behind, or of nothing: then it lies in a kerf.
    fn is_left_behind(&self, p: Point) -> bool {
        let work = || through(self.drawn.flat(), self.drawn);
        let Some(finished) = self.finished.get_or_init(work) else {
            return false;
        };
        let end = finished.end();
        finished
            .piece_at(p, end)
            .is_none_or(|piece| piece == finished.main() || Some(piece) == finished.clamped(end))
    }

    /// How near a place is to any other cut's contour or open path, mm.
    pub fn off_others_mm(&self, p: Point, but: usize) -> f64 {
        let here = Bounds::of(p);
        (0..self.cuts.len())
            .filter(|cut| *cut != but && !apart(&self.drawn.bounds(cut + 1), &here, NEAR_MM))
            .map(|cut| match self.contours.of_cut(cut) {
                Some(contour) => contour.distance(p),
                None => {
                    let line = self.drawn.flat().line(cut);
                    let off = line.chords().map(|chord| chord.nearest(p).1);
                    off.fold(f64::INFINITY, f64::min)
                }
            })
            .fold(f64::INFINITY, f64::min)
    }

    /// How much metal stays on a cut's path from `at` to `to` when it is cut up to `at`, mm: its own
    /// beginning, lead-in included, may have taken some of it already.
    pub fn left_mm(&self, cut: usize, at: f64, to: f64) -> f64 {
        let line = self.drawn.flat().line(cut);
        let reach = self.kerf_mm / 2.0;
        // Of a long path only what lies near the stretch can have taken any of it.
        let mut near = Bounds::of(line.at(at));
        for p in line.part(at, to) {
            near.add(p);
        }
        let up_to_there = line.part(0.0, at);
        let cut_away: Vec<&[Point]> = up_to_there
            .windows(2)
            .filter(|chord| {
                let mut b = Bounds::of(chord[0]);
                b.add(chord[1]);
                !apart(&b, &near, reach)
            })
            .collect();
        let n = ((to - at) / LEFT_STEP_MM).ceil().max(1.0);
        let step = (to - at) / n;
        let metal = |p: Point| cut_away.iter().all(|chord| off_mm(chord, p) > reach);
        let places = (0..n as u32).map(|k| line.at(at + (f64::from(k) + 0.5) * step));
        places.filter(|p| metal(*p)).count() as f64 * step
    }

    /// Whether the first metal from a place on ahead still hangs together with the clamp, on either
    /// side. The place may lie in a kerf that the path crosses.
    pub fn ahead_holds(&self, cut: usize, s: f64) -> bool {
        let end = self.length_mm(cut).min(s + VOID_KERFS * self.kerf_mm);
        let (mut at, step) = (s, self.kerf_mm / 2.0);
        loop {
            let under = self.under_and_beside(cut, at);
            if under.contains(&Under::Piece(self.holder)) {
                return true;
            }
            if at >= end || under.iter().any(|u| matches!(u, Under::Piece(_))) {
                return false;
            }
            at = (at + step).min(end);
        }
    }

    /// What lies under the path at a station, and to its sides within the arc's reach.
    fn under_and_beside(&self, cut: usize, s: f64) -> [Under; 5] {
        let (p, (dx, dy)) = self.along(cut, s);
        // A wall within the arc's reach; a lead-in may have taken the nearest.
        let near = self.kerf_mm / 2.0 + 0.7;
        [0.0, near, -near, REACH_MM, -REACH_MM]
            .map(|d| self.map.under(p.moved(-dy * d, dx * d), self.map.end()))
    }
}

/// The sheet through some cuts.
fn through(flat: &Polylines, drawn: &OnSheet<'_>) -> Option<PieceMap> {
    let setup = drawn.input.setup?;
    PieceMap::new(&MapInput {
        flat,
        sheet: setup.sheet,
        kerf_mm: drawn.input.kerf_mm?,
        used: &setup.used,
        clamp: setup.clamp,
        slats: drawn.known().slats,
        watch: drawn.watch,
    })
}

/// What is gone of the sheet, as cuts in their order.
pub(super) fn history(stopped: &Stopped<'_>) -> CutList {
    let mut cuts = Vec::new();
    for (k, cut) in stopped.cuts.iter().enumerate() {
        let stretches = stopped.done.get(k).map(Vec::as_slice).unwrap_or_default();
        let most = stopped
            .lost
            .filter(|_| k == stopped.cut)
            .map(|l| [0.0, l.high_mm]);
        for [from, to] in stretches.iter().copied().chain(most) {
            cuts.extend(part(cut, from, to));
        }
    }
    for entry in stopped.entries {
        cuts.extend(made(entry, 1));
    }
    CutList {
        cuts,
        stops: Vec::new(),
    }
}

/// A stretch of a cut as a cut of its own.
pub(super) fn part(cut: &Cut, from: f64, to: f64) -> Option<Cut> {
    let mut path = Vec::new();
    let mut start = 0.0;
    for e in &cut.path {
        let length = e.segment.length();
        let (a, b) = ((from - start).max(0.0), (to - start).min(length));
        if b - a > 1e-6 {
            let whole = a <= 0.0 && b >= length;
            let segment = if whole {
                e.segment
            } else {
                e.segment.part(a, b)
            };
            path.push(Element { segment, ..*e });
        }
        start += length;
    }
    let pierce = path.first()?.segment.from();
    Some(Cut {
        pierce,
        path,
        compensation: None,
        ..cut.clone()
    })
}

/// A path as a cut of its own; `None` when it is empty.
pub(super) fn made(path: &[Segment], line: u32) -> Option<Cut> {
    let pierce = path.first()?.from();
    Some(Cut {
        pierce,
        on_line: line,
        on_column: 1,
        off_line: line,
        path: path
            .iter()
            .map(|segment| Element {
                segment: *segment,
                feed_mm_s: None,
                line,
                column: 1,
            })
            .collect(),
        compensation: None,
    })
}
