//! Which stamped edges were given already: a careful controller tells each several times.

use std::collections::VecDeque;

use crate::words::Stamped;

/// So many edges are remembered. A controller repeats within moments; this is far more than can
/// chatter in that time.
const REMEMBERED: usize = 64;

/// The last edges that were given.
#[derive(Debug, Default)]
pub(super) struct Known {
    last: VecDeque<Stamped>,
}

impl Known {
    /// Whether this edge was not given yet; from now on it was.
    ///
    /// The number alone does not tell: a controller that was reset counts from the start again.
    pub(super) fn is_new(&mut self, stamp: &Stamped) -> bool {
        let same = |known: &Stamped| known.number == stamp.number && known.up_ms == stamp.up_ms;
        if self.last.iter().any(same) {
            return false;
        }
        if self.last.len() == REMEMBERED {
            self.last.pop_front();
        }
        self.last.push_back(stamp.clone());
        true
    }
}
