//! Pierced on the part.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::vetting::lead::{each, name, pierce};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "pierce-on-part";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a kerf (chart row or setup)",
    measured: || "On which side of the contour the pierce lies.".to_owned(),
    limit: || "On the scrap.".to_owned(),
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
        // Nearer than one kerf to the path `no-lead-in` says it.
        if !pierce.on_part || pierce.off_mm < kerf - 1e-6 {
            continue;
        }
        findings.warn(NAME, Spot::torch_on(number, cut).at(pierce.at), || {
            let (side, other) = match contour.kind {
                Kind::Outline => ("inside", "outside"),
                Kind::Hole => ("outside", "inside"),
            };
            let what = name(contour.kind);
            (
                format!(
                    "The pierce lies {side} its {what}, {} mm on the part's side: it and its \
                     lead-in are cut into the part.",
                    mm(pierce.off_mm)
                ),
                format!("Pierce in the scrap, {other} the {what}."),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::changed;

    #[test]
    fn an_outline_pierced_inside_and_a_hole_pierced_outside_are_warned() {
        assert_eq!(changed("G0 X66 Y-8", "G0 X66 Y8"), ["warn pierce-on-part 8:1 2"]);
        assert_eq!(changed("G0 X45 Y40", "G0 X55 Y40"), ["warn pierce-on-part 3:1 1"]);
        assert_eq!(changed("G0 X66 Y-8", "G0 X34 Y-8"), ["note lead-in-angle 10:1 2"]);
    }

    #[test]
    fn beyond_one_kerf_the_pierce_counts_as_on_the_part() {
        assert_eq!(changed("G0 X45 Y40", "G0 X51.46 Y40"), ["warn pierce-on-part 3:1 1"]);
        assert_eq!(changed("G0 X45 Y40", "G0 X51.44 Y40"), ["warn no-lead-in 3:1 1"]);
    }
}
