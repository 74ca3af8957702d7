//! The program stops or waits in mid-path with the torch on.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "stop-while-on";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "Stops, and dwells in mid-path, with the torch on.".to_owned(),
    limit: || format!("No M0 or M1; no dwell over {LONGEST_S} s: the arc burns out the place where it \
              stands."),
    source: "Common practice; the number is invented.",
};

/// A longer dwell in mid-path is refused, s.
pub(crate) const LONGEST_S: f64 = 0.5;

pub(crate) fn dwell(findings: &mut Findings, at: Spot, dwell_s: f64) {
    findings.refuse(NAME, at, || {
        (
            format!("The torch stands still for {} s in mid-path with the arc on (limit {LONGEST_S} s).", mm(dwell_s)),
            "Delete the dwell, or put torch off before it.".to_owned(),
        )
    });
}

pub(crate) fn stop(findings: &mut Findings, at: Spot, code: u32) {
    findings.refuse(NAME, at, || {
        (
            format!("M{code} stops the program with the torch on."),
            "Put torch off before it, or delete it.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::changed;

    #[test]
    fn stops_and_long_dwells_in_mid_path_are_refused() {
        assert_eq!(changed("G1 X100", "M0\nG1 X100"), ["refuse stop-while-on 12:1 2"]);
        assert_eq!(changed("G1 X100", "M1\nG1 X100"), ["refuse stop-while-on 12:1 2"]);
        assert_eq!(changed("G1 X100", "G4 P0.51\nG1 X100"), ["refuse stop-while-on 12:1 2"]);
    }

    #[test]
    fn short_dwells_and_pierce_dwells_are_replaced() {
        assert_eq!(changed("G1 X100", "G4 P0.5\nG1 X100"), ["note replaced 12:1 2"]);
        assert_eq!(changed("M3", "M3\nG4 P1"), ["note replaced 4:1 1"]);
        // Table 8: the torch goes on first, then the dwell.
        assert_eq!(changed("M3", "G4 P1 M3"), ["note replaced 3:1 1"]);
    }
}
