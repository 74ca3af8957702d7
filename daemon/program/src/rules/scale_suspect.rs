//! Dimensions that fit the other unit much better.

use units::Segment;

use super::not_judged;
use crate::Unit;
use crate::findings::{Findings, Spot};
use crate::shape::mm;
use crate::vet::OnSheet;

pub(crate) const NAME: &str = "scale-suspect";

const INCH: f64 = 25.4;
/// Extent over the sheet by so many times.
const OVER_SHEET: core::ops::RangeInclusive<f64> = 10.0..=26.0;
/// Extent under this part of the sheet.
const UNDER_SHEET: f64 = 1.0 / 20.0;
/// Extent to a stated size.
const STATED: core::ops::RangeInclusive<f64> = 24.5..=26.3;
/// Feed to chart.
const FEED: core::ops::RangeInclusive<f64> = 24.0..=27.0;
/// A feed so near to the chart's speaks for the unit in force.
const FEED_FITS: f64 = 0.2;
/// Median diameter of holes below this, mm.
const HOLE_MM: f64 = 0.8;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(b) = sheet.reading.cut_list.bounds() else {
        return;
    };
    let extent = [b.width(), b.height()];
    let mut signs = Vec::new();
    match sheet.input.setup {
        Some(setup) => signs.extend(against_sheet(sheet, extent, [setup.sheet.x, setup.sheet.y])),
        None => not_judged::tell(
            findings,
            NAME,
            "the sheet's size is not known",
            "Give a setup (--setup) to have sizes compared.",
        ),
    }
    signs.extend(against_comments(sheet, extent));
    signs.extend(against_feed(sheet));
    signs.extend(against_holes(sheet));
    if signs.is_empty() {
        return;
    }
    let (here, other) = match sheet.reading.unit {
        Unit::Millimetre => ("millimetres", "inches"),
        Unit::Inch => ("inches", "millimetres"),
    };
    findings.warn(NAME, Spot::default(), || {
        (
            format!("Read in {here}, the numbers look like {other}: {}.", signs.join("; ")),
            "Check the unit word (G20 inches, G21 millimetres) and the size of the part.".to_owned(),
        )
    });
}

fn size(extent: [f64; 2]) -> String {
    format!("{} x {} mm", mm(extent[0]), mm(extent[1]))
}

fn against_sheet(sheet: &OnSheet<'_>, extent: [f64; 2], plate: [f64; 2]) -> Option<String> {
    let ratio = (extent[0] / plate[0]).max(extent[1] / plate[1]);
    let over = OVER_SHEET.contains(&ratio);
    let fits = extent[0] * INCH <= plate[0] && extent[1] * INCH <= plate[1];
    let under = ratio > 0.0 && ratio < UNDER_SHEET && fits && !feed_fits(sheet);
    (over || under).then(|| {
        format!(
            "the cuts measure {}, the sheet {} ({})",
            size(extent),
            size(plate),
            if over { "10 to 26 times over it" } else { "under 1/20 of it" }
        )
    })
}

/// The feed that three quarters of the pieces do not pass: an outline's, neither that of small
/// holes nor that of one slip of the pen.
fn feed_mm_s(sheet: &OnSheet<'_>) -> Option<f64> {
    let mut feeds: Vec<f64> = sheet.elements().filter_map(|e| e.feed_mm_s).collect();
    let place = feeds.len() * 3 / 4;
    (place < feeds.len()).then(|| *feeds.select_nth_unstable_by(place, f64::total_cmp).1)
}

fn feed_fits(sheet: &OnSheet<'_>) -> bool {
    let Some(chart) = sheet.input.chart_feed_mm_s else {
        return false;
    };
    sheet
        .elements()
        .filter_map(|e| e.feed_mm_s)
        .any(|f| (f / chart - 1.0).abs() <= FEED_FITS)
}

fn against_feed(sheet: &OnSheet<'_>) -> Option<String> {
    let chart = sheet.input.chart_feed_mm_s?;
    let feed = feed_mm_s(sheet)?;
    let ratio = feed / chart;
    (FEED.contains(&ratio) || FEED.contains(&(1.0 / ratio))).then(|| {
        format!(
            "the feed is {} mm/min, the chart's {} mm/min",
            mm(feed * 60.0),
            mm(chart * 60.0)
        )
    })
}

/// A size stated in a comment, such as `600 x 400`.
fn against_comments(sheet: &OnSheet<'_>, extent: [f64; 2]) -> Option<String> {
    sheet.reading.comments.iter().find_map(|comment| {
        let stated = stated_size(&comment.text)?;
        let both = |pair: [f64; 2]| {
            let ratios = [extent[0] / pair[0], extent[1] / pair[1]];
            ratios.iter().all(|r| STATED.contains(r))
                || ratios.iter().all(|r| *r > 0.0 && STATED.contains(&(1.0 / r)))
        };
        (both(stated) || both([stated[1], stated[0]])).then(|| {
            format!(
                "the cuts measure {}, the comment in line {} says {} x {}",
                size(extent),
                comment.line,
                mm(stated[0]),
                mm(stated[1])
            )
        })
    })
}

