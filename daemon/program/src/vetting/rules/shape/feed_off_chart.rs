//! A feed far from the chart's.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::supplies::chart_missing::row;
use crate::vetting::feeds::{feeds, mm_min};
use crate::report::findings::Findings;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "feed-off-chart";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup and a chart row",
    measured: || "Every feed against the chart row's.".to_owned(),
    limit: || format!("20 % to either side; in small holes from {HOLE_LOW} of it on."),
    source: "Common practice; the number is invented.",
};

/// So far from the row's feed, as a part of it; common practice, number invented.
const OFF: f64 = 0.2;
/// A small hole is cut slower, from this part of the row's feed on; common practice.
const HOLE_LOW: f64 = 0.5;
/// A hole is small below this, mm...
const SMALL_MM: f64 = 32.0;
/// ... or below so many thicknesses.
const SMALL_T: f64 = 6.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(row) = row(sheet, findings, NAME) else {
        return;
    };
    let small = small_holes(sheet, row.thickness_mm);
    let off = |cut: usize, feed: f64| {
        let low = if small.get(cut - 1) == Some(&true) {
            HOLE_LOW
        } else {
            1.0 - OFF
        };
        let part = feed / row.feed_mm_s;
        part < low - 1e-9 || part > 1.0 + OFF + 1e-9
    };
    for feed in feeds(sheet, off) {
        findings.warn(NAME, feed.spot, || {
            let part = feed.feed_mm_s / row.feed_mm_s;
            let (by, way) = if part > 1.0 {
                ((part - 1.0) * 100.0, "above")
            } else {
                ((1.0 - part) * 100.0, "below")
            };
            (
                format!(
                    "The feed of {} mm/min{} is {by:.0} % {way} the chart's {} mm/min ({}); up to \
                     {:.0} % is usual, in small holes down to {:.0} % of it.",
                    mm_min(feed.feed_mm_s),
                    feed.where_else(),
                    mm_min(row.feed_mm_s),
                    row.name,
                    OFF * 100.0,
                    HOLE_LOW * 100.0
                ),
                "Write the chart's feed, or name the chart row that the program was made for."
                    .to_owned(),
            )
        }).of_cuts(feed.cuts.iter().copied());
    }
}

/// By cut: is it a small inside contour.
fn small_holes(sheet: &OnSheet<'_>, thickness_mm: f64) -> Vec<bool> {
    let mut small = vec![false; sheet.reading.cut_list.cuts.len()];
    let (Some(contours), Some(kerf)) = (sheet.contours(), sheet.input.kerf_mm) else {
        return small;
    };
    let limit = SMALL_MM.max(SMALL_T * thickness_mm);
    for contour in contours
        .all
        .iter()
        .filter(|c| c.kind == crate::contours::Kind::Hole)
    {
        let across = contour
            .hole_mm(kerf)
            .unwrap_or_else(|| contour.bounds.width().max(contour.bounds.height()) + kerf);
        if let Some(slot) = small.get_mut(contour.cut) {
            *slot = across < limit;
        }
    }
    small
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, changed, nothing, report_with};

    #[test]
    fn an_outline_more_than_a_fifth_off_is_warned() {
        assert_eq!(
            changed("F1100", "F1321"),
            ["warn feed-off-chart 9:1 2", "note corner-slow 11:1 2"]
        );
        assert_eq!(changed("F1100", "F1120"), nothing());
        assert_eq!(changed("F1100", "F879"), ["warn feed-off-chart 9:1 2"]);
        assert_eq!(changed("F1100", "F880"), nothing());
    }

    #[test]
    fn a_small_hole_may_go_at_half_the_feed() {
        assert_eq!(changed("F660", "F550"), nothing());
        assert_eq!(changed("F660", "F549"), ["warn feed-off-chart 4:1 1"]);
        assert_eq!(changed("F660", "F1320"), ["note hole-feed 5:1 1"]);
        assert_eq!(changed("F660", "F1321"), ["warn feed-off-chart 4:1 1", "note hole-feed 5:1 1"]);
    }

    #[test]
    fn a_large_hole_goes_at_the_outlines_feed() {
        // 32.1 mm across the finished edge, then 31.9.
        let hole = |r: f64| {
            let program = frame::PROGRAM
                .replace("G1 X50 F660", &format!("G1 X{} F660", 40.0 + r))
                .replace(
                    "G3 X50 Y40 I-10 J0",
                    &format!("G3 X{0} Y40 I-{r} J0", 40.0 + r),
                );
            frame::found(&program)
        };
        assert_eq!(hole(15.325), ["warn feed-off-chart 4:1 1"]);
        assert_eq!(hole(15.225), nothing());
    }

    #[test]
    fn without_a_row_it_is_not_judged() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.facts.chart = crate::Chart::NotGiven;
        let report = report_with(frame::PROGRAM, &input);
        assert!(
            report.not_judged.iter().any(|r| r == super::NAME)
        );
        assert!(
            brief(&report)
                .iter()
                .all(|f| f.starts_with("note not-judged"))
        );
    }
}
