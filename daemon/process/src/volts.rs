//! Arc volts from the counts of an analogue converter: scaled, filtered, and whether the input can be
//! believed at all.

use core::time::Duration;

use serde::{Deserialize, Serialize};
use units::Time;

/// The median is of so many readings: a spike of one or two is none (process handbook, invented).
const MEDIAN_OF: usize = 5;
/// What follows it is a low pass of first order with this time, s (process handbook, invented).
const LOW_PASS_S: f64 = 0.020;
/// Readings that lie further apart have nothing to do with each other: the filter begins anew. Three of
/// the low pass's times.
const GAP: Duration = Duration::from_millis(60);
/// Counts by which readings may differ and still not move, to either side (process handbook, invented).
const STILL_COUNTS: i32 = 1;
/// So long without moving is no arc: a live one has more than 0.5 V rms of noise (process handbook,
/// invented).
pub const UNMOVING: Duration = Duration::from_millis(200);

/// Whether the volts' input can be believed, by its own readings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum VoltsInput {
    /// Nothing speaks against it.
    #[default]
    Plausible,
    /// It stands where only a wire that has come off puts it.
    WireOff,
    /// It has not moved by more than a count for [`UNMOVING`]: right at rest, and no burning arc.
    Unmoving,
}

impl VoltsInput {
    /// Nothing speaks against it.
    #[must_use]
    pub fn is_plausible(&self) -> bool {
        *self == Self::Plausible
    }
}

/// How counts become arc volts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoltsScale {
    /// One count at the converter's input, V.
    pub volts_per_count: f64,
    /// What the converter's input stands at while the torch is dead, V.
    pub offset_v: f64,
    /// Arc volts for each volt at the converter's input.
    pub divider: f64,
    /// Below this the input stands only with its wire off, V at the input; `None`: a loose wire cannot be
    /// told by its level.
    pub wire_off_below_v: Option<f64>,
}

/// What a reading comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ArcVolts {
    /// Filtered, V.
    pub volts: f64,
    /// Whether that can be believed.
    pub input: VoltsInput,
}

/// Takes readings one after the other.
#[derive(Clone, Debug)]
pub struct VoltsMeter {
    scale: VoltsScale,
    /// The newest counts, as many as the median is of; the oldest first.
    recent: Vec<i32>,
    filtered: f64,
    last: Option<Time>,
    /// Lowest and highest counts since then: never further apart than [`STILL_COUNTS`] to either side.
    still: Option<(i32, i32, Time)>,
}

impl VoltsMeter {
    /// A meter that has read nothing yet.
    #[must_use]
    pub fn new(scale: VoltsScale) -> Self {
        Self {
            scale,
            recent: Vec::with_capacity(MEDIAN_OF),
            filtered: 0.0,
            last: None,
            still: None,
        }
    }

    /// A reading that was made at this moment.
    pub fn read(&mut self, at: Time, counts: i32) -> ArcVolts {
        let before = self.last.filter(|before| at.since(*before) <= GAP);
        if before.is_none() {
            self.recent.clear();
            self.still = None;
        }
        self.last = Some(at);
        if self.recent.len() == MEDIAN_OF {
            self.recent.remove(0);
        }
        self.recent.push(counts);
        let mut sorted = self.recent.clone();
        sorted.sort_unstable();
        let median = sorted.get(sorted.len() / 2).copied().unwrap_or(counts);
        let input_v = f64::from(median) * self.scale.volts_per_count;
        let volts = (input_v - self.scale.offset_v) * self.scale.divider;
        match before {
            Some(before) => {
                let step_s = at.since(before).as_secs_f64();
                self.filtered += (volts - self.filtered) * (1.0 - (-step_s / LOW_PASS_S).exp());
            }
            None => self.filtered = volts,
        }
        let unmoving = self.unmoving(at, counts);
        let off = self.scale.wire_off_below_v.is_some_and(|v| input_v < v);
        ArcVolts {
            volts: self.filtered,
            input: match (off, unmoving) {
                (true, _) => VoltsInput::WireOff,
                (false, true) => VoltsInput::Unmoving,
                (false, false) => VoltsInput::Plausible,
            },
        }
    }

