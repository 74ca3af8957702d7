//! Little metal between two kerfs: it warps and melts, or there is none.

use crate::vetting::webs::{self, NOTED_MM, NOTED_T, reach_mm};
use crate::vetting::rules::page::Page;
use units::Point;

use crate::vetting::rules::reading::not_judged;
use super::parts_too_close::{self, SHARED_MM, crosses};
use crate::contours::{Contours, Kind};
use crate::report::findings::Findings;
use crate::report::Severity;
use crate::vetting::lead::place_on;
use crate::contours::near::Pair;
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "web-too-thin";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn or note",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "The metal between two kerfs.".to_owned(),
    limit: || format!("{WARNED_MM} mm or one thickness, whichever is more; inside a part a note under \
              {NOTED_MM} mm or {NOTED_T} thicknesses."),
    source: "Common practice; the number is invented.",
};

/// At least this or one thickness, mm; common practice, numbers invented.
const WARNED_MM: f64 = 2.0;

fn warned_mm(thickness: f64) -> f64 {
    thickness.max(WARNED_MM)
}

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some((contours, kerf, thickness)) = not_judged::sized(sheet, findings, NAME) else {
        return;
    };
    for pair in webs::pairs(sheet).map_or(&[][..], |p| &p.all) {
        if contours.same(pair.a, pair.b) {
            continue;
        }
        // Parts that are too close are told by their own rule.
        if parts_too_close::close(contours, pair, kerf, thickness).is_some() {
            continue;
        }
        let in_part = |p| contours.in_part(sheet.flat(), p);
        let Some((severity, web, limit)) = thin(contours, pair, kerf, thickness, in_part) else {
            continue;
        };
        findings.tell_at(NAME, severity, pair.b + 1, || place_on(sheet, pair.b, pair.on_b), || {
            let other = pair.a + 1;
            let says = if web <= 0.0 {
                format!("Nothing stays between this kerf and that of cut {other}: they run into each other.")
            } else {
                format!(
                    "Only {} mm of metal stay between this kerf and that of cut {other}; {} mm are wanted.",
                    mm(web),
                    mm(limit)
                )
            };
            (says, "Move the two apart, or leave one of them out.".to_owned())
        }).of_cuts([pair.a + 1]);
    }
}

/// Severity, metal and limit, mm.
fn thin(
    contours: &Contours,
    pair: &Pair,
    kerf: f64,
    thickness: f64,
    in_part: impl FnOnce(Point) -> bool,
) -> Option<(Severity, f64, f64)> {
    let (a, b) = (contours.of_cut(pair.a), contours.of_cut(pair.b));
    let web = pair.apart_mm - kerf;
    let (warned, noted) = (warned_mm(thickness), reach_mm(thickness));
    let closed = a.zip(b);
    if pair.apart_mm <= SHARED_MM {
        // Paths on each other are one cut, or a cut twice; a hole over an edge leaves no edge.
        let (a, b) = closed?;
        let hole = a.kind == Kind::Hole || b.kind == Kind::Hole;
        return (hole && crosses(a, b).is_some()).then_some((Severity::Warn, 0.0, warned));
    }
    if web <= 0.0 {
        // An open path may run into any kerf.
        return closed.map(|_| (Severity::Warn, web, warned));
    }
    if web < warned - 0.02 {
        return Some((Severity::Warn, web, warned));
    }
    let between = pair.on_a.toward(pair.on_b, 0.5);
    (web < noted - 0.02 && in_part(between)).then_some((Severity::Note, web, noted))
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, found, nothing, of_shape, placed};

    /// The frame with its hole so that so much metal stays to the left edge's kerf.
    fn web(metal: f64) -> String {
        let x = metal + 1.45 + 10.0;
        PROGRAM
            .replace("G0 X45 Y40", &format!("G0 X{} Y40", x + 5.0))
            .replace("G1 X50 F660", &format!("G1 X{} F660", x + 10.0))
            .replace("G3 X50 Y40 I-10 J0", &format!("G3 X{} Y40 I-10 J0", x + 10.0))
    }

    #[test]
    fn metal_under_one_thickness_is_warned_and_in_a_part_under_one_and_a_half_noted() {
        assert_eq!(found(&web(4.9)), ["warn web-too-thin 11:1 2"]);
        assert_eq!(found(&web(5.0)), ["note web-too-thin 11:1 2"]);
        assert_eq!(found(&web(7.4)), ["note web-too-thin 11:1 2"]);
        assert_eq!(found(&web(7.5)), nothing());
    }

    #[test]
    fn on_thin_sheet_2_and_3_mm_are_the_limits() {
        let thin = |metal: f64| placed(&web(metal), |s| s.thickness = 1.0);
        assert_eq!(thin(1.9), ["warn web-too-thin 11:1 2"]);
        assert_eq!(thin(2.0), ["note web-too-thin 11:1 2"]);
        assert_eq!(thin(3.0), nothing());
    }

    #[test]
    fn a_hole_over_the_edge_is_warned() {
        assert_eq!(of_shape(found(&web(-1.0))), ["warn web-too-thin 11:1 2"]);
        assert_eq!(of_shape(found(&web(-6.0))), ["warn web-too-thin 11:1 2"]);
    }

    #[test]
    fn a_strip_of_skeleton_beside_an_open_cut_is_judged_too() {
        // An open cut beside the part's right edge.
        let open = |x: f64| {
            let text = format!("G0 X{x} Y-20\nM3\nG1 Y100\nM5\nM2\n");
            of_shape(found(&PROGRAM.replace("M2\n", &text)))
        };
        assert_eq!(open(106.4), ["warn web-too-thin 18:1 3"]);
        assert_eq!(open(106.45), nothing());
    }
}
