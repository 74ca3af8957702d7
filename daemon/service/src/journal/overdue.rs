//! Whether the disk has stopped answering, judged from outside the writer: a writer that hangs in a
//! write cannot tell it.

use std::time::{Duration, Instant};

use super::writer::{GIVE_UP, RETRY};

/// One look counts as so much waiting at most. A process that stood still (stopped by a signal, no
/// processor to be had) gave its writer no time either, and must not blame the disk for its own absence.
const LOOKS_EVERY: Duration = Duration::from_millis(300);

/// How long rows have waited without one being written.
#[derive(Debug)]
pub struct Overdue {
    /// Rows written at the last look.
    written: u64,
    looked: Instant,
    waited: Duration,
    told: bool,
}

impl Overdue {
    /// Nothing waits yet.
    pub fn new(now: Instant) -> Self {
        Self {
            written: 0,
            looked: now,
            waited: Duration::ZERO,
            told: false,
        }
    }

    /// Looks at `now`, with `taken` rows given to the writer and `written` of them in the file. True
    /// once, when none was written for longer than the writer itself would take to give up (2.1 s).
    pub fn look(&mut self, now: Instant, taken: u64, written: u64) -> bool {
        let since = now.duration_since(self.looked).min(LOOKS_EVERY);
        self.looked = now;
        if written != self.written || written >= taken {
            (self.written, self.waited, self.told) = (written, Duration::ZERO, false);
            return false;
        }
        self.waited += since;
        let tell = !self.told && self.waited > GIVE_UP + RETRY;
        self.told |= tell;
        tell
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: Duration = Duration::from_millis(1);

    /// The looks, 100 ms apart from `from`, until one tells; at most 100.
    fn tells_after(overdue: &mut Overdue, mut now: Instant, taken: u64) -> Option<u32> {
        (1..=100).find(|_| {
            now += 100 * MS;
            overdue.look(now, taken, 0)
        })
    }

    #[test]
    fn a_writer_that_writes_nothing_is_told_once_after_two_seconds() {
        let start = Instant::now();
        let mut overdue = Overdue::new(start);
        assert_eq!(tells_after(&mut overdue, start, 1), Some(22));
        let later = start + 2200 * MS;
        assert_eq!(tells_after(&mut overdue, later, 1), None, "once");
        assert!(!overdue.look(later + 10_100 * MS, 1, 1), "it writes again");
        let again = (1..=100).find(|n| overdue.look(later + (10_100 + 100 * n) * MS, 2, 1));
        assert_eq!(again, Some(22), "and fails again");
    }

    #[test]
    fn time_in_which_the_process_itself_stood_still_is_not_the_disks() {
        let start = Instant::now();
        let mut overdue = Overdue::new(start);
        // A row put just before the process stood still for a minute, or just after.
        assert!(!overdue.look(start + 60_000 * MS, 1, 0));
        assert!(!overdue.look(start + 60_100 * MS, 1, 0));
        assert!(!overdue.look(start + 60_200 * MS, 1, 1));
        assert!(!overdue.look(start + 120_000 * MS, 2, 1));
    }

    #[test]
    fn rows_that_trickle_are_not_overdue() {
        let start = Instant::now();
        let mut overdue = Overdue::new(start);
        for n in 1..200u32 {
            assert!(!overdue.look(start + 1000 * n * MS, 1000, u64::from(n)));
        }
    }
}
