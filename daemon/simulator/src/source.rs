//! The power source: pre-flow, pilot, transfer, loss, post-flow, its arc-transferred contact and
//! its volts.

use crate::chance::{Chance, Draws};
use crate::duty::Duty;
use crate::meter::Meter;
use crate::rough::Conditions;
use crate::rough::losses::{STARTS_BAR, SUFFERS_BAR};

const MS: u64 = 1_000_000;
/// The source answers its start circuit after this, either way.
const ANSWER_NS: u64 = 3 * MS;
const PRE_FLOW_NS: u64 = 350 * MS;
const POST_FLOW_NS: u64 = 8_000 * MS;
/// Pilot without transfer: the source gives up, and again after a pause.
const PILOT_LIFE_NS: u64 = 3_000 * MS;
/// An arc without air pressure goes out after this.
const NO_AIR_NS: u64 = 1_000 * MS;
/// A pilot without transfer is a fault that lasts so long, in the rough mood.
const FAULT_NS: u64 = 4_000 * MS;
/// An arc stands too little pressure for so long, in the rough mood.
const STARVES_NS: u64 = 100 * MS;
/// Metal further away than this, for this long, ends the arc: it burns from its side (process
/// handbook, invented).
const REACH_MM: f64 = 3.0;
const FAR_NS: u64 = 15 * MS;
/// The arc snaps above this height, mm.
const SNAP_MM: f64 = 10.0;

/// Volts of an arc for each mm of height, with worn out parts, with blown ones, and with no metal before it.
const VOLTS_MM: f64 = 6.0;
const WORN_V: f64 = 5.0;
const BLOWN_V: f64 = 15.0;
const BARE_V: f64 = 25.0;

/// What the source is doing.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    Off,
    PreFlow {
        until: u64,
    },
    Pilot {
        since: u64,
    },
    /// Pilot without transfer: it answers no start for a while.
    Fault {
        until: u64,
    },
    Arc {
        since: u64,
    },
    /// The arc went out by itself; nothing more until the start circuit has opened.
    Spent,
}

/// Where the torch is, as the arc feels it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Gap {
    /// Tip above the surface, mm.
    pub(crate) height_mm: f64,
    /// To the nearest metal in the plane, mm.
    pub(crate) metal_mm: f64,
    /// Speed in the plane, mm/s.
    pub(crate) speed_mm_s: f64,
    /// Share of metal in front of the arc.
    pub(crate) front: f64,
}

/// What the arc would have at chart height and feed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ArcChart {
    pub(crate) volts: f64,
    pub(crate) cut_height_mm: f64,
    pub(crate) feed_mm_s: f64,
    /// The current over the one that may burn for ever.
    pub(crate) load: f64,
}

#[derive(Clone, Debug)]
pub(crate) struct Source {
    phase: Phase,
    chance: Chance,
    rough: bool,
    /// The start circuit as the source has understood it, and a change on its way.
    asked: bool,
    asked_due: Option<(u64, bool)>,
    /// Hazard still to be lived through before the arc transfers.
    to_transfer: f64,
    arc_ok: bool,
    arc_ok_due: Option<(u64, bool)>,
    far_since: Option<u64>,
    no_air_since: Option<u64>,
    post_flow_until: u64,
    volts: f64,
    volts_noise: f64,
    meter: Meter,
    /// How warm the source is.
    duty: Duty,
    /// What the arc feels, in the rough mood.
    pub(crate) conditions: Option<Conditions>,
    hazards: Chance,
    /// What happened by chance and was not told yet.
    mishap: Option<&'static str>,
    /// Does not answer its start circuit.
    pub(crate) dead: bool,
    /// Stays on whatever its start circuit does.
    pub(crate) latched: bool,
}

