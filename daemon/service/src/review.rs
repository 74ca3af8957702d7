//! What is looked at afterwards: runs, faults, curves, one run in one file, and a recorded run shown again.
//!
//! **Never**: changes the machine, or takes time from it: what costs much is done at the lowest priority, in
//! parts of [`A_PART`], one at a time.
//! **Memory**: one recording at a time is looked at ([`crate::recording::Player`]).

pub mod bundle;
pub mod papers;
mod sheet;

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use control::View;
use units::Time;

use crate::job::at_lowest_priority;
use crate::journal::{self, Entry, Sought, Told, Which};
use crate::library::LoadedJob;
use crate::recording::{self, Player};
use crate::traces;

pub use sheet::Sheet;

/// A recording is driven on for so long at a time.
const A_PART: Duration = Duration::from_millis(250);
/// Most runs that are listed.
const RUNS_MAX: usize = 200;

/// A part of a run that lies in one start of the panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// Which start of the panel, from 1.
    pub start: i64,
    /// Its first event, microseconds of that start.
    pub from_us: u64,
    /// Its last.
    pub to_us: u64,
    /// A recording of it is there.
    pub kept: bool,
}

/// A moment of a recording.
#[derive(Clone, Debug)]
pub struct Moment {
    /// The moment that is shown, microseconds.
    pub us: u64,
    /// It is the one that was asked for; else the way there is not at its end.
    pub reached: bool,
    /// The machine then.
    pub view: View,
}

struct Open {
    start: i64,
    player: Player,
    /// What is drawn of the job, by its seal.
    drawn: Option<LoadedJob>,
}

/// What is on record in a state folder.
pub struct Review {
    state: PathBuf,
    open: Mutex<Option<Open>>,
}

impl Review {
    /// Of this state folder.
    #[must_use]
    pub fn new(state: &Path) -> Self {
        Self {
            state: state.to_path_buf(),
            open: Mutex::new(None),
        }
    }

    /// The latest runs, the newest first.
    ///
    /// # Errors
    /// The journal cannot be read, in words.
    pub fn runs(&self) -> Result<Vec<Told>, String> {
        journal::runs(&self.state, RUNS_MAX).map_err(|e| e.to_string())
    }

    /// The latest events, oldest first, each with the name of the curves about it.
    ///
    /// # Errors
    /// The journal cannot be read, in words.
    pub fn events(&self, sought: Sought) -> Result<Vec<(Entry, Option<String>)>, String> {
        let entries = journal::latest(&self.state, sought).map_err(|e| e.to_string())?;
        let traces = traces::list(&self.state);
        let of = |e: &Entry| traces.iter().find(|t| t.holds(e.start, e.clock_us));
        Ok(entries
            .into_iter()
            .map(|e| {
                let name = of(&e).map(ToString::to_string);
                (e, name)
            })
            .collect())
    }

    /// The text of a trace by its name; `None`: there is none.
    #[must_use]
    pub fn trace(&self, name: &str) -> Option<Vec<u8>> {
        traces::read(&self.state, traces::Name::read(name)?).ok()
    }

    /// The same as a table.
    #[must_use]
    pub fn trace_csv(&self, name: &str) -> Option<String> {
        let form = serde_json::from_slice(&self.trace(name)?).ok()?;
        Some(traces::csv(&form))
    }

    /// The events of a run as a table.
    ///
    /// # Errors
    /// There is no such run, in words.
    pub fn run_csv(&self, run: u64) -> Result<String, String> {
        let story = journal::read(&self.state, Which::Run(run)).map_err(|e| e.to_string())?;
        Ok(journal::csv(&story))
    }

    /// A run as a page to be printed.
    ///
    /// # Errors
    /// There is no such run, in words.
    pub fn page(&self, run: u64) -> Result<Sheet, String> {
        let story = journal::read(&self.state, Which::Run(run)).map_err(|e| e.to_string())?;
        Ok(sheet::of(&story))
    }

    /// A run in one file, in memory; `None`: it has more bytes than `most`.
    ///
    /// # Errors
    /// What could not be read, and what to do.
    pub fn bundle(&self, run: u64, most: u64) -> Result<Option<Vec<u8>>, String> {
        let work = tempfile::tempdir().map_err(|e| format!("no temporary folder: {e}"))?;
        let file = work.path().join("run.tar");
        at_lowest_priority(|| bundle::make(&self.state, run, &file))?;
        let bytes = std::fs::metadata(&file).map_err(|e| e.to_string())?.len();
        if bytes > most {
            return Ok(None);
        }
        std::fs::read(&file).map(Some).map_err(|e| e.to_string())
    }

    /// The parts of a run, in order.
    ///
    /// # Errors
    /// There is no such run, in words.
    pub fn parts(&self, run: u64) -> Result<Vec<Part>, String> {
        let story = journal::read(&self.state, Which::Run(run)).map_err(|e| e.to_string())?;
        let of = |start: i64| {
            let mut at = story.events.iter().filter(|e| e.start == start);
            let from_us = at.next()?.clock_us;
            Some(Part {
                start,
                from_us,
                to_us: at.next_back().map_or(from_us, |e| e.clock_us),
                kept: recording::file(&self.state, start).is_file(),
            })
        };
        Ok(story.starts.iter().filter_map(|s| of(s.start)).collect())
    }

    /// The machine at a moment of a start, or as near to it as one part of the way leads.
    ///
    /// # Errors
    /// There is no recording, it breaks off before, or this panel decides otherwise, in words.
    pub fn moment(&self, start: i64, us: u64) -> Result<Moment, String> {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        if open.as_ref().is_none_or(|o| o.start != start) {
            // What was looked at before makes room first.
            *open = None;
            let player = Player::open(&recording::file(&self.state, start));
            *open = Some(Open {
                start,
                player: player.map_err(|e| e.to_string())?,
                drawn: None,
            });
        }
        let Some(Open { player, .. }) = open.as_mut() else {
            return Err("the recording was closed".into());
        };
        let went = at_lowest_priority(|| player.go(Time::from_us(us), A_PART));
        match went {
            Ok(reached) => Ok(Moment {
                us: player.at().as_us(),
                reached,
                view: player.view(),
            }),
            Err(e) => {
                *open = None;
                Err(e.to_string())
            }
        }
    }

    /// What is drawn of the job with this seal, that lay on the table at the moment that is looked at.
    #[must_use]
    pub fn job(&self, seal: &str) -> Option<LoadedJob> {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let open = open.as_mut()?;
        if open.drawn.as_ref().is_none_or(|d| d.seal != seal) {
            let job = open.player.job().filter(|j| j.seal.hash() == seal)?;
            open.drawn = Some(LoadedJob::of_recording(&job));
        }
        open.drawn.clone()
    }

    /// Nobody looks at a recording any more.
    pub fn close(&self) {
        *self.open.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}
