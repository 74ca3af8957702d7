//! A round hole that the arc cannot cut well: it is wider at the bottom than at the top, and slag
//! fills it.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::findings::{Findings, Spot};
use crate::report::Severity;
use crate::vetting::lead::each;
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "hole-too-small";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse, warn or note",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "The diameter of every round hole, the kerf taken into account.".to_owned(),
    limit: || format!("Refused under {REFUSED_T} thickness or {REFUSED_W} kerfs, a warning under \
              {WARNED_T}, a note under {NOTED_T} thicknesses."),
    source: "Common practice, no source.",
};

/// So many thicknesses across at least; common practice, no source.
const REFUSED_T: f64 = 1.0;
const WARNED_T: f64 = 1.5;
const NOTED_T: f64 = 2.0;
/// So many kerfs across at least; common practice, no source.
const REFUSED_W: f64 = 2.0;
/// How well a diameter is known from the polyline of its circle, mm.
pub(crate) const KNOWN_MM: f64 = 0.02;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some((contours, kerf, thickness)) = not_judged::sized(sheet, findings, NAME) else {
        return;
    };
    for (cut, number, contour) in each(sheet, contours) {
        let (Some(hole), Some(circle)) = (contour.hole_mm(kerf), contour.circle) else {
            continue;
        };
        let under = |limit: f64| hole < limit - KNOWN_MM;
        let times = |n: f64| (n * thickness, format!("{n} x thickness"));
        let (severity, (limit, name), remedy) = if under(REFUSED_T * thickness) {
            (Severity::Refuse, times(REFUSED_T), "Mark its centre and drill it.")
        } else if under(REFUSED_W * kerf) {
            let limit = (REFUSED_W * kerf, format!("{REFUSED_W} x kerf"));
            (Severity::Refuse, limit, "Mark its centre and drill it.")
        } else if under(WARNED_T * thickness) {
            (Severity::Warn, times(WARNED_T), "Mark its centre and drill it, or ream it afterwards.")
        } else if under(NOTED_T * thickness) {
            (Severity::Note, times(NOTED_T), "Cut it slowly, or mark its centre and drill it.")
        } else {
            continue;
        };
        findings.tell(NAME, severity, Spot::torch_on(number, cut).at(circle.centre), || {
            (
                format!("The hole of {} mm is under {name} ({} mm).", mm(hole), mm(limit)),
                remedy.to_owned(),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, found, nothing, report_with, PROGRAM};

    /// The frame with its hole behind another one, so that it is not the first cut: finished mm.
    fn hole(across: f64) -> String {
        let r = (across - 1.45) / 2.0;
        let small = format!(
            "G0 X70 Y40\nM3\nG1 X{0:.4} F660\nG3 X{0:.4} Y40 I-{r:.4} J0\nM5\n",
            70.0 + r
        );
        PROGRAM.replace("G0 X66 Y-8\n", &format!("{small}G0 X66 Y-8\n"))
    }

    #[test]
    fn holes_under_2_thicknesses_are_noted_under_1_5_warned_under_1_refused() {
        assert_eq!(found(&hole(10.0)), nothing());
        assert_eq!(found(&hole(9.9)), ["note hole-too-small 8:1 2"]);
        assert_eq!(found(&hole(7.5)), ["note hole-too-small 8:1 2"]);
        assert_eq!(found(&hole(7.4)), ["warn hole-too-small 8:1 2"]);
        assert_eq!(found(&hole(5.0)), ["warn hole-too-small 8:1 2"]);
        assert_eq!(found(&hole(4.9)), ["refuse hole-too-small 8:1 2"]);
    }

    #[test]
    fn on_thin_sheet_two_kerfs_are_the_limit() {
        let thin = |across: f64| {
            let mut setup = frame::setup();
            setup.thickness = 1.0;
            brief(&report_with(&hole(across), &frame::input(&setup)))
        };
        // So small a hole has no room for a lead-in.
        assert_eq!(thin(2.9), ["warn no-lead-in 8:1 2"]);
        assert_eq!(thin(2.85)[0], "refuse hole-too-small 8:1 2");
    }

    #[test]
    fn what_is_not_round_or_no_hole_is_not_judged_by_this_rule() {
        let square = "G0 X70 Y40\nM3\nG1 X72 F1100\nG1 Y42\nG1 X68\nG1 Y38\nG1 X72\nG1 Y40\nM5\n";
        let all = found(&PROGRAM.replace("G0 X66 Y-8\n", &format!("{square}G0 X66 Y-8\n")));
        assert!(!all.iter().any(|f| f.contains(super::NAME)), "{all:?}");
    }
}
