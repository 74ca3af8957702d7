//! The air supply: a tank, a compressor that comes and goes, what the torch draws, and the water that
//! falls out of it.

use crate::chance::{Chance, Draws};

/// Tank, L; full draw of the torch at 5.5 bar, L/min (process handbook).
const TANK_L: f64 = 100.0;
const TORCH_L_MIN: f64 = 165.0;
/// The compressor comes on below and stops at, bar.
const ON_BAR: f64 = 6.5;
const OFF_BAR: f64 = 8.0;
const REGULATED_BAR: f64 = 5.5;
/// Filter and hose take this at full draw, bar.
const HOSE_BAR: f64 = 0.5;
/// The switch opens below and closes again above, bar at the inlet (the second invented here).
const LOW_BAR: f64 = 5.0;
const GOOD_BAR: f64 = 5.1;
const ATMOSPHERE_BAR: f64 = 1.013;
/// Water that falls out, g per L of free air; more of it undrained than this is too much, g.
const WATER_G_L: f64 = 0.015;
const WET_G: f64 = 50.0;
/// At switch-on there is up to so much of it (invented here), g.
const WATER_AT_FIRST_G: f64 = 45.0;

#[derive(Clone, Debug)]
pub(crate) struct Air {
    compressor_l_min: f64,
    tank_bar: f64,
    runs: bool,
    flows: bool,
    good: bool,
    water_g: f64,
}

impl Air {
    pub(crate) fn new(seed: u64, compressor_l_min: f64) -> Self {
        let water_g = Chance::new(seed, Draws::Air).within(0.0, WATER_AT_FIRST_G);
        Self {
            compressor_l_min,
            tank_bar: OFF_BAR,
            runs: false,
            flows: false,
            good: true,
            water_g,
        }
    }

    /// Dry, full, and its compressor running or resting.
    pub(crate) fn full(compressor_l_min: f64, runs: bool) -> Self {
        Self {
            compressor_l_min,
            // Just below full, where a compressor that runs goes on.
            tank_bar: if runs { OFF_BAR - 1e-6 } else { OFF_BAR },
            runs,
            flows: false,
            good: true,
            water_g: 0.0,
        }
    }

    /// Just filled: the compressor runs still.
    pub(crate) fn just_filled(&mut self) {
        (self.tank_bar, self.runs) = (OFF_BAR - 1e-6, true);
    }

    /// In the tank, bar.
    pub(crate) fn tank_bar(&self) -> f64 {
        self.tank_bar
    }

    /// Time passes; `flows`: air goes through the torch. Gives what begins to be wrong.
    pub(crate) fn advance(&mut self, dt_s: f64, flows: bool) -> [Option<&'static str>; 2] {
        self.flows = flows;
        if self.tank_bar <= ON_BAR {
            self.runs = true;
        } else if self.tank_bar >= OFF_BAR {
            self.runs = false;
        }
        let drawn = if flows {
            TORCH_L_MIN * self.tank_bar.min(REGULATED_BAR) / REGULATED_BAR
        } else {
            0.0
        };
        let filled = if self.runs {
            self.compressor_l_min
        } else {
            0.0
        };
        let change = ATMOSPHERE_BAR * (filled - drawn) / TANK_L * dt_s / 60.0;
        self.tank_bar = (self.tank_bar + change).clamp(0.0, OFF_BAR);
        let (was_good, was_wet) = (self.good, self.wet());
        self.water_g += drawn * dt_s / 60.0 * WATER_G_L;
        let bar = self.inlet_bar();
        self.good = bar >= if self.good { LOW_BAR } else { GOOD_BAR };
        [
            (was_good && !self.good).then_some("air-low"),
            (!was_wet && self.wet()).then_some("wet-air"),
        ]
    }

    /// At the source, bar.
    pub(crate) fn inlet_bar(&self) -> f64 {
        let regulated = self.tank_bar.min(REGULATED_BAR);
        if self.flows {
            let share = regulated / REGULATED_BAR;
            regulated - HOSE_BAR * share * share
        } else {
            regulated
        }
    }

    /// What the pressure switch says.
    pub(crate) fn good(&self) -> bool {
        self.good
    }

    /// So much water that the arc feels it.
    pub(crate) fn wet(&self) -> bool {
        self.water_g > WET_G
    }

    /// Somebody has drained it.
    pub(crate) fn drained(&mut self) {
        self.water_g = 0.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Minutes of full flow until the switch opens; `None`: not within an hour.
    fn low_after_min(compressor_l_min: f64) -> Option<f64> {
        let mut air = Air::new(1, compressor_l_min);
        // Just below full with the compressor on, as the handbook reckons it.
        (air.tank_bar, air.runs) = (7.999, true);
        (1..36_000).find_map(|k| {
            air.advance(0.1, true);
            (!air.good()).then_some(f64::from(k) / 600.0)
        })
    }

    #[test]
    fn air_is_low_after_the_handbooks_minutes() {
        // Handbook: 100 L, 8 to 5.5 bar, torch 165 L/min: 3.3 min at 90 L/min, 9.9 at 140. At the
        // switch's own limit with flow.
        let min = low_after_min(90.0).expect("low");
        assert!((min - 3.3).abs() <= 0.3, "{min}");
        let min = low_after_min(140.0).expect("low");
        assert!((min - 9.9).abs() <= 1.0, "{min}");
        assert_eq!(low_after_min(170.0), None);
    }

    #[test]
    fn a_full_tank_whose_compressor_waits_for_6_5_bar_is_low_sooner() {
        // Calculated: 1.5 bar at 165 L/min, then 1 bar at 75: 0.90 + 1.32 min.
        let mut air = Air::new(1, 90.0);
        let low = (1..36_000).find(|_| {
            air.advance(0.1, true);
            !air.good()
        });
        let min = f64::from(low.expect("low")) / 600.0;
        assert!((min - 2.22).abs() < 0.05, "{min}");
    }

    #[test]
    fn half_an_hour_of_full_flow_leaves_75_grams_of_water() {
        let mut air = Air::new(1, 170.0);
        air.drained();
        for _ in 0..1800 {
            air.advance(1.0, true);
        }
        assert!((air.water_g - 74.25).abs() < 0.5, "{}", air.water_g);
        assert!(air.wet());
    }
}
