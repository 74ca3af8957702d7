//! HOLD, on a screen or by the wired button: taken in every state, and never swallowed.
//!
//! | while | it does |
//! |---|---|
//! | a run, or any other motion or pulses | stops it; a run is held |
//! | a stop | no second try and no going on; a new press also ends the lift |
//! | nothing moves | the take-away bytes and an empty queue; nothing else |
//!
//! In each: it is journalled once for each press, and whatever was asked for by somebody who has not
//! seen it is refused. A press that is sent again, or a contact that bounces, is no new press.

use core::time::Duration;
use std::collections::VecDeque;

use units::Time;

use super::Machine;
use crate::ask::PressId;
use crate::cause::Cause;
use crate::event::Event;

/// So many presses are known by name: a screen names one anew only when a finger comes down.
const KEPT: usize = 64;
/// A wired button that closes again this soon is bouncing (invented).
const BOUNCE: Duration = Duration::from_millis(50);

/// The presses of HOLD since switch-on.
#[derive(Clone, Debug, Default)]
pub(crate) struct Presses {
    known: VecDeque<PressId>,
    count: u64,
    button_at: Option<Time>,
}

impl Presses {
    /// This press was taken before.
    pub(crate) fn knows(&self, press: PressId) -> bool {
        self.known.contains(&press)
    }

    /// How many there were.
    pub(crate) fn count(&self) -> u64 {
        self.count
    }

    fn take(&mut self, press: Option<PressId>) {
        self.count += 1;
        if let Some(press) = press {
            if self.known.len() == KEPT {
                self.known.pop_front();
            }
            self.known.push_back(press);
        }
    }
}

impl Machine {
    /// HOLD was pressed on a screen.
    pub(super) fn hold(&mut self, press: Option<PressId>) {
        self.presses.take(press);
        self.pressed(self.now, false);
    }

    /// The wired button was pressed: the guard has ended the pulses and written the take-away bytes.
    pub(super) fn hold_by_button(&mut self, at: Time) {
        let bounces = self
            .presses
            .button_at
            .is_some_and(|t| at < t + BOUNCE && (self.stopping() || !self.active()));
        self.presses.button_at = Some(at);
        if !bounces {
            self.presses.take(None);
            self.pressed(at, true);
        } else if self.stopping() {
            self.hold_further(at, false);
        } else {
            self.halt();
        }
    }

    fn pressed(&mut self, at: Time, button: bool) {
        if self.stopping() {
            self.hold_further(at, true);
        } else if self.active() {
            let why = if button {
                self.why_tripped(Cause::Hold)
            } else {
                "HOLD was pressed on a screen.".into()
            };
            self.stop_why(Cause::Hold, at, why);
        } else {
            self.halt();
        }
        // Whatever comes next lifts first.
        self.leave_mark();
        self.record(Event::HoldPressed { button }, true);
        self.out.publish();
    }
}
