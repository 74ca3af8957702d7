//! The likely cause of an arc that was lost: from what was measured before it, or not known.
//!
//! **For**: one line on the page of a stop, so that a person looks at the right thing first.
//! **Never**: names a cause that nothing measured speaks for, or decides anything.
//! **Algorithm**: where along the cut it was (an earlier slot, the end, a corner), then what the arc volts did in
//! the last half second in which the arc was seen; the first that holds is told. Places count from where the cut
//! is surely cut to where it surely is not.

use std::time::Duration;

use planning::JobCut;
use serde::{Deserialize, Serialize};
use units::motion::bend;

use crate::cause::Cause;
use crate::trace::{Level, Trace};

/// An arc counts as lost at a crossing within so much of it, mm: about a slot's width. Common practice, no source.
const AT_CROSSING_MM: f64 = 2.0;
/// And at the end of the cut within so much of it, mm. Common practice, no source.
const AT_END_MM: f64 = 3.0;
/// And at a corner within so much of it, mm: the torch brakes there and the volts follow. Common practice, no source.
const AT_CORNER_MM: f64 = 3.0;
/// A corner turns by so much at least: its cosine (30 degrees). Common practice, no source.
const CORNER_COS: f64 = 0.866;
/// Volts were high from so much above the target on, as a part of it. Common practice, no source.
const HIGH: f64 = 0.08;
/// The volts of so long before the loss are looked at.
const LOOKED_AT: Duration = Duration::from_millis(500);
/// Fewer readings than this tell nothing.
const LEAST_READINGS: usize = 5;

/// What speaks for a cause.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "likely")]
pub enum Likely {
    /// It crossed the slot of an earlier cut.
    Crossing,
    /// The cut's end was so far ahead, mm.
    End {
        /// How far.
        ahead_mm: f64,
    },
    /// A corner was so far ahead, mm; below 0: behind.
    Corner {
        /// How far.
        ahead_mm: f64,
    },
    /// The arc was too long: its volts, and what they should have been.
    VoltsHigh {
        /// V, the mean before the loss.
        volts: f64,
        /// V.
        target: f64,
    },
    /// Nothing that was measured speaks for one.
    NotKnown,
}

/// What is known of a stop.
#[derive(Clone, Copy, Debug)]
pub struct Stopped<'a> {
    /// Why it stands.
    pub cause: Cause,
    /// The cut in hand; `None`: none.
    pub cut: Option<&'a JobCut>,
    /// How far along it the arc was lost, mm, from a least to a most; `None`: not known.
    pub lost_mm: Option<[f64; 2]>,
    /// Arc volts at cut height by the chart row, V.
    pub volts: f64,
    /// The time about it; `None`: not at hand.
    pub trace: Option<&'a Trace>,
}

/// The likely cause; `None`: of such a stop there is nothing to guess.
#[must_use]
pub fn likely(stop: &Stopped<'_>) -> Option<Likely> {
    if stop.cause != Cause::ArcLost {
        return None;
    }
    let along = stop.cut.zip(stop.lost_mm).and_then(|(c, at)| place(c, at));
    let volts = || volts_before(stop.trace?).filter(|v| *v > stop.volts * (1.0 + HIGH));
    let high = || {
        volts().map(|volts| Likely::VoltsHigh {
            volts,
            target: stop.volts,
        })
    };
    Some(along.or_else(high).unwrap_or(Likely::NotKnown))
}

/// What the place along the cut speaks for.
fn place(cut: &JobCut, [low, high]: [f64; 2]) -> Option<Likely> {
    let crosses = |c: &[f64; 2]| low <= c[1] + AT_CROSSING_MM && high >= c[0] - AT_CROSSING_MM;
    if cut.crossings.iter().any(crosses) {
        return Some(Likely::Crossing);
    }
    let middle = f64::midpoint(low, high);
    let ahead_mm = (cut.length_mm() - middle).max(0.0);
    if ahead_mm <= AT_END_MM {
        return Some(Likely::End { ahead_mm });
    }
    let mut along = 0.0;
    let corners = cut.path.windows(2).filter_map(|pair| {
        along += pair[0].segment.length();
        (bend(&pair[0].segment, &pair[1].segment).cos < CORNER_COS).then_some(along - middle)
    });
    let nearest = corners.min_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    (nearest.abs() <= AT_CORNER_MM).then_some(Likely::Corner { ahead_mm: nearest })
}

/// The mean volts of the last time in which the arc was seen before the first fault; `None`: too few were read.
fn volts_before(trace: &Trace) -> Option<f64> {
    let fault = *trace.faults.first()?;
    let burning = |s: &&crate::trace::Sample| s.levels.get(Level::ArcOk) == Some(true);
    let before = || {
        trace
            .samples
            .iter()
            .filter(|s| s.at <= fault)
            .filter(burning)
    };
    let last = before().next_back()?.at;
    // An arc that was lost long before the fault is another one's.
    if fault.since(last) > LOOKED_AT {
        return None;
    }
    let read = before().filter(|s| last.since(s.at) <= LOOKED_AT);
    let volts: Vec<f64> = read.filter_map(|s| s.volts).map(f64::from).collect();
    (volts.len() >= LEAST_READINGS).then(|| volts.iter().sum::<f64>() / volts.len() as f64)
}

