//! What a calm table's supplies come to: the receiver, the arcs in ten minutes, the wear. Nothing of it is
//! by chance; without it a calm table has air without end.

use crate::harness::{Supplied, SupplyState};
use crate::rough::air::Air;
use crate::rough::wear::Wear;

/// Time is passed in pieces no longer than this, s: the compressor comes and goes between them.
const PIECE_S: f64 = 0.05;
/// Duty is arc time over so long, s.
const WINDOW_S: f64 = 600.0;

#[derive(Clone, Debug)]
pub(crate) struct Supplies {
    pub(crate) air: Air,
    wear: Wear,
    lit: bool,
    started: bool,
    /// When arcs began and ended, s.
    arcs: Vec<[f64; 2]>,
    lowest: Option<(f64, f64)>,
    low: u32,
    first_low_s: Option<f64>,
    /// Nothing has flowed yet, and the receiver is filled just before it does.
    filled_at_first: bool,
}

impl Supplies {
    pub(crate) fn new(state: SupplyState, compressor_l_min: f64) -> Self {
        let (given, runs) = match state {
            SupplyState::Running => (compressor_l_min, true),
            SupplyState::Resting => (compressor_l_min, false),
            SupplyState::Off => (0.0, false),
        };
        Self {
            air: Air::full(given, runs),
            wear: Wear::fresh(),
            lit: false,
            started: false,
            arcs: Vec::new(),
            lowest: None,
            low: 0,
            first_low_s: None,
            filled_at_first: runs,
        }
    }

    /// Time passes up to `now_s`; `flows`: the torch blows, `burning`: pilot or arc, `arc`: on metal.
    pub(crate) fn advance(&mut self, now_s: f64, dt_s: f64, flows: bool, burning: bool, arc: bool) {
        if flows && core::mem::take(&mut self.filled_at_first) {
            self.air.just_filled();
        }
        let pieces = (dt_s / PIECE_S).ceil().max(1.0);
        for k in 1..=pieces as usize {
            let begun = self.air.advance(dt_s / pieces, flows);
            if begun.contains(&Some("air-low")) {
                self.low += 1;
                self.first_low_s = self.first_low_s.or(Some(now_s));
            }
            let bar = self.air.tank_bar();
            if flows && self.lowest.is_none_or(|(least, _)| bar < least) {
                let at_s = now_s - dt_s + dt_s * k as f64 / pieces;
                self.lowest = Some((bar, at_s));
            }
        }
        if burning && !self.started {
            self.wear.started(false);
        }
        self.started = burning;
        match (arc, self.lit) {
            (true, false) => self.arcs.push([now_s, now_s]),
            (_, true) => {
                if let Some(last) = self.arcs.last_mut() {
                    last[1] = now_s;
                }
                self.wear.burnt(dt_s, false);
            }
            (false, false) => {}
        }
        self.lit = arc;
    }

    pub(crate) fn told(&self) -> Supplied {
        let most = self.arcs.iter().map(|[_, end]| {
            let from = end - WINDOW_S;
            let inside = self.arcs.iter().filter(|[_, off]| *off > from);
            inside
                .map(|[on, off]| (off.min(*end) - on.max(from)).max(0.0))
                .sum::<f64>()
        });
        let (lowest_bar, lowest_at_s) = self.lowest.unwrap_or((f64::INFINITY, 0.0));
        Supplied {
            lowest_bar,
            lowest_at_s,
            low: self.low,
            first_low_s: self.first_low_s,
            most_arc_s: most.fold(0.0, f64::max),
            wear: self.wear.used(),
            arcs: self.arcs.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn in_one_long_step_the_receiver_falls_as_in_many_short_ones() {
        let fall = |step_s: f64| {
            let mut all = Supplies::new(SupplyState::Resting, 90.0);
            for k in 1..=(120.0 / step_s) as usize {
                all.advance(k as f64 * step_s, step_s, true, false, false);
            }
            all.air.tank_bar()
        };
        // Calculated: 1.5 bar at 165 L/min in 53.8 s, then 66.2 s at 75: 0.84 bar.
        assert!((fall(0.001) - 5.66).abs() < 0.01, "{}", fall(0.001));
        assert!((fall(0.001) - fall(8.0)).abs() < 0.01);
    }

    #[test]
    fn arcs_of_more_than_ten_minutes_ago_are_not_in_the_window() {
        let mut all = Supplies::new(SupplyState::Running, 90.0);
        let mut now_s = 0.0;
        let mut pass = |all: &mut Supplies, for_s: f64, arc: bool| {
            for _ in 0..(for_s * 10.0) as usize {
                now_s += 0.1;
                all.advance(now_s, 0.1, arc, arc, arc);
            }
        };
        pass(&mut all, 100.0, true);
        pass(&mut all, 450.0, false);
        pass(&mut all, 100.0, true);
        // The last ten minutes of 650 s: 50 and 100 s of arc.
        assert!(
            (all.told().most_arc_s - 150.0).abs() < 0.5,
            "{:?}",
            all.told()
        );
        assert!((all.told().wear - (2.0 / 600.0 + 200.0 / 9000.0)).abs() < 1e-3);
    }
}