impl Source {
    pub(crate) fn new(seed: u64, rough: bool) -> Self {
        Self {
            phase: Phase::Off,
            chance: Chance::new(seed, Draws::Source),
            rough,
            asked: false,
            asked_due: None,
            to_transfer: 0.0,
            arc_ok: false,
            arc_ok_due: None,
            far_since: None,
            no_air_since: None,
            post_flow_until: 0,
            volts: 0.0,
            volts_noise: 0.0,
            meter: Meter::new(seed),
            duty: Duty::default(),
            conditions: None,
            hazards: Chance::new(seed, Draws::Losses),
            mishap: None,
            dead: false,
            latched: false,
        }
    }

    /// The arc burns onto metal.
    pub(crate) fn transferred(&self) -> bool {
        matches!(self.phase, Phase::Arc { .. })
    }

    /// Pilot or arc.
    pub(crate) fn burning(&self) -> bool {
        matches!(self.phase, Phase::Arc { .. } | Phase::Pilot { .. })
    }

    pub(crate) fn arc_since(&self) -> Option<u64> {
        match self.phase {
            Phase::Arc { since } => Some(since),
            _ => None,
        }
    }

    pub(crate) fn arc_ok(&self) -> bool {
        self.arc_ok
    }

    pub(crate) fn volts(&self) -> f64 {
        self.volts
    }

    /// It must be looked at every step.
    pub(crate) fn busy(&self) -> bool {
        self.burning()
    }

    /// Air goes through the torch.
    pub(crate) fn flows(&self, now: u64) -> bool {
        match self.phase {
            Phase::PreFlow { .. } | Phase::Pilot { .. } | Phase::Arc { .. } => true,
            Phase::Off | Phase::Spent | Phase::Fault { .. } => now < self.post_flow_until,
        }
    }

