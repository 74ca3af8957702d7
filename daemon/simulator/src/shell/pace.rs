//! How far table time may have come by now.

use std::time::Instant;

use units::Time;

/// Table time that was not used stays to be used for so long, s of real time: a hiccup is made up
/// for, a stall is not followed by a rush.
const ARREARS_S: f64 = 0.05;

/// A ceiling that rises with real time.
pub(super) struct Pace {
    rate: f64,
    from: Instant,
    from_table: Time,
}

impl Pace {
    pub(super) fn new(rate: f64, now: Time) -> Self {
        Self {
            rate,
            from: Instant::now(),
            from_table: now,
        }
    }

    /// Goes on from `now` at another rate.
    pub(super) fn at(&mut self, rate: f64, now: Time) {
        if (rate - self.rate).abs() > f64::EPSILON {
            *self = Self::new(rate, now);
        }
    }

    /// Table time may have come so far. Table time is `now`.
    pub(super) fn ceiling(&mut self, now: Time) -> Time {
        // Signed: just after arrears were granted, "arrears ago" lies before `from_table`.
        let reached = |real_s: f64| {
            let us = self.from_table.as_us() as f64 + real_s * self.rate * 1e6;
            Time::from_us(us.max(0.0) as u64)
        };
        let real_s = self.from.elapsed().as_secs_f64();
        let ceiling = reached(real_s);
        if now < reached(real_s - ARREARS_S) {
            let kept = (ARREARS_S * self.rate * 1e6) as u64;
            *self = Self::new(self.rate, now);
            self.from_table = Time::from_us(now.as_us() + kept);
            return self.from_table;
        }
        ceiling
    }

    /// Real time until the ceiling has risen to `at`, microseconds.
    pub(super) fn wait_us(&self, at: Time) -> u64 {
        let ahead_us = at.since(self.from_table).as_secs_f64() / self.rate * 1e6;
        let real_us = self.from.elapsed().as_secs_f64() * 1e6;
        (ahead_us - real_us).max(0.0) as u64
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[test]
    fn a_table_that_fell_behind_once_makes_up_for_it_once() {
        let mut pace = Pace::new(1.0, Time::ZERO);
        let Some(long_ago) = Instant::now().checked_sub(Duration::from_secs(1)) else {
            return;
        };
        pace.from = long_ago;
        let granted = pace.ceiling(Time::ZERO);
        assert_eq!(granted, Time::from_ms(50));
        let again = pace.ceiling(granted);
        let since_us = pace.from.elapsed().as_micros() as u64;
        assert!(again.as_us() <= granted.as_us() + since_us, "{again}");
    }
}
