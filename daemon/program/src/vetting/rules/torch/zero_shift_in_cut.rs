//! The zero is moved in mid-cut.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "zero-shift-in-cut";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "G53 to G59 and G92 with the torch on.".to_owned(),
    limit: || "The zero does not move in mid-cut.".to_owned(),
    source: "Common practice, no source.",
};

pub(crate) fn tell(findings: &mut Findings, at: Spot, word: &str) {
    findings.refuse(NAME, at, || {
        (
            format!("{word} moves the zero with the torch on."),
            "Move the zero between cuts, or delete the word.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn a_zero_moved_in_a_cut_is_refused() {
        for word in ["G92 X0 Y0", "G92.1", "G55", "G53 G1 X5"] {
            let all = changed("G1 X48", &format!("{word}\nG1 X48"));
            assert_eq!(all, ["refuse zero-shift-in-cut 14:1 2"], "{word}");
        }
    }

    #[test]
    fn a_zero_moved_between_cuts_passes() {
        assert_eq!(changed("G0 X66 Y-8", "G92 X0 Y0\nG92 X50 Y40\nG0 X66 Y-8"), nothing());
    }
}
