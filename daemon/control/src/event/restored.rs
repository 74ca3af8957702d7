//! What a new service learns from the journal of those before it.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use units::{Placement, Segment};

use super::Event;
use crate::cause::Cause;
use crate::commissioning::Records;
use crate::parts::PartsUsed;
use crate::resume::{Lost, Plan};

/// A run that no service has ended.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Unfinished {
    /// Its number.
    pub run: u64,
    /// The seal of its job.
    pub seal: String,
    /// Its job's name.
    pub name: String,
    /// The cut in hand, from 1.
    pub cut: usize,
    /// How far each cut is surely cut, mm, by its number from 1.
    pub sure_mm: BTreeMap<usize, f64>,
    /// Cuts that are done, from 1.
    pub done: BTreeSet<usize>,
    /// Cuts that were skipped, from 1.
    pub skipped: BTreeSet<usize>,
    /// Cuts in the job.
    pub cuts: usize,
    /// Pierces made.
    pub pierces: u32,
    /// The arc was on and nobody has told since how far it has cut.
    #[serde(default)]
    pub burning: bool,
    /// The arc was on when it was last heard of.
    #[serde(default)]
    pub lit: bool,
    /// The cut in hand was begun and nothing was told of its end: its arc may burn at any moment
    /// from here, since no record of that is waited for.
    #[serde(default)]
    pub begun: bool,
    /// What was recorded of the cut in hand since the last full sync may be lost.
    #[serde(default)]
    pub cut_off: bool,
    /// Where the cut in hand was lost, if it was held since its arc went out.
    #[serde(default)]
    pub lost: Option<Lost>,
    /// Lead-ins burnt beside the paths.
    #[serde(default)]
    pub entries: Vec<Vec<Segment>>,
    /// Tabs that were left: the cut, from 1, and the stretch of it, mm.
    #[serde(default)]
    pub gaps: Vec<(usize, [f64; 2])>,
    /// The plan that is being carried out and has not struck an arc yet.
    #[serde(default)]
    pub plan: Option<Box<Plan>>,
}

impl Unfinished {
    /// How far the cut in hand is surely cut, mm.
    #[must_use]
    pub fn sure(&self) -> f64 {
        self.sure_mm.get(&self.cut).copied().unwrap_or(0.0)
    }

    /// The arc burns, and what was planned for it is under way.
    fn lit_up(&mut self) {
        self.burning = true;
        self.lit = true;
        let lead = self.plan.take().map(|plan| plan.how.entry);
        self.entries.extend(lead.filter(|lead| !lead.is_empty()));
    }

    /// It is known how far the cut in hand came.
    fn ended_here(&mut self) {
        self.burning = false;
        self.begun = false;
        self.cut_off = false;
    }

    /// What an event tells of the arc, the place lost and the way on.
    fn follow(&mut self, event: &Event) {
        match event {
            Event::CutStarted { .. } => self.begun = true,
            Event::ArcOn { .. } => self.lit_up(),
            // The start of a cut is on the disk before its fire, and so is all before it: what can be
            // missing is of this one cut, and the next would have been told. What is here did happen,
            // so what is surely cut stays.
            Event::PowerCut if self.begun => {
                self.lit_up();
                self.cut_off = true;
            }
            Event::RunTakenUp {
                from_mm,
                at_mm: Some(at_mm),
                high_mm,
                ..
            } => {
                self.ended_here();
                self.lost = high_mm.map(|high_mm| Lost {
                    at_mm: *at_mm,
                    low_mm: *from_mm,
                    high_mm,
                });
            }
            // Tried again by itself: nothing of a path was cut.
            Event::Retry { .. } => self.ended_here(),
            Event::CutDone { .. } | Event::Skipped { .. } => {
                self.ended_here();
                self.lost = None;
                self.plan = None;
            }
            Event::Held {
                at_mm,
                sure_mm,
                high_mm: Some(high_mm),
                ..
            } => {
                // Stopped with the arc on: how far it burned on is known only when all stood still.
                self.burning &= self.lit;
                self.begun = false;
                self.lost = Some(Lost {
                    at_mm: *at_mm,
                    low_mm: *sure_mm,
                    high_mm: *high_mm,
                });
            }
            Event::Held { .. } => self.ended_here(),
            Event::ArcOff { .. } => self.lit = false,
            Event::PlaceFound {
                at_mm,
                sure_mm: Some(low_mm),
                high_mm: Some(high_mm),
                ..
            } => {
                self.ended_here();
                self.lost = Some(Lost {
                    at_mm: *at_mm,
                    low_mm: *low_mm,
                    high_mm: *high_mm,
                });
            }
            Event::Resumed {
                plan: Some(plan), ..
            } => self.plan = Some(plan.clone()),
            Event::TabLeft {
                cut,
                from_mm,
                to_mm,
                ..
            } => self.gaps.push((*cut, [*from_mm, *to_mm])),
            _ => {}
        }
    }
}

