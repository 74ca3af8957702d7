//! What the guard and the machine's task share, and the gate that every line passes (S-04).
//!
//! Nothing here is ever locked, so neither side waits for the other. The danger: the machine's task
//! looks, sees no trip, the guard trips and writes its take-away bytes, and only then the line goes
//! out: after the bytes that were to stop it. Both sides therefore leave a mark before they look:
//!
//! * The machine's task counts `passes` up, looks at the epoch, writes one line if nothing speaks
//!   against it, and counts up again: the count is odd while a write may be under way.
//! * The guard, on a trip, stores the new epoch, then looks at the count, then writes. If the count
//!   was even, whoever passes from now on sees the new epoch: no line of before comes after the
//!   bytes. If it was odd, the guard writes its bytes at once all the same, and **once more** when
//!   the count has moved on (within a millisecond of it: its own deadline, no waiting).
//! * Until the last of those bytes is out (`away`) no line of the new epoch passes either.
//!
//! All of it is sequentially consistent, so of the two marks at least one is seen. What is on the
//! wire is then, in every order of events: lines of the old epoch, take-away bytes, lines of the
//! new one; with perhaps some take-away bytes among the old lines. That is the same to the
//! controller as a line that was written just before the trip, whatever its dialect:
//!
//! * With numbered lines of an epoch, the flush that control sends next voids what has not been
//!   executed, the late line among it.
//! * Without, the hold stops what the late line began, torch-off (where there is such a byte) puts
//!   out what it lit, and control's flush empties what is queued. Where there is no such byte a
//!   late torch-on closes K1 under an open K2: the pulses ended before the first byte was written.
//!
//! Take-away bytes act by themselves wherever they fall, in mid-line too, and any number of them is
//! the same as one: to repeat them is always right.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use units::Time;

/// What the guard and the machine's task share: single words, never locked.
#[derive(Debug, Default)]
pub struct Shared {
    lease_us: AtomicU64,
    epoch: AtomicU64,
    /// Take-away bytes of the guard are still to be written.
    away: AtomicBool,
    /// Odd: a line may be on its way to the port.
    passes: AtomicU64,
    next_us: AtomicU64,
    written: AtomicU64,
}

/// What keeps a line from passing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bar {
    /// A trip that control has not handled: the line belongs to an epoch that has ended.
    Trip,
    /// The guard's own bytes are not all out: later.
    NotYet,
}

/// The gate for lines of one epoch.
#[derive(Clone, Copy, Debug)]
pub struct Gate<'a> {
    shared: &'a Shared,
    handled: u64,
}

impl Gate<'_> {
    /// Lets one write pass, if nothing speaks against it.
    ///
    /// # Errors
    /// What does.
    pub fn pass<R>(self, write: impl FnOnce() -> R) -> Result<R, Bar> {
        self.enter();
        let passed = self.look().map(|()| write());
        self.leave();
        passed
    }

    fn enter(self) {
        self.shared.passes.fetch_add(1, Ordering::SeqCst);
    }

    fn look(self) -> Result<(), Bar> {
        if self.shared.epoch.load(Ordering::SeqCst) != self.handled {
            Err(Bar::Trip)
        } else if self.shared.away.load(Ordering::SeqCst) {
            Err(Bar::NotYet)
        } else {
            Ok(())
        }
    }

    fn leave(self) {
        self.shared.passes.fetch_add(1, Ordering::SeqCst);
    }
}

impl Shared {
    /// The gate for lines that belong to what control has handled.
    #[must_use]
    pub fn gate(&self, handled: u64) -> Gate<'_> {
        Gate {
            shared: self,
            handled,
        }
    }

    /// A trip: from here on nothing of an older epoch passes. The guard's alone.
    pub fn shut(&self, epoch: u64) {
        self.away.store(true, Ordering::SeqCst);
        self.epoch.store(epoch, Ordering::SeqCst);
    }

    /// The take-away bytes are out, after everything of before. The guard's alone.
    pub fn settled(&self) {
        self.away.store(false, Ordering::SeqCst);
    }

    /// Take-away bytes of the guard are still to be written.
    #[must_use]
    pub fn away_waits(&self) -> bool {
        self.away.load(Ordering::SeqCst)
    }

    /// How often the gate was entered and left: odd while a line may be on its way.
    #[must_use]
    pub fn passes(&self) -> u64 {
        self.passes.load(Ordering::SeqCst)
    }

    /// Lets control's word hold until `until`.
    pub fn renew(&self, until: Time) {
        self.lease_us.store(until.as_us(), Ordering::Release);
    }

    /// How long control's word holds.
    #[must_use]
    pub fn lease(&self) -> Time {
        Time::from_us(self.lease_us.load(Ordering::Acquire))
    }

    /// The epoch that a line must belong to.
    #[must_use]
    pub fn epoch(&self) -> u64 {
        self.epoch.load(Ordering::SeqCst)
    }

    /// When the guard will act next by itself.
    #[must_use]
    pub fn next(&self) -> Option<Time> {
        match self.next_us.load(Ordering::Acquire) {
            u64::MAX => None,
            us => Some(Time::from_us(us)),
        }
    }

    /// Tells when the guard will act next by itself.
    pub fn set_next(&self, at: Option<Time>) {
        let us = at.map_or(u64::MAX, Time::as_us);
        self.next_us.store(us, Ordering::Release);
    }

    /// Bytes written to the port since it was opened, by both threads.
    #[must_use]
    pub fn written(&self) -> u64 {
        self.written.load(Ordering::Acquire)
    }

    /// Counts written bytes.
    pub fn count_written(&self, n: usize) {
        self.written.fetch_add(n as u64, Ordering::AcqRel);
    }

    /// The port was opened afresh.
    pub fn start_count(&self) {
        self.written.store(0, Ordering::Release);
    }
}

#[cfg(test)]
mod tests;
