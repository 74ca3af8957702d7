//! An arc that would join its neighbours smoothly if it turned the other way.

use crate::vetting::rules::page::Page;
use units::Segment;

use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::break_deg;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "arc-wrong-way";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "the program alone",
    measured: || "How far the path turns at the two ends of an arc.".to_owned(),
    limit: || format!("Over {BREAK_DEG} degrees at both ends, and under {SMOOTH_DEG} degrees if the arc \
              turned the other way."),
    source: "The number is invented.",
};

/// The path breaks by more than this at both ends, degrees.
const BREAK_DEG: f64 = 100.0;
/// And by less than this the other way round, degrees.
const SMOOTH_DEG: f64 = 30.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    for (cut, number) in sheet.cuts() {
        for three in cut.path.windows(3) {
            let [before, arc, after] = three else {
                continue;
            };
            let Segment::Arc { clockwise, .. } = arc.segment else {
                continue;
            };
            let (start, end) = (arc.segment.heading(), arc.segment.heading_at_end());
            let comes = before.segment.heading_at_end();
            let goes = after.segment.heading();
            // An angle is only wanted where the path turns back at all.
            let back = |a: (f64, f64), b: (f64, f64)| a.0 * b.0 + a.1 * b.1 < 0.0;
            if !back(comes, start) || !back(end, goes) {
                continue;
            }
            let breaks = [break_deg(comes, start), break_deg(end, goes)];
            // Turned the other way both tangents point backwards.
            if breaks.iter().all(|b| *b > BREAK_DEG && 180.0 - b < SMOOTH_DEG) {
                let spot = Spot::element(number, arc).at(sheet.placer.place(arc.segment.from()));
                findings.warn(NAME, spot, || {
                    let (is, other) = if clockwise { ("G2", "G3") } else { ("G3", "G2") };
                    (
                        format!(
                            "The path turns back by {:.0} and {:.0} degrees at the two ends of this {is} arc (limit {BREAK_DEG}); with {other} it would run on.",
                            breaks[0], breaks[1]
                        ),
                        format!("Write {other} if the corner is meant to be round."),
                    )
                });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    fn corner(arc: &str) -> Vec<String> {
        changed("G1 Y0\nG1 X48", &format!("G1 Y10\n{arc}\nG1 X48"))
    }

    #[test]
    fn a_corner_turned_the_wrong_way_round_is_warned() {
        assert_eq!(corner("G3 X90 Y0 I-10 J0"), ["warn arc-wrong-way 14:1 2"]);
        assert_eq!(corner("G2 X90 Y0 I-10 J0"), nothing());
    }

    #[test]
    fn a_notch_that_breaks_at_right_angles_passes() {
        assert_eq!(corner("G3 X90 Y0 I0 J-10"), nothing());
    }
}
