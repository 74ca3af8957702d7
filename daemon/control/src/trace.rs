//! What the last minute looked like, sampled, so that a stop can be looked at afterwards.
//!
//! **For**: the curves beside a fault: arc volts, height, speed, and the levels that the cycle goes by.
//! **Never**: decides anything, or holds more than [`KEPT`] of time.
//! **Algorithm**: a ring of samples, at most one in [`EVERY`] where no level changed (100 Hz), and one at each
//! change of a level, in the moment of the step that saw it. A fault asks for the time from
//! [`BEFORE`] to [`AFTER`] it; faults that follow within that time share one trace. Where up to [`AT_ONCE`] after
//! it nothing moved and nothing was asked of the torch (the emergency stop tried at rest, say), there is nothing
//! to look at and no trace. One sample costs 64 bytes.
//! **If the power goes**: a trace that was not handed on yet is lost; the journal and the recording are not.

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use units::Time;

/// So much is at hand.
pub const KEPT: Duration = Duration::from_secs(60);
/// A trace begins so long before its first fault.
pub const BEFORE: Duration = Duration::from_secs(20);
/// A trace ends so long after its last fault, and never later than [`KEPT`] after its beginning.
pub const AFTER: Duration = Duration::from_secs(10);
/// What is shown of a stop while it is stood in: so much before it.
pub const LAST: Duration = Duration::from_secs(5);
/// And so much after it: then it is handed on.
pub const LAST_AFTER: Duration = Duration::from_millis(500);
/// The time between two samples of the same levels.
pub const EVERY: Duration = Duration::from_millis(10);
/// What begins within this time of a fault belongs to it.
pub const AT_ONCE: Duration = Duration::from_millis(300);
/// Most samples at hand: twice those of [`KEPT`] at [`EVERY`], for levels that change in between. Beyond
/// that the oldest go, and a trace begins later than it would.
const MOST: usize = 12_000;
/// Most faults that one trace names; the journal has them all.
const MOST_FAULTS: usize = 16;

/// A level that a trace shows. Its number is its bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, strum::VariantArray)]
#[serde(rename_all = "kebab-case")]
#[repr(u8)]
pub enum Level {
    /// The controller asks for the torch.
    Fire,
    /// The source says that the arc has transferred.
    ArcOk,
    /// The sensing circuit is closed.
    Contact,
    /// The panel's permit pulses.
    Permit,
    /// A stop is under way, or the run is held.
    Hold,
    /// The machine moves.
    Moving,
    /// The emergency stop chain is open.
    EstopOpen,
    /// The torch sits in its breakaway.
    TorchSeated,
    /// The gate is closed.
    GateClosed,
    /// The source is switched on.
    SourceOn,
    /// The air is right.
    AirOk,
}

impl Level {
    /// All of them, from the lowest bit.
    pub const ALL: &'static [Self] = <Self as strum::VariantArray>::VARIANTS;
}

/// What tells that there is something to look at.
const STIRS: [Level; 3] = [Level::Moving, Level::Fire, Level::ArcOk];

/// Levels, a bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Levels {
    /// On.
    on: u16,
    /// Known: fitted, and heard of.
    known: u16,
}

impl Levels {
    /// Sets one; `None`: it is not known.
    pub fn set(&mut self, level: Level, on: Option<bool>) {
        let bit = 1 << level as u8;
        self.known &= !bit;
        self.on &= !bit;
        if let Some(on) = on {
            self.known |= bit;
            self.on |= bit * u16::from(on);
        }
    }

    /// Those that are on, a bit each.
    #[must_use]
    pub fn on(self) -> u16 {
        self.on
    }

    /// Those that are known, a bit each.
    #[must_use]
    pub fn known(self) -> u16 {
        self.known
    }

    /// One of them; `None`: it is not known.
    #[must_use]
    pub fn get(self, level: Level) -> Option<bool> {
        let bit = 1 << level as u8;
        (self.known & bit != 0).then_some(self.on & bit != 0)
    }
}

/// How things stood at one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sample {
    /// When.
    pub at: Time,
    /// The levels.
    pub levels: Levels,
    /// Where the torch was, sheet mm; `None`: not known.
    pub place: Option<(f32, f32)>,
    /// The tip above the sheet, mm.
    pub height_mm: Option<f32>,
    /// Along the path, mm/s.
    pub speed_mm_s: Option<f32>,
    /// At the arc, V.
    pub volts: Option<f32>,
    /// The cut, from 1; 0: none.
    pub cut: u32,
}

/// The time about one fault, or several that came close together.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// When its faults were, oldest first; the first is what it is known by.
    pub faults: Vec<Time>,
    /// Its samples, oldest first; never none.
    pub samples: Vec<Sample>,
}

