//! What an event tells of the commissioning of the table.

use super::Event;
use crate::commissioning::{Record, Records};

impl Records {
    /// Goes on by what was recorded next.
    pub fn take(&mut self, event: &Event) {
        match event {
            Event::Commissioned {
                step,
                passed,
                measured,
                covered,
                simulated,
            } => {
                let record = Record {
                    passed: *passed,
                    measured: measured.clone(),
                    covered: covered.clone(),
                    simulated: *simulated,
                };
                self.put(*step, record);
            }
            Event::CameCommissioned { covered } => {
                for (step, covered) in covered {
                    let record = Record {
                        passed: true,
                        measured: "Simulated: nothing was measured.".into(),
                        covered: covered.clone(),
                        simulated: true,
                    };
                    self.put(*step, record);
                }
            }
            _ => {}
        }
    }
}
