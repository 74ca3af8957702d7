//! What is on record of the commissioning of a table, and whether it still stands.
//!
//! A record names the parts of the machine file that it rests on by their hash. It stands as long as they
//! are what they were: whatever else is changed leaves it alone. A record of the simulated table counts for
//! that table and for no other.

mod sequence;
mod wire;

use std::collections::BTreeMap;

pub use process::commissioning::{Step, StepFacts};
pub use sequence::{Hand, Instruction, Outcome};
pub(crate) use sequence::{Own, Sequence, has_course};
use serde::{Deserialize, Serialize};
pub use wire::Wire;

/// What the machine must know of the table's commissioning, from the machine file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Commissioning {
    /// Of each step: the hash of what its record rests on, as the machine file is today.
    pub covered: BTreeMap<Step, String>,
    /// The table is the simulated one.
    #[serde(default)]
    pub simulated: bool,
    /// A state folder without any record begins with those that guard a person.
    #[serde(default)]
    pub comes_proved: bool,
}

/// How one step went when it was made last.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record {
    /// All of it was within its limit.
    pub passed: bool,
    /// What was measured or seen, in a sentence.
    pub measured: String,
    /// Hash of the parts of the machine file that it rests on, as they were.
    pub covered: String,
    /// It was made on the simulated table.
    pub simulated: bool,
}

/// Whether a step's record stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// It was never made on this table.
    Missing,
    /// It was not within its limit when it was made last.
    Failed,
    /// It passed, and the machine file was changed since in a part that it rests on.
    Lapsed,
    /// It passed, and nothing that it rests on was changed since.
    Stands,
}

/// The records, folded from the journal: of each step the last.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Records(BTreeMap<Step, Record>);

impl Records {
    /// The step was made, and went so.
    pub(crate) fn put(&mut self, step: Step, record: Record) {
        self.0.insert(step, record);
    }

    /// Nothing was ever recorded.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The record of a step, whether it stands or not.
    #[must_use]
    pub fn of(&self, step: Step) -> Option<&Record> {
        self.0.get(&step)
    }

    /// Whether a step's record stands for this table.
    #[must_use]
    pub fn standing(&self, step: Step, table: &Commissioning) -> Standing {
        match self.of(step) {
            None => Standing::Missing,
            Some(record) if record.simulated != table.simulated => Standing::Missing,
            Some(record) if !record.passed => Standing::Failed,
            Some(record) if table.covered.get(&step) != Some(&record.covered) => Standing::Lapsed,
            Some(_) => Standing::Stands,
        }
    }

    /// A step's record stands for this table.
    #[must_use]
    pub fn stands(&self, step: Step, table: &Commissioning) -> bool {
        self.standing(step, table) == Standing::Stands
    }

    /// The first step that guards a person and does not stand.
    #[must_use]
    pub fn first_open(&self, table: &Commissioning) -> Option<(Step, Standing)> {
        Step::guarding()
            .map(|step| (step, self.standing(step, table)))
            .find(|(_, standing)| *standing != Standing::Stands)
    }

    /// What keeps the torch from being started, and what to do, in words; `None`: nothing.
    #[must_use]
    pub fn says(&self, table: &Commissioning) -> Option<String> {
        let (step, standing) = self.first_open(table)?;
        let (number, name) = (step.number(), step.facts().name);
        let why = match standing {
            Standing::Failed => match self.of(step) {
                Some(record) => format!("did not pass. {}", record.measured),
                None => "did not pass.".into(),
            },
            Standing::Lapsed => "lapsed: the machine file was changed.".into(),
            _ => "was not made on this table.".into(),
        };
        Some(format!(
            "Step {number}, {name}, {why} Make it: commission {}.",
            step.facts().key
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Commissioning {
        let covered = Step::ALL
            .into_iter()
            .map(|s| (s, format!("h{}", s.number())));
        Commissioning {
            covered: covered.collect(),
            ..Commissioning::default()
        }
    }

    fn made(step: Step, passed: bool, simulated: bool) -> Record {
        Record {
            passed,
            measured: "Seen.".into(),
            covered: format!("h{}", step.number()),
            simulated,
        }
    }

    fn all_made(simulated: bool) -> Records {
        let mut records = Records::default();
        for step in Step::guarding() {
            records.put(step, made(step, true, simulated));
        }
        records
    }

    #[test]
    fn every_step_that_guards_a_person_must_stand_and_no_other() {
        assert_eq!(all_made(false).first_open(&table()), None);
        for step in Step::ALL {
            let mut records = all_made(false);
            records.put(step, made(step, false, false));
            let open = records.first_open(&table());
            let wanted = step.facts().guards.then_some((step, Standing::Failed));
            assert_eq!(open, wanted, "{step:?}");
            let mut table = table();
            table.covered.insert(step, "changed".into());
            let open = all_made(false).first_open(&table);
            let wanted = step.facts().guards.then_some((step, Standing::Lapsed));
            assert_eq!(open, wanted, "{step:?}");
        }
        let open = Records::default().first_open(&table());
        assert_eq!(open, Some((Step::Papers, Standing::Missing)));
    }

    #[test]
    fn a_step_that_is_made_again_counts_as_it_went_last() {
        let mut records = all_made(false);
        records.put(Step::Inputs, made(Step::Inputs, false, false));
        assert_eq!(records.standing(Step::Inputs, &table()), Standing::Failed);
        records.put(Step::Inputs, made(Step::Inputs, true, false));
        assert_eq!(records.standing(Step::Inputs, &table()), Standing::Stands);
    }

    #[test]
    fn records_of_the_simulated_table_count_for_no_other_nor_the_other_way() {
        let mut simulated = table();
        simulated.simulated = true;
        let missing = Some((Step::Papers, Standing::Missing));
        assert_eq!(all_made(true).first_open(&simulated), None);
        assert_eq!(all_made(true).first_open(&table()), missing);
        assert_eq!(all_made(false).first_open(&simulated), missing);
    }
}
