//! The text form of a recording, version 1.
//!
//! The outer shape is this module's own: what a line is, how bytes and jobs are written. What a
//! request, an event, a report or an order holds is written as `control` writes it, which is the
//! form that the journal already binds. So a change inside `control` keeps old recordings readable
//! by the rule that keeps old journals readable (a new field has a default, no name changes its
//! meaning), and a change of the shape is a new version here beside this one.

use control::guard::{GuardOrder, GuardReport};
use control::{
    Answer, Ask, AskId, Effect, Event, Input, Output, OutputLevels, RecordId, Restored, Seen,
    Signals,
};
use planning::Job;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use units::Time;

/// First line of every file of this version.
pub const HEADING: &str = "standclear recording 1";

/// Second line: what the machine was made of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Beginning {
    /// Version of the panel.
    pub version: String,
    /// Which start of the panel, as in the journal.
    pub start: i64,
    /// What the machine was told of the table.
    pub settings: control::Settings,
    /// Text of the dialect file.
    pub dialect: String,
    /// What the journal had said of the starts before.
    pub restored: Restored,
}

/// Every further line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Line {
    /// A job that a later line loads by its seal.
    Job(Arc<Job>),
    /// An input, and its moment in microseconds. Written before the machine is stepped: one that
    /// the machine did not survive is there.
    In(u64, Put),
    /// Every effect of the input before it, in order. Left out where there were none.
    Out(Vec<Done>),
    /// Nothing more was kept, and why.
    Stopped(String),
    /// The panel ended in order.
    End,
}

/// An input.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Put {
    /// As in [`Input`], and so the others.
    Tick,
    #[allow(missing_docs, reason = "as in `Input`")]
    LinkOpened,
    #[allow(missing_docs, reason = "as in `Input`")]
    LinkLost(String),
    /// Byte n of the wire is character n.
    Bytes(String),
    #[allow(missing_docs, reason = "as in `Input`")]
    Signals(Signals),
    /// The same levels as the last time.
    Same,
    /// When the levels were seen, and which they are; `None`: the same as the last time.
    Looked(Seen, Option<Signals>),
    /// The same levels as the last time, but for these volts; and when they were seen.
    Volts(Seen, Option<f64>),
    #[allow(missing_docs, reason = "as in `Input`")]
    Guard(GuardReport),
    /// The request to load the job with this seal.
    Load(AskId, u64, String),
    #[allow(missing_docs, reason = "as in `Input`")]
    Ask(AskId, u64, Ask),
    #[allow(missing_docs, reason = "as in `Input`")]
    Durable(RecordId),
    #[allow(missing_docs, reason = "as in `Input`")]
    RecordFailed(String),
    /// The screen that commands is there, or not.
    Screen(bool),
    /// An optional output could not be driven; `None`: it can be.
    Output(Output, Option<String>),
}

/// An effect.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Done {
    /// Lines to the controller; byte n is character n.
    Write(String),
    /// Bytes that take away.
    TakeAway(String),
    #[allow(missing_docs, reason = "as in `Effect`")]
    OpenLink,
    #[allow(missing_docs, reason = "as in `Effect`")]
    CloseLink,
    #[allow(missing_docs, reason = "as in `Effect`")]
    Guard(GuardOrder),
    #[allow(missing_docs, reason = "as in `Effect`")]
    Record(RecordId, Event, bool),
    #[allow(missing_docs, reason = "as in `Effect`")]
    Outputs(OutputLevels),
    #[allow(missing_docs, reason = "as in `Effect`")]
    Publish,
    #[allow(missing_docs, reason = "as in `Effect`")]
    Answer(AskId, Answer),
}

/// Turns inputs into lines. Remembers what need not be written again.
#[derive(Debug, Default)]
pub struct Shortener {
    signals: Option<Signals>,
    jobs: BTreeSet<String>,
}

