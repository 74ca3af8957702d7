//! Dimensions that fit the other unit much better.

use super::not_judged;
use crate::report::lack::Lack;
use crate::vetting::rules::page::Page;
use crate::Unit;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "scale-suspect";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "the program; with a setup and a chart row more signs",
    measured: || "The size of the cuts against the sheet and against sizes in comments, the feed \
              against the chart, the size of holes.".to_owned(),
    limit: || format!("Signs: so many times over the sheet as an inch has millimetres; far under it and \
              fitting in the other unit; the feed about 25.4 times off; holes of {HOLE_MM} mm \
              or less."),
    source: "1 inch is 25.4 mm by definition; the ranges round it are invented.",
};

const INCH: f64 = 25.4;
/// Extent over the sheet by so many times.
const OVER_SHEET: core::ops::RangeInclusive<f64> = 10.0..=26.0;
/// Extent under this part of the sheet.
const UNDER_SHEET: f64 = 1.0 / 20.0;
/// Extent to a stated size.
const STATED: core::ops::RangeInclusive<f64> = 24.5..=26.3;
/// Feed to chart.
const FEED: core::ops::RangeInclusive<f64> = 24.0..=27.0;
/// A feed between so many times the chart's speaks for the unit in force: in the other one it would
/// be ten times off.
const FEED_FITS: core::ops::RangeInclusive<f64> = 0.4..=2.5;
/// Feeds at which plasma cuts anything, mm/min, where there is no chart; common practice, no source.
const FEEDS_MM_MIN: core::ops::RangeInclusive<f64> = 200.0..=15_000.0;
/// A program of no more decimals than this was hardly drawn in inches, one of no less was hardly drawn
/// in millimetres; common practice, no source.
const MM_DECIMALS: u16 = 2;
const INCH_DECIMALS: u16 = 4;
/// Median diameter of holes below this, mm.
const HOLE_MM: f64 = 0.8;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(b) = sheet.reading.cut_list.bounds() else {
        return;
    };
    let extent = [b.width(), b.height()];
    let feed = feed(sheet);
    // Each of these is enough; of what is only small, something else must not speak against it.
    let mut signs = Vec::new();
    match sheet.input.setup {
        Some(setup) => {
            let plate = [setup.sheet.x, setup.sheet.y];
            signs.extend(over_sheet(extent, plate));
            let against = feed.as_ref().is_some_and(|f| f.says == Says::Here);
            signs.extend(under_sheet(extent, plate).filter(|_| !against));
        }
        None => not_judged::tell(findings, NAME, Lack::Setup("the sheet's size is not known")),
    }
    signs.extend(against_comments(sheet, extent));
    signs.extend(feed.iter().filter(|f| f.says == Says::Other).map(|f| f.words.clone()));
    signs.extend(against_holes(sheet));
    if signs.is_empty() {
        return;
    }
    let (here, other) = match sheet.reading.unit {
        Unit::Millimetre => ("millimetres", "inches"),
        Unit::Inch => ("inches", "millimetres"),
    };
    findings.warn(NAME, Spot::default(), || {
        let decimals = decimals(sheet);
        let told = feed.iter().filter(|f| f.says != Says::Other).map(|f| &f.words);
        let also: Vec<&str> = told.chain(&decimals).map(String::as_str).collect();
        let also = match also.is_empty() {
            true => String::new(),
            false => format!(" Besides: {}.", also.join("; ")),
        };
        (
            format!(
                "Read in {here}, the numbers look like {other}: {}.{also} {}",
                signs.join("; "),
                both_sizes(sheet, extent)
            ),
            "Check the unit word (G20 inches, G21 millimetres) and the size of the part.".to_owned(),
        )
    });
}

/// The size of the cuts in both units, beside the sheet's.
fn both_sizes(sheet: &OnSheet<'_>, extent: [f64; 2]) -> String {
    let ([here, other], by) = match sheet.reading.unit {
        Unit::Millimetre => (["millimetres", "inches"], INCH),
        Unit::Inch => (["inches", "millimetres"], 1.0 / INCH),
    };
    let plate = (sheet.input.setup).map_or_else(String::new, |s| {
        format!("; the sheet is {}", size([s.sheet.x, s.sheet.y]))
    });
    format!(
        "The cuts measure {} in {here}, {} in {other}{plate}.",
        size(extent),
        size([extent[0] * by, extent[1] * by])
    )
}

fn size(extent: [f64; 2]) -> String {
    format!("{} x {} mm", mm(extent[0]), mm(extent[1]))
}

fn over_sheet(extent: [f64; 2], plate: [f64; 2]) -> Option<String> {
    let ratio = (extent[0] / plate[0]).max(extent[1] / plate[1]);
    OVER_SHEET
        .contains(&ratio)
        .then(|| measured(extent, plate, "10 to 26 times over it"))
}

fn under_sheet(extent: [f64; 2], plate: [f64; 2]) -> Option<String> {
    let ratio = (extent[0] / plate[0]).max(extent[1] / plate[1]);
    let fits = extent[0] * INCH <= plate[0] && extent[1] * INCH <= plate[1];
    (ratio > 0.0 && ratio < UNDER_SHEET && fits)
        .then(|| measured(extent, plate, "under 1/20 of it"))
}

fn measured(extent: [f64; 2], plate: [f64; 2], how: &str) -> String {
    format!(
        "the cuts measure {}, the sheet {} ({how})",
        size(extent),
        size(plate)
    )
}

/// Which unit something speaks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Says {
    /// The one in force.
    Here,
    /// The other one.
    Other,
    /// Neither.
    Nothing,
}

/// What the feed says.
struct FeedSays {
    says: Says,
    words: String,
}

