//! The one small trait behind which pins and the clock lie: a board's, or the simulated table's.
//!
//! No other code knows pins. Whoever implements this must never report a level that it did not
//! read: when in doubt it returns an error, and an error counts as an emergency stop.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use control::{Opened, Signals};
use units::Time;

/// The clock that every decision is made by.
pub trait Clock: Send + Sync {
    /// The moment now.
    fn now(&self) -> Time;

    /// Resolves once the clock has come to `at`. A clock that is moved on by [`Turn`]s never
    /// resolves it: there the turn itself brings the moment.
    fn wait_until(&self, at: Time) -> Pin<Box<dyn Future<Output = ()> + Send + '_>>;
}

/// A moment that must be dealt with to the end before the clock goes on. Only clocks that wait
/// for the service hand these out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn {
    /// Names the turn in the answer.
    pub seq: u64,
    /// How often the port had been opened when `sent` was counted.
    pub opens: u64,
    /// Bytes that the controller has sent since the port was opened: all must have been read.
    pub sent: u64,
}

/// Who is told that a turn was dealt with.
pub trait TurnEnd: Send {
    /// Everything that follows from the turn is done.
    fn ended(&mut self, turn: Turn, written: u64, next: Option<Time>);
    /// The port was opened and its input cleared.
    fn port_opened(&mut self);
}

/// What a wait came back with.
#[derive(Clone, Copy, Debug)]
pub struct Reading {
    /// When the levels were read.
    pub at: Time,
    /// All levels, read afresh: an edge may be lost, a level may not.
    pub signals: Signals,
    /// What opened since the reading before, though its level may have come back, and whether every
    /// edge since then was seen. Whoever keeps no edges says so by [`Opened::missed`].
    pub opened: Opened,
    /// Set by a clock that waits for the service.
    pub turn: Option<Turn>,
}

/// Why the pins cannot be believed.
#[derive(Clone, Debug, thiserror::Error)]
#[error("{says}. {remedy}")]
pub struct PinsError {
    /// What and where.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

/// Wakes a waiting guard.
pub trait Wake: Send + Sync {
    /// Makes the current or next [`Pins::wait`] return: at once where the pins have one descriptor to
    /// wait on, else within their slice of some milliseconds.
    fn wake(&self);
}

/// The pins as the guard's thread sees them.
pub trait Pins: Send {
    /// The clock that these pins are stamped by.
    fn clock(&self) -> Arc<dyn Clock>;

    /// Something by which other threads can end a wait early.
    fn waker(&self) -> Arc<dyn Wake>;

    /// Waits until a level changes, `deadline` comes or it is woken, then reads all levels.
    ///
    /// # Errors
    /// The levels could not be read. The guard takes that as an emergency stop.
    fn wait(&mut self, deadline: Option<Time>) -> Result<Reading, PinsError>;

    /// Puts a level on the permit pin.
    ///
    /// # Errors
    /// The pin could not be driven.
    fn set_permit(&mut self, level: bool) -> Result<(), PinsError>;

    /// Real time passes on these pins: whoever watches them should come before all else. A table
    /// whose clock waits needs none of that.
    fn in_real_time(&self) -> bool {
        true
    }
}

/// The monotonic clock of this machine, from the moment it was made: the clock by which the kernel
/// stamps edges.
#[derive(Clone, Copy, Debug)]
pub struct Monotonic {
    /// The kernel's clock then, ns.
    start_ns: u64,
}

impl Monotonic {
    /// A clock that starts now.
    #[must_use]
    pub fn starting_now() -> Self {
        Self::from_kernel(kernel_ns())
    }

    /// A clock that started when the kernel's own stood there, ns.
    #[must_use]
    pub fn from_kernel(start_ns: u64) -> Self {
        Self { start_ns }
    }

    /// The moment at which the kernel's monotonic clock stands at `ns`; zero for all that was before
    /// this clock began.
    #[must_use]
    pub fn of_kernel(&self, ns: u64) -> Time {
        Time::ZERO + Duration::from_nanos(ns.saturating_sub(self.start_ns))
    }
}

fn kernel_ns() -> u64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::Monotonic);
    // It counts from the machine's start and is never negative.
    let part = |n: i64| u64::try_from(n).unwrap_or(0);
    part(now.tv_sec) * 1_000_000_000 + part(now.tv_nsec)
}

impl Clock for Monotonic {
    fn now(&self) -> Time {
        self.of_kernel(kernel_ns())
    }

    fn wait_until(&self, at: Time) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        let span = at.since(self.now());
        Box::pin(tokio::time::sleep(span))
    }
}
