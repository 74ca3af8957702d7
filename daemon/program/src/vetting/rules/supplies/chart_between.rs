//! Settings that no row states: they are reckoned from two.

use crate::vetting::rules::page::Page;
use super::chart_missing::row;
use crate::vetting::facts::Chart;
use crate::vetting::feeds::mm_min;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "chart-between";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup and a chart row",
    measured: || "Whether the settings are a row's own, or reckoned between two rows.".to_owned(),
    limit: || "Reckoned ones are named.".to_owned(),
    source: "A power law between the two rows.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    // Where there is no row, `chart-missing` has said it.
    if matches!(sheet.known().chart, Chart::Missing(_)) {
        return;
    }
    let Some(row) = row(sheet, findings, NAME) else {
        return;
    };
    let Some([low, high]) = row.between else {
        return;
    };
    findings.note(NAME, Spot::default(), || {
        (
            format!(
                "No row is for {} mm: the settings are reckoned from \"{low}\" and \"{high}\" (feed \
                 {} mm/min).",
                row.thickness_mm,
                mm_min(row.feed_mm_s)
            ),
            "Cut a test piece, and add a row of your own.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};

    #[test]
    fn settings_between_rows_are_noted() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
        let row = crate::Row {
            between: Some(["four", "six"]),
            ..frame::ROW
        };
        input.facts.chart = crate::Chart::Row(row);
        assert_eq!(
            brief(&report_with(frame::PROGRAM, &input)),
            ["note chart-between -:- -"]
        );
    }
}
