//! The course of one step at rest: instructions out; levels, answers and time in; a verdict at the end.
//!
//! It knows nothing of the machine. Whatever reads wrong is noted and the rest is still asked for, so that
//! one walk finds all that is wrong.

mod courses;

use core::time::Duration;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

use serde::{Deserialize, Serialize};
use units::Time;

use super::Step;
use super::wire::Wire;
use crate::signals::Signals;

/// Levels count as those at rest when they have stood for this long (ours).
const STANDS: Duration = Duration::from_millis(500);
/// An input that never stands still within this is noted (ours).
const REST_LIMIT: Duration = Duration::from_secs(10);
/// After the first change whatever changes with it or bounces is looked at for this long (ours).
const SETTLES: Duration = Duration::from_millis(300);
/// A contact has come to rest this long after its first change (process handbook, step 2: common practice,
/// invented).
const BOUNCE: Duration = Duration::from_millis(20);
/// A hand has this long for what it is asked for (ours).
const HAND: Duration = Duration::from_secs(60);

/// One thing that is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Turn {
    /// Leave all inputs alone: this is how they read at rest.
    Rest,
    /// Work this one.
    Work(Wire),
    /// Undo that.
    LetGo(Wire),
    /// Take its wire off, and put it back.
    WireOff(Wire),
    WireOn(Wire),
    /// Do something during which this one must not change, and say that it is done.
    Still(Wire, &'static str),
    /// The same; without a yes nothing of the rest is asked for.
    Only(&'static str, &'static str),
    /// A question that a person answers by yes or no; and what no means.
    Say(&'static str, &'static str),
    /// The permit relay is tested by the guard.
    PermitTest,
    /// The sensing circuit is taken off the torch and put on it, and its mirror looked at.
    SenseTest,
    /// The torch is fired without an arc.
    DryFire,
}

impl Turn {
    const fn wire(self) -> Option<Wire> {
        match self {
            Self::Work(w) | Self::LetGo(w) | Self::WireOff(w) | Self::WireOn(w) => Some(w),
            _ => None,
        }
    }

    const fn own(&self) -> Option<Own> {
        match self {
            Self::PermitTest => Some(Own::PermitTest),
            Self::SenseTest => Some(Own::SenseTest),
            Self::DryFire => Some(Own::DryFire),
            _ => None,
        }
    }
}

/// What a hand does to an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Hand {
    /// Works it.
    Work,
    /// Undoes that.
    LetGo,
    /// Takes its wire off.
    WireOff,
    /// Puts it back.
    WireOn,
}

/// What a person is asked for now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instruction {
    /// What to do, or the question.
    pub says: String,
    /// It is a question: yes or no is waited for.
    pub answer: bool,
    /// Which input is worked, and how.
    pub wire: Option<(Wire, Hand)>,
    /// It wants the sensing circuit on the torch.
    pub senses: bool,
}

/// What the machine has to do itself for this turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Own {
    PermitTest,
    SenseTest,
    DryFire,
}

/// How a step went.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// Nothing was found wrong.
    pub passed: bool,
    /// What was measured, or all that was found wrong.
    pub measured: String,
}

/// The course of a step.
#[derive(Clone, Debug)]
pub(crate) struct Sequence {
    turns: VecDeque<Turn>,
    since: Option<Time>,
    fitted: Vec<Wire>,
    /// How each input read at rest.
    rest: BTreeMap<Wire, bool>,
    last: BTreeMap<Wire, bool>,
    /// First and last change of each input in this turn.
    changed: BTreeMap<Wire, (Time, Time)>,
    /// Inputs that were noted as wrong: what follows from that is not told once more.
    bad: BTreeSet<Wire>,
    found: Vec<String>,
    measured: Vec<String>,
}

/// The steps that have a course here.
pub(crate) const fn has_course(step: Step) -> bool {
    matches!(
        step,
        Step::Papers | Step::Inputs | Step::Estop | Step::Permit | Step::Contact | Step::DryFire
    )
}

