//! How an arc comes about and is lost: hazards for each second, by height, gap, pressure, wear and the
//! metal that it stands on.

/// What the source and the arc feel of the table beside gap and speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Conditions {
    /// At the source's inlet, bar.
    pub(crate) bar: f64,
    /// Share of the torch parts' life that is used up.
    pub(crate) wear: f64,
    /// The parts are blown: nothing transfers.
    pub(crate) blown: bool,
    /// Too much water in the air.
    pub(crate) wet_air: bool,
    /// The metal under the torch is a free piece: it loses the arc so often a second.
    pub(crate) free: Option<f64>,
}

/// Pre-flow begins at this pressure and over, bar.
pub(crate) const STARTS_BAR: f64 = 4.5;
/// Below this the arc suffers, bar.
pub(crate) const SUFFERS_BAR: f64 = 4.2;
/// Metal further away than this is felt as none, mm; the arc goes out above this height; below this
/// it goes by the nozzle, mm.
const REACH_MM: f64 = 3.0;
const SNAP_MM: f64 = 10.0;
const DOUBLE_MM: f64 = 0.2;

impl Conditions {
    /// Chance that the pilot strikes.
    pub(crate) fn strikes(&self) -> f64 {
        super::wear::strikes(self.wear)
    }

    /// Hazard of transfer, a second.
    pub(crate) fn transfers(&self, height_mm: f64, metal_mm: f64) -> f64 {
        if self.blown {
            return 0.0;
        }
        let reach = 5.0 - 1.5 * self.wear;
        let f_gap = 1.0 / (1.0 + ((height_mm - reach) / 0.5).exp());
        let f_metal = if metal_mm <= 2.0 {
            1.0
        } else {
            (-(metal_mm - 2.0) / 0.15).exp()
        };
        let f_wear = 1.0 - 0.5 * self.wear.min(1.0);
        let f_ground = if self.free.is_some() { 0.2 } else { 1.0 };
        let f_water = if self.wet_air { 0.8 } else { 1.0 };
        60.0 * f_gap * f_metal * f_wear * f_ground * f_water
    }

    /// Hazards of loss, a second, by name. `far`, `starved`: the metal is far away, or the pressure
    /// low, for longer than the arc stands.
    pub(crate) fn loses(
        &self,
        height_mm: f64,
        far: bool,
        starved: bool,
    ) -> [(&'static str, f64); 7] {
        let when = |on: bool, per_s: f64| if on { per_s } else { 0.0 };
        let worn = 0.01 * ((self.wear - 0.9) / 0.03).exp();
        [
            ("arc-lost-by-itself", 1e-5),
            ("arc-lost-gap", when(far, 60.0)),
            ("arc-lost-height", when(height_mm > SNAP_MM, 100.0)),
            ("arc-lost-air", when(starved, 5.0)),
            ("arc-lost-free-metal", self.free.unwrap_or(0.0)),
            ("arc-lost-wear", when(self.wear > 0.9, worn.min(1000.0))),
            ("double-arc", when(height_mm < DOUBLE_MM, 2.0)),
        ]
    }

    /// Whether the metal is out of the arc's reach.
    pub(crate) fn far(metal_mm: f64) -> bool {
        metal_mm > REACH_MM
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::{Chance, Draws};
    use crate::rough::fits;

    const GOOD: Conditions = Conditions {
        bar: 5.0,
        wear: 0.0,
        blown: false,
        wet_air: false,
        free: None,
    };

    /// Crosses a void of this width and tells whether the arc is lost.
    fn lost_over(chance: &mut Chance, void_mm: f64, mm_s: f64) -> bool {
        let ms = (void_mm / mm_s * 1000.0).ceil() as u32;
        let mut far_ms = 0;
        (0..ms).any(|k| {
            let s = f64::from(k) * mm_s / 1000.0;
            far_ms = if Conditions::far(s.min(void_mm - s)) {
                far_ms + 1
            } else {
                0
            };
            let hazards = GOOD.loses(1.5, far_ms > 15, false);
            let all: f64 = hazards.iter().map(|h| h.1).sum();
            chance.happens(1.0 - (-all * 1e-3).exp())
        })
    }

    #[test]
    fn a_void_of_1_4_mm_is_survived_and_one_of_12_mm_at_2200_loses_the_arc() {
        let mm_s = 2200.0 / 60.0;
        let (mut narrow, mut wide) = (0, 0);
        for seed in 0..1000 {
            let mut chance = Chance::new(seed, Draws::Source);
            narrow += u32::from(lost_over(&mut chance, 1.4, mm_s));
            wide += u32::from(lost_over(&mut chance, 12.0, mm_s));
        }
        assert!(narrow < 50, "{narrow} of 1000");
        assert!(wide > 950, "{wide} of 1000");
    }

    #[test]
    fn each_hazard_loses_an_arc_as_often_as_stated() {
        // Lost within 0.1 s: 1 - exp(-0.1 h).
        let starved = Conditions { bar: 4.0, ..GOOD };
        let free = Conditions {
            free: Some(2.5),
            ..GOOD
        };
        let worn = Conditions { wear: 1.0, ..GOOD };
        for (c, height, far, low, per_s) in [
            (GOOD, 1.5, true, false, 60.0),
            (GOOD, 11.0, false, false, 100.0),
            (starved, 1.5, false, true, 5.0),
            (free, 1.5, false, false, 2.5),
            (worn, 1.5, false, false, 0.01 * (0.1_f64 / 0.03).exp()),
            (GOOD, 0.1, false, false, 2.0),
        ] {
            let mut lost = 0;
            for seed in 0..4000 {
                let mut chance = Chance::new(seed, Draws::Source);
                let all: f64 = c.loses(height, far, low).iter().map(|h| h.1).sum();
                lost += usize::from((0..100).any(|_| chance.happens(1.0 - (-all * 1e-3).exp())));
            }
            let p = 1.0 - (-0.1 * (per_s + 1e-5)).exp();
            assert!(fits(lost, 4000, p), "{c:?} {height}: {lost}, wanted {p}");
        }
    }

    #[test]
    fn an_arc_transfers_well_at_pierce_height_and_badly_from_high_far_or_free_metal() {
        let good = GOOD.transfers(3.5, 0.0);
        assert!((good - 60.0 / (1.0 + (-3.0_f64).exp())).abs() < 1e-9);
        assert!(GOOD.transfers(5.0, 0.0) < 31.0);
        assert!(GOOD.transfers(3.5, 3.0) < 0.1);
        let free = Conditions {
            free: Some(1.0),
            ..GOOD
        };
        assert!((free.transfers(3.5, 0.0) - 0.2 * good).abs() < 1e-9);
        let wet = Conditions {
            wet_air: true,
            ..GOOD
        };
        assert!((wet.transfers(3.5, 0.0) - 0.8 * good).abs() < 1e-9);
        let blown = Conditions {
            blown: true,
            wear: 1.2,
            ..GOOD
        };
        assert_eq!(blown.transfers(3.5, 0.0), 0.0);
    }
}
