//! Whether the air lasts. Volumes and flows are free air, pressures are over that of the air around.
//!
//! The fall of a receiver is reckoned at one temperature; a fast fall is colder and up to a tenth
//! sooner.

use serde::{Deserialize, Serialize};

use crate::Wait;
use crate::time::ArcTime;

mod course;

pub use course::Pressure;

/// The air around, bar.
const AROUND_BAR: f64 = 1.013_25;
/// Less than this holds no air worth reckoning with; hoses hold as much, L.
const LEAST_L: f64 = 5.0;
/// More waits than this are not planned: the job wants another compressor.
const MOST_WAITS: usize = 40;
/// So much is left above low where a wait is planned, bar: a run is never quite as it was reckoned
/// (invented).
const SPARE_BAR: f64 = 0.1;
/// A wait is planned to whole pieces of this, s.
const WHOLE_S: f64 = 5.0;

/// How the compressor is at the start of a job; the receiver is full.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Compressor {
    /// It runs still: the receiver was just filled.
    #[default]
    Running,
    /// It rests until the pressure at which it starts.
    Resting,
    /// It is left off, for the noise: what the receiver holds is all there is.
    Off,
}

/// The air supply.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Receiver and everything that holds air with it, L.
    pub receiver_l: f64,
    /// What the compressor delivers, L/min.
    pub compressor_l_min: f64,
    /// What the torch takes, L/min.
    pub torch_l_min: f64,
    /// The compressor starts at this pressure, bar.
    pub start_bar: f64,
    /// The compressor stops at this pressure, bar.
    pub stop_bar: f64,
    /// In the receiver, with flow, the air is low below this, bar: what the source needs and what
    /// filter and hose take.
    pub low_bar: f64,
    /// The gas flows on after the arc, s.
    pub post_flow_s: f64,
    /// The compressor at the start.
    pub at_start: Compressor,
    /// In the receiver, with flow, the source's own fixed regulator has less than it is set to below
    /// this, bar: there the flow falls with the pressure. 0: there is none.
    pub regulated_bar: f64,
}

/// When the torch takes air.
pub type Flow = ArcTime;

/// When the air is low.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Low {
    /// In which cut, from 1.
    pub cut: usize,
    /// s from the start of the run.
    pub at_s: f64,
}

/// How the air fares in a job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AirForecast {
    /// What the torch takes, L.
    pub wanted_l: f64,
    /// When it first is low if nobody waits.
    pub low: Option<Low>,
    /// Where to wait, and how long.
    pub waits: Vec<Wait>,
    /// A cut that a full receiver does not last for (from 1): no wait helps.
    pub hopeless: Option<usize>,
    /// There are more waits than are planned.
    pub more: bool,
}

/// What a receiver gives when its pressure falls, L of free air.
#[must_use]
pub fn free_air_l(receiver_l: f64, from_bar: f64, to_bar: f64) -> f64 {
    receiver_l * (from_bar - to_bar) / AROUND_BAR
}

/// How long a receiver lasts, min: `None` where the supply is enough.
#[must_use]
pub fn receiver_min(
    receiver_l: f64,
    from_bar: f64,
    to_bar: f64,
    use_l_min: f64,
    supply_l_min: f64,
) -> Option<f64> {
    (use_l_min > supply_l_min)
        .then(|| free_air_l(receiver_l, from_bar, to_bar) / (use_l_min - supply_l_min))
}

/// The receiver at one moment.
#[derive(Clone, Copy, Debug)]
struct Receiver {
    bar: f64,
    running: bool,
}

impl Air {
    /// How the air fares: the receiver is full at the start.
    #[must_use]
    pub fn forecast(&self, arcs: &[Flow]) -> AirForecast {
        let mut found = AirForecast {
            wanted_l: self.wanted_l(arcs),
            ..AirForecast::default()
        };
        found.low = self.run(arcs, 0, self.full(), 0.0).err();
        if found.low.is_some() {
            let careful = Self {
                low_bar: self.low_bar + SPARE_BAR,
                ..*self
            };
            careful.plan_waits(self, arcs, &mut found);
        }
        found
    }

