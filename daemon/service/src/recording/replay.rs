//! Feeding a recording through the machine again.

use std::io::BufRead;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use control::{Effect, Event, Input, Machine};
use link::Dialect;
use units::Time;

use super::form::{Beginning, Done, HEADING, Lengthener, Line, Put};
use crate::journal::Story;

/// What was compared, and all of it was equal.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Equal {
    /// Starts of the panel.
    pub starts: usize,
    /// Inputs fed.
    pub inputs: u64,
    /// Effects compared.
    pub effects: u64,
    /// Events of the run in the journal that the replay recorded as well.
    pub events: usize,
}

/// Where it was not.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// The file.
    pub file: PathBuf,
    /// Its line.
    pub line: usize,
    /// Which input of that file, from 1.
    pub step: u64,
    /// Its moment.
    pub at: Time,
    /// The input, as recorded.
    pub input: String,
    /// Which of its effects, from 1.
    pub effect: usize,
    /// The effect on the recording; `None`: there were no more.
    pub expected: Option<String>,
    /// The effect now.
    pub found: Option<String>,
    /// The panel that recorded, if it was another version than this.
    pub recorded_by: Option<String>,
}

/// Why a run cannot be called equal.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Fault {
    /// An effect differs.
    #[error("{}", told(.0))]
    Differs(Box<Difference>),
    /// The run is not wholly there.
    #[error("{}: {says}", file.display())]
    Incomplete {
        /// The file.
        file: PathBuf,
        /// What is missing.
        says: String,
    },
    /// A line is no line of a recording.
    #[error("{}:{line}: {says}", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// Its line.
        line: usize,
        /// What is wrong.
        says: String,
    },
    /// The journal and the recording tell different stories.
    #[error("{}: {says}", file.display())]
    OtherStory {
        /// The recording.
        file: PathBuf,
        /// Where they part.
        says: String,
    },
}

fn told(d: &Difference) -> String {
    let side = |effect: &Option<String>| effect.clone().unwrap_or_else(|| "nothing more".into());
    let by = d.recorded_by.as_ref().map_or(String::new(), |version| {
        format!(
            "\n  (recorded by version {version}, and this is {}: it may decide otherwise)",
            env!("CARGO_PKG_VERSION")
        )
    });
    format!(
        "{}:{}: step {} at {} differs in effect {}\n  input     {}\n  expected  {}\n  found     {}{by}",
        d.file.display(),
        d.line,
        d.step,
        d.at,
        d.effect,
        d.input,
        side(&d.expected),
        side(&d.found),
    )
}

/// What one file came to.
#[derive(Clone, Debug)]
pub struct Replayed {
    /// Inputs fed.
    pub inputs: u64,
    /// Effects compared.
    pub effects: u64,
    /// Moment of the last input.
    pub last: Time,
    /// It ends with the orderly end of the panel.
    pub ended: bool,
    /// Why it stops before the panel did.
    pub stopped: Option<String>,
    /// Every event that the machine recorded.
    pub events: Vec<(Time, Event)>,
}

/// Replays the run of this story (as read for one run) and compares.
///
/// # Errors
/// The first thing that is not equal, or not there.
pub fn replay(state: &Path, story: &Story) -> Result<Equal, Fault> {
    let mut equal = Equal::default();
    for start in &story.starts {
        let file = super::file(state, start.start);
        let rows: Vec<_> = story
            .events
            .iter()
            .filter(|e| e.start == start.start)
            .collect();
        let Some(last) = rows.iter().map(|e| e.clock_us).max() else {
            continue;
        };
        let part = replay_file(&file, Some(Time::from_us(last)))?;
        if part.last < Time::from_us(last) {
            let why = part.stopped.unwrap_or_else(|| "it breaks off".into());
            return Err(Fault::Incomplete {
                file,
                says: format!(
                    "it ends at {}, and the run goes on to {}: {why}",
                    part.last,
                    Time::from_us(last)
                ),
            });
        }
        // Rows of a run are written in the order in which the machine recorded them.
        let mut again = part
            .events
            .iter()
            .filter(|(_, e)| e.run().is_some() && e.run() == story.run);
        for row in rows {
            let found = again.next();
            let same = found.is_some_and(|(at, e)| {
                at.as_us() == row.clock_us
                    && serde_json::to_value(e).is_ok_and(|fields| fields == row.fields)
            });
            if !same && story.gaps.is_empty() {
                return Err(Fault::OtherStory {
                    file,
                    says: format!(
                        "the journal's event {} is {} at {} ({}), the replay gives {}",
                        row.seq,
                        row.name,
                        Time::from_us(row.clock_us),
                        row.fields,
                        found.map_or("nothing more".into(), |(at, e)| format!(
                            "{} at {at} ({e:?})",
                            e.name()
                        )),
                    ),
                });
            }
            equal.events += 1;
        }
        equal.starts += 1;
        equal.inputs += part.inputs;
        equal.effects += part.effects;
    }
    Ok(equal)
}

