//! What is remembered of a run: its cuts, holds, marks and counts.

use core::ops::RangeInclusive;
use std::borrow::Cow;
use std::sync::Arc;

use planning::{Job, JobElement};
use units::{Point, Segment, Time};

use super::Machine;
use super::on_path::OnPath;
use crate::cause::Cause;
use crate::event::{Outcome, Unfinished};
use crate::plane::Touch;
use crate::resume::{Lost, Plan, Splice};
use crate::view::{CutState, Faltered, HoldRecord, Mark, Retry};

/// A panel that is killed has kept no place of the last moments: the time between two records of
/// progress, until they are written, and until the torch is out and the hold has braked, s.
const UNKNOWN_S: f64 = 0.6;
/// Progress is recorded at least so often in a way that survives a power cut, s: the journal's thread
/// syncs once a second then. After a power cut this comes to what is not known.
pub(crate) const SYNCED_S: f64 = 1.0;
/// ... and what the place itself is not known by, mm.
const UNKNOWN_MM: f64 = 1.0;
/// What a new panel found over a run that was interrupted, before anything was moved.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Found {
    /// Where the torch stood, sheet coordinates.
    pub stood: Option<Point>,
    /// The arc was on: it may have burned as far as the torch has gone.
    pub arc_on: bool,
}

/// A torch further than this from the path does not stand on it, mm.
const STOOD_MM: f64 = 0.5;

/// A job with the lengths of its paths added up.
#[derive(Clone, Debug)]
pub(crate) struct Loaded {
    pub job: Arc<Job>,
    /// For each cut: where each element of its path ends, mm from the pierce.
    pub ends: Vec<Vec<f64>>,
}

impl Loaded {
    pub(crate) fn new(job: Arc<Job>) -> Self {
        let ends = job
            .cuts
            .iter()
            .map(|cut| {
                let mut at = 0.0;
                cut.path
                    .iter()
                    .map(|e| {
                        at += e.segment.length();
                        at
                    })
                    .collect()
            })
            .collect();
        Self { job, ends }
    }

    pub(crate) fn length(&self, cut: usize) -> f64 {
        self.ends
            .get(cut)
            .and_then(|e| e.last())
            .copied()
            .unwrap_or(0.0)
    }

    /// The element in which station `s` lies, and how far into it.
    pub(crate) fn element_at(&self, cut: usize, s: f64) -> Option<(usize, f64)> {
        let ends = self.ends.get(cut)?;
        let i = ends
            .partition_point(|&end| end <= s)
            .min(ends.len().checked_sub(1)?);
        let start = if i == 0 { 0.0 } else { ends[i - 1] };
        Some((i, (s - start).max(0.0)))
    }

    /// The place `s` mm along a cut, sheet coordinates.
    pub(crate) fn point_at(&self, cut: usize, s: f64) -> Point {
        let Some(path) = self.job.cuts.get(cut) else {
            return Point::default();
        };
        if s <= 0.0 {
            return path.pierce;
        }
        match self.element_at(cut, s) {
            Some((i, into)) => path.path[i].segment.point_at(into),
            None => path.pierce,
        }
    }

    /// Element `i` of a cut from `into` mm on, with the station at which that piece begins.
    pub(crate) fn piece(&self, cut: usize, i: usize, into: f64) -> Option<(Segment, f64, f64)> {
        let e = self.job.cuts.get(cut)?.path.get(i)?;
        let end = *self.ends.get(cut)?.get(i)?;
        let length = e.segment.length();
        let segment = if into > 1e-6 {
            e.segment.part(into, length)
        } else {
            e.segment
        };
        Some((segment, end - length + into.max(0.0), e.feed_mm_s))
    }
}

/// How far one cut has come. Cuts are cut from the pierce on, so one number says it all, but for the
/// tabs that were left.
#[derive(Clone, Debug)]
pub(crate) struct Progress {
    pub state: CutState,
    /// Surely cut from the pierce up to here, mm.
    pub sure_mm: f64,
    /// Stretches within that were left uncut, mm.
    pub gaps: Vec<[f64; 2]>,
    /// Where its arc was lost last.
    pub lost: Option<Lost>,
}

