//! Buttons that a hand presses: the hold button, and the emergency stop, which stays down until it
//! is released.

use super::Table;
use crate::harness::{FaultKind, FaultSpec};

const MS: u64 = 1_000_000;
/// A hand keeps the hold button pressed for so long.
const HOLD_NS: u64 = 120 * MS;
/// Then it presses the emergency stop, and releases it after this.
const PAUSE_NS: u64 = 200 * MS;
const STOP_NS: u64 = 300 * MS;

/// What is to be done with a button, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Act {
    Hold(bool),
    Stop(bool),
}

/// The buttons, and what the hands have begun.
#[derive(Clone, Debug, Default)]
pub(crate) struct Buttons {
    hold: bool,
    /// Soonest first.
    due: Vec<(u64, Act)>,
}

impl Buttons {
    pub(crate) fn hold_pressed(&self) -> bool {
        self.hold
    }

    pub(crate) fn next(&self) -> Option<u64> {
        self.due.first().map(|d| d.0)
    }
}

impl Table {
    /// Presses the hold button, or lets it go.
    pub fn press_hold(&mut self, pressed: bool) {
        self.buttons.hold = pressed;
    }

    /// Strikes the emergency stop; somebody frees it when he sees to the table.
    pub fn strike_stop(&mut self) {
        self.happen(
            self.now,
            FaultSpec {
                kind: FaultKind::Estop,
                cut: 0,
                mm: None,
            },
            self.controller.true_place().0,
            false,
        );
    }

    /// Presses the hold button for a moment, then the emergency stop, and releases it.
    pub fn try_buttons(&mut self) {
        if !self.buttons.due.is_empty() {
            return;
        }
        let stop = self.now + HOLD_NS + PAUSE_NS;
        self.buttons.hold = true;
        self.buttons.due = vec![
            (self.now + HOLD_NS, Act::Hold(false)),
            (stop, Act::Stop(true)),
            (stop + STOP_NS, Act::Stop(false)),
        ];
    }

    pub(super) fn work_buttons(&mut self, now: u64) {
        while let Some((_, act)) = self.buttons.due.first().copied().filter(|d| d.0 <= now) {
            self.buttons.due.remove(0);
            match act {
                Act::Hold(pressed) => self.buttons.hold = pressed,
                Act::Stop(pressed) => {
                    self.wrongs.chain_open = pressed;
                    self.controller.chain(now, pressed);
                }
            }
        }
    }
}
