//! The panel's optional outputs as this table's wires carry them: lamp, sounder, fan. A level that was on
//! falls when its panel goes, as behind a resistor to ground.

use crate::harness::{OutputLog, OutputWires};

/// So many changes are kept; later ones are counted alone.
const MOST: usize = 1000;

/// The wires, and what they did.
#[derive(Clone, Debug, Default)]
pub(crate) struct Outputs {
    now: OutputWires,
    since: u64,
    log: OutputLog,
}

impl Outputs {
    /// The wires carry these levels from now on, ns.
    pub(crate) fn set(&mut self, now: u64, wires: OutputWires) {
        if wires == self.now {
            return;
        }
        self.log = self.told(now);
        self.log.notes += u64::from(wires.sounder && !self.now.sounder);
        if self.log.changes.len() < MOST {
            self.log.changes.push((seconds(now), wires));
        }
        self.now = wires;
        self.since = now;
    }

    pub(crate) fn wires(&self) -> OutputWires {
        self.now
    }

    /// What they did up to now.
    pub(crate) fn told(&self, now: u64) -> OutputLog {
        let mut log = self.log.clone();
        let s = seconds(now.saturating_sub(self.since));
        if self.now.beacon {
            log.beacon_s += s;
        }
        if self.now.extraction {
            log.extraction_s += s;
        }
        log
    }
}

fn seconds(ns: u64) -> f64 {
    (ns / 1000) as f64 / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_wires_did_is_added_up_and_told_change_by_change() {
        let wires = |beacon, sounder| OutputWires {
            beacon,
            sounder,
            extraction: false,
        };
        let s = 1_000_000_000;
        let mut outputs = Outputs::default();
        outputs.set(s, wires(true, false));
        outputs.set(2 * s, wires(true, true));
        outputs.set(3 * s, wires(true, true));
        outputs.set(4 * s, wires(false, false));
        let log = outputs.told(9 * s);
        assert_eq!((log.beacon_s, log.extraction_s, log.notes), (3.0, 0.0, 1));
        let at: Vec<f64> = log.changes.iter().map(|(t, _)| *t).collect();
        assert_eq!(at, [1.0, 2.0, 4.0]);
    }
}
