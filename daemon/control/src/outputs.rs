//! The panel's optional outputs: what there is, and how the sounder sounds.
//!
//! **For**: a lamp that says that the torch may fire, a sounder that says how bad an alarm is, and a fan that
//! takes the fume away.
//! **Never**: part of the permit. None of them lets anything fire, and one that fails stops nothing.
//! **If the power goes**, or the process: nothing lights, sounds or blows any more, whatever burns.

use core::time::Duration;

use serde::{Deserialize, Serialize};

/// An optional output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Output {
    /// Lamp: the torch may fire.
    Beacon,
    /// Alarm sound, by priority.
    Sounder,
    /// Fume extraction.
    Extraction,
}

impl Output {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Beacon, Self::Sounder, Self::Extraction];

    /// Its name in the machine file, in JSON and in the journal.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Beacon => "beacon",
            Self::Sounder => "sounder",
            Self::Extraction => "extraction",
        }
    }
}

/// Which outputs a table has, and how long the extraction runs on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct OutputSettings {
    /// The lamp.
    pub beacon: bool,
    /// The sounder.
    pub sounder: bool,
    /// The extraction.
    pub extraction: bool,
    /// The extraction runs on so long after the last arc, s.
    pub extraction_after_s: f64,
}

impl Default for OutputSettings {
    fn default() -> Self {
        Self {
            beacon: false,
            sounder: false,
            extraction: false,
            extraction_after_s: Self::AFTER_S,
        }
    }
}

impl OutputSettings {
    /// The extraction runs on so long, s, where the machine file does not say (common practice, no source).
    pub const AFTER_S: f64 = 120.0;

    /// Whether it is there.
    #[must_use]
    pub const fn has(&self, output: Output) -> bool {
        match output {
            Output::Beacon => self.beacon,
            Output::Sounder => self.sounder,
            Output::Extraction => self.extraction,
        }
    }

    /// Whether there is any.
    #[must_use]
    pub const fn any(&self) -> bool {
        self.beacon || self.sounder || self.extraction
    }
}

/// What the outputs are to be: true is on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "named as the outputs")]
pub struct OutputLevels {
    pub beacon: bool,
    pub sounder: bool,
    pub extraction: bool,
}

impl OutputLevels {
    /// That of one output.
    #[must_use]
    pub const fn of(self, output: Output) -> bool {
        match output {
            Output::Beacon => self.beacon,
            Output::Sounder => self.sounder,
            Output::Extraction => self.extraction,
        }
    }
}

/// What is said by sound. The greater outdoes the lesser.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// The run waits for the operator: one note.
    YourMove,
    /// The job was stopped: three notes, and again every 30 s until it is seen.
    JobStopped,
    /// Danger: groups of five fast notes until it is seen.
    Danger,
}

/// A group of notes of one length, ms.
struct Group {
    notes: u64,
    on: u64,
    off: u64,
    /// The next group begins so long after this one began; `None`: there is none.
    every: Option<u64>,
}

impl Tone {
    /// The groups. That a fast burst is the highest priority and three notes the middle one is the habit of
    /// alarm standards for medical devices (IEC 60601-1-8, from memory); the lengths are common practice, no
    /// source.
    const fn group(self) -> Group {
        let (notes, on, off, every) = match self {
            Self::YourMove => (1, 300, 0, None),
            Self::JobStopped => (3, 200, 200, Some(30_000)),
            Self::Danger => (5, 100, 100, Some(2_000)),
        };
        Group {
            notes,
            on,
            off,
            every,
        }
    }

    /// Whether a note sounds so long after the tone began, and when that next changes, counted from the same
    /// moment; `None`: never again.
    pub(crate) fn at(self, gone: Duration) -> (bool, Option<Duration>) {
        let group = self.group();
        let (begun, within) = group.within(gone);
        let pace = us(group.on + group.off);
        let (note, into) = (within / pace, within % pace);
        if note >= group.notes {
            return (
                false,
                group.every.map(|ms| Duration::from_micros(begun + us(ms))),
            );
        }
        let at = begun + note * pace;
        if into < us(group.on) {
            return (true, Some(Duration::from_micros(at + us(group.on))));
        }
        let next = if note + 1 < group.notes {
            Some(at + pace)
        } else {
            group.every.map(|ms| begun + us(ms))
        };
        (false, next.map(Duration::from_micros))
    }

