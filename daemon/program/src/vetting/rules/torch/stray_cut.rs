//! A very short cut: a leftover of drawing.

use crate::vetting::rules::page::Page;
use super::empty_cut;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "stray-cut";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a kerf (chart row or setup)",
    measured: || "The length of every cut.".to_owned(),
    limit: || format!("Not over {KERFS} kerfs long: a leftover of drawing."),
    source: "Common practice; the number is invented.",
};

/// Up to so many kerfs.
const KERFS: f64 = 2.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(kerf) = sheet.input.kerf_mm else {
        not_judged::tell(findings, NAME, Lack::Kerf);
        return;
    };
    for (cut, number) in sheet.cuts() {
        let length = sheet.length_mm(number);
        if length >= empty_cut::LEAST_MM && length <= KERFS * kerf {
            let spot = Spot::torch_on(number, cut).at(sheet.placer.place(cut.pierce));
            findings.warn(NAME, spot, || {
                (
                    format!(
                        "This cut is {} mm long, not over two kerfs ({} mm): a leftover of drawing?",
                        mm(length),
                        mm(KERFS * kerf)
                    ),
                    "Delete it if it is not meant.".to_owned(),
                )
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn a_cut_of_two_kerfs_is_warned_and_a_longer_one_passes() {
        let stray = |end: &str| changed("M5", &format!("M5\nG0 X70 Y40\nM3\nG1 X{end} F1100\nM5"));
        assert_eq!(stray("72.89"), ["warn stray-cut 8:1 2"]);
        assert_eq!(stray("72.91"), nothing());
    }
}