impl Progress {
    const NEW: Self = Self {
        state: CutState::ToDo,
        sure_mm: 0.0,
        gaps: Vec::new(),
        lost: None,
    };

    /// What is surely cut, mm along it.
    pub(crate) fn done(&self) -> Vec<[f64; 2]> {
        let mut done = Vec::new();
        let mut from = 0.0;
        for gap in &self.gaps {
            if gap[0] > from {
                done.push([from, gap[0].min(self.sure_mm)]);
            }
            from = gap[1];
        }
        if self.sure_mm > from {
            done.push([from, self.sure_mm]);
        }
        done
    }
}

impl Machine {
    /// The loaded job is that of a run which no panel has ended, and which is not taken up yet.
    pub(crate) fn interrupted_here(&self) -> Option<&Unfinished> {
        let loaded = self.loaded.as_ref().filter(|_| self.run.is_none())?;
        let u = self.interrupted.as_ref()?;
        (u.seal == loaded.job.seal.hash()).then_some(u)
    }

    /// The run in hand, or as it would be taken up.
    pub(crate) fn run_here(&self) -> Option<Cow<'_, Run>> {
        if let Some(run) = &self.run {
            return Some(Cow::Borrowed(run));
        }
        let (u, loaded) = (self.interrupted_here()?, self.loaded.as_ref()?);
        Some(Cow::Owned(Run::taken_up(u, self.now, loaded)))
    }
}

/// Why a run stands still.
#[derive(Clone, Debug)]
pub(crate) struct Held {
    pub cause: Cause,
    /// Where the cut stopped, mm along it.
    pub at_mm: f64,
    /// How far the torch went on without an arc, mm.
    pub ran_on_mm: Option<f64>,
    /// The start from the open kerf found no arc.
    pub kerf_end_failed: bool,
    pub why: String,
    /// Its place in the run's list of holds.
    pub record: usize,
    /// The line was lost while the torch moved: the path and the moment of the stop, until it is
    /// seen where it stands.
    pub unseen: Option<(Box<OnPath>, Time)>,
}

/// The last touch that was made by contact.
#[derive(Clone, Copy, Debug)]
pub(crate) struct TouchedLast {
    pub last: process::LastTouch,
    pub at: Time,
    /// So many holds had been before it.
    pub holds: usize,
}

/// A run under way, held or over.
#[derive(Clone, Debug)]
pub(crate) struct Run {
    pub id: u64,
    pub started: Time,
    pub ended: Option<(Time, Outcome)>,
    /// The cut in hand, from 0; the number of cuts when there is none left.
    pub cut: usize,
    pub cuts: Vec<Progress>,
    /// Where the cut in hand begins this time, mm along it.
    pub from_mm: f64,
    /// The plan by which the cut in hand is gone on with.
    pub splice: Option<Arc<Splice>>,
    /// Lead-ins burnt beside the paths.
    pub entries: Vec<Vec<Segment>>,
    /// Fires at this pierce.
    pub tries: u32,
    /// What the try in hand may cure.
    pub retry_of: Option<Cause>,
    pub hold_after: bool,
    pub held: Option<Held>,
    pub holds: Vec<HoldRecord>,
    pub marks: Vec<Mark>,
    pub retries: Vec<Retry>,
    pub faltered: Vec<Faltered>,
    pub pierces: u32,
    pub arc_on_s: f64,
    pub arc_since: Option<Time>,
    /// The arc was last seen out, or a fire was last given up.
    pub arc_off: Option<Time>,
    /// Height of the sheet where it was touched last, machine coordinates, mm.
    pub touched_z: Option<f64>,
    /// Where the sheet was found as it lies now, machine coordinates.
    pub touches: Vec<Touch>,
    /// The last of them, as far as skipping a touch-off hangs on it.
    pub touched: Option<TouchedLast>,
    /// Touches in a row in which contact was missing.
    pub contact_misses: u32,
    /// The sensing circuit was switched on after the last cut, so that the traverse is watched.
    pub sensing: bool,
    /// Highest touch of this run, machine coordinates, mm.
    pub highest_z: Option<f64>,
    pub progress_kept: Option<Time>,
    /// When it was recorded last so that it survives a power cut.
    pub progress_synced: Option<Time>,
    /// Taken up from a panel that died while the arc was on.
    pub may_burn: bool,
    /// ... and what it recorded of that since the last full sync may be lost.
    pub cut_off: bool,
}

