//! The bow that grows with heat: each cut raises the sheet's nearest bump, which sinks again and keeps
//! a part.

use std::collections::BTreeMap;

use units::Point;

/// A bump's width, mm (process handbook, invented).
const R_MM: f64 = 60.0;
/// Growth of a bump in 3 mm plate, mm per joule of side conduction: 17 kJ raise 0.8 mm.
const GROWS_MM_J: f64 = 4.7e-5;
/// It sinks with this time constant in 3 mm plate, s; so much of it stays.
const SINKS_S: f64 = 60.0;
const STAYS: f64 = 0.3;
#[derive(Clone, Copy, Debug, Default)]
struct Bump {
    sinking_mm: f64,
    staying_mm: f64,
}

/// The bumps of one sheet.
#[derive(Clone, Debug)]
pub(crate) struct Heat {
    thickness_mm: f64,
    /// Up or down: as the sheet is bowed.
    sign: f64,
    /// Flow of heat into the sides of the kerf, W.
    watts: f64,
    bumps: BTreeMap<(i64, i64), Bump>,
}

impl Heat {
    /// A cold sheet; so many W flow into the sides of its kerfs.
    pub(crate) fn new(thickness_mm: f64, sign: f64, sides_w: f64) -> Self {
        Self {
            thickness_mm: thickness_mm.max(0.5),
            sign,
            watts: sides_w,
            bumps: BTreeMap::new(),
        }
    }

    /// Time passes; the arc burns at this place or nowhere.
    pub(crate) fn advance(&mut self, dt_s: f64, arc: Option<Point>) {
        let thin = 3.0 / self.thickness_mm;
        let keep = (-dt_s * thin / SINKS_S).exp();
        for bump in self.bumps.values_mut() {
            bump.sinking_mm *= keep;
        }
        if let Some(p) = arc {
            let at = ((p.x / R_MM).round() as i64, (p.y / R_MM).round() as i64);
            let grown = GROWS_MM_J * thin.powf(1.5) * self.watts * dt_s;
            let bump = self.bumps.entry(at).or_default();
            bump.sinking_mm += grown * (1.0 - STAYS);
            bump.staying_mm += grown * STAYS;
        }
    }

    /// So much higher the surface is than when cold, mm.
    pub(crate) fn rise(&self, p: Point) -> f64 {
        let of = |(at, b): (&(i64, i64), &Bump)| {
            let (dx, dy) = (p.x - at.0 as f64 * R_MM, p.y - at.1 as f64 * R_MM);
            let r2 = (dx * dx + dy * dy) / (2.0 * R_MM * R_MM);
            (b.sinking_mm + b.staying_mm) * (-r2).exp()
        };
        self.sign * self.bumps.iter().map(of).sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::energy::Kerf;

    #[test]
    fn seventeen_kilojoules_raise_0_8_mm() {
        // Handbook: 3 mm, kerf 1.33 mm, 2200 mm/min: 792 W.
        let w = Kerf::new("mild-steel", 3.0, 1.33, 0.0).sides_w(2200.0 / 60.0);
        assert!((w - 792.0).abs() < 15.0, "{w}");
        let mut heat = Heat::new(3.0, 1.0, w);
        // At once, so that nothing sinks meanwhile.
        heat.advance(17_000.0 / w, Some(Point::new(60.0, 60.0)));
        assert!((heat.rise(Point::new(60.0, 60.0)) - 0.8).abs() < 0.02);
    }

    #[test]
    fn a_bump_sinks_and_keeps_thirty_parts_in_a_hundred() {
        let mut heat = Heat::new(3.0, -1.0, 792.0);
        let at = Point::new(0.0, 0.0);
        heat.advance(20.0, Some(at));
        let hot = heat.rise(at);
        assert!(hot < 0.0, "it goes the way of the bow");
        heat.advance(60.0, None);
        let after = (0.3 + 0.7 * (-1.0_f64).exp()) * hot;
        assert!((heat.rise(at) - after).abs() < 1e-9);
        heat.advance(6000.0, None);
        assert!((heat.rise(at) - 0.3 * hot).abs() < 1e-6);
    }
}
