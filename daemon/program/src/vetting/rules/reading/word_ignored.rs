//! Words of the language that mean nothing here; counted, the first line named.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot, Tally};

pub(crate) const NAME: &str = "word-ignored";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "the program alone",
    measured: || "Words that mean nothing on this table: S, T, tool change, coolant, G28, G30.".to_owned(),
    limit: || "Counted; the first line is named.".to_owned(),
    source: "RS-274 as published in NISTIR 6556; its tables of G and M words (from memory).",
};

pub(crate) fn count(tally: &mut Tally, kind: &'static str, line: u32, column: u32) {
    tally.count(
        kind,
        Spot {
            column,
            ..Spot::line(line)
        },
    );
}

pub(crate) fn tell(findings: &mut Findings, tally: &Tally) {
    let Some(first) = tally.first else {
        return;
    };
    findings.note(NAME, first, || {
        (
            format!(
                "Words that do nothing on this table are passed over, the first in line {}: {}.",
                first.line,
                tally.list()
            ),
            "Check that nothing depends on them; stop between cuts with HOLD.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn idle_words_are_counted_once_and_the_first_is_named() {
        for (to, place) in [
            ("M5\nS500\nT1 M6", "7:1 -"),
            ("M5\nM8", "7:1 -"),
            ("M5\nG28 X0 Y0", "7:1 -"),
            ("M5\nG49", "7:1 -"),
            ("M5\nG43 H1", "7:1 -"),
            ("M5\nG43.1 H2", "7:1 -"),
            ("M5\n/G0 X500", "7:1 -"),
            ("M5\nM0", "7:1 -"),
            ("M5 (out) S1", "6:10 1"),
        ] {
            assert_eq!(changed("M5", to), [format!("note word-ignored {place}")], "{to}");
        }
    }

    #[test]
    fn words_that_say_what_holds_anyway_are_no_finding() {
        assert_eq!(changed("M5", "M5\nG17 G40 G64 G80 G94 G91.1"), nothing());
    }
}
