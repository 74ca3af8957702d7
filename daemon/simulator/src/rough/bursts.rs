//! What a start does to wires and electronics: short pulses on the inputs, bad bytes on the serial
//! line, a controller that starts anew.

use crate::chance::{Chance, Draws};

/// Pulses an input in a start by a high-frequency burst. Loops that carry current (chain, seat) show
/// none of them; six inputs do.
const PULSES: f64 = 12.0;
const INPUTS: u32 = 6;
/// A pulse's length: median, ms, and sigma of its logarithm.
const LENGTH_MS: f64 = 0.2;
const SPREAD: f64 = 0.8;
/// Shorter than this an input does not show it, ms (1 kOhm and 100 nF, process handbook).
const FILTER_MS: f64 = 0.1;
/// Chance of a bad byte in a burst.
const BAD_BYTE: f64 = 0.02;
/// Chance that the controller starts anew: in a burst, and in a contact start.
const RESET: f64 = 1.0 / 2000.0;
const RESET_CONTACT: f64 = 1.0 / 60_000.0;
/// A contact start disturbs so much less.
const QUIETER: f64 = 30.0;
/// So many tables have a source that starts by bursts (invented here).
const BY_BURST: f64 = 0.5;

/// What one start has done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Struck {
    /// Pulses that an input shows and that are shorter than any debounce.
    pub(crate) pulses: u32,
    pub(crate) bad_byte: bool,
    pub(crate) reset: bool,
}

#[derive(Clone, Debug)]
pub(crate) struct Bursts {
    chance: Chance,
    by_burst: bool,
}

impl Bursts {
    pub(crate) fn new(seed: u64) -> Self {
        let mut chance = Chance::new(seed, Draws::Bursts);
        Self {
            by_burst: chance.happens(BY_BURST),
            chance,
        }
    }

    /// The pilot strikes, or tries to.
    pub(crate) fn start(&mut self) -> Struck {
        let quieter = if self.by_burst { 1.0 } else { QUIETER };
        let drawn: u32 = (0..INPUTS)
            .map(|_| self.chance.poisson(PULSES / quieter))
            .sum();
        let pulses = (0..drawn).filter(|_| self.length_ms() >= FILTER_MS).count() as u32;
        let reset = if self.by_burst { RESET } else { RESET_CONTACT };
        Struck {
            pulses,
            bad_byte: self.chance.happens(BAD_BYTE / quieter),
            reset: self.chance.happens(reset),
        }
    }

    fn length_ms(&mut self) -> f64 {
        LENGTH_MS * self.chance.bell(0.0, SPREAD).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::fits;

    fn of(by_burst: bool, starts: usize) -> (f64, usize, usize) {
        let (mut pulses, mut bad, mut resets) = (0_u32, 0, 0);
        for seed in 0..200 {
            let mut bursts = Bursts::new(seed);
            bursts.by_burst = by_burst;
            for _ in 0..starts / 200 {
                let struck = bursts.start();
                pulses += struck.pulses;
                bad += usize::from(struck.bad_byte);
                resets += usize::from(struck.reset);
            }
        }
        (f64::from(pulses), bad, resets)
    }

    #[test]
    fn bursts_disturb_as_often_as_stated() {
        let n = 20_000;
        let (pulses, bad, resets) = of(true, n);
        // 72 a start, of which those over 0.1 ms: ln 2 / 0.8 = 0.866 sigma below the median, 80.7 %.
        let expected = 72.0 * 0.8068 * n as f64;
        assert!(
            (pulses / expected - 1.0).abs() < 0.01,
            "{pulses}, {expected}"
        );
        assert!(fits(bad, n, BAD_BYTE), "{bad}");
        assert!(fits(resets, n, RESET), "{resets}");
    }

    #[test]
    fn contact_starts_disturb_thirty_times_less() {
        let n = 60_000;
        let (pulses, bad, resets) = of(false, n);
        let expected = 72.0 / 30.0 * 0.8068 * n as f64;
        assert!(
            (pulses / expected - 1.0).abs() < 0.02,
            "{pulses}, {expected}"
        );
        assert!(fits(bad, n, BAD_BYTE / 30.0), "{bad}");
        assert!(fits(resets, n, RESET_CONTACT), "{resets}");
    }

    #[test]
    fn half_of_the_tables_start_by_bursts_and_a_pulse_of_a_debounces_length_is_rare() {
        let by = (0..4000).filter(|s| Bursts::new(*s).by_burst).count();
        assert!(fits(by, 4000, BY_BURST), "{by}");
        let mut bursts = Bursts::new(7);
        let long = (0..100_000).filter(|_| bursts.length_ms() > 5.0).count();
        assert!(long < 20, "{long} pulses over 5 ms");
    }
}