    fn unmoving(&mut self, at: Time, counts: i32) -> bool {
        let (low, high, since) = self.still.unwrap_or((counts, counts, at));
        let (low, high) = (low.min(counts), high.max(counts));
        let moved = high.saturating_sub(low) > 2 * STILL_COUNTS;
        self.still = Some(if moved {
            (counts, counts, at)
        } else {
            (low, high, since)
        });
        !moved && at.since(since) >= UNMOVING
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 12 bits over 5 V, the input half a volt up, divided by 50.
    const SCALE: VoltsScale = VoltsScale {
        volts_per_count: 5.0 / 4096.0,
        offset_v: 0.5,
        divider: 50.0,
        wire_off_below_v: Some(0.25),
    };

    /// The counts at which this many arc volts stand.
    fn counts(volts: f64) -> i32 {
        ((volts / 50.0 + 0.5) / SCALE.volts_per_count).round() as i32
    }

    fn all(meter: &mut VoltsMeter, readings: impl Iterator<Item = (u64, i32)>) -> Option<ArcVolts> {
        readings
            .map(|(ms, counts)| meter.read(Time::from_ms(ms), counts))
            .last()
    }

    #[test]
    fn a_steady_input_reads_as_its_volts_within_half_a_count() {
        for volts in [0.0, 98.0, 130.0, 220.0] {
            let mut meter = VoltsMeter::new(SCALE);
            let told = all(&mut meter, (0..50).map(|ms| (ms, counts(volts)))).expect("read");
            assert!((told.volts - volts).abs() <= 0.0305 + 1e-9, "{told:?}");
            assert_eq!(told.input, VoltsInput::Plausible);
        }
    }

    #[test]
    fn after_one_time_of_the_low_pass_two_thirds_of_a_step_are_read() {
        let mut meter = VoltsMeter::new(SCALE);
        all(&mut meter, (0..20).map(|ms| (ms, counts(0.0))));
        // The median lets a step through with its third reading.
        let told = all(&mut meter, (20..42).map(|ms| (ms, counts(100.0)))).expect("read");
        let wanted = 100.0 * (1.0 - (-20.0_f64 / 20.0).exp());
        assert!((told.volts - wanted).abs() < 0.1, "{told:?} {wanted}");
        // The same step read three times as seldom comes to the same: the filter knows its time.
        let mut meter = VoltsMeter::new(SCALE);
        all(&mut meter, (0..8).map(|k| (3 * k, counts(0.0))));
        let seldom = all(&mut meter, (8..10).map(|k| (3 * k, counts(100.0)))).expect("read");
        assert!(seldom.volts.abs() < 0.1, "{seldom:?}");
        let seldom = all(&mut meter, (10..16).map(|k| (3 * k, counts(100.0)))).expect("read");
        let wanted = 100.0 * (1.0 - (-18.0_f64 / 20.0).exp());
        assert!((seldom.volts - wanted).abs() < 0.1, "{seldom:?} {wanted}");
    }

    #[test]
    fn spikes_of_two_readings_are_not_seen() {
        let mut meter = VoltsMeter::new(SCALE);
        let spiked = |ms: u64| {
            if ms % 10 < 2 { 4095 } else { counts(110.0) }
        };
        for ms in 0..200 {
            let told = meter.read(Time::from_ms(ms), spiked(ms + 5));
            assert!((told.volts - 110.0).abs() < 0.1, "{ms} ms: {told:?}");
        }
    }

    #[test]
    fn a_wire_that_has_come_off_is_told_by_where_it_stands() {
        let mut meter = VoltsMeter::new(SCALE);
        all(&mut meter, (0..20).map(|ms| (ms, counts(110.0))));
        // A single bad reading is none.
        let told = meter.read(Time::from_ms(20), 0);
        assert_eq!(told.input, VoltsInput::Plausible);
        let told = all(&mut meter, (21..25).map(|ms| (ms, 0))).expect("read");
        assert_eq!(told.input, VoltsInput::WireOff);
        let unbiased = VoltsScale {
            wire_off_below_v: None,
            ..SCALE
        };
        let mut meter = VoltsMeter::new(unbiased);
        let told = all(&mut meter, (0..25).map(|ms| (ms, 0))).expect("read");
        assert_eq!(told.input, VoltsInput::Plausible, "nothing is known of it");
    }

    #[test]
    fn an_input_that_stands_within_a_count_for_200_ms_is_unmoving_and_a_live_one_is_not() {
        let mut meter = VoltsMeter::new(SCALE);
        let flicker = |ms: u64| counts(110.0) + [0, 1, -1][(ms % 3) as usize];
        let told = all(&mut meter, (0..200).map(|ms| (ms, flicker(ms)))).expect("read");
        assert_eq!(told.input, VoltsInput::Plausible, "199 ms");
        let told = meter.read(Time::from_ms(200), flicker(200));
        assert_eq!(told.input, VoltsInput::Unmoving);
        let told = meter.read(Time::from_ms(201), counts(110.0) + 2);
        assert_eq!(told.input, VoltsInput::Plausible, "it moves again");
        // An arc that is as quiet as one can be: 0.5 V rms, here to and fro.
        let mut meter = VoltsMeter::new(SCALE);
        let live = |ms: u64| counts(110.0 + if ms.is_multiple_of(2) { 0.5 } else { -0.5 });
        for ms in 0..1000 {
            let told = meter.read(Time::from_ms(ms), live(ms));
            assert_eq!(told.input, VoltsInput::Plausible, "{ms} ms");
        }
    }

    #[test]
    fn after_a_gap_nothing_of_before_counts() {
        let mut meter = VoltsMeter::new(SCALE);
        all(&mut meter, (0..150).map(|ms| (ms, counts(110.0))));
        let told = meter.read(Time::from_ms(400), counts(2.0));
        assert!((told.volts - 2.0).abs() < 0.1, "{told:?}");
        let told = all(&mut meter, (401..599).map(|ms| (ms, counts(2.0)))).expect("read");
        assert_eq!(told.input, VoltsInput::Plausible, "not unmoving yet");
    }
}
