//! An arc that no circle fits.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "arc-impossible";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "Whether a circle fits the arc: chord against diameter, a centre that is given and \
              lies off the start.".to_owned(),
    limit: || "The ends are no further apart than the diameter; a full circle is written with I \
              and J.".to_owned(),
    source: "RS-274 as published in NISTIR 6556, 3.5.3.",
};

pub(crate) fn radius(findings: &mut Findings, at: Spot, chord_mm: f64, radius_mm: f64) {
    findings.refuse(NAME, at, || {
        if chord_mm <= 0.0 {
            (
                "The arc has a radius and ends where it starts: no centre follows from that.".to_owned(),
                "Write a full circle with I and J.".to_owned(),
            )
        } else {
            (
                format!(
                    "The arc's ends are {} mm apart, more than its diameter of {} mm.",
                    mm(chord_mm),
                    mm(2.0 * radius_mm)
                ),
                format!("Write a radius of {} mm or more, or mend the end.", mm(chord_mm / 2.0)),
            )
        }
    });
}

pub(crate) fn no_centre(findings: &mut Findings, at: Spot, absolute: bool) {
    findings.refuse(NAME, at, || {
        let says = if absolute {
            "With G90.1 in force the arc needs both I and J, and one is missing."
        } else {
            "The arc has no I, J or R: where its centre is, is not said."
        };
        (says.to_owned(), "Write the centre with I and J.".to_owned())
    });
}

pub(crate) fn no_radius(findings: &mut Findings, at: Spot) {
    findings.refuse(NAME, at, || {
        (
            "The arc's centre is its start: its radius is 0.".to_owned(),
            "Write the centre with I and J, seen from the start of the arc.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    fn corner(arc: &str) -> Vec<String> {
        changed("G1 Y0\nG1 X48", &format!("G1 Y10\n{arc}\nG1 X48"))
    }

    #[test]
    fn arcs_without_a_circle_are_refused() {
        for arc in [
            "G2 X90 Y0 R7.07",
            "G2 X90 Y0 R0",
            "G2 X100 Y10 R10",
            "G2 X90 Y0",
            "G2 X90 Y0 I0 J0",
            "G90.1 G2 X90 Y0 I90",
        ] {
            let all = corner(arc);
            assert!(all.contains(&"refuse arc-impossible 14:1 2".to_owned())
                || all.contains(&"refuse arc-impossible 14:7 2".to_owned()), "{arc}: {all:?}");
        }
    }

    #[test]
    fn a_chord_of_the_diameter_is_possible() {
        // Chord 14.1421356, radius 7.0711: just long enough; 7.071 is short by 1 in 100,000.
        for arc in ["G2 X90 Y0 R7.0711", "G2 X90 Y0 R7.071"] {
            let all = corner(arc);
            assert!(all.iter().all(|f| !f.contains("arc-impossible")), "{arc}: {all:?}");
        }
        assert_eq!(corner("G2 X90 Y0 R10"), nothing());
    }
}