impl Sequence {
    /// The course of a step on a table with the inputs that read so; `None`: it has none here. `senses`: the
    /// controller can be told to connect the sensing circuit, without which no hand closes its contact.
    pub(crate) fn new(step: Step, levels: &Signals, senses: bool) -> Option<Self> {
        let fitted: Vec<Wire> = Wire::ALL
            .into_iter()
            .filter(|w| w.closed(levels).is_some() && (senses || *w != Wire::Contact))
            .collect();
        let turns = courses::of(step, levels, &fitted, senses)?;
        Some(Self {
            turns: turns.into(),
            since: None,
            fitted,
            rest: BTreeMap::new(),
            last: BTreeMap::new(),
            changed: BTreeMap::new(),
            bad: BTreeSet::new(),
            found: Vec::new(),
            measured: Vec::new(),
        })
    }

    /// What a person is asked for; `None`: nothing, the machine is at work or all is done.
    pub(crate) fn instruction(&self) -> Option<Instruction> {
        let says = |says: &str, answer, wire: Option<(Wire, Hand)>| Instruction {
            says: says.into(),
            answer,
            wire,
            senses: matches!(wire, Some((Wire::Contact, _))),
        };
        Some(match *self.turns.front()? {
            Turn::Rest => Instruction {
                senses: true,
                ..says("Leave every input alone for a moment.", false, None)
            },
            Turn::Work(w) => says(w.by_hand().0, false, Some((w, Hand::Work))),
            Turn::LetGo(w) => says(w.by_hand().1, false, Some((w, Hand::LetGo))),
            Turn::WireOff(w) => {
                let text = format!("Take the wire of {} off its terminal.", w.name());
                says(&text, false, Some((w, Hand::WireOff)))
            }
            Turn::WireOn(w) => says(
                &format!("Put the wire of {} back.", w.name()),
                false,
                Some((w, Hand::WireOn)),
            ),
            Turn::Still(w, what) => Instruction {
                senses: w == Wire::Contact,
                ..says(what, true, None)
            },
            Turn::Say(question, _) | Turn::Only(question, _) => says(question, true, None),
            Turn::PermitTest | Turn::SenseTest | Turn::DryFire => return None,
        })
    }

    /// What the machine has to do itself now.
    pub(crate) fn own(&self) -> Option<Own> {
        self.turns.front().and_then(Turn::own)
    }

    /// Turns that are left.
    pub(crate) fn left(&self) -> usize {
        self.turns.len()
    }

    /// What the machine does by itself as soon as the question that is asked is answered by yes.
    pub(crate) fn follows(&self) -> Option<Own> {
        let asked = self.instruction()?.answer;
        self.turns.get(1).and_then(Turn::own).filter(|_| asked)
    }

    /// The inputs of this step as they read, and whether that is not as it was at rest.
    pub(crate) fn levels(&self, s: &Signals) -> Vec<(Wire, bool, Option<bool>)> {
        let read = |w: &Wire| {
            let closed = w.closed(s)?;
            Some((*w, closed, self.rest.get(w).map(|rest| *rest != closed)))
        };
        self.fitted.iter().filter_map(read).collect()
    }

    /// What was measured so far.
    pub(crate) fn measured(&self) -> &[String] {
        &self.measured
    }

    /// What was found wrong so far.
    pub(crate) fn found(&self) -> &[String] {
        &self.found
    }

    /// How it went, once nothing is left.
    pub(crate) fn outcome(&self) -> Option<Outcome> {
        if !self.turns.is_empty() {
            return None;
        }
        let passed = self.found.is_empty();
        let told = if passed { &self.measured } else { &self.found };
        Some(Outcome {
            passed,
            measured: told.join(" "),
        })
    }

    /// It is to be looked at again then, even if no input changes.
    pub(crate) fn due(&self) -> Option<Time> {
        let since = self.since?;
        let first = self.changed.values().map(|c| c.0).min();
        Some(match self.turns.front()? {
            Turn::Rest => since + STANDS,
            Turn::Say(..)
            | Turn::Only(..)
            | Turn::Still(..)
            | Turn::PermitTest
            | Turn::SenseTest
            | Turn::DryFire => {
                return None;
            }
            _ => first.map_or(since + HAND, |at| at + SETTLES),
        })
    }

