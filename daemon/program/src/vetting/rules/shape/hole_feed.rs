//! A small hole cut at an outline's feed: the arc trails behind, and the hole comes out tapered.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::supplies::chart_missing;
use crate::vetting::rules::reading::not_judged;
use crate::vetting::feeds::mm_min;
use crate::report::findings::{Findings, Spot};
use crate::vetting::lead::each;
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "hole-feed";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup and a chart row",
    measured: || format!("The feed in holes under {SMALL_MM} mm or {SMALL_T} thicknesses."),
    limit: || format!("{FAST} of the chart's feed; {OFFERED} of it is offered."),
    source: "Common practice, no source.",
};

/// A hole is small below this, mm...
const SMALL_MM: f64 = 32.0;
/// ... or below so many thicknesses.
const SMALL_T: f64 = 6.0;
/// Above this part of the chart's feed; common practice, no source.
const FAST: f64 = 0.7;
/// What is offered.
const OFFERED: f64 = 0.6;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(row) = chart_missing::row(sheet, findings, NAME) else {
        return;
    };
    let Some((contours, kerf, thickness)) = not_judged::sized(sheet, findings, NAME) else {
        return;
    };
    let limit = SMALL_MM.max(SMALL_T * thickness);
    for (cut, number, contour) in each(sheet, contours) {
        let Some(hole) = contour.hole_mm(kerf).filter(|d| *d < limit - 0.02) else {
            continue;
        };
        // The lead-in may go faster.
        let mut along = 0.0;
        let fast = cut.path.iter().find(|e| {
            along += e.segment.length();
            let on_contour = along > contour.joint_mm + 0.5;
            let feed = e.feed_mm_s.or(sheet.input.chart_feed_mm_s);
            on_contour && feed.is_some_and(|f| f > FAST * row.feed_mm_s + 1e-9)
        });
        let Some(e) = fast else {
            continue;
        };
        let feed = e.feed_mm_s.unwrap_or(row.feed_mm_s);
        let at = sheet.placer.place(e.segment.from());
        findings.note(NAME, Spot::element(number, e).at(at), || {
            (
                format!(
                    "The hole of {} mm is cut at {} mm/min, {:.0} % of the chart's feed; below {} mm \
                     up to {:.0} % is right.",
                    mm(hole),
                    mm_min(feed),
                    100.0 * feed / row.feed_mm_s,
                    mm(limit),
                    FAST * 100.0
                ),
                format!("Cut it at {} mm/min with the height locked.", mm_min(OFFERED * row.feed_mm_s)),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, changed, found, nothing, placed, report_with};

    #[test]
    fn a_small_hole_over_0_7_of_the_feed_is_noted() {
        assert_eq!(changed("F660", "F771"), ["note hole-feed 5:1 1"]);
        assert_eq!(changed("F660", "F770"), nothing());
        // The lead-in alone may go faster.
        assert_eq!(changed("F660\nG3", "F1100\nF660 G3"), nothing());
    }

    /// The frame with a hole of so many mm, at the outline's feed.
    fn hole(across: f64) -> String {
        let r = (across - 1.45) / 2.0;
        frame::PROGRAM
            .replace("G1 X50 F660", &format!("G1 X{:.4} F1100", 40.0 + r))
            .replace("G3 X50 Y40 I-10 J0", &format!("G3 X{:.4} Y40 I-{r:.4} J0", 40.0 + r))
    }

    #[test]
    fn from_32_mm_and_6_thicknesses_on_a_hole_goes_at_full_feed() {
        assert_eq!(found(&hole(32.0)), nothing());
        assert_eq!(found(&hole(31.9)), ["note hole-feed 5:1 1"]);
        let thick = |across: f64| placed(&hole(across), |s| s.thickness = 6.0);
        assert_eq!(thick(36.0), nothing());
        assert_eq!(thick(35.9), ["note hole-feed 5:1 1"]);
    }

    #[test]
    fn without_a_chart_it_is_not_judged() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.facts.chart = crate::Chart::NotGiven;
        let report = report_with(frame::PROGRAM, &input);
        assert!(report.not_judged.iter().any(|r| r == super::NAME));
        assert!(brief(&report).iter().all(|f| f.starts_with("note not-judged")));
    }
}
