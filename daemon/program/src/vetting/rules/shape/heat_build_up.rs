//! Thin sheet that gets hot where much is cut in a short time: it bows and the parts shrink.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::supplies::duty_exceeded::at_cut;
use crate::vetting::rules::supplies::chart_missing::row;
use crate::vetting::rules::reading::not_judged;
use crate::vetting::facts::Hot;
use crate::report::findings::Findings;
use crate::geometry::plane::{mm, place};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "heat-build-up";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a machine file, and a setup with a chart row; sheets up to 3 mm",
    measured: || "The rise of the sheet's heat where much is cut in a short time.".to_owned(),
    limit: || format!("{RISE_K} K above the mean of the sheet."),
    source: "A forecast of heat in thin sheet; the number is invented.",
};

/// Sheets up to this thickness, mm.
const THIN_MM: f64 = 3.0;
/// Rise over the mean of the sheet, K; number invented.
const RISE_K: f64 = 150.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let thickness = sheet.input.setup.map(|s| s.thickness);
    // Thick sheet is no matter for this rule, whatever else is known.
    if thickness.is_some_and(|t| t > THIN_MM + 1e-9) {
        return;
    }
    if row(sheet, findings, NAME).is_none() {
        return;
    }
    let Some(heat) = sheet.known().heat else {
        not_judged::no_metal(findings, NAME);
        return;
    };
    let hot: Vec<&Hot> = heat.iter().filter(|h| h.rise_k > RISE_K).collect();
    let (Some(first), Some(worst)) = (
        hot.first(),
        hot.iter().max_by(|a, b| a.rise_k.total_cmp(&b.rise_k)),
    ) else {
        return;
    };
    findings.warn(NAME, at_cut(sheet, first.cut).at(first.at), || {
        (
            format!(
                "From cut {} on the sheet gets hot where it is cut: {:.0} K over its mean at {} mm \
                 ({RISE_K} K is much for {} mm), in {} cuts.",
                first.cut,
                worst.rise_k,
                place(worst.at),
                mm(thickness.unwrap_or(THIN_MM)),
                hot.len()
            ),
            "Cut in a jumping order, so that neighbours do not follow each other, or pause."
                .to_owned(),
        )
    }).of_cuts(hot.iter().map(|h| h.cut));
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};
    use super::*;

    fn with(thickness: f64, rise_k: f64) -> Vec<String> {
        let mut setup = frame::setup();
        setup.thickness = thickness;
        let mut input = frame::input(&setup);
        let hot = [Hot {
            cut: 2,
            at: Point::new(100.0, 100.0),
            rise_k,
        }];
        input.facts.heat = Some(&hot);
        brief(&report_with(frame::PROGRAM, &input))
    }

    #[test]
    fn a_hot_place_in_thin_sheet_is_warned() {
        assert_eq!(with(3.0, 151.0), ["warn heat-build-up 8:1 2"]);
        assert_eq!(with(3.0, 150.0), nothing());
        assert_eq!(with(3.1, 151.0), nothing());
    }
}
