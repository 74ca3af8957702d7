//! A moment on the one clock that decisions are made by.

use core::fmt;
use core::ops::{Add, AddAssign};
use core::time::Duration;

use serde::{Deserialize, Serialize};

/// A moment: microseconds since the clock started.
///
/// On a real table that clock is the monotonic one of the panel; in practice it is the simulated
/// table's. Pure code is handed a `Time`, it never asks for one.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Time(u64);

impl Time {
    /// When the clock started.
    pub const ZERO: Self = Self(0);

    /// The moment `us` microseconds after the clock started.
    #[must_use]
    pub const fn from_us(us: u64) -> Self {
        Self(us)
    }

    /// The moment `ms` milliseconds after the clock started.
    #[must_use]
    pub const fn from_ms(ms: u64) -> Self {
        Self(ms * 1000)
    }

    /// Microseconds since the clock started.
    #[must_use]
    pub const fn as_us(self) -> u64 {
        self.0
    }

    /// Seconds since the clock started.
    #[must_use]
    pub fn as_s(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// How long ago `earlier` was; nothing if it is not earlier.
    #[must_use]
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_micros(self.0.saturating_sub(earlier.0))
    }

    /// The sooner of two optional deadlines; `None` means "never".
    #[must_use]
    pub fn sooner(a: Option<Self>, b: Option<Self>) -> Option<Self> {
        match (a, b) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (one, None) | (None, one) => one,
        }
    }
}

impl Add<Duration> for Time {
    type Output = Self;
    fn add(self, span: Duration) -> Self {
        Self(self.0.saturating_add(span.as_micros() as u64))
    }
}

impl AddAssign<Duration> for Time {
    fn add_assign(&mut self, span: Duration) {
        *self = *self + span;
    }
}

impl fmt::Display for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.3} s", self.as_s())
    }
}
