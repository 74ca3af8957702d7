//! The source's own heat: it trips when it was loaded for too long, and comes back when it is cool.
//! Process handbook, invented: `dT/dt = (I/I_100)^2/600 - T/600`, with `I_100` the current that may burn
//! all the time; a fault from 1.35 until 0.9.

use core::f64::consts::E;

/// Time constant, s.
const TAU_S: f64 = 600.0;
/// It trips at this temperature and is ready again at the other; 1: burning for ever at `I_100`.
const TRIPS: f64 = 1.35;
const READY: f64 = 0.9;

/// The source's temperature.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Duty {
    warm: f64,
}

impl Duty {
    /// Time passes; `load`: current over `I_100`, 0 with the arc out. Gives, where it trips, after how
    /// many seconds it is ready again.
    pub(crate) fn advance(&mut self, dt_s: f64, load: f64) -> Option<f64> {
        let to = load * load;
        self.warm = to + (self.warm - to) * E.powf(-dt_s / TAU_S);
        (self.warm >= TRIPS).then(|| TAU_S * (self.warm / READY).ln())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Burns and rests in turn, s; the highest temperature of so many turns, and whether it tripped.
    fn turns(load: f64, on_s: f64, off_s: f64, turns: u32) -> (f64, bool) {
        let (mut duty, mut most, mut tripped) = (Duty::default(), 0.0_f64, false);
        for _ in 0..turns {
            for _ in 0..(on_s as u32) {
                tripped |= duty.advance(1.0, load).is_some();
                most = most.max(duty.warm);
            }
            duty.advance(off_s, 0.0);
        }
        (most, tripped)
    }

    #[test]
    fn the_rated_duty_for_ever_peaks_at_1_30_and_does_not_trip() {
        // 60 A at 40 %: 4 minutes of every ten. I_100 is 60 times the root of 0.4.
        let (most, tripped) = turns(1.0 / 0.4_f64.sqrt(), 240.0, 360.0, 60);
        assert!((most - 1.30).abs() < 0.01, "{most}");
        assert!(!tripped);
    }

    #[test]
    fn a_current_that_may_burn_for_ever_does_and_one_over_it_trips_until_it_is_cool() {
        assert!(!turns(1.0, 36_000.0, 0.0, 1).1);
        // To 1.35 of 2.5: 600 ln(2.5 / 1.15) = 466 s.
        let mut duty = Duty::default();
        let trips = (1..2000).find_map(|s| Some((s, duty.advance(1.0, 2.5_f64.sqrt())?)));
        let (at_s, rests_s) = trips.expect("trips");
        assert!((465..=467).contains(&at_s), "{at_s}");
        // 600 ln(1.35 / 0.9) = 243 s.
        assert!((rests_s - 243.3).abs() < 1.0, "{rests_s}");
        duty.advance(rests_s, 0.0);
        assert!((duty.warm - READY).abs() < 1e-9);
    }
}
