//! A contour whose end stops short of its start, or passes it by too much.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::vetting::lead::{each, joint, name};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "overlap-at-close";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a kerf (chart row or setup)",
    measured: || "How far a contour's end passes its start.".to_owned(),
    limit: || format!("An outline by 0 to {OUTLINE_MM} mm, a hole by up to {HOLE_MM} mm."),
    source: "Common practice; the number is invented.",
};

/// An outline's end passes its start by no more than this, mm; common practice, number invented.
const OUTLINE_MM: f64 = 3.0;
/// A hole's no more than this, mm: its edge is washed out.
const HOLE_MM: f64 = 1.0;
/// How well the place where a contour closes is known, mm.
const KNOWN_MM: f64 = 0.1;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(contours) = not_judged::contours(sheet, findings, NAME) else {
        return;
    };
    let Some(kerf) = sheet.input.kerf_mm else {
        return;
    };
    for (cut, number, contour) in each(sheet, contours) {
        // A gap of more than one kerf is `open-contour`, or a tab.
        if contour.tab_mm > 0.0 {
            continue;
        }
        let overlap = joint(sheet, contour).overlap_mm;
        if overlap < -kerf {
            continue;
        }
        let most = match contour.kind {
            Kind::Outline => OUTLINE_MM,
            Kind::Hole => HOLE_MM,
        };
        let short = contour.kind == Kind::Outline && overlap < -KNOWN_MM + 1e-6;
        if !short && overlap <= most + KNOWN_MM {
            continue;
        }
        let end = sheet.flat().line(contour.cut).points.last().copied();
        let spot = match cut.path.last() {
            Some(e) => Spot { at: end, ..Spot::element(number, e) },
            None => Spot::torch_on(number, cut),
        };
        findings.note(NAME, spot, || {
            let what = name(contour.kind);
            if short {
                (
                    format!(
                        "The {what}'s end stops {} mm short of its start: a burr is left there.",
                        mm(-overlap)
                    ),
                    format!("Let it pass its start, by up to {} mm.", mm(most)),
                )
            } else {
                (
                    format!(
                        "The {what}'s end passes its start by {} mm; up to {} mm is usual.",
                        mm(overlap),
                        mm(most)
                    ),
                    "End it nearer to its start: the edge is cut twice there.".to_owned(),
                )
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing};

    #[test]
    fn an_outline_that_stops_short_or_runs_on_is_noted() {
        assert_eq!(changed("G1 X48", "G1 X50.5"), ["note overlap-at-close 14:1 2"]);
        assert_eq!(changed("G1 X48", "G1 X50"), nothing());
        assert_eq!(changed("G1 X48", "G1 X47"), nothing());
        assert_eq!(changed("G1 X48", "G1 X46.8"), ["note overlap-at-close 14:1 2"]);
    }

    #[test]
    fn a_hole_that_runs_on_is_noted() {
        // 0.08 and 0.13 radians on a circle of 10 mm.
        let past = |a: f64| {
            let on = format!("G3 X50 Y40 I-10 J0\nG3 X{:.4} Y{:.4} I-10 J0", 40.0 + 10.0 * a.cos(), 40.0 + 10.0 * a.sin());
            found(&PROGRAM.replace("G3 X50 Y40 I-10 J0", &on))
        };
        assert_eq!(past(0.13), ["note overlap-at-close 6:1 1"]);
        assert_eq!(past(0.1), nothing());
    }

    #[test]
    fn an_outline_with_a_tangent_lead_in_is_measured_where_its_arc_ends() {
        let arc = |end: &str| {
            let text = PROGRAM
                .replace("G0 X66 Y-8\nM3\nG1 X50 Y0 F1100", "G0 X58 Y-8\nM3\nG3 X50 Y0 I-8 J0 F1100")
                .replace("G1 X48", end);
            found(&text)
        };
        assert_eq!(arc("G1 X47"), nothing());
        assert_eq!(arc("G1 X46.8"), ["note overlap-at-close 14:1 2"]);
    }
}
