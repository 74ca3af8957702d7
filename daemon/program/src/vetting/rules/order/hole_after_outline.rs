//! A hole cut after the outline that frees its part.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::contours::Kind;
use crate::report::findings::Findings;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "hole-after-outline";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a kerf (chart row or setup)",
    measured: || "The order of every hole and of the outline round it.".to_owned(),
    limit: || "Holes first: behind the outline the part is loose.".to_owned(),
    source: "Common practice, no source.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(contours) = sheet.contours() else {
        not_judged::no_kerf(findings, NAME);
        return;
    };
    for hole in contours.all.iter().filter(|c| c.kind == Kind::Hole) {
        let Some(outline) = hole.parent.and_then(|k| contours.all.get(k)) else {
            continue;
        };
        if outline.kind != Kind::Outline || outline.cut >= hole.cut {
            continue;
        }
        let (hole, outline) = (hole.cut + 1, outline.cut + 1);
        let spot = sheet.torch_on(hole);
        findings.warn(NAME, spot, || {
            (
                format!("This hole is cut after cut {outline}, the outline of its part: the part is loose by then, or held by a tab alone, and the hole goes out of place."),
                format!("Cut the holes first: cut {hole} before cut {outline}."),
            )
        }).of_cuts([outline]);
    }
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{Rect, nothing, order};

    const PART: Rect = Rect(40.0, 40.0, 160.0, 140.0);
    const HOLE: Rect = Rect(80.0, 70.0, 110.0, 100.0);
    const FAR: Rect = Rect(200.0, 40.0, 260.0, 100.0);

    #[test]
    fn a_hole_in_a_part_that_a_tab_holds_is_warned_alone() {
        let tab = order(&[PART.tabbed(6.45), HOLE.hole()], |_| ());
        assert_eq!(tab, ["warn hole-after-outline 2"]);
        assert_eq!(order(&[HOLE.hole(), PART.tabbed(6.45)], |_| ()), nothing());
    }

    #[test]
    fn each_hole_is_named_and_the_hole_of_another_part_is_not() {
        let other = Rect(215.0, 55.0, 245.0, 85.0);
        let all = order(&[PART.tabbed(6.45), HOLE.hole(), other.hole(), FAR.outline()], |s| {
            s.clamp = Some(Point::new(280.0, 180.0));
        });
        assert_eq!(all, ["warn hole-after-outline 2", "note cut-near-loose 4"]);
    }
}