/// Where a torch that stands at a place stands along a path, within a stretch of it, mm: the nearest,
/// and the last of all that are near enough.
fn stood_on(path: &[JobElement], stood: Point, within: RangeInclusive<f64>) -> Option<(f64, f64)> {
    let (mut nearest, mut last) = (None, 0.0_f64);
    let mut off_mm = STOOD_MM;
    let mut start = 0.0;
    for e in path {
        let end = start + e.segment.length();
        if end >= *within.start() && start <= *within.end() {
            let (along, off) = e.segment.nearest(stood);
            // A full circle's two ends are one place, told as its start.
            for (s, off) in [(start + along, off), (end, stood.distance(e.segment.to()))] {
                let there = within.contains(&s);
                if there && off < STOOD_MM {
                    last = last.max(s);
                }
                if there && off < off_mm - 1e-6 {
                    (nearest, off_mm) = (Some(s), off);
                }
            }
        }
        start = end;
    }
    nearest.map(|at| (at, last))
}

impl Run {
    pub(crate) fn new(id: u64, now: Time, cuts: usize) -> Self {
        Self {
            id,
            started: now,
            ended: None,
            cut: 0,
            cuts: vec![Progress::NEW; cuts],
            from_mm: 0.0,
            splice: None,
            entries: Vec::new(),
            tries: 0,
            retry_of: None,
            hold_after: false,
            held: None,
            holds: Vec::new(),
            marks: Vec::new(),
            retries: Vec::new(),
            faltered: Vec::new(),
            pierces: 0,
            arc_on_s: 0.0,
            arc_since: None,
            arc_off: None,
            touched_z: None,
            touches: Vec::new(),
            touched: None,
            contact_misses: 0,
            sensing: false,
            highest_z: None,
            progress_kept: None,
            progress_synced: None,
            may_burn: false,
            cut_off: false,
        }
    }

    /// A run of before, as the journal tells it.
    pub(crate) fn taken_up(u: &Unfinished, now: Time, loaded: &Loaded) -> Self {
        let mut run = Self::new(u.run, now, loaded.job.cuts.len());
        for (i, p) in run.cuts.iter_mut().enumerate() {
            let n = i + 1;
            p.sure_mm = u
                .sure_mm
                .get(&n)
                .copied()
                .unwrap_or(0.0)
                .min(loaded.length(i));
            if u.done.contains(&n) {
                p.state = CutState::Done;
            } else if u.skipped.contains(&n) {
                p.state = CutState::Skipped;
            }
        }
        for (n, gap) in &u.gaps {
            if let Some(p) = n.checked_sub(1).and_then(|i| run.cuts.get_mut(i)) {
                p.gaps.push(*gap);
            }
        }
        run.entries.clone_from(&u.entries);
        run.pierces = u.pierces;
        run.may_burn = u.burning;
        run.cut_off = u.cut_off;
        run.cut = u.cut.saturating_sub(1);
        if let Some(p) = run.cuts.get_mut(run.cut) {
            p.lost = u.lost;
        }
        if run
            .cuts
            .get(run.cut)
            .is_none_or(|p| p.state != CutState::ToDo)
        {
            run.cut = run.next_to_do();
        }
        run
    }

    /// What is known of a cut that a panel before this one was at: where its arc was lost, or how far
    /// it may have burned on.
    pub(crate) fn interrupted_at(&self, found: Found, loaded: &Loaded) -> Option<Lost> {
        if !self.may_burn {
            return self.lost();
        }
        let low_mm = self.sure();
        let (at_mm, high_mm) = self.may_have_reached(found, loaded);
        Some(Lost {
            at_mm,
            low_mm,
            high_mm,
        })
    }

