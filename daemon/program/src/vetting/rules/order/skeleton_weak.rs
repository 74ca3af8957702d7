//! The metal between the clamp and what is still to cut grows narrow.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use units::Bounds;

use crate::report::findings::{Findings, Spot};
use crate::sheet::pieces::Strait;
use crate::geometry::tree::Tree;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "skeleton-weak";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup with the clamp, and a kerf (chart row or setup)",
    measured: || "The metal between the clamp and what is still to cut.".to_owned(),
    limit: || format!("{NARROW_MM} mm wide somewhere on the way."),
    source: "The number is invented.",
};

/// Narrower than this the skeleton bends with the heat and carries the current badly, mm.
const NARROW_MM: f64 = 20.0;
/// Wide metal is looked for so near to a pierce, mm.
const NEAR_MM: f64 = 40.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    if map.clamped(1).is_none() {
        // Said by the rules that the clamp is for.
        return;
    }
    let Some(wide) = sheet.strait(NARROW_MM) else {
        return;
    };
    let held: Vec<_> = sheet.contours().map_or_else(Vec::new, |c| {
        c.all.iter().filter(|o| o.tab_mm > 0.0).collect()
    });
    let near = Tree::new(held.iter().map(|o| o.bounds));
    for (cut, number) in sheet.cuts() {
        let p = sheet.placer.place(cut.pierce);
        let tick = map.strands.start(number - 1);
        // Without any way at all it is another rule's word.
        // What a tab holds is as weak as its tab, and that is known.
        let earlier = held.partition_point(|o| o.cut + 1 < number) as u32;
        let mut is_held = false;
        near.within(&Bounds::of(p), earlier, |k| {
            let o = held[k as usize];
            is_held = o.edges().contains(&o.points, p);
            is_held
        });
        if is_held {
            continue;
        }
        let joined = map.piece_at(p, tick).is_some() && map.piece_at(p, tick) == map.clamped(tick);
        if joined && wide.joined(p, NEAR_MM, tick) == Strait::Narrow {
            findings.note(NAME, Spot::torch_on(number, cut).at(p), || {
                (
                    format!("From this cut on, the metal between the ground clamp and what is still to cut is narrower than {NARROW_MM} mm somewhere: it may bend with the heat, and carries the current badly."),
                    "Cut what is far from the clamp first, or move the clamp nearer.".to_owned(),
                )
            });
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{Rect, nothing, order};

    /// Two large cut-outs one above the other with a neck between the first two and the rest.
    fn neck(mm: f64) -> Vec<String> {
        // A slot from below and one from above leave a neck about y = 100; what is cut last lies
        // left of it, the clamp right.
        let low = format!("G0 X150 Y6\nM3\nG1 Y{} F1100\nM5\n", 100.0 - mm / 2.0 - 0.725);
        let high = format!("G0 X150 Y194\nM3\nG1 Y{} F1100\nM5\n", 100.0 + mm / 2.0 + 0.725);
        order(&[low, high, Rect(40.0, 60.0, 100.0, 120.0).outline()], |_| ())
    }

    #[test]
    fn a_neck_under_20_mm_is_noted_and_a_wide_one_passes() {
        assert_eq!(neck(15.0), ["note skeleton-weak 3"]);
        assert_eq!(neck(24.0), nothing());
    }
}