impl Likely {
    /// In words, a clause.
    #[must_use]
    pub fn says(&self) -> String {
        match self {
            Self::Crossing => "likely it crossed an earlier slot".into(),
            Self::End { ahead_mm } => format!("likely the end, {ahead_mm:.1} mm ahead"),
            Self::Corner { ahead_mm } if *ahead_mm < 0.0 => {
                format!("likely a corner, {:.1} mm behind", -ahead_mm)
            }
            Self::Corner { ahead_mm } => format!("likely a corner, {ahead_mm:.1} mm ahead"),
            Self::VoltsHigh { volts, target } => {
                format!("likely long arc, {volts:.0} of {target:.0} V")
            }
            Self::NotKnown => "not known".into(),
        }
    }
}

#[cfg(test)]
mod tests {
    use planning::JobElement;
    use units::{Point, Segment, Time};

    use super::*;
    use crate::trace::{Levels, Sample};

    /// 100 mm along, a corner, 50 mm up; an earlier slot from 30 to 31.5 mm.
    fn cut() -> JobCut {
        let places = [(0.0, 0.0), (100.0, 0.0), (100.0, 50.0)].map(|(x, y)| Point::new(x, y));
        let element = |from, to| JobElement {
            segment: Segment::Line { from, to },
            feed_mm_s: 30.0,
            line: 1,
        };
        JobCut {
            pierce: places[0],
            path: places.windows(2).map(|p| element(p[0], p[1])).collect(),
            crossings: vec![[30.0, 31.5]],
            freed_by: None,
        }
    }

    /// A second of arc before a fault at 2 s, its volts by the ms before the fault.
    fn trace(volts: impl Fn(u64) -> Option<f32>) -> Trace {
        let sample = |k: u64| {
            let mut levels = Levels::default();
            let before = 1000 - k * 10;
            levels.set(Level::ArcOk, Some(before > 30));
            Sample {
                at: Time::from_ms(1000 + k * 10),
                levels,
                volts: volts(before),
                ..Sample::default()
            }
        };
        Trace {
            faults: vec![Time::from_ms(2000)],
            samples: (0..=100).map(sample).collect(),
        }
    }

    fn at(mm: f64, trace: &Trace) -> Option<Likely> {
        let cut = cut();
        likely(&Stopped {
            cause: Cause::ArcLost,
            cut: Some(&cut),
            lost_mm: Some([mm - 0.2, mm + 0.2]),
            volts: 120.0,
            trace: Some(trace),
        })
    }

    #[test]
    fn a_place_that_speaks_for_a_cause_is_told_before_volts_are() {
        let high = trace(|_| Some(140.0));
        assert_eq!(at(32.0, &high), Some(Likely::Crossing));
        assert_eq!(at(28.5, &high), Some(Likely::Crossing));
        let told = |mm| at(mm, &high).map(|l| l.says());
        assert_eq!(told(149.0).as_deref(), Some("likely the end, 1.0 mm ahead"));
        assert_eq!(told(98.0).as_deref(), Some("likely a corner, 2.0 mm ahead"));
        assert_eq!(
            told(102.0).as_deref(),
            Some("likely a corner, 2.0 mm behind")
        );
        assert_eq!(told(60.0).as_deref(), Some("likely long arc, 140 of 120 V"));
    }

    #[test]
    fn volts_count_only_while_the_arc_was_seen_and_only_where_they_were_read() {
        // What is read once the arc is out is no arc's.
        assert_eq!(
            at(60.0, &trace(|ms| Some(if ms > 30 { 121.0 } else { 200.0 }))),
            Some(Likely::NotKnown)
        );
        // Long before it is not before it.
        assert_eq!(
            at(
                60.0,
                &trace(|ms| Some(if ms > 600 { 200.0 } else { 121.0 }))
            ),
            Some(Likely::NotKnown)
        );
        assert_eq!(at(60.0, &trace(|_| None)), Some(Likely::NotKnown));
        assert_eq!(
            at(60.0, &trace(|ms| (ms < 70).then_some(200.0))),
            Some(Likely::NotKnown),
            "too few"
        );
    }

    #[test]
    fn where_nothing_was_measured_the_cause_is_not_known_and_of_other_stops_nothing_is_guessed() {
        let stop = |cause| {
            likely(&Stopped {
                cause,
                cut: None,
                lost_mm: None,
                volts: 120.0,
                trace: None,
            })
        };
        assert_eq!(stop(Cause::ArcLost), Some(Likely::NotKnown));
        for cause in Cause::ALL.iter().filter(|c| **c != Cause::ArcLost) {
            assert_eq!(stop(*cause), None, "{cause}");
        }
    }

    #[test]
    fn a_likely_cause_is_told_in_at_most_seven_words() {
        for likely in [
            Likely::Crossing,
            Likely::End { ahead_mm: 2.96 },
            Likely::Corner { ahead_mm: -2.96 },
            Likely::VoltsHigh {
                volts: 141.6,
                target: 120.0,
            },
            Likely::NotKnown,
        ] {
            let says = likely.says();
            assert!(says.split(' ').count() <= 7, "{says}");
        }
    }
}