    /// The levels at this moment. `true`: another turn has come.
    pub(crate) fn see(&mut self, now: Time, s: &Signals) -> bool {
        let since = *self.since.get_or_insert(now);
        for &wire in &self.fitted {
            let Some(level) = wire.closed(s) else {
                continue;
            };
            let before = self.last.insert(wire, level);
            if before.is_some_and(|b| b != level) {
                let change = self.changed.entry(wire).or_insert((now, now));
                change.1 = now;
            }
        }
        let Some(turn) = self.turns.front().copied() else {
            return false;
        };
        let over = match turn {
            Turn::Rest => self.at_rest(now, since, s),
            Turn::Work(w) | Turn::WireOff(w) => self.worked(now, since, turn, w),
            Turn::LetGo(w) | Turn::WireOn(w) => self.let_go(now, since, w),
            Turn::Still(..)
            | Turn::Say(..)
            | Turn::Only(..)
            | Turn::PermitTest
            | Turn::SenseTest
            | Turn::DryFire => false,
        };
        if over {
            self.next(now);
        }
        over
    }

    /// A person has answered; `true`: it was waited for.
    pub(crate) fn told(&mut self, now: Time, yes: bool) -> bool {
        match self.turns.front().copied() {
            Some(Turn::Say(_, no)) => {
                if !yes {
                    self.found.push(no.into());
                }
            }
            Some(Turn::Only(_, no)) => {
                if !yes {
                    self.found.push(no.into());
                    self.turns.truncate(1);
                }
            }
            Some(Turn::Still(w, _)) => {
                if self.changed.contains_key(&w) {
                    self.found.push(format!("{} changed meanwhile.", w.name()));
                }
                if !yes {
                    self.found.push("The operator could not do it.".into());
                }
            }
            _ => return false,
        }
        self.next(now);
        true
    }

    /// The machine has done its own turn: what it measured, or what was wrong.
    pub(crate) fn done(&mut self, now: Time, how: Result<String, String>) {
        if self.own().is_none() {
            return;
        }
        match how {
            Ok(measured) => self.measured.push(measured),
            // Nothing fires or pulses again by itself after something went wrong.
            Err(wrong) => {
                self.found.push(wrong);
                self.turns.truncate(1);
            }
        }
        self.next(now);
    }

    fn next(&mut self, now: Time) {
        self.turns.pop_front();
        self.since = Some(now);
        self.changed.clear();
    }

    fn wrong(&mut self, wire: Wire, says: String) {
        if self.bad.insert(wire) {
            self.found.push(says);
        }
    }

    fn at_rest(&mut self, now: Time, since: Time, s: &Signals) -> bool {
        let moved = self.changed.values().map(|c| c.1).max();
        if now < moved.unwrap_or(since) + STANDS {
            if now < since + REST_LIMIT {
                return false;
            }
            let restless: Vec<Wire> = self.changed.keys().copied().collect();
            for wire in restless {
                let says = format!(
                    "{} does not come to rest: its contact bounces, or noise comes in by its lead.",
                    wire.name()
                );
                self.wrong(wire, says);
            }
        }
        if s.permit_closed == Some(true) {
            let says = "permit_closed reads closed, and nothing asks for the relay: it is welded, or its mirror \
                        contact is stuck or inverted.";
            self.found.push(says.into());
        }
        self.rest = self.last.clone();
        true
    }

