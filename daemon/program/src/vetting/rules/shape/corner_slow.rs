//! An outside corner of a part that the axes can only pass slowly: the arc dwells there, the corner
//! burns off and height control dives.

use crate::vetting::rules::page::Page;
use units::motion::{bends_less, corner_mm_s, turn};

use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "corner-slow";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a machine file and a kerf",
    measured: || "The speed at which outside corners are passed.".to_owned(),
    limit: || format!("{SLOW} of the feed."),
    source: "The number is invented.",
};

/// Under this part of the feed; number invented.
const SLOW: f64 = 0.3;
/// Less of a turn is no corner, radians: pieces of a drawn curve.
const CORNER: f64 = 0.35;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let (Some(motion), Some(contours)) = (sheet.known().motion, sheet.contours()) else {
        not_judged::tell(findings, NAME, if sheet.known().motion.is_none() { Lack::Machine("what the axes can do is not known") } else { Lack::Kerf });
        return;
    };
    let straight = CORNER.cos();
    let (mut count, mut first, mut slowest) = (0_usize, None, f64::INFINITY);
    let mut cuts = Vec::new();
    for (cut, number) in sheet.cuts() {
        let Some(contour) = contours.of_cut(number - 1) else {
            continue;
        };
        // Going round an outline anticlockwise its outside corners turn left; a hole's inside is
        // the scrap, so there it is the other way round.
        let outside_left = contour.clockwise() != (contour.kind == Kind::Outline);
        let mut along = 0.0;
        for two in cut.path.windows(2) {
            along += two[0].segment.length();
            let on_contour = along > contour.joint_mm + 0.1 && along < contour.closed_mm - 0.1;
            if !on_contour {
                continue;
            }
            if bends_less(&two[0].segment, &two[1].segment, straight) {
                continue;
            }
            // By the angle, not the sine: a path that turns straight back has a sine of 0.
            let turned = turn(&two[0].segment, &two[1].segment);
            if (turned > 0.0) != outside_left {
                continue;
            }
            let feed = |e: &crate::Element| e.feed_mm_s.or(sheet.input.chart_feed_mm_s);
            let Some(feed) = feed(&two[0]).zip(feed(&two[1])).map(|(a, b)| a.min(b)) else {
                continue;
            };
            let part = corner_mm_s(turned, motion.corner_step_mm_s) / feed;
            if part < SLOW - 1e-9 {
                count += 1;
                cuts.push(number);
                slowest = slowest.min(part);
                first.get_or_insert_with(|| {
                    let at = sheet.placer.place(two[0].segment.to());
                    Spot::element(number, &two[1]).at(at)
                });
            }
        }
    }
    let Some(spot) = first else {
        return;
    };
    findings.note(NAME, spot, || {
        let many = if count == 1 {
            "One outside corner is".to_owned()
        } else {
            format!("{count} outside corners are")
        };
        (
            format!(
                "{many} passed at {:.0} % of the feed or less ({:.0} % is the limit): the corner \
                 burns off.",
                (slowest * 100.0).ceil(),
                SLOW * 100.0
            ),
            "Run past the corner and loop back in the scrap, or round it.".to_owned(),
        )
    }).of_cuts(cuts);
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing};

    #[test]
    fn an_outside_corner_under_three_tenths_of_the_feed_is_noted() {
        // 8 / (2 sin 45 deg) = 5.657 mm/s: 0.3 of 1131.4 mm/min.
        assert_eq!(changed("F1100", "F1132"), ["note corner-slow 11:1 2"]);
        assert_eq!(changed("F1100", "F1131"), nothing());
    }

    #[test]
    fn an_inside_corner_of_an_outline_and_a_holes_own_corner_may_be_slow() {
        // A notch in the outline: its two corners at the bottom turn the other way.
        let notch = PROGRAM.replace("F1100", "F1100\nF1131").replace(
            "G1 X0\nG1 Y80",
            "G1 X0\nG1 Y35\nG1 X10 F1310\nG1 Y45\nG1 X9.5 F1131\nG1 X0\nG1 Y80",
        );
        assert_eq!(found(&notch), ["note corner-tight 14:1 2"]);
        // The same corners outwards.
        let tooth = notch
            .replace("G1 X10 F1310", "G1 X-10 F1310")
            .replace("X9.5 F1131", "X-9.5 F1131");
        // Its foot is an inner corner, which is tight.
        let all = ["note corner-tight 13:1 2", "note corner-slow 14:1 2"];
        assert_eq!(found(&tooth), all);
        // A square hole at full feed.
        let square = PROGRAM.replace(
            "G1 X50 F660\nG3 X50 Y40 I-10 J0",
            "G1 X50 F1300\nG1 Y50\nG1 X30\nG1 Y30\nG1 X50\nG1 Y40",
        );
        assert_eq!(found(&square), ["note corner-tight 6:1 1"]);
    }
}