    /// Whether the notes of the group in hand have all sounded.
    pub(crate) fn group_over(self, gone: Duration) -> bool {
        let group = self.group();
        group.within(gone).1 >= us(group.notes * (group.on + group.off) - group.off)
    }
}

impl Group {
    /// When the group in hand began, and how far it is into it, µs.
    fn within(&self, gone: Duration) -> (u64, u64) {
        let gone = u64::try_from(gone.as_micros()).unwrap_or(u64::MAX);
        match self.every.map(us) {
            Some(every) => (gone / every * every, gone % every),
            None => (0, gone),
        }
    }
}

const fn us(ms: u64) -> u64 {
    ms * 1000
}

/// The sounder's part of a lamp test: each tone once, from these moments, ms.
const TESTED: [(u64, Tone); 3] = [
    (0, Tone::YourMove),
    (1_000, Tone::JobStopped),
    (3_000, Tone::Danger),
];
/// A lamp test ends by itself after this.
pub(crate) const TEST: Duration = Duration::from_millis(5_000);

/// Whether the sounder sounds so far into a lamp test, and when that next changes.
pub(crate) fn tested(gone: Duration) -> (bool, Option<Duration>) {
    let begins = |ms: u64| Duration::from_millis(ms);
    let Some(k) = TESTED.iter().rposition(|(ms, _)| begins(*ms) <= gone) else {
        return (false, None);
    };
    let (at, tone) = (begins(TESTED[k].0), TESTED[k].1);
    let (on, next) = tone.at(gone - at);
    let next_tone = TESTED.get(k + 1).map_or(TEST, |(ms, _)| begins(*ms));
    (
        on,
        Some(next.map_or(next_tone, |n| (at + n).min(next_tone))),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The moments at which the sound changes, ms, as whoever goes from one to the next meets them.
    fn changes(
        of: impl Fn(Duration) -> (bool, Option<Duration>),
        until: Duration,
    ) -> Vec<(u128, bool)> {
        let (mut all, mut at) = (Vec::new(), Duration::ZERO);
        loop {
            let (on, next) = of(at);
            if all.last().map(|(_, was)| *was) != Some(on) {
                all.push((at.as_millis(), on));
            }
            match next {
                Some(next) if next < until => {
                    assert!(next > at, "it goes on: {next:?} after {at:?}");
                    at = next;
                }
                _ => return all,
            }
        }
    }

    #[test]
    fn each_tone_has_its_own_notes() {
        let of = |tone: Tone, s| changes(|t| tone.at(t), Duration::from_secs(s));
        assert_eq!(of(Tone::YourMove, 99), [(0, true), (300, false)]);
        let three = [
            (0, true),
            (200, false),
            (400, true),
            (600, false),
            (800, true),
            (1000, false),
        ];
        assert_eq!(of(Tone::JobStopped, 30), three);
        assert_eq!(of(Tone::JobStopped, 31)[6], (30_000, true));
        let danger = of(Tone::Danger, 3);
        assert_eq!(
            danger[..4],
            [(0, true), (100, false), (200, true), (300, false)]
        );
        assert_eq!(danger[9..11], [(900, false), (2_000, true)]);
        assert!(!Tone::Danger.group_over(Duration::from_millis(899)));
        assert!(Tone::Danger.group_over(Duration::from_millis(900)));
    }

    #[test]
    fn a_lamp_test_sounds_each_tone_once_and_comes_to_its_end() {
        let all = changes(tested, TEST);
        let notes = all.iter().filter(|(_, on)| *on).count();
        assert_eq!(notes, 1 + 3 + 5);
        assert_eq!(all.last(), Some(&(3_900, false)));
        assert_eq!(tested(Duration::from_millis(4_000)).1, Some(TEST));
    }
}
