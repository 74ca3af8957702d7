//! A file beyond what the panel reads.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "file-too-large";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "The bytes of the file.".to_owned(),
    limit: || format!("{LARGEST_BYTES} bytes (64 MiB)."),
    source: "The number is invented.",
};

/// 64 MiB; invented.
pub const LARGEST_BYTES: usize = 64 * 1024 * 1024;

pub(crate) fn tell(findings: &mut Findings, bytes: usize) -> bool {
    if bytes <= LARGEST_BYTES {
        return false;
    }
    findings.refuse(NAME, Spot::default(), || {
        (
            format!("The file has {bytes} bytes; the panel reads up to {LARGEST_BYTES} (64 MiB)."),
            "Split the program into sheets.".to_owned(),
        )
    });
    true
}

/// A program has no more pieces of path than this, a cut counted as [`CUT_PIECES`]: it would take
/// more memory than the panel has for vetting (some 80 bytes a piece as read, as much again while it
/// is vetted). Invented.
pub const MOST_PIECES: usize = 1_500_000;
/// What a cut takes besides its path, in pieces.
pub const CUT_PIECES: usize = 3;

/// More path than can be vetted came up to a line; true: it was told.
pub(crate) fn tell_path(findings: &mut Findings, pieces: usize, line: u32) -> bool {
    if pieces <= MOST_PIECES {
        return false;
    }
    findings.refuse(NAME, Spot::line(line), || {
        (
            format!(
                "Up to this line the program has over {MOST_PIECES} pieces of path (a cut counts as \
                 {CUT_PIECES}): more than the panel vets."
            ),
            "Split the program into sheets, or write arcs in place of short lines.".to_owned(),
        )
    });
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_path_than_can_be_vetted_is_refused_and_the_most_is_not() {
        let of = |pieces: usize| {
            let text = format!("G21 G90 F600\nG0 X1 Y1\nM3\n{}M5\nM2\n", "X2\nX1\n".repeat(pieces / 2));
            let text = text.replacen("X2", "G1 X2", 1);
            crate::read(text.as_bytes(), &crate::ReadingRules::default())
        };
        let most = of(MOST_PIECES - CUT_PIECES - 1);
        assert!(most.is_program && most.findings.is_empty(), "{:?}", most.findings);
        let more = of(MOST_PIECES + 2);
        assert!(!more.is_program);
        assert_eq!(more.findings.len(), 1, "{:?}", more.findings);
        assert_eq!(more.findings[0].rule, NAME);
        assert!(more.findings[0].line.is_some_and(|l| l > 1_499_000));
        // Many cuts without a path take memory as well.
        let text = format!("G21 G90 F600\nG0 X1 Y1\n{}M2\n", "M3\nM5\n".repeat(MOST_PIECES / CUT_PIECES + 1));
        let more = crate::read(text.as_bytes(), &crate::ReadingRules::default());
        assert_eq!(more.findings[0].rule, NAME);
        assert!(more.cut_list.cuts.is_empty());
    }

    #[test]
    fn the_limit_itself_passes_and_one_byte_more_is_refused() {
        let mut findings = Findings::default();
        assert!(!tell(&mut findings, LARGEST_BYTES));
        assert!(tell(&mut findings, LARGEST_BYTES + 1));
        assert_eq!(findings.into_list().len(), 1);
    }
}
