//! A recording looked at: the machine as it was at a moment.
//!
//! **For**: replay on the glass. The machine is fed what it was fed then, as `standclear replay` does, and every
//! effect is compared: where this panel decides otherwise than it was recorded, nothing more is shown.
//! **Never**: performs an effect, or goes on for longer than it is asked to.
//! **Memory**: one machine, the jobs of the recording, one line of it. To go back it begins anew.

use std::collections::BTreeMap;
use std::io::BufRead;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use control::View;
use planning::Job;
use units::Time;

use super::form::{Lengthener, Line, Put};
use super::replay::{Again, Fault, Reading, begun};

/// Between two looks at the clock so many inputs are fed.
const INPUTS_A_LOOK: u32 = 64;

/// A recording that is being looked at.
pub struct Player {
    path: PathBuf,
    reader: Box<dyn BufRead + Send>,
    reading: Reading,
    again: Again,
    long: Lengthener,
    jobs: BTreeMap<String, Arc<Job>>,
    /// An input that comes later than what was asked for.
    ahead: Option<(usize, Time, Put)>,
    /// The moment that is looked at.
    at: Time,
    over: bool,
}

impl Player {
    /// At the beginning of a recording.
    ///
    /// # Errors
    /// It is not there, or is no recording.
    pub fn open(path: &Path) -> Result<Self, Fault> {
        let (reader, reading, again) = begun(path)?;
        Ok(Self {
            path: path.to_path_buf(),
            reader,
            reading,
            again,
            long: Lengthener::default(),
            jobs: BTreeMap::new(),
            ahead: None,
            at: Time::ZERO,
            over: false,
        })
    }

    /// Goes to a moment, for at most so long; back by beginning anew. Gives whether it is there: if not, it is on
    /// its way, and is asked again.
    ///
    /// # Errors
    /// The recording cannot be read any further, or this panel decides otherwise.
    pub fn go(&mut self, to: Time, within: Duration) -> Result<bool, Fault> {
        let began = Instant::now();
        if to < self.at {
            *self = Self::open(&self.path.clone())?;
        }
        let mut fed = 0;
        while !self.over && self.feed_next(to)? {
            fed += 1;
            if fed % INPUTS_A_LOOK == 0 && began.elapsed() >= within {
                self.at = self.again.done.last;
                return Ok(false);
            }
        }
        self.at = to;
        Ok(true)
    }

    /// Feeds the next input up to `to`; `false`: the next is later, or there is none.
    fn feed_next(&mut self, to: Time) -> Result<bool, Fault> {
        loop {
            if let Some((line, at, put)) = self.ahead.take() {
                if at > to {
                    self.ahead = Some((line, at, put));
                    return Ok(false);
                }
                let input = self.long.input(put.clone());
                let input = input.map_err(|e| self.reading.wrong(e))?;
                self.again.feed(line, at, put, input);
                // The journal has them: a recording of hours has too many to keep here.
                self.again.done.events.clear();
                return Ok(true);
            }
            let Some(text) = self.reading.next(&mut self.reader)? else {
                self.over = true;
                return Ok(false);
            };
            let line = serde_json::from_str(text);
            match line.map_err(|e| self.reading.wrong(e.to_string()))? {
                Line::Job(job) => {
                    self.jobs
                        .insert(job.seal.hash().to_owned(), Arc::clone(&job));
                    self.long.job(job);
                }
                Line::In(at_us, put) => {
                    self.again.settle(Vec::new())?;
                    self.ahead = Some((self.reading.line, Time::from_us(at_us), put));
                }
                Line::Out(expected) if self.again.is_open() => self.again.settle(expected)?,
                Line::Out(_) => return Err(self.reading.wrong("effects without an input".into())),
                Line::Stopped(_) | Line::End => {
                    self.over = true;
                    return Ok(false);
                }
            }
        }
    }

    /// The moment that is looked at.
    #[must_use]
    pub fn at(&self) -> Time {
        self.at
    }

    /// The machine as it was at that moment.
    #[must_use]
    pub fn view(&self) -> View {
        self.again.machine.view(self.at)
    }

    /// The job that was on the table then.
    #[must_use]
    pub fn job(&self) -> Option<Arc<Job>> {
        let seal = self.view().seal?;
        self.jobs.get(&seal).map(Arc::clone)
    }
}