/// The recorder.
#[derive(Debug, Default)]
pub struct Recorder {
    ring: VecDeque<Sample>,
    /// Faults whose trace is not handed on yet, oldest first.
    faults: Vec<Time>,
    /// The fault that begins the stop in hand, and whether its last seconds were handed on.
    stop: Option<(Time, bool)>,
}

impl Recorder {
    /// Whether a sample of these levels is due.
    #[must_use]
    pub fn is_due(&self, now: Time, levels: Levels) -> bool {
        (self.ring.back()).is_none_or(|last| last.levels != levels || now.since(last.at) >= EVERY)
    }

    /// Takes a sample. One that is older than the last is left out: time does not go back.
    pub fn take(&mut self, sample: Sample) {
        if self.ring.back().is_some_and(|last| sample.at < last.at) {
            return;
        }
        self.ring.push_back(sample);
        while self.ring.len() > MOST
            || (self.ring.front()).is_some_and(|first| sample.at.since(first.at) > KEPT)
        {
            self.ring.pop_front();
        }
    }

    /// A fault was recorded.
    pub fn fault(&mut self, at: Time) {
        if self.faults.len() < MOST_FAULTS {
            self.faults.push(at);
        }
        // What follows from a stop is no stop of its own.
        if (self.stop).is_none_or(|(first, _)| at.since(first) > AFTER) {
            self.stop = Some((at, false));
        }
    }

    /// The last seconds before the stop in hand, once, soon after it.
    pub fn last(&mut self, now: Time) -> Option<Trace> {
        let (first, false) = self.stop? else {
            return None;
        };
        if now.since(first) < LAST_AFTER {
            return None;
        }
        self.stop = Some((first, true));
        let about = |s: &&Sample| first.since(s.at) <= LAST && s.at <= first + LAST_AFTER;
        let samples: Vec<Sample> = self.ring.iter().filter(about).copied().collect();
        (!samples.is_empty()).then_some(Trace {
            faults: vec![first],
            samples,
        })
    }

    /// A trace that is whole now.
    pub fn whole(&mut self, now: Time) -> Option<Trace> {
        let (first, last) = (*self.faults.first()?, *self.faults.last()?);
        let ends = (last + AFTER).min(first + (KEPT - BEFORE));
        (now >= ends).then(|| self.cut_out(ends)).flatten()
    }

    /// What there is of a trace that is not whole: the panel is going down.
    pub fn rest(&mut self, now: Time) -> Option<Trace> {
        self.cut_out(now)
    }

