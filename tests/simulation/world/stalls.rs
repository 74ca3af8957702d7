//! Parts of the panel that are kept from going on for a while.

use std::time::Duration;

use units::Time;

use super::World;

/// What can be kept from going on.
#[derive(Clone, Copy)]
pub(super) enum Part {
    Guard,
    Runner,
    Wire,
}

/// Who is kept from going on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    Guard,
    Runner,
    Wire,
    /// The whole process is stopped and goes on later.
    Process,
}

impl Who {
    pub const ALL: [Self; 4] = [Self::Guard, Self::Runner, Self::Wire, Self::Process];

    const fn parts(self) -> &'static [Part] {
        match self {
            Self::Guard => &[Part::Guard],
            Self::Runner => &[Part::Runner],
            Self::Wire => &[Part::Wire],
            Self::Process => &[Part::Guard, Part::Runner],
        }
    }
}

/// Somebody is kept from going on, from a moment on.
#[derive(Clone, Copy, Debug)]
pub struct Stall {
    pub at: Time,
    pub who: Who,
    pub span: Duration,
}

impl World {
    pub(super) fn awake(&self, part: Part) -> bool {
        self.now >= self.asleep[part as usize]
    }

    /// This part is kept from going on from now on.
    pub fn stall(&mut self, who: Who, span: Duration) {
        let until = self.now + span;
        for part in who.parts() {
            self.asleep[*part as usize] = until;
        }
    }

    pub(super) fn begin_stalls(&mut self) {
        while self.stalls.first().is_some_and(|s| s.at <= self.now) {
            let stall = self.stalls.remove(0);
            self.stall(stall.who, stall.span);
        }
    }

    pub(super) fn send_unsent(&mut self) {
        if self.awake(Part::Wire) {
            let bytes = core::mem::take(&mut self.unsent);
            self.write(&bytes);
        }
    }
}