    /// Where a cut that was lost sight of may have come to, and how far at most: beyond what is
    /// surely cut, by where the torch stood when it was found. Never further than it can have come
    /// since it was last known; unless the torch stands further along: the disk was late then, and the
    /// last records are not on it.
    pub(crate) fn may_have_reached(&self, found: Found, loaded: &Loaded) -> (f64, f64) {
        let sure = self.sure();
        let Some(cut) = loaded.job.cuts.get(self.cut) else {
            return (sure, sure);
        };
        let fastest = cut.path.iter().map(|e| e.feed_mm_s).fold(0.0, f64::max);
        let length_mm = loaded.length(self.cut);
        let unknown_s = UNKNOWN_S + if self.cut_off { SYNCED_S } else { 0.0 };
        let furthest = if found.arc_on {
            length_mm
        } else {
            (sure + fastest * unknown_s + UNKNOWN_MM).min(length_mm)
        };
        let Some(stood) = found.stood else {
            return (furthest, furthest);
        };
        let in_time = stood_on(&cut.path, stood, sure..=furthest);
        let late = in_time.is_none();
        match in_time.or_else(|| stood_on(&cut.path, stood, furthest..=length_mm)) {
            Some((nearest, last)) => {
                // A path may pass one place twice: with nothing else to bound it, it is the later time.
                let doubted = self.cut_off || late;
                let high_mm = if doubted { nearest.max(last) } else { nearest };
                (nearest, (high_mm + STOOD_MM).min(length_mm))
            }
            None => (furthest, furthest),
        }
    }

    /// The first cut that is neither done nor skipped; the number of cuts when there is none.
    pub(crate) fn next_to_do(&self) -> usize {
        self.cuts
            .iter()
            .position(|p| !matches!(p.state, CutState::Done | CutState::Skipped))
            .unwrap_or(self.cuts.len())
    }

    pub(crate) fn sure(&self) -> f64 {
        self.cuts.get(self.cut).map_or(0.0, |p| p.sure_mm)
    }

    pub(crate) fn reached(&mut self, mm: f64) {
        if let Some(p) = self.cuts.get_mut(self.cut) {
            p.sure_mm = p.sure_mm.max(mm);
        }
    }

    pub(crate) fn over(&self) -> bool {
        self.ended.is_some()
    }

    pub(crate) fn done_count(&self) -> usize {
        self.cuts
            .iter()
            .filter(|p| p.state == CutState::Done)
            .count()
    }

    /// The plan of the cut in hand, if it has one.
    pub(crate) fn plan(&self) -> Option<&Plan> {
        let plan = self.splice.as_ref()?.plan();
        (plan.stop.cut == self.cut + 1).then_some(plan)
    }

    /// Where the cut in hand was lost last.
    pub(crate) fn lost(&self) -> Option<Lost> {
        self.cuts.get(self.cut)?.lost
    }

    /// What is now known of the place lost. A stretch that was cut before stays cut: nothing moves
    /// back behind `before`.
    pub(crate) fn lose(&mut self, lost: Lost, before: Option<Lost>) -> Lost {
        let lost = before.map_or(lost, |b| Lost {
            at_mm: lost.at_mm.max(b.at_mm),
            low_mm: lost.low_mm.max(b.low_mm),
            high_mm: lost.high_mm.max(b.high_mm),
        });
        if let Some(p) = self.cuts.get_mut(self.cut) {
            p.lost = Some(lost);
        }
        lost
    }

    /// The cut that is gone on with, from 0, and where it was lost.
    pub(crate) fn goes_on(&self) -> (usize, Option<Lost>) {
        match self.cuts.get(self.cut) {
            Some(p) if p.state != CutState::Done => (self.cut, p.lost),
            _ => {
                let next = self.next_to_do();
                (next, self.cuts.get(next).and_then(|p| p.lost))
            }
        }
    }
}
