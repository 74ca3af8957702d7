//! A lead-in that meets its outline at a steep angle: the torch turns a corner on the finished edge.

use crate::vetting::rules::page::Page;
use units::motion::turn;

use crate::vetting::rules::reading::not_judged;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::vetting::lead::{each, joint, pieces_at, pierce};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "lead-in-angle";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a kerf (chart row or setup)",
    measured: || "The angle at which a lead-in meets its outline.".to_owned(),
    limit: || format!("{STEEP_DEG} degrees."),
    source: "Common practice; the number is invented.",
};

/// Steeper than this, degrees; common practice, number invented.
const STEEP_DEG: f64 = 30.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(contours) = not_judged::contours(sheet, findings, NAME) else {
        return;
    };
    let Some(kerf) = sheet.input.kerf_mm else {
        return;
    };
    for (cut, number, contour) in each(sheet, contours) {
        // Without a lead-in there is no angle: that is `no-lead-in`.
        if contour.kind != Kind::Outline || pierce(sheet, contour).off_mm < kerf - 1e-6 {
            continue;
        }
        let meets = joint(sheet, contour).at_mm;
        let Some((lead, on)) = pieces_at(sheet, contour, meets) else {
            continue;
        };
        let angle = turn(&lead, &on).abs().to_degrees();
        if angle <= STEEP_DEG + 0.1 {
            continue;
        }
        let at = sheet.placer.place(lead.to());
        let piece = cut.path.iter().find(|e| e.segment == on);
        let spot = piece.map_or_else(
            || Spot::torch_on(number, cut),
            |e| Spot::element(number, e),
        );
        findings.note(NAME, spot.at(at), || {
            (
                format!(
                    "The lead-in meets the outline at {angle:.0} degrees; up to {STEEP_DEG:.0} \
                     leave no mark on the edge."
                ),
                "Lead in along an arc that is tangent to the outline.".to_owned(),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing};

    #[test]
    fn an_outline_met_at_over_30_degrees_is_noted() {
        // atan(8 / 13.8) = 30.1, atan(8 / 13.9) = 29.9.
        assert_eq!(changed("G0 X66 Y-8", "G0 X50 Y-8"), ["note lead-in-angle 10:1 2"]);
        assert_eq!(changed("G0 X66 Y-8", "G0 X63.6 Y-8"), ["note lead-in-angle 10:1 2"]);
        assert_eq!(changed("G0 X66 Y-8", "G0 X63.9 Y-8"), nothing());
    }

    #[test]
    fn a_tangent_arc_and_a_lead_in_straight_on_meet_it_at_no_angle() {
        let arc = PROGRAM.replace("G0 X66 Y-8\nM3\nG1 X50 Y0 F1100", "G0 X56 Y-6\nM3\nG3 X50 Y0 I-6 J0 F1100");
        assert_eq!(found(&arc), nothing());
        let straight = PROGRAM
            .replace("G0 X66 Y-8\nM3\nG1 X50 Y0 F1100\nG1 X0", "G0 X108 Y0\nM3\nG1 X0 F1100")
            .replace("G1 X48", "G1 X98");
        let all = found(&straight);
        assert!(!all.iter().any(|f| f.contains(super::NAME)), "{all:?}");
    }

    #[test]
    fn a_hole_may_be_met_at_any_angle() {
        assert_eq!(found(PROGRAM), nothing());
    }
}