    fn worked(&mut self, now: Time, since: Time, turn: Turn, wire: Wire) -> bool {
        let Some(first) = self.changed.values().map(|c| c.0).min() else {
            if now < since + HAND {
                return false;
            }
            let at_rest = self.rest.get(&wire) == Some(&wire.closed_at_rest());
            let reads = if self.last.get(&wire) == Some(&true) {
                "closed"
            } else {
                "open"
            };
            let says = match (turn, at_rest) {
                (Turn::WireOff(_), _) => format!(
                    "{} still reads {reads} with its wire off: a loose wire would not be seen.",
                    wire.name()
                ),
                (_, true) => format!(
                    "{} did not change when it was worked: it reads {reads} whatever is done. Its wire is \
                     broken, or its contact dead.",
                    wire.name()
                ),
                (_, false) => format!(
                    "{} is stuck: it reads {reads} at rest and when it is worked.",
                    wire.name()
                ),
            };
            self.wrong(wire, says);
            // Nothing more is learnt of it.
            self.turns.retain(|t| t.wire() != Some(wire));
            self.turns.push_front(turn);
            return true;
        };
        if now < first + SETTLES {
            return false;
        }
        self.judge_others(wire);
        self.judge_own(turn, wire);
        true
    }

    /// Only the input that is worked may change.
    fn judge_others(&mut self, wire: Wire) {
        let own = self.changed.contains_key(&wire);
        let others: Vec<Wire> = self
            .changed
            .keys()
            .copied()
            .filter(|w| *w != wire)
            .collect();
        for other in others {
            let says = if own {
                format!(
                    "{} changed together with {}: their wires touch, or share a terminal.",
                    other.name(),
                    wire.name()
                )
            } else {
                format!(
                    "{} changed while {} was worked: their wires are crossed.",
                    other.name(),
                    wire.name()
                )
            };
            self.bad.insert(other);
            self.wrong(wire, says);
        }
    }

    /// It changed in the right sense, and came to rest.
    fn judge_own(&mut self, turn: Turn, wire: Wire) {
        let Some((first, last)) = self.changed.get(&wire).copied() else {
            return;
        };
        let bounced = last.since(first);
        if bounced > BOUNCE {
            let says = format!(
                "{} bounced for {} ms; limit {} ms.",
                wire.name(),
                bounced.as_millis(),
                BOUNCE.as_millis()
            );
            self.wrong(wire, says);
        }
        let (at_rest, now) = (self.rest.get(&wire), self.last.get(&wire));
        if at_rest == now {
            let says = format!("{} did not stay changed while it was worked.", wire.name());
            self.wrong(wire, says);
        } else if matches!(turn, Turn::WireOff(_)) && now == Some(&true) {
            let says = format!(
                "{} reads closed with its wire off: a loose wire would count as safe.",
                wire.name()
            );
            self.wrong(wire, says);
        } else if at_rest != Some(&wire.closed_at_rest()) {
            let says = format!(
                "{name} is inverted: it reads {} at rest. Turn closed_is of pins.inputs.{name} round, or its \
                 contact.",
                if wire.closed_at_rest() {
                    "open"
                } else {
                    "closed"
                },
                name = wire.name()
            );
            self.wrong(wire, says);
        } else if matches!(turn, Turn::Work(_)) && !self.bad.contains(&wire) {
            let ms = bounced.as_millis();
            self.measured
                .push(format!("{} right, {ms} ms.", wire.name()));
        }
    }

    fn let_go(&mut self, now: Time, since: Time, wire: Wire) -> bool {
        if self.rest == self.last {
            let moved = self.changed.values().map(|c| c.1).max();
            return now >= moved.unwrap_or(since) + SETTLES;
        }
        if now < since + HAND {
            return false;
        }
        let stays: Vec<Wire> = self
            .fitted
            .iter()
            .copied()
            .filter(|w| self.rest.get(w) != self.last.get(w))
            .collect();
        for other in stays {
            let reads = if self.last.get(&other) == Some(&true) {
                "closed"
            } else {
                "open"
            };
            let says = format!(
                "{} still reads {reads} after {} was let go: its contact sticks.",
                other.name(),
                wire.name()
            );
            self.wrong(other, says);
        }
        // What follows is judged by how it reads now.
        self.rest = self.last.clone();
        true
    }
}

#[cfg(test)]
mod tests;
