//! How much path may be judged once more for the sake of causes.

use core::cell::Cell;

/// More pieces of path than this are not judged twice: causes are told by the rules' groups then.
const PIECES: usize = 200_000;
/// Nor so many in all, each counted as often as it is judged again: a program with several causes at a time
/// would take several times as long as one without.
const JUDGED_AGAIN: usize = 2 * PIECES;

/// What is left of it.
pub(super) struct Budget(Cell<usize>);

impl Budget {
    pub fn new() -> Self {
        Self(Cell::new(JUDGED_AGAIN))
    }

    /// So many pieces of path may be judged once more.
    pub fn allows(&self, pieces: usize) -> bool {
        pieces <= PIECES.min(self.0.get())
    }

    /// Takes so many pieces of path from what is left, if they may be judged.
    pub fn take(&self, pieces: usize) -> bool {
        let allowed = self.allows(pieces);
        if allowed {
            self.0.set(self.0.get() - pieces);
        }
        allowed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_more_is_judged_again_than_twice_the_longest_path_that_is() {
        assert!(!Budget::new().take(PIECES + 1));
        let large = Budget::new();
        assert_eq!([1, 2, 3].map(|_| large.take(150_000)), [true, true, false]);
        // What is left still does for a short one.
        assert!(large.take(100_000));
        assert!(!large.take(1));
        let small = Budget::new();
        let times = (0..10_000).take_while(|_| small.take(100)).count();
        assert_eq!(times, JUDGED_AGAIN / 100);
    }
}
