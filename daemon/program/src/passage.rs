//! How the torch passes along each cut: its time and what of it stays below the feed. Linear in the
//! number of pieces; no place on the sheet matters, only lengths, feeds and corners.

use units::motion::profile;

use crate::CutList;
use crate::cuts::cut_list::Cut;

/// What the axes can do in the plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motion {
    /// Acceleration, mm/s2.
    pub accel_mm_s2: f64,
    /// Step of velocity that the controller takes in a corner, mm/s.
    pub corner_step_mm_s: f64,
    /// The highest feed, mm/s.
    pub feed_max_mm_s: f64,
}

/// A piece counts as slow where it is passed under this part of its feed; the number is invented.
pub(crate) const SLOW: f64 = 0.8;

/// How a cut is passed from rest to rest.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Passage {
    /// Time along it, s.
    pub time_s: f64,
    /// Its length, mm; pieces without length left out.
    pub length_mm: f64,
    /// How much of it is passed slowly, mm. That every cut starts and stops is not counted.
    pub slow_mm: f64,
    /// The piece with the longest slow part, from 0, and how long that is, mm.
    pub slowest: Option<(usize, f64)>,
}

/// The passage of every cut, in their order; `None`: a piece of it has neither a feed of the program
/// nor of the chart (mm/s).
#[must_use]
pub fn passages(
    list: &CutList,
    motion: &Motion,
    chart_feed_mm_s: Option<f64>,
) -> Vec<Option<Passage>> {
    let cuts = list.cuts.iter();
    cuts.map(|cut| passage(cut, motion, chart_feed_mm_s))
        .collect()
}

fn passage(cut: &Cut, motion: &Motion, chart_feed_mm_s: Option<f64>) -> Option<Passage> {
    let lacks_feed = chart_feed_mm_s.is_none() && cut.path.iter().any(|e| e.feed_mm_s.is_none());
    if lacks_feed {
        return None;
    }
    let feed = |own: Option<f64>| own.or(chart_feed_mm_s).unwrap_or(0.0);
    let pieces = cut.path.iter().map(|e| (e.segment, feed(e.feed_mm_s)));
    let accel = motion.accel_mm_s2;
    let stretches = profile(pieces, accel, motion.corner_step_mm_s);
    let last = stretches.len().saturating_sub(1);
    let mut passage = Passage::default();
    for (i, stretch) in stretches.iter().enumerate() {
        passage.time_s += stretch.time_s(accel);
        passage.length_mm += stretch.length_mm;
        let mut rolling = *stretch;
        if i == 0 {
            rolling.from_mm_s = rolling.most_mm_s;
        }
        if i == last {
            rolling.to_mm_s = rolling.most_mm_s;
        }
        let slow_mm = rolling.slow_mm(SLOW, accel);
        passage.slow_mm += slow_mm;
        if slow_mm > passage.slowest.map_or(0.0, |(_, mm)| mm) {
            passage.slowest = Some((stretch.piece, slow_mm));
        }
    }
    Some(passage)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ReadingRules;

    const MOTION: Motion = Motion {
        accel_mm_s2: 400.0,
        corner_step_mm_s: 8.0,
        feed_max_mm_s: 200.0,
    };

    fn of(text: &str, chart_feed_mm_s: Option<f64>) -> Vec<Option<Passage>> {
        let reading = crate::read(text.as_bytes(), &ReadingRules::default());
        passages(&reading.cut_list, &MOTION, chart_feed_mm_s)
    }

    #[test]
    fn a_line_takes_its_length_over_the_feed_and_one_change_of_speed() {
        // 100 mm at 40 mm/s: 2.5 s and 40 / 400 s for speeding up and braking.
        let found = of("G21 G90 F2400\nM3\nG1 X100\nM5\nM2\n", None);
        let Some(one) = found[0] else {
            panic!("the feed is known");
        };
        assert!((one.time_s - 2.6).abs() < 1e-9, "{one:?}");
        assert_eq!((one.length_mm, one.slow_mm), (100.0, 0.0));
    }

    #[test]
    fn a_corner_is_slow_on_both_sides_and_the_piece_with_more_of_it_is_named() {
        let found = of("G21 G90 F2400\nM3\nG1 X100\nY100\nM5\nM2\n", None);
        // Through a right angle at 8 / sqrt 2 mm/s; up to 32 mm/s it takes (32^2 - 32) / 800 mm.
        let ramp = (32.0 * 32.0 - 32.0) / 800.0;
        let slow = found[0].map_or(0.0, |p| p.slow_mm);
        assert!((slow - 2.0 * ramp).abs() < 1e-6, "{slow}");
        let slowest = found[0].and_then(|p| p.slowest);
        assert!(slowest.is_some_and(|(_, mm)| (mm - ramp).abs() < 1e-6));
    }

    #[test]
    fn a_cut_without_a_feed_has_no_passage_but_with_the_charts() {
        let text = "G21 G90\nM3\nG1 X100\nM5\nM2\n";
        assert_eq!(of(text, None), [None]);
        assert!(of(text, Some(40.0))[0].is_some_and(|p| (p.time_s - 2.6).abs() < 1e-9));
    }
}
