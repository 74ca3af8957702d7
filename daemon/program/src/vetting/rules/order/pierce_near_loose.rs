//! A touch-off close to a free piece that may stand higher than the traverse.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::sheet::pieces::Piece;
use crate::geometry::plane::mm;
use crate::geometry::tree::{Tree, grown};
use crate::vetting::on_sheet::OnSheet;
use units::Bounds;

pub(crate) const NAME: &str = "pierce-near-loose";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "How near touch-offs come to free pieces that can tip above the traverse height.".to_owned(),
    limit: || format!("{NEAR_MM} mm."),
    source: "Common practice; the number is invented.",
};

/// A touch-off keeps this from such a piece, mm.
const NEAR_MM: f64 = 30.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let height = sheet.input.traverse_height_mm;
    let loose: Vec<_> = map
        .pieces()
        .into_iter()
        .filter(|p| p.may_tip(map.slats()) && p.tip_up_mm(map.slats()) > height)
        .collect();
    let near_loose = Tree::new(loose.iter().map(|l| l.bounds));
    let mut first = None;
    let mut cuts = Vec::new();
    for (cut, number) in sheet.cuts() {
        let p = sheet.placer.place(cut.pierce);
        let tick = map.strands.start(number - 1);
        let freed = loose.partition_point(|l| map.freed(l.id) < tick) as u32;
        let is_near = |l: &Piece| {
            let outline = l.freed_by.and_then(|c| sheet.contours()?.of_cut(c - 1));
            outline.is_some_and(|o| {
                let edges = o.edges();
                edges.contains(&o.points, p) || edges.nearer(&o.points, p, NEAR_MM).is_some()
            })
        };
        // The first to come free is told; of later cuts only whether there is one.
        let mut nearest: Option<u32> = None;
        near_loose.within(&grown(&Bounds::of(p), NEAR_MM), freed, |k| {
            if nearest.is_none_or(|n| k < n) && is_near(&loose[k as usize]) {
                nearest = Some(k);
            }
            nearest.is_some() && first.is_some()
        });
        if let Some(k) = nearest {
            cuts.push(number);
            first.get_or_insert_with(|| {
                (Spot::torch_on(number, cut).at(p), loose[k as usize].clone())
            });
        }
    }
    if let Some((spot, piece)) = first {
        findings.note(NAME, spot, || {
            (
                format!(
                    "{} touch-off{} within {NEAR_MM} mm of a free piece that may stand above the traverse height of {} mm: the first beside the piece of cut {}, up to {} mm high.",
                    cuts.len(),
                    if cuts.len() == 1 { "" } else { "s" },
                    mm(height),
                    piece.freed_by.unwrap_or(0),
                    mm(piece.tip_up_mm(map.slats()).round())
                ),
                "Take such pieces out or weigh them down before going on, or raise the traverse height.".to_owned(),
            )
        }).of_cuts(cuts.iter().copied());
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{Rect, order};


    /// A part of 60 x 60 mm (it may stand 42 mm high) and, so far to its right, a pierce after it.
    fn beside(off: f64) -> Vec<String> {
        let part = Rect(40.0, 40.0, 100.0, 100.0);
        let x = 100.0 + off;
        order(&[part.outline(), format!("G0 X{x} Y70\nM3\nG1 X250 F1100\nM5\n")], |_| ())
    }

    #[test]
    fn a_touch_off_within_30_mm_of_a_piece_that_may_stand_high_is_noted() {
        let said = |off: f64| beside(off).contains(&"note pierce-near-loose 2".to_owned());
        assert!(said(29.0));
        assert!(!said(31.0));
    }

    #[test]
    fn a_piece_that_cannot_reach_the_traverse_height_is_not() {
        // 34 mm square, 48 mm over its corners: 24 mm high.
        let part = Rect(40.0, 40.0, 74.0, 74.0);
        let cut = "G0 X103 Y57\nM3\nG1 X250 F1100\nM5\n".to_owned();
        let all = order(&[part.outline(), cut], |_| ());
        assert!(!all.iter().any(|f| f.contains("pierce-near-loose")), "{all:?}");
    }
}
