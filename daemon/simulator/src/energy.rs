//! What a kerf asks of the arc: the energy balance of the process handbook (its terms are those of
//! published balances; the fit of the side conduction is from laser cutting and the constants are
//! effective hot averages, all from memory).
//!
//! An arc that is led so fast that the kerf asks for more than [`MOST`] of its power does not go through.

/// More of the arc's power than this never reaches the kerf (process handbook, invented).
pub(crate) const MOST: f64 = 0.75;

/// A material's hot averages.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Hot {
    /// kg/m3.
    density: f64,
    /// To melt and overheat, J/kg.
    melts: f64,
    /// W/mK.
    conducts: f64,
    /// J/kgK.
    heat: f64,
    /// Kerf's wall above the sheet, K.
    hotter: f64,
    /// Share of the melting power that burning gives back.
    burns: f64,
}

const STEEL: Hot = Hot {
    density: 7850.0,
    melts: 1.35e6,
    conducts: 35.0,
    heat: 690.0,
    hotter: 1500.0,
    burns: 0.30,
};
const STAINLESS: Hot = Hot {
    density: 7900.0,
    melts: 1.25e6,
    conducts: 25.0,
    heat: 600.0,
    hotter: 1430.0,
    burns: 0.05,
};
const ALUMINIUM: Hot = Hot {
    density: 2700.0,
    melts: 1.10e6,
    conducts: 200.0,
    heat: 1050.0,
    hotter: 640.0,
    burns: 0.05,
};

/// A kerf in a sheet, and the arc that makes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Kerf {
    hot: Hot,
    thickness_mm: f64,
    width_mm: f64,
    /// Power of the arc, W; 0: not told.
    arc_w: f64,
}

impl Kerf {
    /// `material` as charts name it; one that is not known counts as mild steel.
    pub(crate) fn new(material: &str, thickness_mm: f64, width_mm: f64, arc_w: f64) -> Self {
        let hot = match material {
            "stainless" => STAINLESS,
            "aluminium" => ALUMINIUM,
            _ => STEEL,
        };
        Self {
            hot,
            thickness_mm,
            width_mm,
            arc_w,
        }
    }

    /// To melt and overheat what is taken away, W: `rho w t v h`.
    fn melting_w(&self, mm_s: f64) -> f64 {
        let section = self.width_mm * self.thickness_mm * 1e-6;
        self.hot.density * section * mm_s * 1e-3 * self.hot.melts
    }

    /// Into the sides of the kerf, W: `4 k t dT (Pe/2)^0.36` with `Pe = w v / 2a`.
    pub(crate) fn sides_w(&self, mm_s: f64) -> f64 {
        let a = self.hot.conducts / (self.hot.density * self.hot.heat);
        let pe = self.width_mm * 1e-3 * mm_s * 1e-3 / (2.0 * a);
        let thick = self.thickness_mm * 1e-3;
        4.0 * self.hot.conducts * thick * self.hot.hotter * (pe / 2.0).max(0.0).powf(0.36)
    }

    /// Share of the arc's power that the kerf asks for at this speed; `None`: the power is not told.
    pub(crate) fn asks(&self, mm_s: f64) -> Option<f64> {
        let melts = self.melting_w(mm_s);
        let asked = melts + self.sides_w(mm_s) - self.hot.burns * melts;
        (self.arc_w > 0.0).then(|| asked / self.arc_w)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MM_MIN: f64 = 1.0 / 60.0;

    #[test]
    fn the_handbooks_plate_asks_for_its_share_at_each_speed() {
        // 5 mm steel, 40 A, 113 V, kerf 1.45 mm: 1409 W to melt, 1061 W into the sides, 0.45 of the
        // power at 1100 mm/min; 0.74 at 2200.
        let kerf = Kerf::new("mild-steel", 5.0, 1.45, 40.0 * 113.0);
        let feed = 1100.0 * MM_MIN;
        assert!((kerf.melting_w(feed) - 1409.0).abs() < 5.0);
        assert!((kerf.sides_w(feed) - 1061.0).abs() < 15.0);
        let asks = |mm_min: f64| kerf.asks(mm_min * MM_MIN).expect("told");
        assert!((asks(1100.0) - 0.45).abs() < 0.01, "{}", asks(1100.0));
        assert!((asks(2200.0) - 0.74).abs() < 0.01, "{}", asks(2200.0));
        // Fed in inches by mistake.
        assert!(asks(27_940.0) > 5.0);
    }

    #[test]
    fn other_materials_and_an_arc_of_unknown_power() {
        // 3 mm aluminium at the feed that suits it asks for as much as steel does at its own.
        let aluminium = Kerf::new("aluminium", 3.0, 1.33, 40.0 * 111.0);
        let asks = aluminium.asks(4100.0 * MM_MIN).expect("told");
        assert!((0.38..0.46).contains(&asks), "{asks}");
        let as_steel = Kerf::new("mild-steel", 3.0, 1.33, 40.0 * 111.0);
        assert!(as_steel.asks(4100.0 * MM_MIN).expect("told") > 0.65);
        let stainless = Kerf::new("stainless", 3.0, 1.33, 40.0 * 111.0);
        assert!(stainless.asks(2100.0 * MM_MIN).expect("told") < 0.45);
        assert_eq!(Kerf::new("mild-steel", 5.0, 1.45, 0.0).asks(20.0), None);
    }
}
