//! A pierce close to metal that is already cut away.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use super::pierce_in_void::metal_part;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "pierce-near-kerf";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "How near a pierce comes to removed metal.".to_owned(),
    limit: || format!("One kerf and {MORE_MM} mm; twice the kerf and 2 mm is offered."),
    source: "Common practice; the number is invented.",
};

/// A pierce keeps one kerf and this from removed metal, mm.
const MORE_MM: f64 = 1.5;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let Some(kerf) = sheet.input.kerf_mm else {
        return;
    };
    let limit = kerf + MORE_MM;
    for (cut, number) in sheet.cuts() {
        let p = sheet.placer.place(cut.pierce);
        let before = map.strands.start(number - 1) - 1;
        let kerfs = sheet
            .kerf_distance(p, limit + kerf / 2.0, before)
            .map(|d| d - kerf / 2.0);
        let used = sheet.used_distance(p, limit);
        let off = kerfs.unwrap_or(f64::INFINITY).min(used.unwrap_or(f64::INFINITY));
        if off >= limit - 1e-6 || metal_part(sheet, map, number).is_some_and(|m| m < 0.9) {
            continue;
        }
        let spot = Spot::torch_on(number, cut).at(p);
        findings.warn(NAME, spot, || {
            (
                format!(
                    "The pierce is {} mm from metal that is already cut away, under one kerf and {MORE_MM} mm ({} mm): the touch-off is unsure and the pierce may blow out sideways.",
                    mm(off.max(0.0)),
                    mm(limit)
                ),
                format!("Move it {} mm away from the nearest kerf.", mm(2.0 * kerf + 2.0)),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{Rect, nothing, order};

    const PART: Rect = Rect(40.0, 40.0, 160.0, 140.0);
    const HOLE: Rect = Rect(80.0, 70.0, 110.0, 100.0);
    const FAR: Rect = Rect(200.0, 40.0, 260.0, 100.0);

    const LINE: &str = "G0 X40 Y140\nM3\nG1 Y40 F1100\nM5\n";

    fn pierced_off(off: f64) -> Vec<String> {
        let x = 40.0 - 0.725 - off;
        order(&[LINE.to_owned(), format!("G0 X{x} Y90\nM3\nG1 X10 F1100\nM5\n")], |_| ())
    }

    #[test]
    fn a_pierce_nearer_than_a_kerf_and_1_5_mm_is_warned() {
        assert_eq!(pierced_off(2.9), ["warn pierce-near-kerf 2"]);
        assert_eq!(pierced_off(3.0), nothing());
    }

    #[test]
    fn it_is_not_said_beside_a_pierce_in_a_void() {
        assert_eq!(pierced_off(0.2), ["refuse pierce-in-void 2"]);
    }

    #[test]
    fn an_area_used_before_counts_as_removed() {
        let used = |off: f64| {
            order(&[HOLE.hole(), PART.outline(), FAR.outline()], |s| {
                // Beside the pierce of the part at (100, 34).
                let y = 34.0 - off;
                s.used = vec![vec![Point::new(98.0, y - 5.0), Point::new(102.0, y - 5.0), Point::new(102.0, y), Point::new(98.0, y)]];
            })
        };
        assert_eq!(used(2.9), ["warn pierce-near-kerf 2"]);
        assert_eq!(used(3.0), nothing());
    }
}