    /// The samples about the faults up to `ends`. Faults after that begin a trace of their own.
    fn cut_out(&mut self, ends: Time) -> Option<Trace> {
        let first = *self.faults.first()?;
        let taken = self.faults.partition_point(|at| *at <= ends).max(1);
        let faults: Vec<Time> = self.faults.drain(..taken).collect();
        let samples: Vec<Sample> = (self.ring.iter())
            .filter(|s| s.at <= ends && first.since(s.at) <= BEFORE)
            .copied()
            .collect();
        let of_it = faults.last().map_or(first, |last| *last + AT_ONCE);
        let stirs = |s: &Sample| {
            s.at <= of_it && STIRS.iter().any(|level| s.levels.get(*level) == Some(true))
        };
        (samples.iter().any(stirs)).then_some(Trace { faults, samples })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at_ms(ms: u64) -> Time {
        Time::from_us(ms * 1000)
    }

    fn levels(fire: bool) -> Levels {
        let mut levels = Levels::default();
        levels.set(Level::Fire, Some(fire));
        levels
    }

    fn sample(ms: u64, fire: bool) -> Sample {
        Sample {
            at: at_ms(ms),
            levels: levels(fire),
            ..Sample::default()
        }
    }

    /// Asked in every millisecond, from 0.
    fn ran(to_ms: u64, fire: impl Fn(u64) -> bool, faults: &[u64]) -> (Recorder, Vec<Trace>) {
        let mut recorder = Recorder::default();
        let mut whole = Vec::new();
        for ms in 0..=to_ms {
            if recorder.is_due(at_ms(ms), levels(fire(ms))) {
                recorder.take(sample(ms, fire(ms)));
            }
            if faults.contains(&ms) {
                recorder.fault(at_ms(ms));
            }
            whole.extend(recorder.whole(at_ms(ms)));
        }
        (recorder, whole)
    }

    /// A tenth of each second.
    fn burns(ms: u64) -> bool {
        ms % 1000 < 100
    }

    fn span_ms(trace: &Trace) -> (u64, u64) {
        let of = |s: Option<&Sample>| s.map_or(0, |s| s.at.as_us() / 1000);
        (of(trace.samples.first()), of(trace.samples.last()))
    }

    #[test]
    fn the_last_seconds_of_a_stop_are_handed_on_once_and_what_follows_from_it_is_no_stop_of_its_own()
     {
        let mut recorder = Recorder::default();
        let mut handed = Vec::new();
        for ms in 0..=40_000 {
            if recorder.is_due(at_ms(ms), levels(burns(ms))) {
                recorder.take(sample(ms, burns(ms)));
            }
            if [8_000, 8_200, 9_000, 25_000].contains(&ms) {
                recorder.fault(at_ms(ms));
            }
            handed.extend(recorder.last(at_ms(ms)).map(|t| (ms, t)));
        }
        let told: Vec<_> = handed
            .iter()
            .map(|(ms, t)| (*ms, t.faults.clone(), span_ms(t)))
            .collect();
        let first = (8_500, vec![at_ms(8_000)], (3_000, 8_500));
        let second = (25_500, vec![at_ms(25_000)], (20_000, 25_500));
        assert_eq!(told, [first, second]);
    }

    #[test]
    fn a_level_that_is_not_known_is_neither_on_nor_off() {
        let mut l = Levels::default();
        assert_eq!(l.get(Level::AirOk), None);
        l.set(Level::AirOk, Some(true));
        l.set(Level::GateClosed, Some(false));
        assert_eq!(l.get(Level::AirOk), Some(true));
        assert_eq!(l.get(Level::GateClosed), Some(false));
        l.set(Level::AirOk, None);
        assert_eq!(l.get(Level::AirOk), None);
    }

    #[test]
    fn a_hundred_samples_a_second_and_one_at_each_change() {
        let (recorder, _) = ran(1000, |ms| (503..506).contains(&ms), &[]);
        let changes: Vec<u64> = (recorder.ring.iter())
            .map(|s| s.at.as_us() / 1000)
            .filter(|ms| [503, 506].contains(ms))
            .collect();
        assert_eq!(changes, [503, 506], "an edge keeps its own moment");
        assert!((100..=105).contains(&recorder.ring.len()));
    }

    #[test]
    fn a_trace_is_from_twenty_seconds_before_to_ten_after_its_fault() {
        let (_, whole) = ran(60_000, burns, &[30_000]);
        assert_eq!(whole.len(), 1);
        assert_eq!(whole[0].faults, [at_ms(30_000)]);
        assert_eq!(span_ms(&whole[0]), (10_000, 40_000));
    }

    #[test]
    fn faults_close_together_share_a_trace_and_later_ones_have_their_own() {
        let (_, whole) = ran(90_000, burns, &[30_000, 30_004, 35_000, 55_000]);
        assert_eq!(whole.len(), 2);
        let first: Vec<Time> = [30_000, 30_004, 35_000].map(at_ms).to_vec();
        assert_eq!(whole[0].faults, first);
        assert_eq!(span_ms(&whole[0]), (10_000, 45_000));
        assert_eq!(whole[1].faults, [at_ms(55_000)]);
        assert_eq!(span_ms(&whole[1]), (35_000, 65_000));
    }

    #[test]
    fn faults_without_end_do_not_make_a_trace_without_end() {
        let every: Vec<u64> = (0..200).map(|k| 30_000 + k * 1000).collect();
        let (recorder, whole) = ran(240_000, burns, &every);
        assert!(whole.iter().all(|t| {
            let (from, to) = span_ms(t);
            to - from <= KEPT.as_millis() as u64
        }));
        assert!(whole.len() >= 3);
        assert!(recorder.ring.len() <= MOST);
    }

    #[test]
    fn a_stop_in_whose_time_nothing_stirs_has_no_trace() {
        let (mut recorder, whole) = ran(45_000, |_| false, &[30_000]);
        assert!(whole.is_empty());
        assert_eq!(recorder.rest(at_ms(45_000)), None);
        let (_, whole) = ran(45_000, |ms| ms == 39_000, &[30_000]);
        assert!(whole.is_empty(), "what begins later is not its own");
        for ms in [10_000, 29_999, 30_250] {
            let (_, whole) = ran(45_000, |at| at == ms, &[30_000]);
            assert_eq!(whole.len(), 1, "{ms}");
        }
    }

    #[test]
    fn a_storm_of_edges_is_bounded() {
        let mut recorder = Recorder::default();
        for ms in 0..60_000 {
            recorder.take(sample(ms, ms % 2 == 0));
        }
        assert_eq!(recorder.ring.len(), MOST);
    }

    #[test]
    fn a_panel_that_goes_down_hands_on_what_there_is() {
        let (mut recorder, whole) = ran(31_000, burns, &[30_000]);
        assert!(whole.is_empty());
        let rest = recorder.rest(at_ms(31_000)).map(|t| span_ms(&t));
        assert_eq!(rest, Some((10_000, 31_000)));
        assert_eq!(recorder.rest(at_ms(31_000)), None, "handed on once");
    }

    #[test]
    fn a_fault_that_nothing_was_sampled_about_leaves_no_trace() {
        let mut recorder = Recorder::default();
        recorder.fault(at_ms(5));
        assert_eq!(recorder.whole(at_ms(60_000)), None);
        assert_eq!(recorder.rest(at_ms(60_000)), None);
    }
}
