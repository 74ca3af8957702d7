//! A dimension before any word says in which unit.

use crate::vetting::rules::page::Page;
use crate::cuts::cut_list::CutList;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "units-not-stated";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "the program alone",
    measured: || "Whether G20, G21, G70 or G71 stands before the first dimension.".to_owned(),
    limit: || "It must: a program in inches read as millimetres is 25.4 times too small.".to_owned(),
    source: "RS-274 as published in NISTIR 6556 leaves the unit to the machine; that \
              it must be stated is common practice.",
};

pub(crate) fn tell(findings: &mut Findings, first: Option<Spot>, list: &CutList) {
    let Some(spot) = first else {
        return;
    };
    let size = list.bounds().map_or_else(String::new, |b| {
        format!(
            " The cuts measure {} x {} mm if these are millimetres, {} x {} mm if they are inches.",
            mm(b.width()),
            mm(b.height()),
            mm(b.width() * 25.4),
            mm(b.height() * 25.4)
        )
    });
    findings.warn(NAME, spot, || {
        (
            format!("No G20 or G21 stands before the first dimension; it is read as millimetres.{size}"),
            "Put G21 (millimetres) or G20 (inches) into the first line.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn a_missing_unit_word_is_warned_at_the_first_dimension() {
        assert_eq!(changed("G21 G90", "G90"), ["warn units-not-stated 2:4 -"]);
    }

    #[test]
    fn a_unit_word_in_time_passes_and_zeros_need_none() {
        assert_eq!(changed("G21 G90", "G90\nG92 X0 Y0\nG71"), nothing());
        assert_eq!(changed("G21 G90\nG0", "G90\nG21 G0"), nothing());
    }
}