/// The feed that three quarters of the pieces do not pass: an outline's, neither that of small
/// holes nor that of one slip of the pen.
fn feed_mm_s(sheet: &OnSheet<'_>) -> Option<f64> {
    let mut feeds: Vec<f64> = sheet.elements().filter_map(|e| e.feed_mm_s).collect();
    let place = feeds.len() * 3 / 4;
    (place < feeds.len()).then(|| *feeds.select_nth_unstable_by(place, f64::total_cmp).1)
}

/// Against the chart's, or, without a chart, against what plasma cuts at and the machine goes at.
fn feed(sheet: &OnSheet<'_>) -> Option<FeedSays> {
    let feed = feed_mm_s(sheet)?;
    let (is, other) = match sheet.reading.unit {
        Unit::Millimetre => (feed * 60.0, feed * 60.0 * INCH),
        Unit::Inch => (feed * 60.0, feed * 60.0 / INCH),
    };
    let would = format!("{} mm/min in the other unit", mm(other.round()));
    if let Some(chart) = sheet.input.chart_feed_mm_s {
        let ratio = feed / chart;
        let says = if FEED.contains(&ratio) || FEED.contains(&(1.0 / ratio)) {
            Says::Other
        } else if FEED_FITS.contains(&ratio) {
            Says::Here
        } else {
            Says::Nothing
        };
        let words = format!(
            "the feed is {} mm/min, the chart's {} mm/min ({would})",
            mm(is),
            mm(chart * 60.0)
        );
        return Some(FeedSays { says, words });
    }
    let most = sheet.known().motion.map_or(f64::INFINITY, |m| m.feed_max_mm_s * 60.0);
    let possible = |f: f64| FEEDS_MM_MIN.contains(&f) && f <= most;
    let says = if possible(is) && !possible(other) {
        Says::Here
    } else {
        Says::Nothing
    };
    let words = format!("the feed is {} mm/min ({would})", mm(is));
    Some(FeedSays { says, words })
}

/// What the number of decimals says, where it says something.
fn decimals(sheet: &OnSheet<'_>) -> Option<String> {
    let most = sheet.reading.decimals;
    let usual = match most {
        0..=MM_DECIMALS => "millimetres",
        INCH_DECIMALS.. => "inches",
        _ => return None,
    };
    Some(format!(
        "its coordinates have up to {most} decimals, as is usual in {usual}"
    ))
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

/// The median diameter of what is round.
fn against_holes(sheet: &OnSheet<'_>) -> Option<String> {
    let mut holes: Vec<f64> = crate::contours::circles(sheet.flat())
        .map(|c| 2.0 * c.radius_mm)
        .collect();
    holes.sort_by(f64::total_cmp);
    let median = *holes.get(holes.len() / 2)?;
    let kerf = sheet.input.kerf_mm.map_or(String::new(), |w| {
        format!(", the kerf is {} mm", mm(w))
    });
    (median < HOLE_MM).then(|| {
        format!("half of the round paths are {} mm or less across (limit {HOLE_MM} mm{kerf})", mm(median))
    })
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, changed, nothing, report_with};
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
        input.chart_feed_mm_s = Some(5500.0 / 60.0);
        assert!(suspect(brief(&report_with(&small, &input))));
    }

    /// A part so small on a sheet of 1000 x 600 mm, at a feed.
    fn small_part(side: f64, feed: f64, chart: Option<f64>) -> Vec<String> {
        let mut setup = frame::setup();
        setup.sheet = units::Point::new(2500.0, 1250.0);
        setup.clamp = Some(units::Point::new(2400.0, 1100.0));
        let mut input = frame::input(&setup);
        input.chart_feed_mm_s = chart.map(|f| f / 60.0);
        if chart.is_none() {
            input.facts.chart = crate::Chart::NotGiven;
        }
        let text = format!(
            "G21 G90\nG0 X{0} Y-6\nM3\nG1 Y0 F{feed}\nG1 X0\nG1 Y{side}\nG1 X{side}\nG1 Y0\nG1 X{0}\nM5\nM2\n",
            side / 2.0
        );
        brief(&report_with(&text, &input))
    }

    #[test]
    fn a_small_part_whose_feed_excludes_inches_is_a_small_part() {
        let suspect = |all: Vec<String>| all.contains(&"warn scale-suspect -:- -".to_owned());
        // In inches 700 mm/min would be 17 780, sixteen times the chart's 1100.
        for side in [29.0, 34.0, 39.0] {
            assert!(!suspect(small_part(side, 700.0, Some(1100.0))), "{side}");
            assert!(!suspect(small_part(side, 2000.0, Some(1100.0))), "{side}");
            // Without a chart: no table cuts at 50 m/min.
            assert!(!suspect(small_part(side, 2000.0, None)), "{side}");
        }
        // A feed in inches a minute speaks for inches, one that may be either does not help.
        assert!(suspect(small_part(29.0, 43.0, Some(1100.0))));
        assert!(suspect(small_part(22.0, 90.0, None)));
        assert!(suspect(small_part(22.0, 300.0, None)));
    }

    #[test]
    fn every_sign_is_stated_for_and_against() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.kerf_mm = Some(0.5);
        let report = report_with(&scaled(1.0 / 25.4), &input);
        let own = report.findings.iter().find(|f| f.rule == NAME).expect("suspect");
        for sign in ["round paths are 0.787 mm", "the kerf is 0.5 mm", "the feed is 1100 mm/min", "27940 mm/min in the other unit", "up to 4 decimals, as is usual in inches"] {
            assert!(own.says.contains(sign), "{sign}: {}", own.says);
        }
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
