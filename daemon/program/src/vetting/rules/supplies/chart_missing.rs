//! No chart row for this sheet, or one that is for another.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::vetting::facts::{Chart, Row};
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "chart-missing";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup and a chart row",
    measured: || "Whether the chart has a row for this material and thickness.".to_owned(),
    limit: || "It must: heights, delays and pressure come from it.".to_owned(),
    source: "The machine file's chart.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    if let Chart::Missing(why) = sheet.known().chart {
        findings.warn(NAME, Spot::default(), || {
            (
                format!(
                    "There is no chart row for this sheet ({why}): the program's own feed is used."
                ),
                "Add a row to the chart, or name one that fits in the setup (chart = \"...\"): \
                 heights and delays come from it, and without one nothing is cut."
                    .to_owned(),
            )
        });
        return;
    }
    let Some(row) = row(sheet, findings, NAME) else {
        return;
    };
    if let Some(other) = row.for_other {
        findings.warn(NAME, Spot::default(), || {
            (
                format!(
                    "The row that the setup names ({}) is not for this sheet: {other}.",
                    row.name
                ),
                "Name a row for this material and thickness, or correct the setup.".to_owned(),
            )
        });
    }
}

/// The chart row; where there is none the rule was not judged, and says why.
pub(crate) fn row<'a>(
    sheet: &OnSheet<'a>,
    findings: &mut Findings,
    rule: &'static str,
) -> Option<Row<'a>> {
    if let Chart::Row(row) = sheet.known().chart {
        return Some(row);
    }
    not_judged::tell(findings, rule, Lack::Row);
    None
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};
    use super::*;

    fn with(chart: Chart<'_>) -> Vec<String> {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.facts.chart = chart;
        let found = brief(&report_with(frame::PROGRAM, &input));
        found
            .into_iter()
            .filter(|f| !f.starts_with("note not-judged"))
            .collect()
    }

    #[test]
    fn no_row_is_warned_and_a_row_is_not() {
        assert_eq!(
            with(Chart::Missing("no row for brass 5 mm")),
            ["warn chart-missing -:- -"]
        );
        assert_eq!(with(Chart::Row(frame::ROW)), nothing());
    }

    #[test]
    fn a_named_row_for_another_sheet_is_warned() {
        let other = Row {
            for_other: Some("it is for stainless 3 mm"),
            ..frame::ROW
        };
        assert_eq!(with(Chart::Row(other)), ["warn chart-missing -:- -"]);
    }

    #[test]
    fn without_a_chart_and_with_several_rows_it_is_not_judged_and_says_why() {
        let setup = frame::setup();
        for (chart, says) in [
            (
                Chart::NotGiven,
                "there is no chart (",
            ),
            (
                Chart::Several("a, b"),
                "several chart rows fit and the setup names none: a, b (",
            ),
        ] {
            assert_eq!(with(chart), nothing());
            let mut input = frame::input(&setup);
            input.facts.chart = chart;
            let report = report_with(frame::PROGRAM, &input);
            assert!(
                report.findings.iter().any(|f| f.says.contains(says)),
                "{:?}",
                report.findings
            );
        }
    }
}
