//! The fitted nozzle or electrode will pass its change point within this job.

use crate::vetting::rules::page::Page;
use super::duty_exceeded::at_cut;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::Findings;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "wear-out";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a machine file, and a setup with a chart row",
    measured: || "The wear of nozzle and electrode through this job.".to_owned(),
    limit: || "The change point of the fitted set.".to_owned(),
    source: "The machine file and the counters of this table.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(wear) = sheet.known().wear else {
        not_judged::tell(findings, NAME, Lack::Times("the wear of the fitted set or the predicted times are not known"));
        return;
    };
    let Some(cut) = wear.change_in else {
        return;
    };
    findings.warn(NAME, at_cut(sheet, cut), || {
        let (before, after) = (wear.before * 100.0, wear.after * 100.0);
        let when = if wear.before >= 1.0 {
            "is past its change point already".to_owned()
        } else {
            format!("passes its change point in cut {cut}")
        };
        (
            format!(
                "The fitted set {when}: {before:.0} % used before this job, {after:.0} % after it."
            ),
            "Fit new parts first, or watch the cut's edge and change before that cut.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};
    use crate::vetting::facts::Wear;

    #[test]
    fn a_set_that_wears_out_in_this_job_is_warned_at_the_cut() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        let wear = |change_in| {
            Some(Wear {
                before: 0.99,
                after: 1.01,
                change_in,
            })
        };
        input.facts.wear = wear(Some(2));
        assert_eq!(
            brief(&report_with(frame::PROGRAM, &input)),
            ["warn wear-out 8:1 2"]
        );
        input.facts.wear = wear(None);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
    }
}
