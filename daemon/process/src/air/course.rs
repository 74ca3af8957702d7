//! The pressure in the receiver from the first gas of a job to its last: what is drawn before START.

use super::{Air, Flow, Receiver};

/// Between two of its corners the pressure is looked at this often, s.
const LOOK_S: f64 = 1.0;
/// Longer jobs are looked at less often: no more looks than about this.
const LOOKS: f64 = 20_000.0;

/// The receiver at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pressure {
    /// s from the start of the run.
    pub at_s: f64,
    /// bar.
    pub bar: f64,
    /// The torch blows.
    pub flows: bool,
}

impl Air {
    /// The pressure through a job, at the end of each arc, of each post-flow and of each rest, and about
    /// every second between. `arcs`: with the pauses in them.
    #[must_use]
    pub fn course(&self, arcs: &[Flow]) -> Vec<Pressure> {
        let Some((first, last)) = arcs.first().zip(arcs.last()) else {
            return Vec::new();
        };
        let every_s = LOOK_S.max((last.off_s - first.gas_s) / LOOKS);
        let mut course = Course {
            air: self,
            now: self.full(),
            at_s: first.gas_s,
            every_s,
            seen: Vec::new(),
        };
        course.see(false);
        for (k, arc) in arcs.iter().enumerate() {
            course.pass((arc.off_s - arc.gas_s).max(0.0), true);
            let (flows_s, rests_s) = self.behind(arcs, k);
            course.pass(flows_s, true);
            course.pass(rests_s, false);
        }
        course.seen
    }
}

struct Course<'a> {
    air: &'a Air,
    now: Receiver,
    at_s: f64,
    every_s: f64,
    seen: Vec<Pressure>,
}

impl Course<'_> {
    fn see(&mut self, flows: bool) {
        self.seen.push(Pressure {
            at_s: self.at_s,
            bar: self.now.bar,
            flows,
        });
    }

    fn pass(&mut self, for_s: f64, flows: bool) {
        if for_s <= 0.0 {
            return;
        }
        let pieces = (for_s / self.every_s).ceil().max(1.0);
        let (begun_s, each_s) = (self.at_s, for_s / pieces);
        for k in 0..pieces as usize {
            // Low or not: it is drawn as it comes.
            let _ = self.air.pass(&mut self.now, each_s, flows);
            self.at_s = begun_s + each_s * (k as f64 + 1.0);
            self.see(flows);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Compressor;
    use super::*;

    fn air(at_start: Compressor, regulated_bar: f64) -> Air {
        Air {
            receiver_l: 100.0,
            compressor_l_min: 90.0,
            torch_l_min: 165.0,
            start_bar: 6.5,
            stop_bar: 8.0,
            low_bar: 5.5,
            post_flow_s: 0.0,
            at_start,
            regulated_bar,
        }
    }

    fn one_long_cut(for_s: f64) -> [Flow; 1] {
        [Flow {
            gas_s: 10.0,
            on_s: 10.0,
            off_s: 10.0 + for_s,
        }]
    }

    /// Minutes of flow until the receiver has fallen so far.
    fn falls_to(air: &Air, bar: f64) -> f64 {
        let course = air.course(&one_long_cut(1200.0));
        let found = course.iter().find(|p| p.bar <= bar + 1e-9);
        (found.expect("it falls").at_s - 10.0) / 60.0
    }

    #[test]
    fn a_resting_compressor_and_one_that_is_left_off_bring_the_low_point_forward() {
        // Process handbook 4.3, calculated there: with the compressor running 3.3 min.
        let running = falls_to(&air(Compressor::Running, 0.0), 5.5);
        assert_eq!(format!("{running:.1}"), "3.3");
        // Calculated: 1.5 bar at 165 L/min, then 1 bar at 75: 0.90 + 1.32 min.
        let resting = falls_to(&air(Compressor::Resting, 0.0), 5.5);
        assert!((resting - 2.21).abs() < 0.03, "{resting}");
        // Calculated: 100 L, 8 to 5.5 bar at 165 L/min: 246.7 / 165 = 1.50 min.
        let off = falls_to(&air(Compressor::Off, 0.0), 5.5);
        assert!((off - 1.50).abs() < 0.03, "{off}");
    }

    #[test]
    fn a_receiver_alone_lasts_as_long_as_computed_from_the_published_formula() {
        // t = V (p1 - p2) / (p_atm Q): 60 L, 8.0 to 5.5 bar, 189 L/min, no supply, 1.01325 bar: 0.78327 min
        // (computed from the formula of receiver tables).
        let air = Air {
            receiver_l: 60.0,
            torch_l_min: 189.0,
            ..air(Compressor::Off, 0.0)
        };
        let forecast = air.forecast(&one_long_cut(1200.0));
        let low_s = forecast.low.expect("low").at_s - 10.0;
        assert!((low_s / 60.0 - 0.78327).abs() < 1e-4, "{low_s}");
        assert_eq!(forecast.hopeless, Some(1), "no wait fills it");
    }

    #[test]
    fn below_a_fixed_regulator_the_receiver_falls_slower_and_above_it_as_ever() {
        let (free, fixed) = (air(Compressor::Off, 0.0), air(Compressor::Off, 5.5));
        assert!((falls_to(&free, 5.5) - falls_to(&fixed, 5.5)).abs() < 1e-9);
        // Calculated: dp/dt = -p_atm Q / V (p + p_atm) / (5.5 + p_atm), so from 5.5 to 2 bar
        // (6.513 V / p_atm Q) ln(6.513 / 3.013) = 3.896 min times 0.7709.
        let least = falls_to(&fixed, 2.0) - falls_to(&fixed, 5.5);
        let exact = 6.51325 * 100.0 / (1.01325 * 165.0) * (6.51325_f64 / 3.01325).ln();
        assert!((least - exact).abs() < 0.03, "{least} {exact}");
        assert!(least > falls_to(&free, 2.0) - falls_to(&free, 5.5) + 0.5);
    }
}
