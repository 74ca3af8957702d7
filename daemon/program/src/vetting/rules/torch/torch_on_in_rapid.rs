//! A rapid move with the torch on.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "torch-on-in-rapid";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "The length of rapid moves with the torch on.".to_owned(),
    limit: || format!("{LEAST_MM} mm."),
    source: "The number is invented.",
};

/// Shorter is no move, mm.
const LEAST_MM: f64 = 0.05;

pub(crate) fn judge(findings: &mut Findings, at: Spot, length_mm: f64) {
    if length_mm <= LEAST_MM {
        return;
    }
    findings.refuse(NAME, at, || {
        (
            format!("A rapid move of {} mm is made with the torch on (limit {LEAST_MM} mm).", mm(length_mm)),
            "Put torch off before it, or write it as G1 with a feed.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn a_rapid_with_the_torch_on_is_refused() {
        assert_eq!(changed("G1 X100", "G0 X100"), [
            "refuse torch-on-in-rapid 12:1 2",
            // G0 stays in force until the G1 of the next line.
        ]);
        assert_eq!(changed("G1 X100", "G0 X0.06\nG1 X100"), ["refuse torch-on-in-rapid 12:1 2"]);
        assert_eq!(changed("G1 X100", "G0 X0.05\nG1 X100"), nothing());
    }

    #[test]
    fn torch_off_on_the_line_of_the_move_acts_first() {
        // NISTIR 6556, table 8: M3 to M5 come before the motion.
        assert_eq!(changed("M5\nG0 X66 Y-8", "G0 X66 Y-8 M5"), nothing());
    }
}
