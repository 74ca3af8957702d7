//! What the panels before this one had come to in the run that this one has taken up: they were
//! killed, and the journal alone can tell.

use std::path::Path;

use control::{Cause, Event};

use crate::journal::{self, Story, Which};

/// A hold that began under an earlier panel.
#[derive(Clone, Debug, PartialEq)]
pub struct Hold {
    /// Why.
    pub cause: Cause,
    /// The cut, from 1.
    pub cut: usize,
    /// Where it stopped, mm.
    pub at_mm: f64,
    /// Where it was taken up, mm.
    pub resumed_mm: Option<f64>,
}

/// What earlier panels did in the last run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Earlier {
    /// Their holds, oldest first.
    pub holds: Vec<Hold>,
    /// Arc time that was recorded, s. That of the arc which died with its panel is not known.
    pub arc_on_s: f64,
    /// Time from the first to the last event of each, s.
    pub run_s: f64,
}

impl Earlier {
    /// As the journal in `state` tells it.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn read(state: &Path) -> Result<Self, journal::ReadError> {
        journal::read(state, Which::Last).map(|story| Self::told_by(&story))
    }

    fn told_by(story: &Story) -> Self {
        let mut earlier = Self::default();
        let now = story.starts.last().map(|s| s.start);
        let taken_up = |e: &&journal::Entry| Some(e.start) == now;
        if story
            .events
            .iter()
            .find(taken_up)
            .is_some_and(|e| e.name == "run-started")
        {
            return earlier;
        }
        let before = |e: &&journal::Entry| Some(e.start) != now;
        for entry in story.events.iter().filter(before) {
            if let Ok(event) = serde_json::from_value(entry.fields.clone()) {
                earlier.take(event);
            }
        }
        for start in &story.starts {
            let moments = || {
                let of = |e: &&journal::Entry| e.start == start.start && Some(e.start) != now;
                story.events.iter().filter(of).map(|e| e.clock_us)
            };
            if let (Some(first), Some(last)) = (moments().min(), moments().max()) {
                earlier.run_s += (last - first) as f64 / 1e6;
            }
        }
        earlier
    }

    fn take(&mut self, event: Event) {
        match event {
            Event::Held {
                cause, cut, at_mm, ..
            } => self.holds.push(Hold {
                cause,
                cut,
                at_mm,
                resumed_mm: None,
            }),
            Event::HoldExplained { cause, .. } => {
                if let Some(hold) = self.holds.last_mut() {
                    hold.cause = cause;
                }
            }
            Event::Resumed { from_mm, .. } => {
                if let Some(hold) = self.holds.last_mut() {
                    hold.resumed_mm = Some(from_mm);
                }
            }
            // The panel before was itself one that had taken the run up.
            Event::RunInterrupted { cut, sure_mm, .. } => self.holds.push(Hold {
                cause: Cause::Interrupted,
                cut,
                at_mm: sure_mm,
                resumed_mm: None,
            }),
            Event::PlaceFound { at_mm, .. } => {
                if let Some(hold) = self.holds.last_mut() {
                    hold.at_mm = at_mm;
                }
            }
            Event::RunTakenUp { from_mm, at_mm, .. } => {
                if let Some(hold) = self.holds.last_mut() {
                    hold.at_mm = at_mm.unwrap_or(hold.at_mm);
                    hold.resumed_mm = Some(from_mm);
                }
            }
            Event::ArcOff { arc_s, .. } => self.arc_on_s += arc_s,
            _ => {}
        }
    }
}
