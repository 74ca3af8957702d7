//! Where the arc's power goes along a cut: melting the kerf, into the sheet beside it, and what
//! burning iron gives back.
//!
//! The terms are those of published balances (J. Phys. D (2006), "Experimental study of an oxygen
//! plasma cutting torch: II", abstract); the fit for the conduction is from laser cutting (from
//! memory), used outside its field; the constants are effective hot averages (from memory). Good for
//! a warning, never for a refusal.

/// A metal as the balance knows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Metal {
    /// Plain and low-alloy steel.
    Steel,
    /// Stainless steel.
    Stainless,
    /// Aluminium and its alloys.
    Aluminium,
}

struct Constants {
    /// kg/m3.
    density: f64,
    /// To melt and overheat, J/kg.
    melting: f64,
    /// W/(m K).
    conductivity: f64,
    /// J/(kg K).
    heat: f64,
    /// From the sheet to the melting front, K.
    rise: f64,
    /// What burning in air gives back, as a part of the melting power.
    burning: f64,
}

impl Metal {
    /// The metal that a material's name stands for (`mild-steel`, `galvanised-steel`, ...); `None`
    /// where it is none of the three.
    #[must_use]
    pub fn named(material: &str) -> Option<Self> {
        let has = |word: &str| material.contains(word);
        if has("stainless") || has("inox") {
            Some(Self::Stainless)
        } else if has("alumin") {
            Some(Self::Aluminium)
        } else if has("steel") || has("iron") {
            Some(Self::Steel)
        } else {
            None
        }
    }

    const fn constants(self) -> Constants {
        match self {
            Self::Steel => Constants {
                density: 7850.0,
                melting: 1.35e6,
                conductivity: 35.0,
                heat: 690.0,
                rise: 1500.0,
                burning: 0.30,
            },
            Self::Stainless => Constants {
                density: 7900.0,
                melting: 1.25e6,
                conductivity: 25.0,
                heat: 600.0,
                rise: 1430.0,
                burning: 0.05,
            },
            Self::Aluminium => Constants {
                density: 2700.0,
                melting: 1.10e6,
                conductivity: 200.0,
                heat: 1050.0,
                rise: 640.0,
                burning: 0.05,
            },
        }
    }

    /// Heat that a volume takes for a rise of one kelvin, J/(mm3 K).
    #[must_use]
    pub fn heat_j_mm3_k(self) -> f64 {
        let c = self.constants();
        c.density * c.heat * 1e-9
    }

    /// The part of the arc's power that sensible settings melt the kerf with, low and high
    /// (invented).
    #[must_use]
    pub fn melting_share(self) -> [f64; 2] {
        match self {
            Self::Aluminium => [0.08, 0.40],
            Self::Steel | Self::Stainless => [0.12, 0.55],
        }
    }
}

/// The balance of a kerf as a function of the feed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Balance {
    /// The arc's power, W.
    pub power_w: f64,
    /// Melting power for each mm/s of feed, W s/mm.
    pub melt_j_mm: f64,
    /// Conduction into the sheet at 1 mm/s, W; it grows with the feed to the power 0.36.
    pub side_w: f64,
    /// What burning gives back, as a part of the melting power.
    pub burning: f64,
}

impl Balance {
    /// How conduction grows with the feed.
    pub const SIDE_POWER: f64 = 0.36;

    /// The balance of a metal cut at this current (A), voltage (V), kerf and thickness (mm).
    #[must_use]
    pub fn new(metal: Metal, amps: f64, volts: f64, kerf_mm: f64, thickness_mm: f64) -> Self {
        let c = metal.constants();
        let (w, t) = (kerf_mm * 1e-3, thickness_mm * 1e-3);
        let diffusivity = c.conductivity / (c.density * c.heat);
        // Half the Peclet number, w v / 4a, at 1 mm/s.
        let half_peclet = w * 1e-3 / (4.0 * diffusivity);
        Self {
            power_w: amps * volts,
            melt_j_mm: c.density * w * t * 1e-3 * c.melting,
            side_w: 4.0 * c.conductivity * t * c.rise * half_peclet.powf(Self::SIDE_POWER),
            burning: c.burning,
        }
    }

    /// Power that melts the kerf at a feed (mm/s), W.
    #[must_use]
    pub fn melting_w(&self, feed_mm_s: f64) -> f64 {
        self.melt_j_mm * feed_mm_s
    }

    /// Power that goes into the sheet at a feed (mm/s), W.
    #[must_use]
    pub fn conducted_w(&self, feed_mm_s: f64) -> f64 {
        self.side_w * feed_mm_s.max(0.0).powf(Self::SIDE_POWER)
    }

    /// The part of the arc's power that melts the kerf.
    #[must_use]
    pub fn em(&self, feed_mm_s: f64) -> f64 {
        self.melting_w(feed_mm_s) / self.power_w
    }

