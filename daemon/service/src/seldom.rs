//! Log lines that anybody can bring about as often as he likes are written a few times a second.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Lets one of many through in a time, and counts the others.
#[derive(Debug, Default)]
pub struct Seldom {
    last: Mutex<Option<Instant>>,
    others: AtomicU64,
}

impl Seldom {
    /// Nothing was let through yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            last: Mutex::new(None),
            others: AtomicU64::new(0),
        }
    }

    /// `Some`: this one is let through, and so many were not since the last; `None`: it is not, for
    /// the last was less than `every` ago.
    pub fn now(&self, every: Duration) -> Option<u64> {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        if last.is_some_and(|at| at.elapsed() < every) {
            self.others.fetch_add(1, Ordering::Relaxed);
            return None;
        }
        *last = Some(Instant::now());
        Some(self.others.swap(0, Ordering::Relaxed))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_thousand_at_once_one_is_let_through_and_the_next_tells_of_the_others() {
        let seldom = Seldom::new();
        let hour = Duration::from_secs(3600);
        let through = (0..1000)
            .filter_map(|_| seldom.now(hour))
            .collect::<Vec<_>>();
        assert_eq!(through, [0]);
        assert_eq!(seldom.now(Duration::ZERO), Some(999));
    }
}