    /// Where to wait, and how long, so that the air is low nowhere. `limit`: the same without what is to
    /// spare.
    fn plan_waits(&self, limit: &Self, arcs: &[Flow], found: &mut AirForecast) {
        let (mut now, mut from, mut waited) = (self.full(), 0, 0.0);
        while let Err(low) = self.run(arcs, from, now, 0.0) {
            if found.waits.len() >= MOST_WAITS {
                found.more = true;
                break;
            }
            let cut = self.place(arcs, from, &mut now, low.cut - 1);
            let full_s = self.full_after_s(arcs, cut, now);
            let wait_s = self.wait_s(arcs, cut, now, full_s);
            let wait_s = wait_s.or_else(|| limit.wait_s(arcs, cut, now, full_s));
            // A wait of no time is none: nothing fills the receiver.
            let Some(wait_s) = wait_s.filter(|s| *s > 0.0) else {
                found.hopeless = Some(low.cut);
                break;
            };
            let at_s = arcs.get(cut).map_or(0.0, |a| a.gas_s) + waited;
            found.waits.push(Wait {
                before_cut: cut + 1,
                at_s,
                wait_s,
            });
            waited += wait_s;
            // A full receiver lasts for this cut, or there would be no wait.
            let _ = self.cut(arcs, cut, &mut now, wait_s);
            from = cut + 1;
        }
    }

    /// Before which cut, from `from` to `low`, to wait: the last where the post-flow of the cut before, which
    /// runs to its end in a wait, does not take the air low either. Where there is none, the last. `now` is
    /// brought there.
    fn place(&self, arcs: &[Flow], from: usize, now: &mut Receiver, low: usize) -> usize {
        let (begun, mut place) = (*now, low);
        let mut at = begun;
        for k in from..=low {
            let mut rest = at;
            if self
                .pass(&mut rest, self.rest_of_flow_s(arcs, k), true)
                .is_ok()
            {
                (place, *now) = (k, at);
            }
            if k < low {
                // It was just seen to last through these.
                let _ = self.cut(arcs, k, &mut at, 0.0);
            }
        }
        if place == low {
            *now = at;
        }
        place
    }

    /// The receiver at the start.
    fn full(&self) -> Receiver {
        Receiver {
            bar: self.stop_bar,
            running: self.at_start == Compressor::Running,
        }
    }

    /// What the compressor gives while it runs, L/min.
    fn given_l_min(&self) -> f64 {
        match self.at_start {
            Compressor::Off => 0.0,
            Compressor::Running | Compressor::Resting => self.compressor_l_min,
        }
    }

    /// What the torch takes at a pressure, L/min. Below its regulator's the nozzle is choked, and what
    /// goes through it is proportional to the absolute pressure before it (textbook, from memory).
    fn taken_l_min(&self, bar: f64) -> f64 {
        if self.regulated_bar <= 0.0 || bar >= self.regulated_bar {
            return self.torch_l_min;
        }
        self.torch_l_min * (bar + AROUND_BAR) / (self.regulated_bar + AROUND_BAR)
    }

    fn wanted_l(&self, arcs: &[Flow]) -> f64 {
        let each = arcs.iter().enumerate().map(|(k, a)| {
            let (post_s, _) = self.behind(arcs, k);
            (a.off_s - a.gas_s).max(0.0) + post_s
        });
        each.sum::<f64>() / 60.0 * self.torch_l_min
    }

    /// The shortest wait before a cut that lets the rest of the job pass, or else until full;
    /// `None` where even that does not last through the cut.
    fn wait_s(&self, arcs: &[Flow], cut: usize, now: Receiver, full_s: f64) -> Option<f64> {
        let mut trial = now;
        self.cut(arcs, cut, &mut trial, full_s).ok()?;
        let passes = |wait_s: f64| self.run(arcs, cut, now, wait_s).is_ok();
        if !passes(full_s) {
            return Some(full_s);
        }
        let (mut short, mut enough) = (0.0, full_s);
        for _ in 0..24 {
            let middle = (short + enough) / 2.0;
            if passes(middle) {
                enough = middle
            } else {
                short = middle
            }
        }
        let whole = (enough / WHOLE_S).ceil() * WHOLE_S;
        Some(if passes(whole) { whole } else { full_s })
    }

