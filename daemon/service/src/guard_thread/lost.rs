//! Edges that were lost are told, and no oftener than a person would read it.

use std::time::Duration;

use units::Time;

/// What is lost in this time is told together.
const TOGETHER: Duration = Duration::from_secs(10);

/// Edges that were lost and not told yet.
#[derive(Clone, Copy, Debug, Default)]
pub struct Lost {
    edges: u32,
    told: Option<Time>,
}

impl Lost {
    /// So many more are lost. Gives how many to tell of, if it is time.
    pub fn tell(&mut self, now: Time, more: u32) -> Option<u32> {
        self.edges = self.edges.saturating_add(more);
        let due = self.told.is_none_or(|at| now.since(at) >= TOGETHER);
        if self.edges == 0 || !due {
            return None;
        }
        self.told = Some(now);
        Some(core::mem::take(&mut self.edges))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_loss_is_told_at_once_and_a_storm_of_them_together() {
        let mut lost = Lost::default();
        assert_eq!(lost.tell(Time::ZERO, 0), None);
        let told: Vec<(u64, u32)> = (0..=25_000)
            .filter_map(|ms| {
                let more = u32::from((5..15_000).contains(&ms));
                lost.tell(Time::from_ms(ms), more).map(|n| (ms, n))
            })
            .collect();
        assert_eq!(told, [(5, 1), (10_005, 10_000), (20_005, 4_994)]);
    }
}
