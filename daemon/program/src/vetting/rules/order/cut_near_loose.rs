//! A path past a free piece that may stand up in the torch's way.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use units::Bounds;

use crate::report::findings::{Findings, Spot};
use crate::sheet::pieces::Piece;
use crate::geometry::plane::{apart, mm};
use crate::geometry::tree::{Tree, grown};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "cut-near-loose";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "How near paths pass to free pieces that can tip above cutting height.".to_owned(),
    limit: || format!("{BODY_MM} mm, the torch's body."),
    source: "Common practice, no source.",
};

/// The torch's body, mm from its middle; common practice, no source.
const BODY_MM: f64 = 25.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let loose: Vec<_> = map.pieces().into_iter().filter(|p| p.may_tip(map.slats())).collect();
    let near_loose = Tree::new(loose.iter().map(|l| l.bounds));
    let mut first: Option<(Spot, usize, f64)> = None;
    let mut cuts = Vec::new();
    for (_, number) in sheet.cuts() {
        let tick = map.strands.start(number - 1);
        let line = sheet.flat().line(number - 1);
        let freed = loose.partition_point(|p| map.freed(p.id) < tick) as u32;
        // The place of the cut that comes nearest to the piece; any will do once one was told.
        let nearest_to = |piece: &Piece, any: bool| {
            let outline = sheet.contours()?.of_cut(piece.freed_by?.checked_sub(1)?)?;
            let (edges, reach) = (outline.edges(), grown(&outline.bounds, BODY_MM));
            let mut best: Option<(f64, f64)> = None;
            for (_, s) in map.strands.of_cut(number - 1) {
                let p = line.at(s.from_mm);
                let limit = best.map_or(BODY_MM, |(_, off)| off);
                if apart(&Bounds::of(p), &reach, 0.0) {
                    continue;
                }
                if let Some(off) = edges.nearer(&outline.points, p, limit) {
                    best = Some((s.from_mm, off));
                    if any {
                        break;
                    }
                }
            }
            best
        };
        let mut nearest: Option<(u32, f64, f64)> = None;
        near_loose.within(&grown(&sheet.bounds(number), BODY_MM), freed, |k| {
            if nearest.is_none_or(|(n, ..)| k < n)
                && let Some((s, off)) = nearest_to(&loose[k as usize], first.is_some())
            {
                nearest = Some((k, s, off));
            }
            nearest.is_some() && first.is_some()
        });
        if let Some((k, s, off)) = nearest {
            cuts.push(number);
            let freed_by = loose[k as usize].freed_by.unwrap_or(0);
            first.get_or_insert_with(|| (sheet.spot_at(number, s), freed_by, off));
        }
    }
    if let Some((spot, freed_by, off)) = first {
        findings.note(NAME, spot, || {
            (
                format!(
                    "{} {} within the torch's body ({BODY_MM} mm) of a free piece that may tip above cutting height; the first passes {} mm from the piece that cut {freed_by} has freed.",
                    cuts.len(),
                    if cuts.len() == 1 { "cut passes" } else { "cuts pass" },
                    mm(off.round())
                ),
                "Take such pieces out, weigh them down, or leave tabs, where that can be done.".to_owned(),
            )
        }).of_cuts(cuts.iter().copied());
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{Rect, nothing, order};


    /// A part of 60 x 60 mm and, so far to its right, a cut after it.
    fn beside(off: f64) -> Vec<String> {
        let part = Rect(40.0, 40.0, 100.0, 100.0);
        let x = 100.0 + off;
        let cut = format!("G0 X{x} Y20\nM3\nG1 Y120 F1100\nM5\n");
        order(&[part.outline(), cut], |_| ())
    }

    #[test]
    fn a_path_within_the_torch_body_of_a_piece_that_may_tip_is_noted() {
        assert_eq!(beside(24.0), ["note cut-near-loose 2"]);
        assert_eq!(beside(26.0), nothing());
    }

    #[test]
    fn a_piece_that_rests_on_three_slats_does_not_tip() {
        let large = Rect(20.0, 40.0, 180.0, 160.0);
        let cut = "G0 X195 Y20\nM3\nG1 Y120 F1100\nM5\n".to_owned();
        assert_eq!(order(&[large.outline(), cut], |_| ()), nothing());
    }
}
