//! A cutting move without a feed, from the program or the chart.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "no-feed";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program; a chart row helps",
    measured: || "Whether a feed is in force at every cutting move.".to_owned(),
    limit: || "There must be one, in the program or in the chart.".to_owned(),
    source: "RS-274 as published in NISTIR 6556: a cutting move without a feed is an error (from memory).",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    if sheet.input.chart_feed_mm_s.is_some() {
        return;
    }
    for (cut, number) in sheet.cuts() {
        let Some(first) = cut.path.iter().find(|e| e.feed_mm_s.is_none()) else {
            continue;
        };
        let spot = Spot::element(number, first).at(sheet.placer.place(first.segment.from()));
        findings.refuse(NAME, spot, || {
            (
                "No feed is in force here, and no chart row gives one.".to_owned(),
                "Write F before the cut, or choose a chart row in the setup.".to_owned(),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};

    #[test]
    fn a_cut_without_feed_is_refused_only_without_a_chart() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        let program = frame::PROGRAM.replace(" F660", "");
        // At the chart's own feed the hole is fast.
        assert_eq!(brief(&report_with(&program, &input)), ["note hole-feed 5:1 1"]);
        input.chart_feed_mm_s = None;
        assert_eq!(brief(&report_with(&program, &input)), ["refuse no-feed 4:1 1"]);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
        let zero = frame::PROGRAM.replace("F1100", "F0");
        assert_eq!(brief(&report_with(&zero, &input)), ["refuse no-feed 9:1 2"]);
    }

    #[test]
    fn a_feed_on_a_line_of_its_own_after_torch_on_counts() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.chart_feed_mm_s = None;
        let program = frame::PROGRAM.replace("M3\nG1 X50 F660", "M3\nF660\nG1 X50");
        assert_eq!(brief(&report_with(&program, &input)), nothing());
    }
}
