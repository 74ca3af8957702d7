//! More current than the power source has.

use crate::vetting::rules::page::Page;
use super::chart_missing::row;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "over-rated-current";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "a setup and a chart row",
    measured: || "The row's current against the power source's.".to_owned(),
    limit: || "The rating plate.".to_owned(),
    source: "The machine file ([source]).",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(row) = row(sheet, findings, NAME) else {
        return;
    };
    let Some(source) = sheet.known().source else {
        not_judged::tell(findings, NAME, Lack::Machine("the power source's rating plate is not known"));
        return;
    };
    if row.amps <= source.rated_amps + 1e-9 {
        return;
    }
    findings.refuse(NAME, Spot::default(), || {
        (
            format!(
                "The chart row {} wants {} A; the power source is rated for {} A.",
                row.name, row.amps, source.rated_amps
            ),
            "Name a row of a lower current in the setup, or correct [source] in the machine file."
                .to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};

    #[test]
    fn a_row_above_the_rating_plate_is_refused() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        let rated = |rated_amps| {
            Some(crate::Source {
                rated_amps,
                rated_duty: 0.4,
            })
        };
        input.facts.source = rated(39.0);
        let found = brief(&report_with(frame::PROGRAM, &input));
        assert_eq!(found, ["refuse over-rated-current -:- -"]);
        input.facts.source = rated(40.0);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
    }
}
