//! Chance from a seed, the same on every machine (splitmix64).

/// A stream of chance.
#[derive(Clone, Debug)]
pub struct Chance(pub u64);

impl Chance {
    /// A stream of its own from the same seed, so that a draw more in one does not move the others.
    pub fn of(seed: u64, stream: u64) -> Self {
        let mut chance = Self(seed ^ stream.wrapping_mul(0xD6E8_FEB8_6659_FD93));
        chance.next();
        chance
    }

    /// 0 to 1.
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// From `low` to `high`.
    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    /// One of `n`, from 0.
    pub fn below(&mut self, n: usize) -> usize {
        ((self.next() * n as f64) as usize).min(n.saturating_sub(1))
    }

    /// True with this chance.
    pub fn happens(&mut self, p: f64) -> bool {
        self.next() < p
    }

    /// One of these.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }
}
