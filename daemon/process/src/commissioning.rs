//! Commissioning: the steps by which a person proves a table before anything is cut on it (process
//! handbook, section 6). What each is called, what is done, by which limit it is judged and which keys
//! of the machine file its record rests on. Measuring and judging is done above this.

mod covered;
mod steps;

use serde::{Deserialize, Serialize};

pub use covered::covered;

/// A step of commissioning, in the order in which they are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "each is described by `StepFacts`")]
pub enum Step {
    Papers,
    Inputs,
    Estop,
    Permit,
    Direction,
    CoarseScale,
    Home,
    Speed,
    PenTrace,
    Repeat,
    TouchOff,
    Contact,
    Volts,
    DryFire,
    Transfer,
    FirstLine,
    SpeedLadder,
    Delays,
    Kerf,
    GaugePlate,
    NoiseSoak,
}

/// What is known of a step, whatever the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StepFacts {
    /// Its name on the command line and in the journal.
    pub key: &'static str,
    /// Its name in a list.
    pub name: &'static str,
    /// What the operator does: one instruction a sentence.
    pub todo: &'static str,
    /// Names of the inputs that are watched; empty: none, or all that are fitted where `every_input`.
    pub watches: &'static [&'static str],
    /// Every input that is fitted is watched.
    pub every_input: bool,
    /// When it has passed.
    pub limit: &'static str,
    /// Where that limit comes from.
    pub source: &'static str,
    /// Keys of the machine file that its record rests on: a change of what stands under them, and only
    /// that, lets the record lapse.
    pub covers: &'static [&'static str],
    /// Its record also rests on the dialect's file.
    pub dialect: bool,
    /// It guards a person: nothing is started before it has passed.
    pub guards: bool,
}

impl Step {
    /// All of them, in their order.
    pub const ALL: [Self; 21] = [
        Self::Papers,
        Self::Inputs,
        Self::Estop,
        Self::Permit,
        Self::Direction,
        Self::CoarseScale,
        Self::Home,
        Self::Speed,
        Self::PenTrace,
        Self::Repeat,
        Self::TouchOff,
        Self::Contact,
        Self::Volts,
        Self::DryFire,
        Self::Transfer,
        Self::FirstLine,
        Self::SpeedLadder,
        Self::Delays,
        Self::Kerf,
        Self::GaugePlate,
        Self::NoiseSoak,
    ];

    /// What is known of it.
    #[must_use]
    pub const fn facts(self) -> StepFacts {
        steps::facts(self)
    }

    /// Its number in the handbook, from 1.
    #[must_use]
    pub const fn number(self) -> u8 {
        self as u8 + 1
    }

    /// The steps that guard a person, in their order.
    pub fn guarding() -> impl Iterator<Item = Self> {
        Self::ALL.into_iter().filter(|s| s.facts().guards)
    }

    /// The step of this name or number.
    #[must_use]
    pub fn named(text: &str) -> Option<Self> {
        let mut all = Self::ALL.into_iter();
        all.find(|s| s.facts().key == text || s.number().to_string() == text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steps_that_guard_a_person_are_those_of_the_handbook() {
        let guards: Vec<u8> = Step::guarding().map(Step::number).collect();
        assert_eq!(guards, [1, 2, 3, 4, 12, 14]);
    }

    #[test]
    fn each_step_is_found_by_name_and_by_number_and_says_what_it_is_judged_by() {
        for (i, step) in Step::ALL.into_iter().enumerate() {
            let facts = step.facts();
            assert_eq!(usize::from(step.number()), i + 1);
            assert_eq!(Step::named(facts.key), Some(step));
            assert_eq!(Step::named(&(i + 1).to_string()), Some(step));
            for text in [facts.name, facts.todo, facts.limit, facts.source] {
                assert!(!text.is_empty(), "{step:?}");
            }
            assert!(!facts.covers.is_empty() || facts.dialect, "{step:?}");
            let written = toml::Value::try_from(step).expect("writes");
            assert_eq!(written.as_str(), Some(facts.key), "{step:?}");
        }
        assert_eq!(Step::named("0"), None);
        assert_eq!(Step::named("inputs "), None);
    }
}
