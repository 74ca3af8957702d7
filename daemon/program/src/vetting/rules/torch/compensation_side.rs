//! G41 or G42 puts the kerf on the part's side of a contour.
//!
//! Going clockwise, left is outside. The kerf belongs outside an outline and inside a hole: outlines
//! clockwise with G41 or anticlockwise with G42, holes the reverse.

use crate::vetting::rules::page::Page;
use crate::cuts::cut_list::Side;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "compensation-side";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a kerf, and G41, G42 or a size in a comment",
    measured: || "On which side of the contour the kerf lies.".to_owned(),
    limit: || "On the scrap: outside of an outline, inside of a hole.".to_owned(),
    source: "Common practice, no source.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let asked = sheet
        .cuts()
        .filter_map(|(cut, n)| Some((n, cut.compensation?)));
    for (number, asked) in asked {
        // Without a kerf compensation is refused already.
        let contour = sheet.contours().and_then(|c| c.of_cut(number - 1));
        let Some(contour) = contour else {
            continue;
        };
        let right = match (contour.kind == Kind::Outline) == contour.clockwise() {
            true => Side::Left,
            false => Side::Right,
        };
        if asked.side == right {
            continue;
        }
        let spot = Spot {
            at: sheet.flat().line(number - 1).points.first().copied(),
            ..asked.spot(number)
        };
        findings.warn(NAME, spot, || {
            let (what, goes) = (
                match contour.kind {
                    Kind::Outline => "outline",
                    Kind::Hole => "hole",
                },
                if contour.clockwise() {
                    "clockwise"
                } else {
                    "anticlockwise"
                },
            );
            (
                format!(
                    "{} puts the kerf on the part's side: this {what} goes {goes}.",
                    asked.side.word()
                ),
                format!(
                    "Write {}, or turn the direction of the contour.",
                    right.word()
                ),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{brief, found, input, nothing, report, report_with, setup};

    /// The frame's part without the kerf in its numbers: the hole anticlockwise, the outline
    /// clockwise, both with the kerf to the left.
    const PART: &str = "\
G21 G90
G0 X45 Y40
G41
M3
G1 X50.725 F660
G3 X50.725 Y40 I-10.725 J0
G40
M5
G0 X66 Y-8
G41
M3
G1 X50 Y0.725 F1100
G1 X0.725
G1 Y79.275
G1 X99.275
G1 Y0.725
G1 X48
G40
M5
M2
";

    #[test]
    fn the_kerf_beside_the_part_is_right_on_outlines_and_in_holes() {
        assert_eq!(found(PART), nothing());
        // Both turned round, and the side with them.
        let other = PART
            .replace("G3 X50.725 Y40", "G2 X50.725 Y40")
            .replace(
                "G1 X0.725\nG1 Y79.275\nG1 X99.275\nG1 Y0.725\nG1 X48",
                "G1 X99.275\nG1 Y79.275\nG1 X0.725\nG1 Y0.725\nG1 X52",
            )
            .replace("G41", "G42");
        let all = found(&other);
        assert!(!all.iter().any(|f| f.contains(super::NAME)), "{all:?}");
    }

    #[test]
    fn the_kerf_on_the_part_is_warned_of_where_the_word_stands() {
        let of_rule = |text: &str| -> Vec<String> {
            let all = found(text).into_iter();
            all.filter(|f| f.contains(super::NAME)).collect()
        };
        assert_eq!(
            of_rule(&PART.replacen("G41", "G42", 1)),
            ["warn compensation-side 3:1 1"]
        );
        let outline = PART.replace("Y-8\nG41", "Y-8\nG42");
        assert_eq!(of_rule(&outline), ["warn compensation-side 10:1 2"]);
        let turned = PART.replace("G3 X50.725 Y40", "G2 X50.725 Y40");
        assert_eq!(of_rule(&turned), ["warn compensation-side 3:1 1"]);
        let r = report(&outline);
        let said = r
            .findings
            .iter()
            .find(|f| f.rule == super::NAME)
            .expect("told");
        assert_eq!(
            said.says,
            "G42 puts the kerf on the part's side: this outline goes clockwise."
        );
    }

    #[test]
    fn an_open_path_has_no_side_to_be_wrong() {
        let open = PART.replace("G1 Y0.725\nG1 X48", "G1 Y30");
        let all = found(&open);
        assert!(!all.iter().any(|f| f.contains(super::NAME)), "{all:?}");
    }

    #[test]
    fn without_a_kerf_the_words_are_refused_once() {
        let setup = setup();
        let report = report_with(
            PART,
            &crate::VetInput {
                kerf_mm: None,
                ..input(&setup)
            },
        );
        let all = brief(&report);
        assert!(
            all.contains(&"refuse unsupported-word 3:1 1".to_owned()),
            "{all:?}"
        );
        assert_eq!(
            all.iter()
                .filter(|f| f.contains("unsupported-word"))
                .count(),
            1
        );
        // A kerf in the program stands in for it.
        let stated = PART.replace("G41", "G41 D1.45");
        let report = report_with(
            &stated,
            &crate::VetInput {
                kerf_mm: None,
                ..input(&setup)
            },
        );
        assert!(
            !brief(&report)
                .iter()
                .any(|f| f.contains("unsupported-word"))
        );
    }
}
