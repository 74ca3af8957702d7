//! A contour cut in the direction that puts the arc's good side on the scrap.
//!
//! The gas usually swirls so that the edge to the right of travel is square and clean, and the left
//! one is not: outlines go clockwise, holes anticlockwise.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::vetting::lead::{each, name};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "direction-of-cut";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a kerf (chart row or setup)",
    measured: || "Which way round each contour is cut.".to_owned(),
    limit: || "Outlines clockwise, holes anticlockwise: the better edge lies right of travel.".to_owned(),
    source: "Common practice, no source. It holds for the usual swirl of the gas.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(contours) = not_judged::contours(sheet, findings, NAME) else {
        return;
    };
    for (cut, number, contour) in each(sheet, contours) {
        if contour.clockwise() == (contour.kind == Kind::Outline) {
            continue;
        }
        let spot = cut.path.first().map_or_else(
            || Spot::torch_on(number, cut),
            |e| Spot::element(number, e),
        );
        let at = sheet.flat().line(contour.cut).at(contour.joint_mm);
        findings.note(NAME, spot.at(at), || {
            let (goes, right) = match contour.kind {
                Kind::Outline => ("anticlockwise", "clockwise"),
                Kind::Hole => ("clockwise", "anticlockwise"),
            };
            (
                format!(
                    "The {} is cut {goes}: the good side of the cut, right of travel, is on the scrap.",
                    name(contour.kind)
                ),
                format!("Cut it {right}, unless the torch has a swirl ring for the other direction."),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing};

    #[test]
    fn a_hole_clockwise_or_an_outline_anticlockwise_is_noted() {
        assert_eq!(changed("G3 X50 Y40", "G2 X50 Y40"), ["note direction-of-cut 4:1 1"]);
        let turned = PROGRAM
            .replace("G0 X66 Y-8", "G0 X34 Y-8")
            .replace("G1 X0\nG1 Y80\nG1 X100\nG1 Y0\nG1 X48", "G1 X100\nG1 Y80\nG1 X0\nG1 Y0\nG1 X52");
        assert_eq!(found(&turned), ["note direction-of-cut 9:1 2"]);
        assert_eq!(found(PROGRAM), nothing());
    }

    #[test]
    fn a_part_in_a_hole_is_an_outline() {
        let inner = |way: &str| {
            let large = PROGRAM
                .replace("G0 X45 Y40\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0", "G0 X65 Y40\nM3\nG1 X70 F1100\nG3 X70 Y40 I-30 J0");
            let part = format!("G0 X46 Y34\nM3\nG3 X40 Y40 I-6 J0 F1100\n{way}\nM5\n");
            found(&large.replace("G0 X65 Y40\n", &format!("{part}G0 X65 Y40\n")))
        };
        // Six mm round, its lead-in tangent from below; the first runs clockwise.
        let loose = ["note pierce-near-loose 13:1 3", "note cut-near-loose 16:1 3"];
        assert_eq!(inner("G2 X40 Y40 I0 J6"), loose);
        let wrong = inner("G3 X40 Y40 I0 J6");
        assert!(wrong.contains(&"note direction-of-cut 4:1 1".to_owned()), "{wrong:?}");
    }
}