    /// After how long a wait before this cut the receiver is all but full, s: the compressor still
    /// runs, so that the next cut does not begin with its pause.
    fn full_after_s(&self, arcs: &[Flow], cut: usize, now: Receiver) -> f64 {
        let (mut full, rest_s) = (now, self.rest_of_flow_s(arcs, cut));
        // Low or not: waiting goes on.
        let _ = self.pass(&mut full, rest_s, true);
        let l_s = self.given_l_min() / 60.0;
        let fills = (full.running || full.bar <= self.start_bar) && l_s > 0.0;
        let fill_s = free_air_l(self.volume_l(), self.stop_bar, full.bar).max(0.0) / l_s;
        let wait_s = rest_s + if fills { fill_s } else { 0.0 };
        (wait_s / WHOLE_S).floor() * WHOLE_S
    }

    fn volume_l(&self) -> f64 {
        self.receiver_l.max(LEAST_L)
    }

    /// Post-flow of the cut before that still runs when this cut's gas begins to flow, s.
    fn rest_of_flow_s(&self, arcs: &[Flow], cut: usize) -> f64 {
        let before = cut.checked_sub(1).and_then(|k| arcs.get(k));
        let this = arcs.get(cut);
        before.zip(this).map_or(0.0, |(before, this)| {
            (before.off_s + self.post_flow_s - this.gas_s).max(0.0)
        })
    }

    /// Behind a cut: how long the gas flows on, and how long it rests until the next.
    fn behind(&self, arcs: &[Flow], cut: usize) -> (f64, f64) {
        let (Some(this), next) = (arcs.get(cut), arcs.get(cut + 1)) else {
            return (0.0, 0.0);
        };
        let gap = next.map_or(f64::INFINITY, |n| (n.gas_s - this.off_s).max(0.0));
        let post = if this.off_s > this.gas_s {
            self.post_flow_s
        } else {
            0.0
        };
        let flows = post.min(gap);
        (flows, if gap.is_finite() { gap - flows } else { 0.0 })
    }

    /// From a cut on to the end, with a wait before the first.
    fn run(&self, arcs: &[Flow], from: usize, mut now: Receiver, wait_s: f64) -> Result<(), Low> {
        for k in from..arcs.len() {
            let wait_s = if k == from { wait_s } else { 0.0 };
            self.cut(arcs, k, &mut now, wait_s).map_err(|after_s| Low {
                cut: k + 1,
                at_s: arcs.get(k).map_or(0.0, |a| a.gas_s) + after_s,
            })?;
        }
        Ok(())
    }

    /// A wait, a cut and what lies between it and the next one. On an error the time from the
    /// start of the cut's flow until the air is low, s.
    fn cut(&self, arcs: &[Flow], k: usize, now: &mut Receiver, wait_s: f64) -> Result<(), f64> {
        let Some(arc) = arcs.get(k) else {
            return Ok(());
        };
        let flows_on = self.rest_of_flow_s(arcs, k).min(wait_s);
        // Low in a wait is nothing lost: it is what the wait is for.
        let _ = self.pass(now, flows_on, true);
        let _ = self.pass(now, wait_s - flows_on, false);
        let burns = (arc.off_s - arc.gas_s).max(0.0);
        self.pass(now, burns, true)?;
        let (flows, rests) = self.behind(arcs, k);
        self.pass(now, flows, true).map_err(|s| burns + s)?;
        self.pass(now, rests, false)
    }

    /// Time passes. On an error the time until the air is low, s; the receiver goes on all the same.
    fn pass(&self, now: &mut Receiver, for_s: f64, flows: bool) -> Result<(), f64> {
        if for_s <= 0.0 {
            return Ok(());
        }
        let (mut left, mut low_after) = (for_s, None);
        loop {
            if now.running && now.bar >= self.stop_bar && !flows {
                now.running = false;
            } else if now.bar <= self.start_bar {
                now.running = true;
            }
            if flows && now.bar <= self.low_bar && self.falls(now) && low_after.is_none() {
                low_after = Some(for_s - left.max(0.0));
            }
            if left <= 1e-9 {
                break;
            }
            let supply = if now.running { self.given_l_min() } else { 0.0 };
            let demand = if flows {
                self.taken_l_min(now.bar)
            } else {
                0.0
            };
            // bar/s
            let rate = AROUND_BAR * (supply - demand) / 60.0 / self.volume_l();
            let next = self.next_bar(now, rate, flows && low_after.is_none());
            let until = next.map_or(f64::INFINITY, |bar| (bar - now.bar) / rate);
            if until > left {
                now.bar = (now.bar + rate * left).max(0.0);
                left = 0.0;
            } else {
                left -= until;
                now.bar = next.unwrap_or(now.bar);
                if now.running && now.bar >= self.stop_bar {
                    now.running = false;
                }
            }
        }
        low_after.map_or(Ok(()), Err)
    }

