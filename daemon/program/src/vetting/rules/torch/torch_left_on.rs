//! The program ends with the torch on.

use crate::vetting::rules::page::Page;
use crate::cuts::cut_list::Cut;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "torch-left-on";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "Whether the torch is off at the end of the program.".to_owned(),
    limit: || "It must be.".to_owned(),
    source: "Common practice, no source.",
};

pub(crate) fn tell(findings: &mut Findings, cut: &Cut, number: usize, end: Spot) {
    let spot = Spot {
        cut: number,
        column: end.column.max(1),
        ..end
    }
    .at(cut.end());
    findings.refuse(NAME, spot, || {
        (
            format!("The program ends with the torch on, since line {}.", cut.on_line),
            "Write torch off (M5) at the end of the cut.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn the_end_with_the_torch_on_is_refused() {
        assert_eq!(changed("M5\nM2", "M2"), ["refuse torch-left-on 15:1 2"]);
        assert_eq!(changed("M5\nM2", "M5 M2"), nothing());
    }
}
