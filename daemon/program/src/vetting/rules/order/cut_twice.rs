//! A path along the kerf of an earlier cut.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use crate::report::findings::Findings;
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "cut-twice";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "How much of a path runs along the kerf of an earlier cut.".to_owned(),
    limit: || format!("Over {LEAST_MM} mm and 5 % of it; from 90 % on it is called a duplicate."),
    source: "The number is invented.",
};

/// Said above this length, mm, and this part of the path.
const LEAST_MM: f64 = 2.0;
const LEAST_PART: f64 = 0.05;
/// From this part on it is a duplicate.
const DUPLICATE: f64 = 0.9;
/// A stretch over an old kerf that is no longer than this is a crossing, in kerfs.
pub(super) const CROSSING_KERFS: f64 = 2.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let crossing = CROSSING_KERFS * sheet.input.kerf_mm.unwrap_or(0.0);
    for (_, number) in sheet.cuts() {
        if let Some(first) = sheet.contours().and_then(|c| c.cut_before(number - 1)) {
            findings.warn(NAME, sheet.torch_on(number), || duplicate(number, first + 1, 1.0));
            continue;
        }
        let along = || sheet.over_old_kerf(number).filter(|s| s.to_mm - s.from_mm > crossing.max(LEAST_MM));
        let twice: f64 = along().map(|s| s.to_mm - s.from_mm).sum();
        let part = twice / sheet.length_mm(number).max(1e-9);
        let Some(first) = along().next() else {
            continue;
        };
        if twice <= LEAST_MM || part <= LEAST_PART {
            continue;
        }
        let earlier = map.strands.cut_at(first.tick).map_or(0, |c| c + 1);
        findings.warn(NAME, sheet.spot_at(number, first.from_mm), || {
            if part >= DUPLICATE {
                duplicate(number, earlier, part)
            } else {
                (
                    format!(
                        "{} mm of this path ({} %) run along the kerf of cut {earlier}: there the arc has metal on one side at most.",
                        mm(twice.round()),
                        (100.0 * part).round()
                    ),
                    "Leave that stretch out of one of the two cuts.".to_owned(),
                )
            }
        }).of_cuts([earlier]);
    }
}

fn duplicate(number: usize, earlier: usize, part: f64) -> (String, String) {
    (
        format!(
            "This cut is a duplicate of cut {earlier}: {} % of its path lies in a kerf that is cut already.",
            (100.0 * part).round()
        ),
        format!("Delete cut {number}."),
    )
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{Rect, nothing, order};

    const PART: Rect = Rect(40.0, 40.0, 160.0, 140.0);
    const HOLE: Rect = Rect(85.0, 75.0, 107.0, 97.0);
    const FAR: Rect = Rect(200.0, 40.0, 260.0, 100.0);

    #[test]
    fn an_outline_cut_twice_is_called_a_duplicate() {
        let all = order(&[HOLE.hole(), HOLE.hole(), PART.outline()], |_| ());
        assert!(all.contains(&"warn cut-twice 2".to_owned()), "{all:?}");
        // The whole set: its pierce is in a kerf, or where the slug was.
        for f in &all {
            let known = ["cut-twice 2", "pierce-in-void 2", "path-in-void 2", "return-path-lost 2"];
            assert!(known.iter().any(|k| f.ends_with(k)), "{all:?}");
        }
    }

    /// A straight cut of 100 mm, of which the last `along` run in the kerf of an earlier one.
    fn along(mm: f64) -> Vec<String> {
        let first = format!("G0 X{} Y60\nM3\nG1 X250 F1100\nM5\n", 150.0 - mm);
        let second = "G0 X50 Y60\nM3\nG1 X150 F1100\nM5\n".to_owned();
        order(&[first, second], |_| ())
    }

    #[test]
    fn more_than_a_twentieth_of_a_path_in_an_old_kerf_is_warned() {
        assert_eq!(along(10.0), ["warn cut-twice 2"]);
        // The old kerf begins with its pierce, 1.2 mm earlier; the grid adds 0.15 mm.
        assert_eq!(along(3.5), nothing());
    }

    #[test]
    fn over_burn_is_not_cut_twice() {
        assert_eq!(order(&[HOLE.hole(), PART.outline(), FAR.outline()], |_| ()), nothing());
    }
}
