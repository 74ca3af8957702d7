//! Made-up plates of a known truth: how often the stated intervals hold it.

use super::{gauge_plate, report};
use crate::article::{Assume, Feature, Reading};

/// A generator of our own for made-up plates: splitmix64, and normal draws by Box and Muller.
struct Draws(u64);

impl Draws {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (((z ^ (z >> 31)) >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }

    fn within(&mut self, half: f64) -> f64 {
        (self.unit() * 2.0 - 1.0) * half
    }
}

/// What is true of a made-up table and its edges.
#[derive(Clone, Copy)]
struct Truth {
    sx: f64,
    sy: f64,
    g: f64,
    outside: f64,
    hole: f64,
    bx: f64,
    by: f64,
}

impl Truth {
    fn drawn(d: &mut Draws) -> Self {
        Self {
            sx: d.within(0.003),
            sy: d.within(0.003),
            g: d.within(0.003),
            outside: d.within(0.3),
            hole: d.within(0.3),
            bx: d.within(0.1) + 0.1,
            by: d.within(0.1) + 0.1,
        }
    }

    /// The length that such a table cuts: worked out by moving points, not by the fit's columns.
    fn length(&self, r: &Reading) -> f64 {
        let n = r.nominal_mm;
        let along =
            |dx: f64, dy: f64| ((1.0 + self.sx) * dx + self.g * dy).hypot((1.0 + self.sy) * dy);
        match r.feature {
            Feature::OutsideX => along(n, 0.0) - self.bx - 2.0 * self.outside,
            Feature::OutsideY => (1.0 + self.sy) * n - self.by - 2.0 * self.outside,
            Feature::HoleX => along(n, 0.0) - self.bx + 2.0 * self.hole,
            Feature::HoleY => (1.0 + self.sy) * n - self.by + 2.0 * self.hole,
            Feature::Centres { dx, dy } => along(dx, dy),
        }
    }

    fn of(&self, name: &str) -> f64 {
        match name {
            "sx" => self.sx,
            "sy" => self.sy,
            "g" => self.g,
            "do" | "do = dh" => self.outside,
            "dh" => self.hole,
            "bx" => self.bx,
            "by" => self.by,
            "bx - by" => self.bx - self.by,
            _ => panic!("{name}"),
        }
    }
}

/// How often each stated interval holds the truth, over 2,000 plates. `noise`: true deviation of the
/// readings over the stated one.
fn covers(seed: u64, noise: f64, assume: Option<Assume>) {
    let mut d = Draws(seed);
    let plate = gauge_plate();
    let mut held: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    let plates = 2000;
    for _ in 0..plates {
        let mut truth = Truth::drawn(&mut d);
        if assume == Some(Assume::SameEdge) {
            truth.hole = truth.outside;
        }
        let mut article = plate.clone();
        article.lost_motion_mm = assume.is_none().then_some((truth.bx, truth.by));
        article.assume = assume.unwrap_or(Assume::Nothing);
        for r in &mut article.readings {
            r.measured_mm = truth.length(r) + noise * r.sigma_mm * d.normal();
        }
        for v in report(article).chosen.values {
            // In model C the edges are as if the mean lost motion were zero.
            let mean = if assume == Some(Assume::Nothing) {
                (truth.bx + truth.by) / 4.0
            } else {
                0.0
            };
            let is = truth.of(v.of)
                + if v.of == "do" {
                    mean
                } else if v.of == "dh" {
                    -mean
                } else {
                    0.0
                };
            let (low, high) = (v.low.expect("an end"), v.high.expect("an end"));
            *held.entry(v.of).or_default() += usize::from((low..=high).contains(&is));
        }
    }
    assert!(held.len() >= 5);
    for (name, n) in held {
        let part = n as f64 / f64::from(plates);
        assert!(
            (0.92..=0.98).contains(&part),
            "{name}: {part} of intervals hold the truth"
        );
    }
}

#[test]
fn of_2000_plates_the_stated_interval_holds_the_truth_as_often_as_it_says() {
    covers(11, 1.0, None);
    covers(12, 1.0, Some(Assume::SameEdge));
    covers(13, 1.0, Some(Assume::Nothing));
    // Whoever measures reads better or worse than the instrument's figure.
    covers(14, 2.0, None);
    covers(15, 0.5, None);
}

#[test]
fn what_cannot_be_told_apart_is_named_on_every_plate() {
    let mut d = Draws(21);
    for _ in 0..2000 {
        let truth = Truth::drawn(&mut d);
        let mut article = gauge_plate();
        article.lost_motion_mm = None;
        // Any part with outsides and holes along both axes.
        article.readings.retain(|r| match r.feature {
            Feature::Centres { .. } => d.unit() < 0.5,
            _ => true,
        });
        for r in &mut article.readings {
            r.nominal_mm *= 0.5 + d.unit();
            if let Feature::Centres { dx, dy } = r.feature {
                r.nominal_mm = dx.hypot(dy);
            }
            r.measured_mm = truth.length(r) + r.sigma_mm * d.normal();
        }
        let report = report(article);
        let named = |w: &String| w.contains("do, dh, bx, by cannot be told apart");
        assert!(
            report.cannot_tell.iter().any(named),
            "{:?}",
            report.cannot_tell
        );
        assert!(!report.proposals.iter().any(|p| p.change_mm.is_some()));
    }
}
