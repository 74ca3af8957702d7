//! Commissioning, as far as the machine has a part in it.

use super::Machine;
use crate::commissioning::Step;
use crate::event::Event;

impl Machine {
    /// A table that comes proved begins with the records of the steps that guard a person, once.
    pub(super) fn come_commissioned(&mut self) {
        let Some(table) = &self.settings.commissioning else {
            return;
        };
        if !table.comes_proved || !self.records.is_empty() {
            return;
        }
        let covered = Step::guarding().filter_map(|s| Some((s, table.covered.get(&s)?.clone())));
        let covered = covered.collect();
        self.record(Event::CameCommissioned { covered }, false);
    }

    /// Which step keeps the table from being started, and why, in words; `None`: none does.
    pub(super) fn open_step_says(&self) -> Option<String> {
        self.records.says(self.settings.commissioning.as_ref()?)
    }
}
