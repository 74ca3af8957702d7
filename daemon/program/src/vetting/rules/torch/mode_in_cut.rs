//! Absolute and relative are changed in mid-cut.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "mode-in-cut";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "the program alone",
    measured: || "G90, G91, G90.1 or G91.1 with the torch on.".to_owned(),
    limit: || "The meaning of numbers does not change in mid-cut.".to_owned(),
    source: "Common practice, no source.",
};

pub(crate) fn tell(findings: &mut Findings, at: Spot, word: &str) {
    findings.warn(NAME, at, || {
        (
            format!("{word} changes how coordinates are read, with the torch on."),
            "Check that the path is what is meant; better change the mode between cuts.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn a_change_of_mode_in_a_cut_is_warned() {
        assert_eq!(changed("G1 X48", "G91 X-52"), ["warn mode-in-cut 14:1 2"]);
        let arc = "G90.1 G3 X50 Y40 I40 J40";
        assert_eq!(changed("G3 X50 Y40 I-10 J0", arc), ["warn mode-in-cut 5:1 1"]);
        assert_eq!(changed("G1 X48", "G90 G91.1 G1 X48"), nothing());
    }
}