impl Shortener {
    /// The lines of an input: its own, and before it a job that was not written yet.
    pub fn lines(&mut self, at: Time, input: &Input) -> (Option<Arc<Job>>, Line) {
        let mut job = None;
        let put = match input {
            Input::Tick => Put::Tick,
            Input::LinkOpened => Put::LinkOpened,
            Input::LinkLost { why } => Put::LinkLost(why.clone()),
            Input::Bytes { bytes } => Put::Bytes(text(bytes)),
            Input::Signals { signals, seen } => {
                let before = self.signals.replace(*signals);
                let news = before != Some(*signals);
                let volts = before.map(|b| Signals {
                    volts: signals.volts,
                    ..b
                });
                match seen {
                    Some(seen) if news && volts == Some(*signals) => {
                        Put::Volts(*seen, signals.volts)
                    }
                    Some(seen) => Put::Looked(*seen, news.then_some(*signals)),
                    None if news => Put::Signals(*signals),
                    None => Put::Same,
                }
            }
            Input::Guard { report } => Put::Guard(report.clone()),
            Input::Ask {
                id,
                generation,
                ask: Ask::Load { job: load },
            } => {
                let seal = load.seal.hash().to_owned();
                if self.jobs.insert(seal.clone()) {
                    job = Some(Arc::clone(load));
                }
                Put::Load(*id, *generation, seal)
            }
            Input::Ask {
                id,
                generation,
                ask,
            } => Put::Ask(*id, *generation, ask.clone()),
            Input::Durable { id } => Put::Durable(*id),
            Input::RecordFailed { why } => Put::RecordFailed(why.clone()),
            Input::Screen { there } => Put::Screen(*there),
            Input::Output { output, failed } => Put::Output(*output, failed.clone()),
        };
        (job, Line::In(at.as_us(), put))
    }
}

/// Turns lines into inputs again.
#[derive(Debug, Default)]
pub struct Lengthener {
    signals: Option<Signals>,
    jobs: BTreeMap<String, Arc<Job>>,
}

impl Lengthener {
    /// Takes in a job that a later line loads.
    pub fn job(&mut self, job: Arc<Job>) {
        self.jobs.insert(job.seal.hash().to_owned(), job);
    }

    fn same(&self) -> Result<Signals, String> {
        let none = "the same levels as before, but there are none before";
        self.signals.ok_or_else(|| none.into())
    }

    /// The input of a line.
    ///
    /// # Errors
    /// It leans on a line that is not there, in words.
    pub fn input(&mut self, put: Put) -> Result<Input, String> {
        Ok(match put {
            Put::Tick => Input::Tick,
            Put::LinkOpened => Input::LinkOpened,
            Put::LinkLost(why) => Input::LinkLost { why },
            Put::Bytes(text) => Input::Bytes {
                bytes: bytes(&text)?,
            },
            Put::Signals(signals) => {
                self.signals = Some(signals);
                Input::Signals {
                    signals,
                    seen: None,
                }
            }
            Put::Same => Input::Signals {
                signals: self.same()?,
                seen: None,
            },
            Put::Looked(seen, signals) => {
                self.signals = signals.or(self.signals);
                Input::Signals {
                    signals: self.same()?,
                    seen: Some(seen),
                }
            }
            Put::Volts(seen, volts) => {
                let signals = Signals {
                    volts,
                    ..self.same()?
                };
                self.signals = Some(signals);
                Input::Signals {
                    signals,
                    seen: Some(seen),
                }
            }
            Put::Guard(report) => Input::Guard { report },
            Put::Load(id, generation, seal) => {
                let job = self.jobs.get(&seal);
                let job = job.ok_or_else(|| format!("the job with the seal {seal} is missing"))?;
                Input::Ask {
                    id,
                    generation,
                    ask: Ask::Load {
                        job: Arc::clone(job),
                    },
                }
            }
            Put::Ask(id, generation, ask) => Input::Ask {
                id,
                generation,
                ask,
            },
            Put::Durable(id) => Input::Durable { id },
            Put::RecordFailed(why) => Input::RecordFailed { why },
            Put::Screen(there) => Input::Screen { there },
            Put::Output(output, failed) => Input::Output { output, failed },
        })
    }
}

impl From<&Effect> for Done {
    fn from(effect: &Effect) -> Self {
        match effect {
            Effect::Write {
                bytes,
                take_away: false,
            } => Self::Write(text(bytes)),
            Effect::Write {
                bytes,
                take_away: true,
            } => Self::TakeAway(text(bytes)),
            Effect::OpenLink => Self::OpenLink,
            Effect::CloseLink => Self::CloseLink,
            Effect::Guard { order } => Self::Guard(order.clone()),
            Effect::Record { id, event, durable } => Self::Record(*id, event.clone(), *durable),
            Effect::Outputs { levels } => Self::Outputs(*levels),
            Effect::Publish => Self::Publish,
            Effect::Answer { id, answer } => Self::Answer(*id, answer.clone()),
        }
    }
}

