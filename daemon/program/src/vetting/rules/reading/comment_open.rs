//! A comment that is not closed on its line: it ends with its line.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "comment-open";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "the program alone",
    measured: || "Whether every comment is closed on its line.".to_owned(),
    limit: || "It must be; else it is taken to end with its line.".to_owned(),
    source: "RS-274 as published in NISTIR 6556: a comment is closed on its line (from memory).",
};

pub(crate) fn tell(findings: &mut Findings, at: Spot) {
    findings.warn(NAME, at, || {
        (
            "The comment opened here is not closed on its line: it is taken to end with the line, and \
             nothing behind the ( is carried out."
                .to_owned(),
            "Look whether words that are meant to act stand behind it; close it with ) on the same line."
                .to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn a_comment_without_an_end_ends_with_its_line() {
        assert_eq!(changed("G1 X100", "G1 X100 (top"), ["warn comment-open 12:9 2"]);
        assert_eq!(changed("G1 X100", "(top\nG1 X100"), ["warn comment-open 12:1 2"]);
        assert_eq!(changed("G1 X100", "G1 X100 (top)"), nothing());
        assert_eq!(changed("G1 X100", "G1 X100 ;(top"), nothing());
    }

    #[test]
    fn what_stands_behind_it_is_comment() {
        // The torch is not switched off, as if the word were not there.
        let lost = changed("M5\nG0 X66", "G0 X66");
        let mut all = changed("M5\nG0 X66", "(off M5\nG0 X66");
        assert!(!lost.is_empty());
        assert!(all.iter().any(|f| f.starts_with("warn comment-open 6:1")), "{all:?}");
        all.retain(|f| !f.contains("comment-open"));
        assert_eq!(all.len(), lost.len(), "{all:?} {lost:?}");
    }
}
