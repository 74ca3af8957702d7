//! The first cut is a small hole: the hardest thing comes before anybody has seen a cut.

use crate::vetting::rules::page::Page;
use super::hole_too_small::KNOWN_MM;
use crate::vetting::rules::reading::not_judged;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "first-cut-small";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "The first cut of the program.".to_owned(),
    limit: || format!("No hole under {SMALL_T} thicknesses."),
    source: "Common practice, no source.",
};

/// Under so many thicknesses across; common practice, no source.
const SMALL_T: f64 = 2.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some((contours, kerf, thickness)) = not_judged::sized(sheet, findings, NAME) else {
        return;
    };
    let (Some((cut, number)), Some(contour)) = (sheet.cuts().next(), contours.of_cut(0)) else {
        return;
    };
    let (across, limit) = (contour.across_mm(kerf), SMALL_T * thickness);
    if contour.kind != Kind::Hole || across >= limit - KNOWN_MM {
        return;
    }
    let at = sheet.placer.place(cut.pierce);
    findings.note(NAME, Spot::torch_on(number, cut).at(at), || {
        (
            format!(
                "The first cut is a hole of {} mm, under {SMALL_T} x thickness ({} mm).",
                mm(across),
                mm(limit)
            ),
            "Begin with a test line in the scrap, or cut a larger hole first.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, found, nothing};

    /// A square hole, finished mm, with corners of 1 mm in the path, before the frame's cuts.
    fn square(across: f64) -> String {
        let h = (across - 1.45) / 2.0;
        let (a, b) = (60.0 + h - 1.0, h - 1.0);
        let c = 60.0 - h + 1.0;
        let n = |v: f64| crate::geometry::plane::mm(v);
        let (right, left, top, low) = (n(60.0 + h), n(60.0 - h), n(20.0 + h), n(20.0 - h));
        let (a, c, up, down) = (n(a), n(c), n(20.0 + b), n(20.0 - b));
        format!(
            "G0 X60 Y20\nM3\nG1 X{right} F1100\nG1 Y{up}\nG3 X{a} Y{top} I-1 J0\nG1 X{c}\n\
             G3 X{left} Y{up} I0 J-1\nG1 Y{down}\nG3 X{c} Y{low} I1 J0\nG1 X{a}\n\
             G3 X{right} Y{down} I0 J1\nG1 Y20\nM5\n"
        )
    }

    #[test]
    fn a_first_hole_under_2_thicknesses_is_noted() {
        let first = |across: f64| found(&PROGRAM.replace("G0 X45 Y40\n", &format!("{}G0 X45 Y40\n", square(across))));
        assert_eq!(first(9.9), ["note first-cut-small 3:1 1"]);
        assert_eq!(first(10.0), nothing());
    }

    #[test]
    fn a_small_hole_later_on_is_none_of_its_business() {
        assert_eq!(found(&PROGRAM.replace("G0 X66 Y-8\n", &format!("{}G0 X66 Y-8\n", square(9.0)))), nothing());
    }

    #[test]
    fn a_round_one_is_a_small_hole_as_well() {
        let round = PROGRAM
            .replace("G0 X45 Y40\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0", "G0 X40 Y40\nM3\nG1 X44 F660\nG3 X44 Y40 I-4 J0");
        assert_eq!(found(&round), ["note hole-too-small 3:1 1", "note first-cut-small 3:1 1"]);
    }
}
