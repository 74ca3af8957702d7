//! A file beyond what the panel reads.

use super::page::Page;
use crate::findings::{Findings, Spot};

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_itself_passes_and_one_byte_more_is_refused() {
        let mut findings = Findings::default();
        assert!(!tell(&mut findings, LARGEST_BYTES));
        assert!(tell(&mut findings, LARGEST_BYTES + 1));
        assert_eq!(findings.into_list().len(), 1);
    }
}
