//! Wear of electrode and nozzle: a share of their life that is used up.

use crate::chance::{Chance, Draws};

/// Starts in a life, seconds of arc in a life, starts that a loss and a low pierce count for.
const STARTS: f64 = 600.0;
const ARC_S: f64 = 9000.0;
const LOSS_STARTS: f64 = 10.0;
const LOW_STARTS: f64 = 2.0;
/// The parts that are in the torch when the table is switched on are worn up to this (invented here).
const AT_FIRST: f64 = 0.8;
/// From here on the pilot misfires more and more.
const TIRED: f64 = 0.85;
/// Blown: no arc transfers any more.
const BLOWN: f64 = 1.1;

#[derive(Clone, Debug)]
pub(crate) struct Wear {
    used: f64,
}

impl Wear {
    pub(crate) fn new(seed: u64) -> Self {
        let used = Chance::new(seed, Draws::Wear).within(0.0, AT_FIRST);
        Self { used }
    }

    /// New parts.
    pub(crate) fn fresh() -> Self {
        Self { used: 0.0 }
    }

    /// Share of a life, 1 and more: worn out.
    pub(crate) fn used(&self) -> f64 {
        self.used
    }

    pub(crate) fn blown(&self) -> bool {
        self.used > BLOWN
    }

    pub(crate) fn started(&mut self, wet_air: bool) {
        self.add(1.0 / STARTS, wet_air);
    }

    pub(crate) fn burnt(&mut self, dt_s: f64, wet_air: bool) {
        self.add(dt_s / ARC_S, wet_air);
    }

    pub(crate) fn lost(&mut self) {
        self.add(LOSS_STARTS / STARTS, false);
    }

    pub(crate) fn pierced_low(&mut self) {
        self.add(LOW_STARTS / STARTS, false);
    }

    fn add(&mut self, share: f64, wet_air: bool) {
        self.used += if wet_air { 2.0 * share } else { share };
    }

    /// New parts.
    pub(crate) fn renewed(&mut self) {
        self.used = 0.0;
    }
}

/// Chance that a pilot strikes with parts so worn.
pub(crate) fn strikes(used: f64) -> f64 {
    (0.995 - 0.5 * (used - TIRED).max(0.0) / 0.15).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_hundred_starts_or_nine_thousand_seconds_or_sixty_losses_are_a_life() {
        let fresh = || Wear { used: 0.0 };
        let mut wear = fresh();
        (0..600).for_each(|_| wear.started(false));
        assert!((wear.used() - 1.0).abs() < 1e-9);
        let mut wear = fresh();
        (0..9000).for_each(|_| wear.burnt(1.0, false));
        assert!((wear.used() - 1.0).abs() < 1e-9);
        let mut wear = fresh();
        (0..60).for_each(|_| wear.lost());
        assert!((wear.used() - 1.0).abs() < 1e-9);
        let mut wear = fresh();
        (0..300).for_each(|_| wear.started(true));
        assert!((wear.used() - 1.0).abs() < 1e-9, "wet air wears twice");
    }

    #[test]
    fn a_worn_pilot_strikes_half_as_often_when_its_life_is_over() {
        assert!((strikes(0.0) - 0.995).abs() < 1e-12);
        assert!((strikes(1.0) - 0.495).abs() < 1e-9);
        assert!(strikes(1.2) >= 0.0);
    }
}
