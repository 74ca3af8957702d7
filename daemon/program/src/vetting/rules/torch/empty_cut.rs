//! Torch on and off with next to no path.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "empty-cut";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "the program; a chart with a row for spots passes one",
    measured: || "The path between torch on and torch off.".to_owned(),
    limit: || format!("At least {LEAST_MM} mm."),
    source: "The number is invented.",
};

/// Less path than this, mm.
pub(crate) const LEAST_MM: f64 = 0.5;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    // With nothing cut at all, `no-cut` says so.
    if sheet.elements().next().is_none() {
        return;
    }
    for (cut, number) in sheet.cuts() {
        let length = sheet.length_mm(number);
        if length < LEAST_MM {
            let spot = Spot::torch_on(number, cut).at(sheet.placer.place(cut.pierce));
            findings.warn(NAME, spot, || {
                (
                    format!("The torch is on for {} mm of path, less than {LEAST_MM} mm: it only pierces.", mm(length)),
                    "Delete this torch on and off, or write its path.".to_owned(),
                )
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, placed, nothing};

    #[test]
    fn a_pierce_without_path_is_warned() {
        assert_eq!(changed("M5", "M5\nG0 X70 Y40\nM3\nM5"), ["warn empty-cut 8:1 2"]);
        let short = "M5\nG0 X70 Y40\nM3\nG1 X70.499 F1100\nM5";
        assert_eq!(changed("M5", short), ["warn empty-cut 8:1 2"]);
        // From 0.5 mm on it is a cut, a stray one if the kerf says so.
        let program = crate::vetting::rules::frame::PROGRAM
            .replacen("M5", "M5\nG0 X70 Y40\nM3\nG1 X70.5 F1100\nM5", 1);
        assert_eq!(placed(&program, |s| s.kerf = Some(0.2)), nothing());
        assert_eq!(changed("M5", "M5"), nothing());
    }
}