/// What a new service learns from the journal of those before it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Restored {
    /// Latches that nobody has cleared.
    pub latches: BTreeSet<Cause>,
    /// The place cannot be trusted.
    pub doubtful: bool,
    /// A run that no service has ended.
    pub unfinished: Option<Unfinished>,
    /// The highest number that a run had.
    pub last_run: u64,
    /// How the sheet lies, if a datum check has corrected it since the axes were referenced.
    #[serde(default)]
    pub sheet_at: Option<Placement>,
    /// What the torch parts have been through.
    #[serde(default)]
    pub parts: PartsUsed,
    /// How the steps of commissioning went when they were made last.
    #[serde(default)]
    pub commissioning: Records,
}

impl Default for Restored {
    /// An empty journal: nothing is known, so the place is doubtful.
    fn default() -> Self {
        Self {
            latches: BTreeSet::new(),
            doubtful: true,
            unfinished: None,
            last_run: 0,
            sheet_at: None,
            parts: PartsUsed::default(),
            commissioning: Records::default(),
        }
    }
}

impl Restored {
    /// Number of this fold. Whatever changes what an event does to it (here, in the torch parts'
    /// counts, or in what it is made of) takes a new number: what was folded by another is folded anew.
    pub const FOLD: u32 = 3;

    /// Folds everything that was recorded, oldest first.
    #[must_use]
    pub fn from_events(events: impl IntoIterator<Item = Event>) -> Self {
        let mut known = Self::default();
        for event in events {
            known.take(event);
        }
        known
    }

    /// Goes on by what was recorded next.
    pub fn take(&mut self, event: Event) {
        self.parts.take(&event);
        self.commissioning.take(&event);
        if let Some(run) = event.run() {
            self.last_run = self.last_run.max(run);
        }
        let sure = |open: &mut Option<Unfinished>, cut: usize, mm: f64| {
            if let Some(open) = open {
                let at = open.sure_mm.entry(cut).or_insert(0.0);
                *at = at.max(mm);
            }
        };
        if let Some(open) = &mut self.unfinished {
            open.follow(&event);
        }
        match &event {
            Event::HomingStarted => self.sheet_at = None,
            Event::DatumFitted {
                sheet_at: Some(at), ..
            } => self.sheet_at = Some(*at),
            _ => {}
        }
        match event {
            Event::LatchSet { cause, .. } => {
                self.latches.insert(cause);
            }
            Event::LatchCleared { cause } => {
                self.latches.remove(&cause);
            }
            Event::RecordLost { .. } => {
                self.latches.insert(Cause::RecordLost);
                self.doubtful = true;
            }
            Event::PlaceDoubted { .. } | Event::HomingStarted => self.doubtful = true,
            Event::PlaceConfirmed | Event::PlaceProven => self.doubtful = false,
            Event::RunStarted {
                run,
                seal,
                name,
                cuts,
            } => {
                self.unfinished = Some(Unfinished {
                    run,
                    seal,
                    name,
                    cuts,
                    cut: 1,
                    ..Unfinished::default()
                });
            }
            Event::RunTakenUp { cut, .. } | Event::CutStarted { cut, .. } => {
                if let Some(open) = &mut self.unfinished {
                    open.cut = cut;
                }
            }
            Event::FireAsked { .. } => {
                if let Some(open) = &mut self.unfinished {
                    open.pierces += 1;
                }
            }
            Event::PlaceFound {
                cut,
                sure_mm: Some(sure_mm),
                ..
            } => sure(&mut self.unfinished, cut, sure_mm),
            Event::CutReached { cut, at_mm, .. } => sure(&mut self.unfinished, cut, at_mm),
            Event::Held { cut, sure_mm, .. } => sure(&mut self.unfinished, cut, sure_mm),
            Event::CutDone { cut, length_mm, .. } => {
                sure(&mut self.unfinished, cut, length_mm);
                if let Some(open) = &mut self.unfinished {
                    open.done.insert(cut);
                    open.cut = cut + 1;
                }
            }
            Event::Skipped { cut, .. } => {
                if let Some(open) = &mut self.unfinished {
                    open.skipped.insert(cut);
                    open.cut = cut + 1;
                }
            }
            Event::RunEnded { run, .. }
                if self.unfinished.as_ref().is_some_and(|u| u.run == run) =>
            {
                self.unfinished = None;
            }
            _ => {}
        }
    }

    /// What vetting has to reckon with. A run that is not ended is vetted again with what its job
    /// was loaded with, or it would never be the same job. `told`: as in [`crate::Counts::worst`].
    #[must_use]
    pub fn supplies(&self, told: &process::Set) -> process::Set {
        self.parts.supplies(told, self.unfinished.is_some())
    }

    /// The journal could not be read: everything that can be doubted is.
    #[must_use]
    pub fn unreadable() -> Self {
        Self {
            latches: BTreeSet::from([Cause::RecordLost]),
            ..Self::default()
        }
    }
}

#[cfg(test)]
mod tests;
