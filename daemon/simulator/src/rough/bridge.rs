//! Slag between nozzle and shield after a pierce: the contact stays closed in the air until it falls
//! off or is cleaned off.

use crate::chance::{Chance, Draws};

/// Chance after a pierce, and after one from too low.
const AFTER_PIERCE: f64 = 0.003;
const AFTER_LOW: f64 = 0.03;
/// Chance that lifting and the air of the post-flow take it away.
const BLOWN_OFF: f64 = 0.6;

#[derive(Clone, Debug)]
pub(crate) struct Bridges {
    chance: Chance,
    /// It has not been lifted since.
    pub(crate) fresh: bool,
}

impl Bridges {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            chance: Chance::new(seed, Draws::Bridge),
            fresh: false,
        }
    }

    /// The sheet was pierced. `true`: slag bridges the nozzle.
    pub(crate) fn pierced(&mut self, low: bool) -> bool {
        let bridged = self
            .chance
            .happens(if low { AFTER_LOW } else { AFTER_PIERCE });
        self.fresh |= bridged;
        bridged
    }

    /// The torch is lifted for the first time since. `true`: it has come off.
    pub(crate) fn lifted(&mut self) -> bool {
        core::mem::take(&mut self.fresh) && self.chance.happens(BLOWN_OFF)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::fits;

    #[test]
    fn bridges_come_after_pierces_at_their_rates_and_six_in_ten_are_blown_off() {
        let (mut high, mut low, mut off, mut of) = (0, 0, 0, 0);
        for seed in 0..200 {
            let mut bridges = Bridges::new(seed);
            for _ in 0..500 {
                high += usize::from(bridges.pierced(false));
                low += usize::from(bridges.pierced(true));
                if bridges.fresh {
                    of += 1;
                    off += usize::from(bridges.lifted());
                    assert!(!bridges.lifted(), "a second lift takes nothing");
                }
            }
        }
        assert!(fits(high, 100_000, AFTER_PIERCE), "{high}");
        assert!(fits(low, 100_000, AFTER_LOW), "{low}");
        assert!(fits(off, of, BLOWN_OFF), "{off} of {of}");
    }
}
