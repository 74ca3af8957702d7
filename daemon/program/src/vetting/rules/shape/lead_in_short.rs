//! Pierced so near to the finished edge that it is splashed.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::vetting::lead::{each, name, pierce};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "lead-in-short";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "The distance of the pierce from the finished edge against how far the pierce \
              splashes.".to_owned(),
    limit: || format!("The larger of 1.5 kerfs and 0.8 kerfs + 1.0 mm + 0.3 thicknesses; in holes no \
              more than {IN_HOLE} of the diameter is offered."),
    source: "Common practice; the number is invented.",
};

/// How far a pierce splashes, mm; common practice, numbers invented.
fn splash_mm(kerf: f64, thickness: f64) -> f64 {
    (1.5 * kerf).max(0.8 * kerf + 1.0 + 0.3 * thickness)
}

/// The lead-in that is offered: 4 mm or 1.5 thicknesses; in a hole no more than this part of its
/// diameter.
const IN_HOLE: f64 = 0.4;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some((contours, kerf, thickness)) = not_judged::sized(sheet, findings, NAME) else {
        return;
    };
    let splash = splash_mm(kerf, thickness);
    for (cut, number, contour) in each(sheet, contours) {
        let pierce = pierce(sheet, contour);
        let edge = pierce.off_mm + kerf / 2.0;
        // Nearer than one kerf to the path `no-lead-in` says it, on the part `pierce-on-part`.
        if pierce.off_mm < kerf - 1e-6 || pierce.on_part || edge >= splash - 0.02 {
            continue;
        }
        let mut offer = (1.5 * thickness).max(4.0);
        if contour.kind == Kind::Hole {
            let narrow = contour.bounds.width().min(contour.bounds.height()) + kerf;
            offer = offer.min(IN_HOLE * narrow);
            // In a small hole there is no better place.
            if edge >= offer - 0.02 {
                continue;
            }
        }
        findings.note(NAME, Spot::torch_on(number, cut).at(pierce.at), || {
            (
                format!(
                    "The pierce lies {} mm from the {}'s finished edge; it splashes {} mm.",
                    mm(edge),
                    name(contour.kind),
                    mm(splash)
                ),
                format!("Lead in from {} mm.", mm(offer)),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing, placed};

    #[test]
    fn a_pierce_within_the_splash_is_noted() {
        // 0.8 x 1.45 + 1 + 0.3 x 5 = 3.66 mm from the edge: 2.935 mm from the path.
        assert_eq!(changed("G0 X45 Y40", "G0 X47.1 Y40"), ["note lead-in-short 3:1 1"]);
        assert_eq!(changed("G0 X45 Y40", "G0 X47.06 Y40"), nothing());
        assert_eq!(changed("G0 X66 Y-8", "G0 X56 Y-2.9"), ["note lead-in-short 8:1 2"]);
        assert_eq!(changed("G0 X66 Y-8", "G0 X56 Y-2.94"), nothing());
    }

    #[test]
    fn thick_plate_splashes_further() {
        // 0.8 x 1.45 + 1 + 0.3 x 10 = 5.16 mm.
        let thick = |y: &str| {
            let program = PROGRAM.replace("G0 X66 Y-8", &format!("G0 X66 Y{y}"));
            placed(&program, |s| s.thickness = 10.0)
        };
        assert_eq!(thick("-4.4"), ["note lead-in-short 8:1 2"]);
        assert_eq!(thick("-4.44"), nothing());
    }

    #[test]
    fn a_small_hole_has_no_better_place_than_near_its_middle() {
        // 8 mm finished: 0.4 of it is 3.2 mm from the edge.
        let hole = |x: f64| {
            let text = format!("G0 X{x} Y40\nM3\nG1 X43.275 F660\nG3 X43.275 Y40 I-3.275 J0");
            found(&PROGRAM.replace("G0 X45 Y40\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0", &text))
        };
        let small = ["note hole-too-small 3:1 1", "note first-cut-small 3:1 1"];
        assert_eq!(hole(40.85), [&["note lead-in-short 3:1 1"], &small[..]].concat());
        assert_eq!(hole(40.75), small);
    }
}
