//! An input whose edges come far more often than a contact's do is told, and not for each edge.

use std::time::Duration;

use units::Time;

/// So many edges in a second are told: a contact that bounces for 20 ms at each of 10 changes a second
/// makes fewer (ours, from memory of bounce at 1 to 2 kHz).
const MANY: u32 = 500;

/// Counted over.
const WINDOW: Duration = Duration::from_secs(1);

/// Not told again before this.
const AGAIN: Duration = Duration::from_secs(60);

/// One input's edges.
#[derive(Clone, Copy, Debug, Default)]
pub struct Storm {
    from: Time,
    edges: u32,
    told: Option<Time>,
}

impl Storm {
    /// So many edges more were seen or missed by `now`. Gives how many there were in this second if it
    /// is time to say so.
    pub fn edges(&mut self, now: Time, more: u32) -> Option<u32> {
        if now.since(self.from) >= WINDOW {
            self.from = now;
            self.edges = 0;
        }
        self.edges = self.edges.saturating_add(more);
        let quiet = self.told.is_some_and(|at| now.since(at) < AGAIN);
        if self.edges < MANY || quiet {
            return None;
        }
        self.told = Some(now);
        Some(self.edges)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_storm_is_told_once_a_minute_and_what_a_contact_does_never() {
        let mut storm = Storm::default();
        let calm = (0..3_000).filter_map(|k| storm.edges(Time::from_ms(k * 3), 1));
        assert_eq!(calm.count(), 0, "333 a second");
        let told: Vec<u64> = (0..120_000)
            .filter(|k| storm.edges(Time::from_ms(10_000 + k), 1).is_some())
            .collect();
        assert_eq!(told, [499, 60_499]);
        assert_eq!(
            Storm::default().edges(Time::ZERO, 600),
            Some(600),
            "lost ones count"
        );
    }
}