/// Each byte is one character: text stays readable, and nothing is lost.
fn text(bytes: &[u8]) -> String {
    bytes.iter().copied().map(char::from).collect()
}

fn bytes(text: &str) -> Result<Vec<u8>, String> {
    text.chars()
        .map(|c| u8::try_from(c).map_err(|_| format!("{c:?} is no byte of a wire")))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_byte_of_the_wire_comes_back_as_it_was() {
        let all: Vec<u8> = (0..=255).collect();
        let line = Line::In(7, Put::Bytes(text(&all)));
        let json = serde_json::to_string(&line).expect("a form");
        let again: Line = serde_json::from_str(&json).expect("it reads its own form");
        assert_eq!(again, line);
        let Line::In(_, put) = again else {
            panic!("an input was written");
        };
        let input = Lengthener::default().input(put);
        assert_eq!(input, Ok(Input::Bytes { bytes: all }));
    }

    #[test]
    fn levels_that_stay_are_written_once_and_come_back_each_time() {
        let signals = Signals {
            arc_ok: true,
            volts: Some(0.1 + 0.2),
            ..Signals::default()
        };
        let (mut short, mut long) = (Shortener::default(), Lengthener::default());
        let at = Some(Seen::at(Time::from_ms(7)));
        for (expected_same, seen) in [(false, None), (true, None), (true, None), (false, at)] {
            let input = Input::Signals { signals, seen };
            let (_, line) = short.lines(Time::ZERO, &input);
            let json = serde_json::to_string(&line).expect("a form");
            assert_eq!(json.contains("same"), expected_same, "{json}");
            let Ok(Line::In(0, put)) = serde_json::from_str(&json) else {
                panic!("{json}");
            };
            assert_eq!(long.input(put), Ok(input));
        }
    }

    #[test]
    fn where_volts_alone_have_changed_they_alone_are_written() {
        let (mut short, mut long) = (Shortener::default(), Lengthener::default());
        let seen = Some(Seen::at(Time::from_ms(7)));
        let with = |arc_ok, volts| Signals {
            arc_ok,
            volts,
            ..Signals::default()
        };
        let told = [
            (with(true, Some(100.0)), false),
            (with(true, Some(0.1 + 0.2)), true),
            (with(true, None), true),
            (with(false, None), false),
            (with(false, Some(1.0)), true),
        ];
        for (signals, volts_alone) in told {
            let input = Input::Signals { signals, seen };
            let (_, line) = short.lines(Time::ZERO, &input);
            let json = serde_json::to_string(&line).expect("a form");
            assert_eq!(json.contains("\"volts\":[{"), volts_alone, "{json}");
            let Ok(Line::In(0, put)) = serde_json::from_str(&json) else {
                panic!("{json}");
            };
            assert_eq!(long.input(put), Ok(input));
        }
    }

    #[test]
    fn a_number_comes_back_to_the_last_bit() {
        for volts in [0.1 + 0.2, 1.0 / 3.0, 123_456.789_012_345_67, 5e-324] {
            let signals = Signals {
                volts: Some(volts),
                ..Signals::default()
            };
            let json = serde_json::to_string(&Put::Signals(signals)).expect("a form");
            let again: Put = serde_json::from_str(&json).expect("it reads its own form");
            assert_eq!(again, Put::Signals(signals), "{json}");
        }
    }

    #[test]
    fn a_line_that_leans_on_a_missing_one_is_refused() {
        assert!(Lengthener::default().input(Put::Same).is_err());
        let volts = Put::Volts(Seen::at(Time::ZERO), None);
        assert!(Lengthener::default().input(volts).is_err());
        let load = Put::Load(AskId(1), 1, "none".into());
        assert!(Lengthener::default().input(load).is_err());
        assert!(
            Lengthener::default()
                .input(Put::Bytes("\u{100}".into()))
                .is_err()
        );
    }
}
