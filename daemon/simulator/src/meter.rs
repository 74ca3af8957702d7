//! The reading of the arc's volts: a divider of 50:1 read a thousand times a second, with its zero a
//! little off, the rectifier's hum, short spikes, and a limit (process handbook, invented). The noise of
//! the arc itself is the source's.

use crate::chance::{Chance, Draws};

/// The divider, and how far its zero is off, V at the panel.
const DIVIDER: f64 = 50.0;
const OFFSET_V: f64 = 3e-3;
/// Amplitude and frequency of the hum.
const HUM_V: f64 = 1.0;
const HUM_HZ: f64 = 100.0;
/// Spikes a second, how high either way, and how long.
const SPIKES_S: f64 = 2.0;
const SPIKE_V: f64 = 20.0;
const SPIKE_S: f64 = 2e-3;
/// The most that is read, V.
const CLIP_V: f64 = 250.0;

#[derive(Clone, Debug)]
pub(crate) struct Meter {
    chance: Chance,
    offset_v: f64,
    /// Part of a turn of the hum.
    turn: f64,
    /// To the next spike, s.
    waits_s: f64,
    /// The spike that is there: for how long still, and its height.
    spike: (f64, f64),
}

impl Meter {
    pub(crate) fn new(seed: u64) -> Self {
        let mut chance = Chance::new(seed, Draws::Meter);
        Self {
            offset_v: DIVIDER * chance.bell(0.0, OFFSET_V),
            turn: chance.even(),
            waits_s: chance.waiting() / SPIKES_S,
            spike: (0.0, 0.0),
            chance,
        }
    }

    /// What is read of these volts; `arc`: an arc burns, whose rectifier hums.
    pub(crate) fn reads(&mut self, dt_s: f64, volts: f64, arc: bool) -> f64 {
        let mut read = volts + self.offset_v;
        if arc {
            self.turn = (self.turn + dt_s * HUM_HZ).fract();
            read += HUM_V * (core::f64::consts::TAU * self.turn).sin() + self.spiked(dt_s);
        }
        read.clamp(-CLIP_V, CLIP_V)
    }

    fn spiked(&mut self, dt_s: f64) -> f64 {
        self.waits_s -= dt_s;
        if self.waits_s <= 0.0 {
            self.waits_s += self.chance.waiting() / SPIKES_S;
            let up = self.chance.happens(0.5);
            self.spike = (SPIKE_S, if up { SPIKE_V } else { -SPIKE_V });
        }
        let (left_s, volts) = self.spike;
        self.spike.0 = (left_s - dt_s).max(0.0);
        if left_s > 1e-9 { volts } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::fits;

    #[test]
    fn spikes_come_twice_a_second_and_last_two_milliseconds() {
        let (mut spikes, mut up, mut ms) = (0_usize, 0_usize, 0_usize);
        for seed in 0..100 {
            let mut meter = Meter::new(seed);
            let mut was = false;
            for _ in 0..60_000 {
                let read = meter.reads(1e-3, 113.0, true) - meter.offset_v - 113.0;
                let is = read.abs() > 10.0;
                spikes += usize::from(is && !was);
                up += usize::from(is && !was && read > 0.0);
                ms += usize::from(is);
                was = is;
            }
        }
        // 6000 s: 12,000 of them, less those that come within another.
        assert!((11_400..=12_500).contains(&spikes), "{spikes}");
        assert!(fits(up, spikes, 0.5), "{up} of {spikes}");
        let each = ms as f64 / spikes as f64;
        assert!((each - 2.0).abs() < 0.05, "{each} ms");
    }

    #[test]
    fn the_zero_is_off_by_millivolts_and_more_than_250_volts_are_not_read() {
        let mut square = 0.0;
        for seed in 0..2000 {
            let mut meter = Meter::new(seed);
            let zero = meter.reads(1e-3, 0.0, false);
            square += zero * zero;
            assert!(zero.abs() < 1.0, "{zero}");
            assert_eq!(meter.reads(1e-3, 260.0, false), CLIP_V);
        }
        // 3 mV at the panel are 0.15 V at the torch.
        let rms = (square / 2000.0_f64).sqrt();
        assert!((rms - 0.15).abs() < 0.01, "{rms}");
    }

    #[test]
    fn the_hum_is_one_volt_at_100_hertz_while_an_arc_burns() {
        let mut meter = Meter::new(3);
        meter.waits_s = f64::INFINITY;
        let read: Vec<f64> = (0..1000)
            .map(|_| meter.reads(1e-3, 100.0, true) - 100.0 - meter.offset_v)
            .collect();
        let most = read.iter().copied().fold(0.0, f64::max);
        assert!((0.95..=1.0).contains(&most), "{most}");
        assert!(
            read.iter()
                .zip(&read[10..])
                .all(|(a, b)| (a - b).abs() < 1e-6)
        );
        assert_eq!(meter.reads(1e-3, 0.0, false), meter.offset_v);
    }
}
