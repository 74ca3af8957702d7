//! A dwell that is hardly meant in seconds.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "dwell-suspect";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "the program alone",
    measured: || "The time of every dwell.".to_owned(),
    limit: || format!("Longer than {LONGEST_S} s, or a number that makes sense in milliseconds alone."),
    source: "The number is invented.",
};

/// Longer is noted, s; invented.
const LONGEST_S: f64 = 10.0;

pub(crate) fn tell(findings: &mut Findings, at: Spot, dwell_s: f64) {
    if dwell_s <= LONGEST_S {
        return;
    }
    findings.note(NAME, at, || {
        let meant = if dwell_s >= 50.0 {
            format!(" {} s would make sense, if milliseconds were meant.", mm(dwell_s / 1000.0))
        } else {
            String::new()
        };
        (
            format!("G4 P{} waits {} s, over {LONGEST_S} s.{meant}", mm(dwell_s), mm(dwell_s)),
            "Write the time in seconds.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::changed;

    #[test]
    fn milliseconds_and_long_waits_are_noted() {
        for p in ["P500", "P10.1"] {
            let all = changed("M3", &format!("M3\nG4 {p}"));
            assert_eq!(all, ["note dwell-suspect 4:1 1", "note replaced 4:1 1"]);
        }
        assert_eq!(changed("M3", "M3\nG4 P10"), ["note replaced 4:1 1"]);
    }
}
