//! How the cut edge turns out: bevel and dross of what the arc has cut (process handbook, invented; of
//! dross it names the bands, the lines between them are invented here). The torch stands square.

use crate::metal::Led;

/// Bevel of a new torch at the chart's height, mm over the sheet's thickness.
const BEVEL_MM: f64 = 0.15;
/// ... for each mm that it is too high or too low, and for parts that are worn out.
const HEIGHT: f64 = 0.25;
const WEAR: f64 = 0.4;
/// Share of the chart's feed against dross, 0 (none) to 4 (not cut through).
const DROSS: [(f64, f64); 8] = [
    (0.3, 3.0),
    (0.6, 2.0),
    (0.75, 1.0),
    (0.9, 0.0),
    (1.0, 0.0),
    (1.15, 1.0),
    (1.3, 2.0),
    (1.8, 3.0),
];
/// Not cut through.
const UNCUT: f64 = 4.0;

/// Bevel, mm. `off_mm`: above or below the chart's height; `wear`: share of a life.
pub(crate) fn bevel_mm(off_mm: f64, wear: f64) -> f64 {
    BEVEL_MM + HEIGHT * off_mm.abs() + WEAR * wear
}

/// Dross at this share of the chart's feed; `through`: the arc goes through.
pub(crate) fn dross(share: f64, through: bool) -> f64 {
    if !through {
        return UNCUT;
    }
    let after = DROSS.partition_point(|(at, _)| *at < share);
    match (after.checked_sub(1).map(|k| DROSS[k]), DROSS.get(after)) {
        (Some((x0, y0)), Some((x1, y1))) => y0 + (y1 - y0) * (share - x0) / (x1 - x0),
        (Some(last), None) => last.1,
        (None, _) => DROSS[0].1,
    }
}

/// The mean of what was cut.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Edges {
    mm: f64,
    bevel: f64,
    dross: f64,
}

impl Edges {
    /// An arc that is led like this goes so far, mm.
    pub(crate) fn cut(&mut self, mm: f64, led: &Led) {
        let share = led.speed_mm_s / led.feed_mm_s.max(1.0);
        self.mm += mm;
        self.bevel += mm * bevel_mm(led.height_mm - led.cut_height_mm, led.wear);
        self.dross += mm * dross(share, led.radius_mm().is_some());
    }

    /// Mean bevel, mm, and dross, 0 to 4; `None`: nothing was cut.
    pub(crate) fn mean(&self) -> Option<(f64, f64)> {
        (self.mm > 0.0).then(|| (self.bevel / self.mm, self.dross / self.mm))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bevel_grows_with_height_and_wear() {
        assert_eq!(bevel_mm(0.0, 0.0), 0.15);
        assert!((bevel_mm(1.0, 0.0) - 0.40).abs() < 1e-12);
        assert!((bevel_mm(-1.0, 0.0) - 0.40).abs() < 1e-12);
        assert!((bevel_mm(0.0, 1.0) - 0.55).abs() < 1e-12);
    }

    #[test]
    fn dross_has_the_handbooks_bands() {
        for (low, high, bands) in [
            (0.0, 0.6, 2.0..=3.0),
            (0.75, 1.15, 0.0..=1.0),
            (1.3, 3.0, 2.0..=3.0),
        ] {
            for k in 0..=100 {
                let share = low + (high - low) * f64::from(k) / 100.0;
                let of = dross(share, true);
                assert!(bands.contains(&of), "{share}: {of}");
            }
        }
        assert_eq!(dross(1.0, true), 0.0);
        assert_eq!(dross(1.0, false), 4.0);
    }
}