    /// What has happened by chance since this was last asked.
    pub(crate) fn take_mishap(&mut self) -> Option<&'static str> {
        self.mishap.take()
    }

    pub(crate) fn next(&self) -> Option<u64> {
        let phase = match self.phase {
            Phase::PreFlow { until } | Phase::Fault { until } => Some(until),
            _ => None,
        };
        [
            phase,
            self.asked_due.map(|d| d.0),
            self.arc_ok_due.map(|d| d.0),
        ]
        .into_iter()
        .flatten()
        .min()
    }

    /// The arc goes out by itself; it can be struck again once the start circuit was open.
    pub(crate) fn lose(&mut self, now: u64) {
        if self.burning() {
            self.phase = Phase::Spent;
            self.post_flow_until = now + POST_FLOW_NS;
        }
    }

    /// Switched off and on again by hand.
    pub(crate) fn switch_off_and_on(&mut self, now: u64) {
        self.latched = false;
        self.lose(now);
        self.phase = Phase::Spent;
    }

    /// One step to `now`, `dt` ns long. `closed`: the start circuit; `air`: pressure is good.
    pub(crate) fn advance(
        &mut self,
        now: u64,
        dt: u64,
        closed: bool,
        air: bool,
        gap: Gap,
        chart: ArcChart,
    ) {
        let going_to = self.asked_due.map_or(self.asked, |d| d.1);
        if going_to != closed {
            self.asked_due = (closed != self.asked).then_some((now + ANSWER_NS, closed));
        }
        if let Some((at, level)) = self.asked_due
            && at <= now
        {
            self.asked = level;
            self.asked_due = None;
        }
        let asked = self.asked && !self.dead;
        let dt_s = dt as f64 / 1e9;
        let air = air
            && self
                .conditions
                .is_none_or(|c| c.bar >= STARTS_BAR || self.burning());
        match self.phase {
            Phase::Off if asked && air => {
                self.phase = Phase::PreFlow {
                    until: now + self.pre_flow_ns(),
                };
            }
            Phase::Fault { until } if now >= until => self.phase = Phase::Spent,
            Phase::Fault { .. } => {}
            Phase::Off => {}
            Phase::PreFlow { .. } if !asked => self.phase = Phase::Off,
            Phase::PreFlow { until } if now >= until => {
                if air && self.strikes() {
                    self.to_transfer = self.chance.waiting();
                    self.phase = Phase::Pilot { since: now };
                } else {
                    self.phase = Phase::PreFlow {
                        until: now + 300 * MS,
                    };
                }
            }
            Phase::PreFlow { .. } => {}
            Phase::Pilot { since } => self.pilot(now, since, dt_s, asked, gap),
            Phase::Arc { .. } => self.arc(now, dt_s, asked, air, gap),
            Phase::Spent if !asked => self.phase = Phase::Off,
            Phase::Spent => {}
        }
        self.warm(now, dt_s, chart.load);
        self.follow(now);
        self.read_volts(dt_s, gap, chart);
    }

    /// A source that was loaded for too long trips, and answers no start until it is cool.
    fn warm(&mut self, now: u64, dt_s: f64, load: f64) {
        let load = if self.transferred() { load } else { 0.0 };
        let trips = self.duty.advance(dt_s, load);
        if let Some(rests_s) = trips.filter(|_| self.transferred()) {
            self.lose(now);
            self.mishap = Some("duty");
            self.phase = Phase::Fault {
                until: now + (rests_s * 1e9) as u64,
            };
        }
    }

    fn pre_flow_ns(&mut self) -> u64 {
        if self.rough {
            (self.chance.within(300.0, 400.0) * MS as f64) as u64
        } else {
            PRE_FLOW_NS
        }
    }

    fn strikes(&mut self) -> bool {
        let Some(conditions) = self.conditions else {
            return true;
        };
        let strikes = self.chance.happens(conditions.strikes());
        if !strikes {
            self.mishap = Some("misfire");
        }
        strikes
    }

    fn pilot(&mut self, now: u64, since: u64, dt_s: f64, asked: bool, gap: Gap) {
        if !asked && !self.latched {
            self.phase = Phase::Off;
            return;
        }
        if now >= since + PILOT_LIFE_NS {
            self.lose(now);
            if self.rough {
                self.mishap = Some("no-transfer");
                self.phase = Phase::Fault {
                    until: now + FAULT_NS,
                };
            }
            return;
        }
        let f_gap = 1.0 / (1.0 + ((gap.height_mm - 5.0) / 0.5).exp());
        let f_metal = if gap.metal_mm <= 2.0 {
            1.0
        } else {
            (-(gap.metal_mm - 2.0) / 0.15).exp()
        };
        let hazard = self.conditions.map_or(60.0 * f_gap * f_metal, |c| {
            c.transfers(gap.height_mm, gap.metal_mm)
        });
        self.to_transfer -= hazard * dt_s;
        if self.to_transfer <= 0.0 {
            self.far_since = None;
            self.no_air_since = None;
            self.phase = Phase::Arc { since: now };
        }
    }

    fn arc(&mut self, now: u64, dt_s: f64, asked: bool, air: bool, gap: Gap) {
        if !asked && !self.latched {
            self.post_flow_until = now + POST_FLOW_NS;
            self.phase = Phase::Off;
            return;
        }
        if let Some(conditions) = self.conditions {
            self.rough_arc(now, dt_s, air, gap, conditions);
            return;
        }
        let far = gap.metal_mm > REACH_MM || gap.height_mm > SNAP_MM;
        self.far_since = if far {
            self.far_since.or(Some(now))
        } else {
            None
        };
        self.no_air_since = if air {
            None
        } else {
            self.no_air_since.or(Some(now))
        };
        let gone = self.far_since.is_some_and(|t| now >= t + FAR_NS)
            || self.no_air_since.is_some_and(|t| now >= t + NO_AIR_NS);
        if gone {
            self.lose(now);
        }
    }

    /// An arc that burns in the rough mood may be lost by each of its hazards.
    fn rough_arc(&mut self, now: u64, dt_s: f64, air: bool, gap: Gap, c: Conditions) {
        let since = |on: bool, was: Option<u64>| on.then(|| was.unwrap_or(now));
        self.far_since = since(Conditions::far(gap.metal_mm), self.far_since);
        self.no_air_since = since(!air || c.bar < SUFFERS_BAR, self.no_air_since);
        let over = |from: Option<u64>, limit: u64| from.is_some_and(|t| now > t + limit);
        let hazards = c.loses(
            gap.height_mm,
            over(self.far_since, FAR_NS),
            over(self.no_air_since, STARVES_NS),
        );
        let all: f64 = hazards.iter().map(|h| h.1).sum();
        if !self.hazards.happens(1.0 - (-all * dt_s).exp()) {
            return;
        }
        let mut left = self.hazards.within(0.0, all);
        let of = hazards.iter().find(|(_, h)| {
            left -= h;
            left < 0.0
        });
        self.mishap = of.map(|h| h.0);
        self.lose(now);
    }

    fn follow(&mut self, now: u64) {
        let arc = self.transferred();
        let going_to = self.arc_ok_due.map_or(self.arc_ok, |d| d.1);
        if going_to != arc {
            let sigma = if self.rough { 2.0 } else { 0.7 };
            let mean = if arc { 15.0 } else { 12.0 };
            let lag = self.chance.bell(mean, sigma).clamp(mean - 5.0, mean + 5.0);
            self.arc_ok_due = (arc != self.arc_ok).then_some((now + (lag * MS as f64) as u64, arc));
        }
        if let Some((at, level)) = self.arc_ok_due
            && at <= now
        {
            self.arc_ok = level;
            self.arc_ok_due = None;
        }
    }

    fn read_volts(&mut self, dt_s: f64, gap: Gap, chart: ArcChart) {
        let volts = match self.phase {
            Phase::Arc { .. } => {
                // Noise of 1.5 V rms that remembers for 3 ms.
                let keep = (-dt_s / 3e-3).exp();
                let fresh = self.chance.bell(0.0, 1.5 * (1.0 - keep * keep).sqrt());
                self.volts_noise = self.volts_noise * keep + fresh;
                self.arc_volts(gap, chart) + self.volts_noise
            }
            Phase::Pilot { .. } => 120.0 + 25.0 * (2.0 * self.chance.even() - 1.0),
            Phase::PreFlow { .. } if self.asked => 260.0,
            _ => 0.0,
        };
        self.volts = self.meter.reads(dt_s, volts, self.transferred());
    }

    /// Volts of an arc (process handbook, invented): by height, speed, wear and the metal before it.
    fn arc_volts(&self, gap: Gap, chart: ArcChart) -> f64 {
        let feed = chart.feed_mm_s.max(1.0);
        let slow = (feed / gap.speed_mm_s.max(feed / 3.0)).ln();
        let worn = self.conditions.map_or(0.0, |c| {
            WORN_V * c.wear - if c.blown { BLOWN_V } else { 0.0 }
        });
        chart.volts
            + VOLTS_MM * (gap.height_mm - chart.cut_height_mm)
            + 7.2 * slow
            + worn
            + BARE_V * (1.0 - gap.front)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NEAR: Gap = Gap {
        height_mm: 3.5,
        metal_mm: 0.0,
        speed_mm_s: 0.0,
        front: 1.0,
    };
    const CHART: ArcChart = ArcChart {
        volts: 113.0,
        cut_height_mm: 1.5,
        feed_mm_s: 18.3,
        load: 1.0,
    };

    fn run(source: &mut Source, from_ms: u64, to_ms: u64, closed: bool, gap: Gap) -> Option<u64> {
        let mut first = None;
        for ms in from_ms..to_ms {
            source.advance(ms * MS, MS, closed, true, gap, CHART);
            if source.arc_ok() && first.is_none() {
                first = Some(ms);
            }
        }
        first
    }

    #[test]
    fn pre_flow_pilot_transfer_and_then_the_contact() {
        let mut source = Source::new(3, false);
        let ok = run(&mut source, 0, 1000, true, NEAR).expect("transfers");
        assert!((365..700).contains(&ok), "{ok}");
        assert!((source.volts() - 133.0).abs() < 8.0, "{}", source.volts()); // 113 + 6 x 2 + 7.2 ln 3
        run(&mut source, 1000, 1004, false, NEAR);
        assert!(!source.burning(), "out within 4 ms");
        assert!(source.arc_ok(), "its contact lags");
        run(&mut source, 1004, 1025, false, NEAR);
        assert!(!source.arc_ok());
    }

    #[test]
    fn volts_tell_of_height_speed_wear_and_the_metal_before_the_arc() {
        let mut source = Source::new(3, true);
        let good = Gap {
            height_mm: 1.5,
            speed_mm_s: 18.3,
            ..NEAR
        };
        let volts = |source: &Source, gap: Gap| source.arc_volts(gap, CHART);
        assert!((volts(&source, good) - 113.0).abs() < 1e-9);
        let high = Gap {
            height_mm: 2.5,
            ..good
        };
        assert!((volts(&source, high) - 119.0).abs() < 1e-9);
        let slow = Gap {
            speed_mm_s: 9.15,
            ..good
        };
        // Handbook: half the speed is 5 V more.
        assert!((volts(&source, slow) - 118.0).abs() < 0.05);
        let bare = Gap { front: 0.0, ..good };
        assert!((volts(&source, bare) - 138.0).abs() < 1e-9);
        let conditions = |wear: f64, blown: bool| {
            Some(Conditions {
                bar: 5.0,
                wear,
                blown,
                wet_air: false,
                free: None,
            })
        };
        source.conditions = conditions(0.8, false);
        assert!((volts(&source, good) - 117.0).abs() < 1e-9);
        source.conditions = conditions(1.2, true);
        assert!((volts(&source, good) - 104.0).abs() < 1e-9);
    }

    #[test]
    fn a_source_that_is_loaded_for_too_long_trips_and_comes_back_when_it_is_cool() {
        let mut source = Source::new(3, false);
        let chart = ArcChart {
            load: 2.5_f64.sqrt(),
            ..CHART
        };
        run(&mut source, 0, 1000, true, NEAR);
        assert!(source.transferred());
        let lost = (1..700_u64).find(|s| {
            // A second at a time: nothing else changes meanwhile.
            source.advance((1 + s) * 1000 * MS, 1000 * MS, true, true, NEAR, chart);
            !source.transferred()
        });
        let at_s = lost.expect("it trips");
        assert!((460..470).contains(&at_s), "{at_s}");
        let (from, mut ready) = ((1 + at_s) * 1000, None);
        for s in 1..400_u64 {
            let now = from + s * 1000;
            source.advance(now * MS, 990 * MS, false, true, NEAR, chart);
            source.advance((now + 10) * MS, 10 * MS, false, true, NEAR, chart);
            if ready.is_none() && source.phase == Phase::Off {
                ready = Some(s);
            }
        }
        let ready = ready.expect("it comes back");
        assert!((240..247).contains(&ready), "{ready}");
        assert!(run(&mut source, from + 401_000, from + 402_000, true, NEAR).is_some());
    }

    #[test]
    fn no_metal_no_transfer_and_it_gives_up_after_three_seconds() {
        let mut source = Source::new(3, false);
        let off = Gap {
            metal_mm: 6.0,
            ..NEAR
        };
        assert_eq!(run(&mut source, 0, 5000, true, off), None);
        assert!(!source.burning());
    }

    #[test]
    fn a_lost_arc_is_not_struck_again_before_the_circuit_was_open() {
        let mut source = Source::new(3, false);
        run(&mut source, 0, 1000, true, NEAR);
        source.lose(1000 * MS);
        run(&mut source, 1000, 1030, true, NEAR);
        assert_eq!(run(&mut source, 1030, 3000, true, NEAR), None);
        run(&mut source, 3000, 3010, false, NEAR);
        assert!(run(&mut source, 3010, 4000, true, NEAR).is_some());
    }
}
