//! A wet nozzle: spray or condensation closes the ohmic circuit before the torch touches, at another
//! height each time.

use crate::chance::{Chance, Draws};

/// Chance that a touch-off finds the nozzle wet. The handbook gives none: invented here.
const WET: f64 = 0.01;
/// A wet circuit closes within this of the sheet, mm.
const REACH_MM: f64 = 2.0;

/// Whether it is wet, until somebody wipes it.
#[derive(Clone, Debug)]
pub(crate) struct Wet {
    chance: Chance,
    wet: bool,
    touching: bool,
    /// So far above the surface this touch closes, mm.
    above_mm: f64,
}

impl Wet {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            chance: Chance::new(seed, Draws::Wet),
            wet: false,
            touching: false,
            above_mm: 0.0,
        }
    }

    /// A touch-off is under way or not. `true`: the nozzle has just become wet.
    pub(crate) fn touches(&mut self, touching: bool) -> bool {
        let begins = touching && !self.touching;
        self.touching = touching;
        if !begins {
            return false;
        }
        let now = !self.wet && self.chance.happens(WET);
        self.wet |= now;
        self.above_mm = if self.wet {
            self.chance.within(0.0, REACH_MM)
        } else {
            0.0
        };
        now
    }

    /// So far above the surface the circuit closes, mm.
    pub(crate) fn above_mm(&self) -> f64 {
        self.above_mm
    }

    /// Somebody has wiped it.
    pub(crate) fn wiped(&mut self) {
        self.wet = false;
        self.above_mm = 0.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::fits;

    #[test]
    fn one_touch_in_a_hundred_finds_it_wet_and_it_stays_so_until_wiped() {
        let mut seen = 0;
        for seed in 0..100 {
            let mut wet = Wet::new(seed);
            for _ in 0..200 {
                if wet.touches(true) {
                    seen += 1;
                    assert!(wet.above_mm() <= REACH_MM);
                    wet.touches(false);
                    assert!(!wet.touches(true), "it was wet already");
                    assert!(wet.above_mm() > 0.0);
                    wet.wiped();
                }
                wet.touches(false);
            }
        }
        assert!(fits(seen, 20_000, WET), "{seen}");
    }
}
