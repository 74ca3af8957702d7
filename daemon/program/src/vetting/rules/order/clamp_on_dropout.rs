//! The ground clamp on a piece that comes free.
//!
//! The clamp belongs on the piece that is left behind (common practice, no source): once its piece
//! is cut free, the current looks for another way back through whatever touches the sheet.

use crate::vetting::rules::page::Page;
use units::Point;

use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::sheet::pieces::{PieceMap, Under};
use crate::geometry::plane::place;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "clamp-on-dropout";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "a setup with the clamp, and a kerf (chart row or setup)",
    measured: || "Whether the piece that the clamp bites comes free of the largest remaining piece.".to_owned(),
    limit: || "It must not.".to_owned(),
    source: "Common practice, no source.",
};

/// A place for the clamp keeps the torch's body clear, mm.
const CLEAR_MM: f64 = 26.0;
/// And so far from the sheet's edge, mm.
const EDGE_MM: f64 = 12.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let Some(clamp) = sheet.input.setup.and_then(|s| s.clamp) else {
        not_judged::tell(findings, NAME, Lack::Clamp);
        return;
    };
    let Some(freed) = map.clamp_freed() else {
        return;
    };
    let cut = map.strands.cut_at(freed).map(|c| c + 1);
    let spot = match cut {
        Some(number) => Spot {
            at: Some(clamp),
            ..sheet.torch_on(number)
        },
        None => Spot::default().at(clamp),
    };
    findings.refuse(NAME, spot, || {
        let when = cut.map_or_else(
            || "lies apart from the rest of the sheet".to_owned(),
            |n| format!("comes free with cut {n}"),
        );
        let advice = better_place(sheet, map).map_or_else(
            || "no place on it is 25 mm from every cut, so leave a wider border".to_owned(),
            |p| format!("for example at {}", place(p)),
        );
        (
            format!(
                "The ground clamp at {} is on a piece that {when}: the return current then looks for another way, through slats, slag or the electronics.",
                place(clamp)
            ),
            format!("Put the ground clamp on the piece that is left behind, never on a piece that is cut out: {advice}."),
        )
    });
}

/// A place on what is left behind, as far from every path as can be.
fn better_place(sheet: &OnSheet<'_>, map: &PieceMap) -> Option<Point> {
    let size = sheet.input.setup?.sheet;
    let n = 24_u32;
    let at = |k: u32, size: f64| EDGE_MM + (size - 2.0 * EDGE_MM) * f64::from(k) / f64::from(n);
    let (mut best, mut far) = (None, CLEAR_MM);
    for j in 0..=n {
        for i in 0..=n {
            let p = Point::new(at(i, size.x), at(j, size.y));
            if p.x < 0.0 || p.y < 0.0 || map.under(p, map.end()) != Under::Piece(map.main()) {
                continue;
            }
            let d = sheet.kerf_distance(p, 60.0, u32::MAX).unwrap_or(60.0);
            if d > far {
                (best, far) = (Some(p), d);
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{Rect, nothing, order};

    const PART: Rect = Rect(40.0, 40.0, 160.0, 140.0);
    const HOLE: Rect = Rect(80.0, 70.0, 110.0, 100.0);
    const FAR: Rect = Rect(200.0, 40.0, 260.0, 100.0);

    fn clamped(x: f64, y: f64) -> Vec<String> {
        order(&[HOLE.hole(), PART.outline()], |s| s.clamp = Some(Point::new(x, y)))
    }

    #[test]
    fn a_clamp_on_a_part_or_a_slug_is_refused_and_on_the_skeleton_passes() {
        assert_eq!(clamped(130.0, 110.0), ["refuse clamp-on-dropout 2"]);
        let slug = clamped(95.0, 85.0);
        assert!(slug.contains(&"refuse clamp-on-dropout 1".to_owned()), "{slug:?}");
        assert_eq!(clamped(190.0, 90.0), nothing());
        assert_eq!(clamped(162.0, 90.0), nothing());
    }

    #[test]
    fn the_frame_round_a_large_part_is_what_is_left_behind() {
        let large = Rect(15.0, 15.0, 285.0, 185.0);
        let all = order(&[large.outline()], |s| s.clamp = Some(Point::new(7.0, 100.0)));
        assert_eq!(all, nothing());
        let all = order(&[large.outline()], |s| s.clamp = Some(Point::new(150.0, 100.0)));
        assert_eq!(all, ["refuse clamp-on-dropout 1"]);
    }

    #[test]
    fn the_report_says_where_the_clamp_belongs() {
        let setup = {
            let mut s = crate::vetting::rules::frame::setup();
            s.origin = Point::new(0.0, 0.0);
            s.clamp = Some(Point::new(130.0, 110.0));
            s
        };
        let text = crate::vetting::rules::frame::program(&[HOLE.hole(), PART.outline(), FAR.outline()]);
        let report = crate::vetting::rules::frame::report_with(&text, &crate::vetting::rules::frame::input(&setup));
        let f = report.findings.iter().find(|f| f.rule == super::NAME).expect("found");
        assert!(f.says.contains("another way") && f.remedy.contains("left behind"), "{f:?}");
        assert!(f.remedy.contains("for example at ("), "{f:?}");
    }
}
