//! How many refusals are recorded: a script that asks in vain a thousand times a second must not fill the
//! journal. Each is answered all the same.

use core::time::Duration;

use units::Time;

/// So many are recorded of those that come within [`WITHIN`] (ours).
const MOST: u32 = 4;
const WITHIN: Duration = Duration::from_secs(1);

/// Counts them.
#[derive(Clone, Debug, Default)]
pub(super) struct Refusals {
    since: Option<Time>,
    told: u32,
}

impl Refusals {
    /// Whether this one is recorded.
    pub fn is_told(&mut self, now: Time) -> bool {
        if self.since.is_none_or(|since| now.since(since) >= WITHIN) {
            self.since = Some(now);
            self.told = 0;
        }
        self.told += 1;
        self.told <= MOST
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_is_recorded_a_few_times_a_second() {
        let mut refusals = Refusals::default();
        let told = (0..10_000).filter(|ms| refusals.is_told(Time::from_ms(*ms)));
        assert_eq!(told.count(), 40);
    }
}
