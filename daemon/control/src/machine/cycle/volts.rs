//! Volts that tell of their own wires rather than of the arc: a loose wire, the wrong sign, an input that
//! stands still under a burning arc.

use process::{UNMOVING, VoltsInput};

use super::{Cycle, Stage};
use crate::cause::{Cause, Detail};
use crate::machine::Machine;

/// Below this the wires are swapped, V (process handbook, invented).
pub(super) const INVERTED_V: f64 = -20.0;
/// No open circuit has more, V (process handbook, invented): the divider is not what it is said to be.
pub(super) const OPEN_CIRCUIT_MOST_V: f64 = 400.0;

impl Machine {
    /// What is wrong with the wires of the volts, by what they read now.
    pub(super) fn volts_fault(&self) -> Option<(Detail, String)> {
        let volts = self.signals.volts?;
        if self.signals.volts_input == VoltsInput::WireOff {
            let why = "The input of the arc volts stands where only a loose wire puts it.";
            return Some((Detail::VoltsWireOff, why.into()));
        }
        (volts < INVERTED_V).then(|| {
            let why = format!("{volts:.0} V: the arc volts have the wrong sign.");
            (Detail::VoltsInverted, why)
        })
    }

    /// The volts have not moved at all since the arc came on, or for as long as no arc stands still.
    pub(super) fn volts_stand_still(&mut self, c: &Cycle) -> bool {
        matches!(c.stage, Stage::Pierce(_) | Stage::Path)
            && self.signals.arc_ok
            && self.signals.volts_input == VoltsInput::Unmoving
            && self.due(c.fired + UNMOVING)
    }

    /// Told as volts and arc signal that disagree; `plain`: why, if it is not the volts' own wires.
    pub(super) fn volts_are_odd(&mut self, plain: String) -> (Cause, String) {
        let fault = self.volts_fault();
        let (detail, why) = match fault {
            Some((detail, why)) => (Some(detail), why),
            None if plain.is_empty() => {
                let volts = self.signals.volts.unwrap_or(0.0);
                let ms = UNMOVING.as_millis();
                let why = format!(
                    "The volts stood at {volts:.1} for {ms} ms with the arc on: no arc is so quiet."
                );
                (Some(Detail::VoltsUnmoving), why)
            }
            None => (None, plain),
        };
        self.alarms.measured(Cause::VoltsOdd, detail);
        (Cause::VoltsOdd, why)
    }
}
