//! A traverse over a piece that may stand up.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use units::Point;

use crate::report::findings::{Findings, Spot};
use crate::sheet::pieces::{Piece, PieceMap, Under};
use crate::geometry::plane::{clip, mm};
use crate::geometry::tree::Tree;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "rapid-over-loose";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "How far traverses lead over pieces that are loose by then and can tip up.".to_owned(),
    limit: || format!("{OVER_MM} mm, unless the traverse clears the tipped piece by {CLEAR_MM} mm."),
    source: "Common practice; the number is invented.",
};

/// The torch's centre line passes over more than this of the piece, mm.
const OVER_MM: f64 = 2.0;
/// The traverse clears a tipped piece by this, mm.
const CLEAR_MM: f64 = 5.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let height = sheet.input.traverse_height_mm;
    let high: Vec<Piece> = map
        .pieces()
        .into_iter()
        .filter(|p| p.tip_up_mm(map.slats()) + CLEAR_MM > height + 1e-6)
        .collect();
    if high.is_empty() {
        return;
    }
    let under = Tree::new(high.iter().map(|p| p.bounds));
    for t in sheet.reading.cut_list.traverses() {
        let (a, b) = (sheet.placer.place(t.from), sheet.placer.place(t.to));
        let tick = map.strands.start(t.cut - 1);
        let Some((piece, over, at)) = crossed(map, (high.as_slice(), &under), a, b, tick) else {
            continue;
        };
        let spot = Spot {
            line: t.line,
            column: t.column,
            cut: t.cut,
            at: Some(at),
        };
        findings.warn(NAME, spot, || {
            let tip = piece.tip_up_mm(map.slats());
            (
                format!(
                    "The traverse to this cut passes over {} mm of the piece that {} has freed. It is {} mm long and may have tipped up by {} mm; the torch passes at {} mm.",
                    mm(over.round()),
                    piece.freed_by.map_or_else(|| "an earlier job".to_owned(), |c| format!("cut {c}")),
                    mm(piece.length_mm.round()),
                    mm(tip.round()),
                    mm(height)
                ),
                format!("Lift to {} mm, or cut in an order that goes round free pieces.", mm((tip + CLEAR_MM).ceil())),
            )
        });
    }
}

/// The first high free piece under the way from `a` to `b`.
fn crossed<'p>(
    map: &PieceMap,
    (high, tree): (&'p [Piece], &Tree),
    a: Point,
    b: Point,
    tick: u32,
) -> Option<(&'p Piece, f64, Point)> {
    let length = a.distance(b);
    if length <= OVER_MM {
        return None;
    }
    // In the order in which they come free.
    let freed = high.partition_point(|p| map.freed(p.id) < tick) as u32;
    let mut below = Vec::new();
    tree.along((a, b), 0.0, freed, |k| {
        below.push(k as usize);
        false
    });
    below.sort_unstable();
    for piece in below.into_iter().filter_map(|k| high.get(k)) {
        let Some((from, to)) = clip(a, b, &piece.bounds) else {
            continue;
        };
        let n = ((to - from) * length / 0.5).ceil().max(1.0) as u32;
        let (mut over, mut first) = (0.0, None);
        for k in 0..=n {
            let p = a.toward(b, from + (to - from) * f64::from(k) / f64::from(n));
            if map.under(p, tick) == Under::Piece(piece.id) {
                over += (to - from) * length / f64::from(n);
                first.get_or_insert(p);
            }
        }
        if let Some(at) = first.filter(|_| over > OVER_MM) {
            return Some((piece, over, at));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{Rect, order};

    const FAR: Rect = Rect(200.0, 40.0, 260.0, 100.0);

    const LEFT: Rect = Rect(20.0, 60.0, 60.0, 120.0);

    #[test]
    fn a_traverse_over_a_free_part_that_may_stand_up_is_warned() {
        // From LEFT, over the free PART, to FAR.
        let middle = Rect(90.0, 40.0, 160.0, 140.0);
        let over = order(&[middle.outline(), LEFT.outline(), FAR.outline()], |_| ());
        assert!(over.contains(&"warn rapid-over-loose 3".to_owned()), "{over:?}");
        let round = order(&[LEFT.outline(), middle.outline(), FAR.outline()], |_| ());
        assert!(!round.iter().any(|f| f.contains("rapid-over-loose")), "{round:?}");
    }

    #[test]
    fn from_5_mm_above_its_tip_the_traverse_clears_it() {
        let middle = Rect(90.0, 40.0, 160.0, 140.0);
        let mut setup = crate::vetting::rules::frame::setup();
        setup.origin = Point::new(0.0, 0.0);
        let text = crate::vetting::rules::frame::program(&[middle.outline(), LEFT.outline(), FAR.outline()]);
        let mut input = crate::vetting::rules::frame::input(&setup);
        let mut said = |height: f64| {
            input.traverse_height_mm = height;
            let report = crate::vetting::rules::frame::report_with(&text, &input);
            report.findings.iter().any(|f| f.rule == super::NAME)
        };
        // 122 mm long, on slats 60 mm deep: up to 60 mm.
        assert!(said(64.0));
        assert!(!said(65.1));
    }

    #[test]
    fn a_slug_that_has_fallen_through_is_no_obstacle() {
        let small = Rect(110.0, 60.0, 130.0, 80.0);
        let all = order(&[small.outline(), LEFT.outline(), FAR.outline()], |_| ());
        assert!(!all.iter().any(|f| f.contains("rapid-over-loose")), "{all:?}");
    }
}