/// The first `A x B` of a text.
fn stated_size(text: &str) -> Option<[f64; 2]> {
    let lower = text.to_lowercase().replace(['*', '\u{d7}'], "x");
    let parts: Vec<&str> = lower.split('x').collect();
    parts.windows(2).find_map(|pair| {
        let number = |c: char| c.is_ascii_digit() || c == '.';
        let left = pair[0].trim_end().trim_end_matches("mm").trim_end_matches("in").trim_end();
        let start = left.rfind(|c| !number(c)).map_or(0, |i| {
            i + left[i..].chars().next().map_or(1, char::len_utf8)
        });
        let right = pair[1].trim_start();
        let end = right.find(|c| !number(c)).unwrap_or(right.len());
        let a: f64 = left[start..].parse().ok()?;
        let b: f64 = right[..end].parse().ok()?;
        (a > 0.0 && b > 0.0).then_some([a, b])
    })
}

/// The median diameter of the full circles.
fn against_holes(sheet: &OnSheet<'_>) -> Option<String> {
    let mut holes: Vec<f64> = sheet
        .elements()
        .filter(|e| matches!(e.segment, Segment::Arc { from, to, .. } if from == to))
        .filter_map(|e| e.segment.radius())
        .map(|r| 2.0 * r)
        .collect();
    holes.sort_by(f64::total_cmp);
    let median = *holes.get(holes.len() / 2)?;
    (median < HOLE_MM).then(|| {
        format!("half of the round holes are {} mm or less across (limit {HOLE_MM} mm)", mm(median))
    })
}

#[cfg(test)]
mod tests {
    use super::super::frame::{self, brief, changed, nothing, report_with};
    use super::*;

    /// The frame's program with every dimension scaled.
    fn scaled(by: f64) -> String {
        frame::PROGRAM
            .split_inclusive(['\n', ' '])
            .map(|word| match word.trim().split_at_checked(1) {
                Some((l @ ("X" | "Y" | "I" | "J"), n)) => {
                    let n: f64 = n.parse().unwrap_or(0.0);
                    format!("{l}{:.4}{}", n * by, &word[word.trim_end().len()..])
                }
                _ => word.to_owned(),
            })
            .collect()
    }

    #[test]
    fn a_swapped_unit_word_is_suspect() {
        let all = changed("G21 G90", "G20 G90");
        assert!(all.contains(&"warn scale-suspect -:- -".to_owned()), "{all:?}");
    }

    #[test]
    fn a_program_in_inches_read_as_millimetres_is_suspect_unless_its_feed_fits() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.kerf_mm = Some(0.5);
        // So small a part is all corners, which are no matter here.
        let quick = crate::Motion { accel_mm_s2: 1e6, corner_step_mm_s: 1e3, ..frame::MOTION };
        input.facts.motion = Some(quick);
        let tiny = scaled(1.0 / 25.4);
        let suspect = |all: Vec<String>| all.contains(&"warn scale-suspect -:- -".to_owned());
        assert!(suspect(brief(&report_with(&tiny, &input))));
        let off = scaled(1.0 / 20.0);
        assert!(!suspect(brief(&report_with(&off, &input))));
        // With holes of a usual size, 1/20 of the sheet and the chart's feed: a small part.
        let small = scaled(1.0 / 25.4)
            .replace("G3 X1.9685 Y1.5748 I-0.3937 J0.0000", "G1 X4")
            .replace("F660", "F1100");
        assert!(!suspect(brief(&report_with(&small, &input))));
        input.chart_feed_mm_s = Some(1500.0 / 60.0);
        assert!(suspect(brief(&report_with(&small, &input))));
    }

    #[test]
    fn a_size_in_a_comment_and_a_feed_25_times_off_are_signs() {
        // The cuts measure 100 x 88 mm.
        assert_eq!(changed("G21", "(plate 3.94 x 3.46) G21"), ["warn scale-suspect -:- -"]);
        assert_eq!(changed("G21", "(plate 100 x 88 mm) G21"), nothing());
        let found = |feed: &str| frame::found(&frame::PROGRAM.replace("F1100", feed));
        let suspect = "warn scale-suspect -:- -".to_owned();
        assert!(found("F27940").contains(&suspect));
        // Too fast it is all the same, as the rules of feeds say.
        assert!(!found("F22000").contains(&suspect));
    }

    #[test]
    fn sizes_are_read_out_of_comments() {
        assert_eq!(stated_size("Sheet A: 600 x 400 mm"), Some([600.0, 400.0]));
        assert_eq!(stated_size("size 24in X 12.5in"), Some([24.0, 12.5]));
        assert_eq!(stated_size("box x box"), None);
        assert_eq!(stated_size("\u{e4}12x\u{e4}"), None);
    }
}
