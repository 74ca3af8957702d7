//! A program that does not say where it ends: it may have been cut short.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "end-missing";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn or refuse",
    needs: "the program alone",
    measured: || "Whether the text comes to an end: M2, M30 or the closing %.".to_owned(),
    limit: || "A warning without one; refused where the text was plainly cut short (% opened and \
              never closed, or the last line stops inside a word).".to_owned(),
    source: "RS-274 as published in NISTIR 6556: how a program ends (from memory).",
};

const WHOLE: &str = "Fetch the whole file again; end it with M2 or M30.";

pub(crate) fn no_end(findings: &mut Findings, last: u32) {
    findings.warn(NAME, Spot::line(last), || {
        (
            format!("The program ends at line {last} without M2, M30 or a closing %: something may be missing."),
            "Look whether it is whole; end it with M2 or M30.".to_owned(),
        )
    });
}

pub(crate) fn fence_open(findings: &mut Findings, open: u32, last: u32) {
    findings.refuse(NAME, Spot::line(last), || {
        (
            format!("% opens the program in line {open}, and it ends at line {last} without M2, M30 or the closing %: it was cut short."),
            WHOLE.to_owned(),
        )
    });
}

pub(crate) fn cut_short(findings: &mut Findings, last: u32) {
    findings.refuse(NAME, Spot::line(last), || {
        (
            format!("The program stops inside a word or comment in line {last}: it was cut short."),
            WHOLE.to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing};

    #[test]
    fn a_missing_end_is_a_warning() {
        assert_eq!(changed("M2\n", ""), ["warn end-missing 15:- -"]);
    }

    #[test]
    fn an_open_fence_and_half_a_word_are_refused() {
        let open = found(&format!("%\n{}", PROGRAM.replace("M2\n", "")));
        assert_eq!(open, ["refuse end-missing 16:- -"]);
        let half = changed("M2\n", "M");
        assert_eq!(half, ["refuse end-missing 16:- -", "refuse unreadable-block 16:1 -"]);
    }

    #[test]
    fn every_way_of_ending_passes() {
        for end in ["M2", "M30\n", "m2(end)", "M2;end\n", "M02\n%\n"] {
            assert_eq!(changed("M2\n", end), nothing(), "{end}");
        }
        let fenced = found(&format!("%\n{}", PROGRAM.replace("M2\n", "%\n")));
        assert_eq!(fenced, nothing());
    }
}
