//! Torch on while it is on, torch off while it is off.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "torch-on-twice";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn or note",
    needs: "the program alone",
    measured: || "Torch on while it is on (warning), torch off while it is off (note).".to_owned(),
    limit: || "Every torch on has its torch off.".to_owned(),
    source: "Common practice, no source.",
};

pub(crate) fn on(findings: &mut Findings, at: Spot, since: u32) {
    findings.warn(NAME, at, || {
        (
            format!("The torch is put on here and is on since line {since}: a torch off is missing, or this is one too many."),
            "Put torch off before it, or delete it.".to_owned(),
        )
    });
}

pub(crate) fn off(findings: &mut Findings, at: Spot) {
    findings.note(NAME, at, || {
        (
            "The torch is put off here and is off already.".to_owned(),
            "Look whether a torch on is missing before it.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn on_twice_is_a_warning_and_off_twice_a_note() {
        assert_eq!(changed("M3", "M3\nM3"), ["warn torch-on-twice 4:1 1"]);
        assert_eq!(changed("M5", "M5\nM5"), ["note torch-on-twice 7:1 -"]);
        assert_eq!(changed("M3", "M4"), nothing());
    }
}
