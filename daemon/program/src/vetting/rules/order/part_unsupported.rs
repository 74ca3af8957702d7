//! Freed pieces that fall through the slats or tip on them.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use crate::contours::Kind;
use crate::report::findings::Findings;
use crate::sheet::pieces::{Piece, size};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "part-unsupported";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "The size of every freed piece against the distance of the slats.".to_owned(),
    limit: || "Narrower than the gap it falls through; up to two pitches it may tip.".to_owned(),
    source: "The machine file gives the slats; the ratio is invented.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let slats = map.slats();
    let mut slugs: Vec<Piece> = Vec::new();
    for piece in map.pieces() {
        let small = piece.falls || piece.may_tip(slats) || piece.width_mm < slats.pitch_mm;
        let Some(number) = piece.freed_by.filter(|_| small) else {
            continue;
        };
        let contour = sheet.contours().and_then(|c| c.of_cut(number - 1));
        if contour.is_some_and(|c| c.kind == Kind::Hole && c.contains(piece.inside)) {
            slugs.push(piece);
            continue;
        }
        findings.note(NAME, sheet.spot_at(number, piece.freed_at_mm).at(piece.inside), || {
            // Where the piece is what a contour encloses, its size is known better than by cells.
            let exact = contour.and_then(|c| {
                size::inside(&c.points, &c.bounds, &piece.bounds, sheet.input.kerf_mm?)
            });
            let sides = exact.map_or(piece.sides_mm, |s| s.sides_mm);
            (
                format!(
                    "The piece that this cut frees ({} x {} mm) {} between slats {} mm apart.",
                    mm(sides[0].round()),
                    mm(sides[1].round()),
                    what(&piece, slats.pitch_mm),
                    mm(slats.pitch_mm)
                ),
                "Lay it across more slats, leave a tab, or take it out when it is free.".to_owned(),
            )
        });
    }
    let Some(first) = slugs.first() else {
        return;
    };
    let fall = slugs.iter().filter(|s| s.falls).count();
    let spot = sheet.spot_at(first.freed_by.unwrap_or(0), first.freed_at_mm).at(first.inside);
    findings.note(NAME, spot, || {
        let tip = slugs.len() - fall;
        let mut parts = Vec::new();
        if fall > 0 {
            parts.push(format!("{fall} fall{} through the slats", if fall == 1 { "s" } else { "" }));
        }
        if tip > 0 {
            parts.push(format!("{tip} may tip on them"));
        }
        (
            format!("{} slug{} of holes come{} free: {}.", slugs.len(), if slugs.len() == 1 { "" } else { "s" }, if slugs.len() == 1 { "s" } else { "" }, parts.join(", ")),
            "Look for slugs that stand up before the torch comes near them again.".to_owned(),
        )
    }).of_cuts(slugs.iter().filter_map(|s| s.freed_by));
}

fn what(piece: &Piece, pitch: f64) -> &'static str {
    if piece.falls {
        "falls through"
    } else if piece.length_mm <= 2.0 * pitch {
        "may tip"
    } else {
        "may fall through"
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::Rect;
    use units::Point;

    fn said(cuts: &[String]) -> Vec<String> {
        let mut setup = frame::setup();
        setup.origin = Point::new(0.0, 0.0);
        let report = frame::report_with(&frame::program(cuts), &frame::input(&setup));
        let own = report.findings.iter().filter(|f| f.rule == super::NAME);
        own.map(|f| f.says.clone()).collect()
    }

    #[test]
    fn slugs_stand_in_one_line_and_parts_in_their_own() {
        let part = Rect(40.0, 40.0, 140.0, 130.0);
        let holes = [Rect(60.0, 60.0, 80.0, 80.0), Rect(100.0, 60.0, 120.0, 80.0)];
        let all = said(&[holes[0].hole(), holes[1].hole(), part.outline()]);
        assert_eq!(all.len(), 2, "{all:?}");
        assert!(all[0].starts_with("2 slugs of holes come free: 2 fall through"), "{all:?}");
        assert!(all[1].contains("may tip"), "{all:?}");
    }

    #[test]
    fn a_part_is_told_as_a_person_measures_it() {
        // 80 x 80 mm finished: the path lies half a kerf of 1.45 mm outside.
        let part = |deg: f64| {
            let (sin, cos) = deg.to_radians().sin_cos();
            let at = |x: f64, y: f64| format!("X{:.4} Y{:.4}", 130.0 + x * cos - y * sin, 95.0 + x * sin + y * cos);
            let h = 40.725;
            let corners = [at(0.0, -h), at(-h, -h), at(-h, h), at(h, h), at(h, -h), at(-2.0, -h)];
            format!(
                "G0 {}\nM3\nG1 {} F1100\nG1 {}\nM5\n",
                at(0.0, -h - 6.0),
                corners[0],
                corners[1..].join("\nG1 ")
            )
        };
        for deg in [0.0, 10.0, 30.0, 45.0, 71.0] {
            let all = said(&[part(deg)]);
            assert!(all[0].contains("(80 x 80 mm)"), "{deg}: {all:?}");
        }
        // Parted by two cuts, of which neither is a contour: by its cells, to half a millimetre.
        let frame = "G0 X60 Y150\nM3\nG1 Y30 F1100\nG1 X181.45\nG1 Y151\nM5\nG0 X185 Y111.45\nM3\nG1 X57\nM5\n";
        let all = said(&[frame.to_owned()]);
        assert!(all.iter().any(|s| s.contains("(120 x 80 mm)")), "{all:?}");
    }

    #[test]
    fn a_part_of_more_than_two_pitches_rests() {
        // 150 mm are two pitches.
        assert_eq!(said(&[Rect(40.0, 40.0, 180.0, 130.0).outline()]), Vec::<String>::new());
        assert_eq!(said(&[Rect(40.0, 40.0, 150.0, 130.0).outline()]).len(), 1);
        let small = said(&[Rect(40.0, 40.0, 60.0, 60.0).outline()]);
        assert!(small[0].contains("falls through"), "{small:?}");
        // Long but narrow: it may lie between two slats.
        let strip = said(&[Rect(40.0, 40.0, 240.0, 60.0).outline()]);
        assert!(strip[0].contains("may fall through"), "{strip:?}");
    }
}
