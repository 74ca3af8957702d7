//! Start and end of a centre-format arc lie at different distances from its centre.

use crate::vetting::rules::page::Page;
use units::Point;

use crate::Unit;
use crate::report::findings::{Findings, Spot};
use crate::report::Severity;
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "arc-radius-mismatch";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse or note",
    needs: "the program alone",
    measured: || "The distance of an arc's start and end from its centre.".to_owned(),
    limit: || format!("A note from {NOTE_MM} mm apart; refused beyond {REFUSE_MM} mm and 0.1 % of the \
              radius."),
    source: "RS-274 as published in NISTIR 6556, 3.5.3.2, for the note; the limits of refusal \
              are invented.",
};

/// NISTIR 6556, 3.5.3.2, as the limit of a note.
pub(crate) const NOTE_MM: f64 = 0.002;
/// Refused beyond this and [`REFUSE_PART`] together; invented.
pub(crate) const REFUSE_MM: f64 = 0.05;
/// Sums of doubles leave crumbs far below any written digit, mm.
const CRUMB_MM: f64 = 1e-9;
/// Part of the radius.
pub(crate) const REFUSE_PART: f64 = 0.001;

/// True when the centre is to be moved to the chord's bisector, `offered` (as I and J in `unit`).
pub(crate) fn judge(
    findings: &mut Findings,
    at: Spot,
    start_mm: f64,
    end_mm: f64,
    offered: Point,
    unit: Unit,
) -> bool {
    let off = (start_mm - end_mm).abs();
    if off <= NOTE_MM + CRUMB_MM {
        return false;
    }
    let refused = off > REFUSE_MM + CRUMB_MM && off > REFUSE_PART * start_mm + CRUMB_MM;
    let severity = if refused { Severity::Refuse } else { Severity::Note };
    findings.tell(NAME, severity, at, || {
        let digits = if unit == Unit::Inch { 5 } else { 4 };
        (
            format!(
                "The arc starts {} mm and ends {} mm from its centre: {} mm apart, refused over {REFUSE_MM} mm and 0.1 % of the radius.",
                mm(start_mm),
                mm(end_mm),
                mm(off)
            ),
            format!(
                "Write the centre as I{:.digits$} J{:.digits$}{}.",
                offered.x,
                offered.y,
                if refused { "" } else { "; the panel cuts it so" }
            ),
        )
    });
    true
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{changed, nothing};

    /// A quarter of radius 10 in place of the outline's lower right corner.
    fn corner(arc: &str) -> Vec<String> {
        changed("G1 Y0\nG1 X48", &format!("G1 Y10\n{arc}\nG1 X48"))
    }

    #[test]
    fn an_arc_that_misses_its_radius_is_refused_and_a_small_miss_noted() {
        assert_eq!(corner("G2 X90 Y0 I-10 J0"), nothing());
        assert_eq!(corner("G2 X90 Y0 I-10.001 J-0.001"), nothing());
        assert_eq!(corner("G2 X90 Y0 I-10.4 J0"), ["refuse arc-radius-mismatch 14:1 2"]);
        assert_eq!(corner("G2 X90 Y0 I-10.03 J0"), ["note arc-radius-mismatch 14:1 2"]);
        // 0.05 mm is the limit and stays a note.
        assert_eq!(corner("G2 X90 Y0.05 I-10 J0"), ["note arc-radius-mismatch 14:1 2"]);
    }

    #[test]
    fn a_large_arc_may_miss_by_a_thousandth() {
        // Radius 300, 0.2 mm off: below 0.1 %.
        let all = changed("G1 Y80\nG1 X100", "G1 Y70\nG2 X100 Y70 I50 J-295.8");
        assert_eq!(all, nothing());
        let all = changed("G1 Y80\nG1 X100", "G1 Y70\nG2 X100 Y70 I50.3 J-295.8");
        assert_eq!(all, ["note arc-radius-mismatch 12:1 2"]);
    }

    #[test]
    fn the_offered_centre_mends_it() {
        let program = frame::PROGRAM.replace("G1 Y0\nG1 X48", "G1 Y10\nG2 X90 Y0 I-10.4 J0\nG1 X48");
        let report = frame::report(&program);
        let remedy = &report.findings[0].remedy;
        let words = remedy.trim_start_matches("Write the centre as ").trim_end_matches('.');
        let mended = program.replace("I-10.4 J0", words);
        assert_eq!(frame::found(&mended), nothing());
    }
}