    fn falls(&self, now: &Receiver) -> bool {
        self.taken_l_min(now.bar) > if now.running { self.given_l_min() } else { 0.0 }
    }

    /// The pressure at which something changes next.
    fn next_bar(&self, now: &Receiver, rate: f64, watches_low: bool) -> Option<f64> {
        if rate > 0.0 {
            return (now.bar < self.stop_bar).then_some(self.stop_bar);
        }
        if rate < 0.0 {
            let start = (!now.running && now.bar > self.start_bar).then_some(self.start_bar);
            let low = (watches_low && now.bar > self.low_bar).then_some(self.low_bar);
            return match (start, low) {
                (Some(a), Some(b)) => Some(a.max(b)),
                (a, b) => a.or(b),
            };
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn air(receiver_l: f64, compressor_l_min: f64) -> Air {
        Air {
            receiver_l,
            compressor_l_min,
            torch_l_min: 165.0,
            start_bar: 6.5,
            stop_bar: 8.0,
            low_bar: 5.5,
            post_flow_s: 8.0,
            at_start: Compressor::Running,
            regulated_bar: 0.0,
        }
    }

    /// Cuts of 8 s, 6 s apart: with 8 s of post-flow the torch blows all the time.
    fn cuts(number: usize) -> Vec<Flow> {
        (0..number)
            .map(|k| Flow {
                gas_s: 14.0 * k as f64,
                on_s: 14.0 * k as f64,
                off_s: 14.0 * k as f64 + 8.0,
            })
            .collect()
    }

    #[test]
    fn in_a_wait_the_post_flow_that_runs_to_its_end_does_not_take_the_air_low() {
        // Cuts of 8 s with 2 s between: a wait lets 6 s more of post-flow out, 0.13 bar here.
        let arcs: Vec<Flow> = (0..60)
            .map(|k| Flow {
                gas_s: 10.0 * f64::from(k),
                on_s: 10.0 * f64::from(k),
                off_s: 10.0 * f64::from(k) + 8.0,
            })
            .collect();
        for litres in [40.0, 70.0, 100.0] {
            let air = air(litres, 90.0);
            let forecast = air.forecast(&arcs);
            assert!(!forecast.waits.is_empty() && forecast.hopeless.is_none());
            let waits = forecast.waits.iter().map(|w| (w.before_cut, w.wait_s));
            let course = air.course(&crate::time::delayed(&arcs, waits));
            let least = course.iter().filter(|p| p.flows).map(|p| p.bar);
            let least = least.fold(f64::INFINITY, f64::min);
            assert!(least >= 5.5, "{litres} L: {least}, {forecast:?}");
        }
    }

    #[test]
    fn a_published_receiver_comes_out() {
        // Receiver formula t = V (p1 - p2) / (p_atm (Q_use - Q_supply)), published example: 250 cfm
        // supply, 350 cfm use, 5 min, 100 to 60 psig, p_atm 14.7: 183.75 ft3 = 5.20 m3.
        let (cfm, psi) = (28.316_847, 0.068_947_57);
        let receiver_l = 183.75 * cfm;
        let min = receiver_min(
            receiver_l,
            100.0 * psi,
            60.0 * psi,
            350.0 * cfm,
            250.0 * cfm,
        );
        // Its air around is 14.7 psi, ours 14.696.
        let min = min.expect("it empties") * AROUND_BAR / (14.7 * psi);
        assert!((min - 5.0).abs() < 1e-3, "{min}");
    }

    #[test]
    fn computed_receivers_come_out() {
        // Computed from the same formula: 60 L, 8.0 to 5.5 bar, use 189 L/min.
        let lasts = |supply| receiver_min(60.0, 8.0, 5.5, 189.0, supply);
        assert_eq!(
            lasts(120.0).map(|t| format!("{t:.4}")).as_deref(),
            Some("2.1455")
        );
        assert_eq!(
            lasts(0.0).map(|t| format!("{t:.5}")).as_deref(),
            Some("0.78327")
        );
        assert_eq!(lasts(189.0), None);
        // Filling 60 L from 0 to 8 bar at 200 L/min.
        assert_eq!(
            format!("{:.4}", free_air_l(60.0, 8.0, 0.0) / 200.0),
            "2.3686"
        );
        // Process handbook 4.3, calculated there: 100 L, 8 to 5.5 bar.
        assert_eq!(format!("{:.0}", free_air_l(100.0, 8.0, 5.5)), "247");
    }

    #[test]
    fn the_receivers_of_the_handbook_are_low_when_it_says() {
        // Process handbook 4.3, calculated there: torch 165 L/min.
        let low_min = |receiver_l, compressor| {
            let low = air(receiver_l, compressor).forecast(&cuts(100)).low;
            low.map(|l| format!("{:.1}", l.at_s / 60.0))
        };
        assert_eq!(low_min(100.0, 90.0).as_deref(), Some("3.3"));
        assert_eq!(low_min(24.0, 90.0).as_deref(), Some("0.8"));
        assert_eq!(low_min(100.0, 140.0).as_deref(), Some("9.9"));
        assert_eq!(low_min(100.0, 170.0), None);
    }

    #[test]
    fn waits_fill_the_receiver_and_the_last_is_only_as_long_as_needed() {
        // 8.5 min of full flow: a receiver lasts 3.3 min and fills in 2.7 min.
        let forecast = air(100.0, 90.0).forecast(&cuts(36));
        assert_eq!(forecast.waits.len(), 2, "{forecast:?}");
        let first = forecast.waits[0];
        // In cut 15 the air would be low; before it the post-flow that runs on would leave too little to spare.
        assert_eq!(first.before_cut, 14);
        // 2.5 bar and the post-flow that runs on at its beginning.
        assert!((150.0..175.0).contains(&first.wait_s), "{first:?}");
        assert!(forecast.waits[1].wait_s < first.wait_s);
        assert_eq!((forecast.hopeless, forecast.more), (None, false));
    }

    #[test]
    fn with_the_waits_that_it_plans_the_air_lasts() {
        for (receiver_l, compressor) in [(100.0, 90.0), (60.0, 120.0), (100.0, 30.0)] {
            let air = air(receiver_l, compressor);
            let plan = air.forecast(&cuts(60));
            let mut now = Receiver {
                bar: air.stop_bar,
                running: true,
            };
            for k in 0..60 {
                let wait = plan.waits.iter().find(|w| w.before_cut == k + 1);
                let lasts = air.cut(&cuts(60), k, &mut now, wait.map_or(0.0, |w| w.wait_s));
                assert!(lasts.is_ok(), "{receiver_l} L, cut {}", k + 1);
            }
            assert!(!plan.waits.is_empty() && plan.hopeless.is_none());
        }
    }

    #[test]
    fn a_cut_longer_than_a_full_receiver_cannot_be_waited_for() {
        let long = [Flow {
            gas_s: 0.0,
            on_s: 0.5,
            off_s: 300.0,
        }];
        let forecast = air(100.0, 90.0).forecast(&long);
        assert_eq!(forecast.hopeless, Some(1));
        assert!(forecast.low.is_some() && forecast.waits.is_empty());
        assert_eq!(air(100.0, 0.0).forecast(&cuts(60)).hopeless, Some(7));
    }

    #[test]
    fn between_its_two_pressures_the_compressor_keeps_its_state() {
        let air = air(100.0, 90.0);
        let mut now = Receiver {
            bar: 8.0,
            running: false,
        };
        // Off while falling to 6.5 bar: 100 L x 1.5 bar at 165 L/min, 53.8 s.
        air.pass(&mut now, 53.0, true).expect("it lasts");
        assert!(!now.running && now.bar > 6.5);
        air.pass(&mut now, 2.0, true).expect("it lasts");
        assert!(now.running && now.bar < 6.5);
        // On while rising to 8.0 bar.
        air.pass(&mut now, 95.0, false).expect("it lasts");
        assert!(now.running && now.bar > 7.9);
        air.pass(&mut now, 10.0, false).expect("it lasts");
        assert!(!now.running && (now.bar - 8.0).abs() < 1e-9);
    }

    #[test]
    fn nothing_to_cut_and_nothing_to_hold_air_are_stood() {
        assert_eq!(air(100.0, 90.0).forecast(&[]), AirForecast::default());
        assert_eq!(air(0.0, 90.0).forecast(&cuts(3)).hopeless, Some(1));
        assert_eq!(air(0.0, 170.0).forecast(&cuts(3)).low, None);
    }
}
