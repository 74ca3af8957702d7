//! Another unit in mid-program.

use crate::vetting::rules::page::Page;
use crate::Unit;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "units-changed";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "the program alone",
    measured: || "Whether another unit word comes after the first dimension.".to_owned(),
    limit: || "One unit for the whole program.".to_owned(),
    source: "Common practice, no source.",
};

pub(crate) fn tell(findings: &mut Findings, at: Spot, word: &str, to: Unit) {
    let to = match to {
        Unit::Millimetre => "millimetres",
        Unit::Inch => "inches",
    };
    findings.warn(NAME, at, || {
        (
            format!("{word} changes to {to} after dimensions were given in the other unit."),
            "Check that this is meant; better write the whole program in one unit.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing};

    #[test]
    fn a_change_of_unit_is_warned_and_repeating_the_same_is_not() {
        assert_eq!(changed("M2", "G20\nM2"), ["warn units-changed 16:1 -"]);
        assert_eq!(changed("M2", "G21 G71\nM2").len(), 1, "one group: {PROGRAM}");
        assert_eq!(changed("M2", "G71\nM2"), nothing());
        assert_eq!(found(&format!("G20\n{PROGRAM}")), nothing());
    }
}
