//! Seeded draws. One generator a module, so that a fault in one does not shift another's draws.

use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Which module draws.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Draws {
    Wire = 1,
    Controller = 2,
    Source = 3,
    Sheet = 4,
    Contact = 5,
    Film = 6,
    Wet = 7,
    Bridge = 8,
    Wear = 9,
    Air = 10,
    Bursts = 11,
    Drives = 12,
    Trips = 13,
    Tips = 14,
    Losses = 15,
    Meter = 16,
}

/// One module's generator.
#[derive(Clone, Debug)]
pub(crate) struct Chance(Pcg64Mcg);

impl Chance {
    pub(crate) fn new(seed: u64, of: Draws) -> Self {
        let mixed = seed
            .wrapping_mul(0x9E37_79B9_7F4A_7C15)
            .wrapping_add((of as u64).wrapping_mul(0xD1B5_4A32_D192_ED03));
        Self(Pcg64Mcg::seed_from_u64(mixed))
    }

    /// Evenly between 0 and 1.
    pub(crate) fn even(&mut self) -> f64 {
        self.0.random::<f64>()
    }

    /// Bell-shaped about `mean`.
    pub(crate) fn bell(&mut self, mean: f64, sigma: f64) -> f64 {
        let u = self.even().max(1e-12);
        let v = self.even();
        mean + sigma * (-2.0 * u.ln()).sqrt() * (core::f64::consts::TAU * v).cos()
    }

    /// Time to a thing that happens once a unit of time on the average.
    pub(crate) fn waiting(&mut self) -> f64 {
        -(1.0 - self.even()).max(1e-12).ln()
    }

    /// Evenly from `low` to `high`.
    pub(crate) fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// How often something happens that happens `mean` times on the average, each by itself.
    pub(crate) fn poisson(&mut self, mean: f64) -> u32 {
        let mut left = mean;
        let mut times = 0;
        loop {
            left -= self.waiting();
            if left < 0.0 {
                return times;
            }
            times += 1;
        }
    }

    pub(crate) fn happens(&mut self, chance: f64) -> bool {
        self.even() < chance
    }
}
