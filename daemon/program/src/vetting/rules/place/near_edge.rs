//! Kerf close to the sheet's edge: the strip left over warps and burns away.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::geometry::plane::room;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "near-edge";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "The metal between kerf and sheet's edge.".to_owned(),
    limit: || format!("{NEAR_MM} mm or one thickness, whichever is more."),
    source: "Common practice, no source.",
};

/// Nearer than this, or one thickness, mm; common practice, no source.
const NEAR_MM: f64 = 5.0;

/// What is to stay between kerf and edge, mm.
pub(crate) fn border_mm(thickness: f64) -> f64 {
    NEAR_MM.max(thickness)
}

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let (Some(setup), Some(kerf)) = (sheet.input.setup, sheet.input.kerf_mm) else {
        not_judged::tell(findings, NAME, if sheet.input.setup.is_none() { Lack::Setup("the sheet is not known") } else { Lack::Kerf });
        return;
    };
    let limit = border_mm(setup.thickness);
    for (cut, number) in sheet.cuts() {
        let left = room(&sheet.bounds(number), setup.sheet) - kerf / 2.0;
        // Beyond the edge `outside-sheet` says it.
        if left >= limit - 1e-6 || left < -1e-6 {
            continue;
        }
        let pierce = sheet.placer.place(cut.pierce);
        let mut nearest = (f64::INFINITY, Spot::torch_on(number, cut).at(pierce));
        for (s, e) in sheet.path(cut) {
            let left = room(&s.bounds(), setup.sheet);
            if left < nearest.0 {
                nearest = (left, Spot::element(number, e).at(s.to()));
            }
        }
        findings.warn(NAME, nearest.1, || {
            (
                format!(
                    "The kerf comes within {} mm of the sheet's edge; {} mm are wanted.",
                    mm(left.max(0.0)),
                    mm(limit)
                ),
                "Move the program's zero further in.".to_owned(),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{PROGRAM, nothing, placed};

    #[test]
    fn a_kerf_within_5_mm_of_the_edge_is_warned() {
        let at = |x: f64| placed(PROGRAM, |s| s.origin = Point::new(x, 60.0));
        // 300 - 5 - 0.725 - 100 = 194.275
        assert_eq!(at(194.3), ["warn near-edge 12:1 2"]);
        assert_eq!(at(194.275), nothing());
    }

    #[test]
    fn thick_plate_wants_one_thickness() {
        let thick = |x: f64| {
            placed(PROGRAM, |s| {
                s.origin = Point::new(x, 60.0);
                s.thickness = 10.0;
            })
        };
        assert_eq!(thick(189.3), ["warn near-edge 12:1 2"]);
        assert_eq!(thick(189.275), nothing());
    }
}
