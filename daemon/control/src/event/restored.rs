//! What a new service learns from the journal of those before it.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::Event;
use crate::cause::Cause;
use crate::parts::PartsUsed;

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
    /// The arc was on when the journal last knew.
    #[serde(default)]
    pub burning: bool,
}

impl Unfinished {
    /// How far the cut in hand is surely cut, mm.
    #[must_use]
    pub fn sure(&self) -> f64 {
        self.sure_mm.get(&self.cut).copied().unwrap_or(0.0)
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
    /// What the torch parts have been through.
    #[serde(default)]
    pub parts: PartsUsed,
}

impl Default for Restored {
    /// An empty journal: nothing is known, so the place is doubtful.
    fn default() -> Self {
        Self {
            latches: BTreeSet::new(),
            doubtful: true,
            unfinished: None,
            last_run: 0,
            parts: PartsUsed::default(),
        }
    }
}

impl Restored {
    /// Folds everything that was recorded, oldest first.
    #[must_use]
    pub fn from_events(events: impl IntoIterator<Item = Event>) -> Self {
        let mut known = Self::default();
        for event in events {
            known.take(event);
        }
        known
    }

    fn take(&mut self, event: Event) {
        self.parts.take(&event);
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
            match event {
                Event::ArcOn { .. } => open.burning = true,
                Event::ArcOff { .. } | Event::Held { .. } | Event::CutDone { .. } => {
                    open.burning = false;
                }
                _ => {}
            }
        }
        match event {
            Event::LatchSet { cause, .. } => {
                self.latches.insert(cause);
            }
            Event::LatchCleared { cause } => {
                self.latches.remove(&cause);
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

    /// The journal could not be read: everything that can be doubted is.
    #[must_use]
    pub fn unreadable() -> Self {
        Self {
            latches: BTreeSet::from([Cause::RecordFailed]),
            ..Self::default()
        }
    }
}
