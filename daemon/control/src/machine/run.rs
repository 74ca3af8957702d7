//! What is remembered of a run: its cuts, holds, marks and counts.

use std::sync::Arc;

use units::{Point, Segment, Time};

use crate::ask::ResumeFrom;
use crate::cause::Cause;
use crate::event::{Outcome, Unfinished};
use crate::job::Job;
use crate::view::{CutState, HoldRecord, Mark, Retry};

/// A panel that is killed has kept no place of the last moments: the time between two records of
/// progress, until they are written, and until the torch is out and the hold has braked, s.
const UNKNOWN_S: f64 = 0.6;
/// ... and what the place itself is not known by, mm.
const UNKNOWN_MM: f64 = 1.0;
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

/// How far one cut has come. Cuts are cut from the pierce on, so one number says it all.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Progress {
    pub state: CutState,
    /// Surely cut from the pierce up to here, mm.
    pub sure_mm: f64,
}

/// Why a run stands still.
#[derive(Clone, Debug)]
pub(crate) struct Held {
    pub cause: Cause,
    /// Where the cut stopped, mm along it.
    pub at_mm: f64,
    pub why: String,
    /// Its place in the run's list of holds.
    pub record: usize,
    /// The line was lost while the torch moved: where it stands is still to be seen.
    pub unseen: bool,
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
    /// Fires at this pierce.
    pub tries: u32,
    /// What the try in hand may cure.
    pub retry_of: Option<Cause>,
    pub hold_after: bool,
    pub held: Option<Held>,
    pub holds: Vec<HoldRecord>,
    pub marks: Vec<Mark>,
    pub retries: Vec<Retry>,
    pub pierces: u32,
    pub arc_on_s: f64,
    pub arc_since: Option<Time>,
    /// The arc was last seen out, or a fire was last given up.
    pub arc_off: Option<Time>,
    /// Height of the sheet where it was touched last, machine coordinates, mm.
    pub touched_z: Option<f64>,
    /// Highest touch of this run, machine coordinates, mm.
    pub highest_z: Option<f64>,
    pub progress_kept: Option<Time>,
    /// Taken up from a panel that died while the arc was on.
    pub may_burn: bool,
}

impl Run {
    pub(crate) fn new(id: u64, now: Time, cuts: usize) -> Self {
        Self {
            id,
            started: now,
            ended: None,
            cut: 0,
            cuts: vec![
                Progress {
                    state: CutState::ToDo,
                    sure_mm: 0.0
                };
                cuts
            ],
            from_mm: 0.0,
            tries: 0,
            retry_of: None,
            hold_after: false,
            held: None,
            holds: Vec::new(),
            marks: Vec::new(),
            retries: Vec::new(),
            pierces: 0,
            arc_on_s: 0.0,
            arc_since: None,
            arc_off: None,
            touched_z: None,
            highest_z: None,
            progress_kept: None,
            may_burn: false,
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
        run.pierces = u.pierces;
        run.may_burn = u.burning;
        run.cut = u.cut.saturating_sub(1);
        if run
            .cuts
            .get(run.cut)
            .is_none_or(|p| p.state != CutState::ToDo)
        {
            run.cut = run.next_to_do();
        }
        run
    }

    /// Where a cut that was lost sight of may have come to: beyond what is surely cut, by where the
    /// torch stood when it was found. Never further than it can have come since it was last known.
    pub(crate) fn may_have_reached(&self, stood: Option<Point>, loaded: &Loaded) -> f64 {
        let sure = self.sure();
        let Some(cut) = loaded.job.cuts.get(self.cut) else {
            return sure;
        };
        let fastest = cut.path.iter().map(|e| e.feed_mm_s).fold(0.0, f64::max);
        let furthest = sure + fastest * UNKNOWN_S + UNKNOWN_MM;
        let unseen = if self.may_burn {
            furthest.min(loaded.length(self.cut))
        } else {
            sure
        };
        let Some(stood) = stood else { return unseen };
        let mut best = (unseen, STOOD_MM);
        let mut start = 0.0;
        for e in &cut.path {
            let end = start + e.segment.length();
            if end >= sure && start <= furthest {
                let (along, off) = e.segment.nearest(stood);
                // A full circle's two ends are one place, told as its start.
                for (s, off) in [(start + along, off), (end, stood.distance(e.segment.to()))] {
                    if off < best.1 - 1e-6 && (sure..=furthest).contains(&s) {
                        best = (s, off);
                    }
                }
            }
            start = end;
        }
        best.0
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

    /// Where a resume begins: never beyond what is surely cut.
    pub(crate) fn resume_at(&self, at_mm: f64, from: ResumeFrom) -> f64 {
        match from {
            ResumeFrom::Restart => 0.0,
            ResumeFrom::Back { mm } if mm.is_finite() => {
                (at_mm - mm.max(0.0)).min(self.sure()).max(0.0)
            }
            ResumeFrom::Back { .. } => 0.0,
        }
    }
}

/// What is offered: a bit back on the path, or the whole cut when too little of it was cut.
pub(crate) fn offer(at_mm: f64, sure_mm: f64, back_mm: f64) -> ResumeFrom {
    if at_mm > back_mm && sure_mm > 0.0 {
        ResumeFrom::Back { mm: back_mm }
    } else {
        ResumeFrom::Restart
    }
}