/// Replays one file up to `until` (`None`: to its end).
///
/// # Errors
/// It cannot be read, or an effect differs.
pub fn replay_file(path: &Path, until: Option<Time>) -> Result<Replayed, Fault> {
    let (mut reader, mut reading, mut again) = begun(path)?;
    let mut long = Lengthener::default();
    // What the last input gave may not have reached the disk: it is not compared.
    while let Some(text) = reading.next(&mut reader)? {
        let line: Line = serde_json::from_str(text).map_err(|e| reading.wrong(e.to_string()))?;
        match line {
            Line::Job(job) => long.job(job),
            Line::In(at_us, put) => {
                again.settle(Vec::new())?;
                let at = Time::from_us(at_us);
                if until.is_some_and(|until| at > until) {
                    break;
                }
                let input = long.input(put.clone()).map_err(|e| reading.wrong(e))?;
                again.feed(reading.line, at, put, input);
            }
            Line::Out(expected) if again.is_open() => again.settle(expected)?,
            Line::Out(_) => return Err(reading.wrong("effects without an input".into())),
            Line::Stopped(why) => {
                again.settle(Vec::new())?;
                again.done.stopped = Some(why);
                break;
            }
            Line::End => {
                again.settle(Vec::new())?;
                again.done.ended = true;
            }
        }
    }
    Ok(again.done)
}

/// A recording that is opened, and a machine as it was when the recording began.
pub(super) fn begun(path: &Path) -> Result<(Box<dyn BufRead + Send>, Reading, Again), Fault> {
    let missing = |says: String| Fault::Incomplete {
        file: path.to_path_buf(),
        says,
    };
    let opened = super::open(path);
    let mut reader = opened.map_err(|e| missing(format!("the recording is not there: {e}")))?;
    let mut reading = Reading {
        path: path.to_path_buf(),
        line: 0,
        text: Vec::new(),
    };
    if reading.next(&mut reader)?.map(str::trim_end) != Some(HEADING) {
        return Err(reading.wrong(format!("a recording begins with {HEADING:?}")));
    }
    let beginning: Beginning = match reading.next(&mut reader)? {
        Some(text) => serde_json::from_str(text).map_err(|e| reading.wrong(e.to_string()))?,
        None => return Err(reading.wrong("the recording has no beginning".into())),
    };
    let dialect = Dialect::from_toml(&beginning.dialect)
        .map_err(|e| reading.wrong(format!("its dialect: {e}")))?;
    let own = env!("CARGO_PKG_VERSION");
    let again = Again {
        machine: Machine::new(beginning.settings, Arc::new(dialect), beginning.restored),
        path: path.to_path_buf(),
        recorded_by: (beginning.version != own).then_some(beginning.version),
        open: None,
        done: Replayed {
            inputs: 0,
            effects: 0,
            last: Time::ZERO,
            ended: false,
            stopped: None,
            events: Vec::new(),
        },
    };
    Ok((reader, reading, again))
}

/// Lines of a recording, one after the other.
pub(super) struct Reading {
    path: PathBuf,
    pub(super) line: usize,
    text: Vec<u8>,
}

impl Reading {
    /// The next whole line. A last line that breaks off was being written when the panel died.
    pub(super) fn next(&mut self, reader: &mut impl BufRead) -> Result<Option<&str>, Fault> {
        self.text.clear();
        self.line += 1;
        match reader.read_until(b'\n', &mut self.text) {
            Ok(_) => {}
            // A compressed one breaks off, too.
            Err(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => return Ok(None),
            Err(e) => return Err(self.wrong(e.to_string())),
        }
        if self.text.last() != Some(&b'\n') {
            return Ok(None);
        }
        match std::str::from_utf8(&self.text) {
            Ok(text) => Ok(Some(text)),
            Err(error) => Err(Fault::Unreadable {
                file: self.path.clone(),
                line: self.line,
                says: error.to_string(),
            }),
        }
    }

    pub(super) fn wrong(&self, says: String) -> Fault {
        Fault::Unreadable {
            file: self.path.clone(),
            line: self.line,
            says,
        }
    }
}

/// The machine that lives through it again.
pub(super) struct Again {
    pub(super) machine: Machine,
    path: PathBuf,
    recorded_by: Option<String>,
    /// The input in hand and what it gave, until the recording says what it had given.
    open: Option<Open>,
    pub(super) done: Replayed,
}

struct Open {
    line: usize,
    at: Time,
    put: Put,
    found: Vec<Effect>,
}

impl Again {
    pub(super) fn feed(&mut self, line: usize, at: Time, put: Put, input: Input) {
        let found = self.machine.step(at, input).0;
        self.done.inputs += 1;
        self.done.last = at;
        for effect in &found {
            if let Effect::Record { event, .. } = effect {
                self.done.events.push((at, event.clone()));
            }
        }
        self.open = Some(Open {
            line,
            at,
            put,
            found,
        });
    }

    /// An input waits for what it had given.
    pub(super) fn is_open(&self) -> bool {
        self.open.is_some()
    }

    /// Compares the input in hand with what was recorded.
    pub(super) fn settle(&mut self, expected: Vec<Done>) -> Result<(), Fault> {
        let Some(open) = self.open.take() else {
            return Ok(());
        };
        let found: Vec<Done> = open.found.iter().map(Done::from).collect();
        let unlike =
            (0..expected.len().max(found.len())).find(|k| expected.get(*k) != found.get(*k));
        let Some(k) = unlike else {
            self.done.effects += found.len() as u64;
            return Ok(());
        };
        let shown = |effect: Option<&Done>| effect.map(json);
        Err(Fault::Differs(Box::new(Difference {
            file: self.path.clone(),
            line: open.line,
            step: self.done.inputs,
            at: open.at,
            input: json(&open.put),
            effect: k + 1,
            expected: shown(expected.get(k)),
            found: shown(found.get(k)),
            recorded_by: self.recorded_by.clone(),
        })))
    }
}

fn json(what: &impl serde::Serialize) -> String {
    serde_json::to_string(what).unwrap_or_else(|e| format!("(no form: {e})"))
}