    /// The part of the arc's power that the cut needs in all.
    #[must_use]
    pub fn en(&self, feed_mm_s: f64) -> f64 {
        let melting = self.melting_w(feed_mm_s) * (1.0 - self.burning);
        (melting + self.conducted_w(feed_mm_s)) / self.power_w
    }
}

/// How long a pierce takes, s: from the power that must melt a hole 1.6 kerfs wide.
#[must_use]
pub fn pierce_s(metal: Metal, amps: f64, volts: f64, kerf_mm: f64, thickness_mm: f64) -> f64 {
    0.05 + pierce_j(metal, kerf_mm, thickness_mm) / (0.15 * volts * amps)
}

fn pierce_j(metal: Metal, kerf_mm: f64, thickness_mm: f64) -> f64 {
    let c = metal.constants();
    let d = 1.6 * kerf_mm * 1e-3;
    c.density * core::f64::consts::FRAC_PI_4 * d * d * thickness_mm * 1e-3 * c.melting
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 5 mm steel at 40 A, 113 V, kerf 1.45 mm.
    fn five() -> Balance {
        Balance::new(Metal::Steel, 40.0, 113.0, 1.45, 5.0)
    }

    #[test]
    fn the_worked_balance_of_the_handbook_comes_out() {
        // Process handbook 4.2, calculated there: 1100 mm/min.
        let (b, v) = (five(), 1100.0 / 60.0);
        assert_eq!(b.power_w, 4520.0);
        assert_eq!(format!("{:.0}", b.melting_w(v)), "1409");
        assert_eq!(format!("{:.0}", b.conducted_w(v)), "1061");
        assert_eq!(format!("{:.0}", b.burning * b.melting_w(v)), "423");
        assert_eq!(format!("{:.2} {:.2}", b.em(v), b.en(v)), "0.31 0.45");
        // The same feed in the wrong unit, both ways, and twice the feed.
        assert_eq!(format!("{:.1}", b.em(27_940.0 / 60.0)), "7.9");
        assert_eq!(format!("{:.3}", b.em(43.0 / 60.0)), "0.012");
        let v = 2200.0 / 60.0;
        assert_eq!(format!("{:.2} {:.2}", b.em(v), b.en(v)), "0.62 0.74");
    }

    #[test]
    fn the_worked_pierces_of_the_handbook_come_out() {
        // Process handbook 4.2: 6 mm at 40 A (114 V, kerf 1.51), 10 mm at 55 A (124 V, kerf 1.90).
        assert_eq!(format!("{:.0}", pierce_j(Metal::Steel, 1.51, 6.0)), "291");
        let six = pierce_s(Metal::Steel, 40.0, 114.0, 1.51, 6.0);
        assert_eq!(format!("{six:.2}"), "0.48");
        assert_eq!(format!("{:.0}", pierce_j(Metal::Steel, 1.90, 10.0)), "769");
        let ten = pierce_s(Metal::Steel, 55.0, 124.0, 1.90, 10.0);
        assert_eq!(format!("{ten:.2}"), "0.80");
    }

    #[test]
    fn the_melting_term_alone_is_the_textbook_balance() {
        // Lumped balance eta P = w t v rho h with h = 1297.4 kJ/kg (iron, solid at 298 K to liquid:
        // NIST-JANAF Shomate coefficients, computed): 45 A, 98 V, 6 mm, kerf 1.5, eta 1: 2887 mm/min.
        let b = Balance::new(Metal::Steel, 45.0, 98.0, 1.5, 6.0);
        let feed = 60.0 * b.power_w / (b.melt_j_mm * 1297.4 / 1350.0);
        assert!((feed - 2887.0).abs() < 1.0, "{feed}");
    }

    #[test]
    fn every_row_of_the_invented_chart_is_plausible() {
        // Process handbook 8.1: em 0.23 to 0.37, aluminium 0.13 to 0.21; en 0.33 to 0.47.
        let text = include_str!("../../../config/charts/invented.toml");
        for row in crate::Chart::from_toml(text).expect("a chart").rows() {
            let metal = Metal::named(&row.material).expect("a metal");
            let b = Balance::new(metal, row.amps, row.volts, row.kerf_mm, row.thickness_mm);
            let (em, en) = (b.em(row.feed_mm_s()), b.en(row.feed_mm_s()));
            let band = if metal == Metal::Aluminium {
                0.125..0.215
            } else {
                0.225..0.375
            };
            assert!(band.contains(&em), "{}: em {em}", row.name);
            assert!((0.325..0.475).contains(&en), "{}: en {en}", row.name);
        }
    }

    #[test]
    fn metals_are_known_by_name_and_others_are_not_guessed() {
        for (name, metal) in [
            ("mild-steel", Some(Metal::Steel)),
            ("galvanised-steel", Some(Metal::Steel)),
            ("stainless", Some(Metal::Stainless)),
            ("stainless-steel", Some(Metal::Stainless)),
            ("aluminium", Some(Metal::Aluminium)),
            ("copper", None),
            ("brass", None),
        ] {
            assert_eq!(Metal::named(name), metal, "{name}");
        }
    }
}
