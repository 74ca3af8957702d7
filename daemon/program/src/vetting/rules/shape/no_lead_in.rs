//! Pierced on a finished edge: the pierce's crater stays in the part.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::findings::{Findings, Spot};
use crate::vetting::lead::{each, name, pierce};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "no-lead-in";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a kerf (chart row or setup)",
    measured: || "The distance of the pierce from the finished edge.".to_owned(),
    limit: || "More than one kerf.".to_owned(),
    source: "Common practice, no source.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(contours) = not_judged::contours(sheet, findings, NAME) else {
        return;
    };
    let Some(kerf) = sheet.input.kerf_mm else {
        return;
    };
    for (cut, number, contour) in each(sheet, contours) {
        let pierce = pierce(sheet, contour);
        if pierce.off_mm >= kerf - 1e-6 {
            continue;
        }
        findings.warn(NAME, Spot::torch_on(number, cut).at(pierce.at), || {
            let what = name(contour.kind);
            (
                format!(
                    "This {what} is pierced {} mm from its own path, on its finished edge (nearer \
                     than one kerf, {} mm).",
                    mm(pierce.off_mm),
                    mm(kerf)
                ),
                format!(
                    "Pierce in the scrap, {} the {what}, and lead in from there.",
                    match contour.kind {
                        crate::contours::Kind::Outline => "outside",
                        crate::contours::Kind::Hole => "inside",
                    }
                ),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing};

    #[test]
    fn an_outline_pierced_on_its_path_is_warned() {
        let none = PROGRAM.replace("G0 X66 Y-8", "G0 X50 Y0").replace("G1 X50 Y0 F1100\nG1 X0", "G1 X0 F1100");
        assert_eq!(found(&none), ["warn no-lead-in 8:1 2"]);
    }

    #[test]
    fn a_pierce_within_one_kerf_of_the_contour_is_on_its_edge() {
        // Lead-ins of 1.4 and 4 mm.
        assert_eq!(changed("G0 X66 Y-8", "G0 X53 Y-1.44"), ["warn no-lead-in 8:1 2"]);
        assert_eq!(changed("G0 X66 Y-8", "G0 X58 Y-4"), nothing());
        assert_eq!(changed("G0 X45 Y40", "G0 X48.56 Y40"), ["warn no-lead-in 3:1 1"]);
        // At one kerf it is only short.
        assert_eq!(changed("G0 X45 Y40", "G0 X48.54 Y40"), ["note lead-in-short 3:1 1"]);
    }
}
