//! Radius format about a half circle: the last digit written throws the arc far about.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::report::Severity;
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "arc-ill-defined";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn or note",
    needs: "the program alone",
    measured: || "How far the last written digit moves an arc that is given by its radius.".to_owned(),
    limit: || format!("Asked where the chord is over {CHORD_RADII} radii; a warning where the arc moves \
              by over {WARN_MM} mm."),
    source: "RS-274 as published in NISTIR 6556, 3.5.3.1, warns of it (from memory); the numbers are \
              invented.",
};

/// From this chord on, in radii.
const CHORD_RADII: f64 = 1.99;
/// A warning beyond this, mm; invented.
const WARN_MM: f64 = 0.2;

pub(crate) fn judge(
    findings: &mut Findings,
    at: Spot,
    chord_mm: f64,
    radius_mm: f64,
    digit_mm: f64,
) {
    if chord_mm <= CHORD_RADII * radius_mm {
        return;
    }
    let height = |r: f64, d: f64| (r * r - d * d / 4.0).max(0.0).sqrt();
    let now = height(radius_mm, chord_mm);
    // The middle of the arc lies at the centre's height plus the radius.
    let by_radius = height(radius_mm + digit_mm, chord_mm) + digit_mm - now;
    let by_chord = height(radius_mm, (chord_mm - digit_mm).max(0.0)) - now;
    let moves = by_radius.abs().max(by_chord.abs());
    let severity = if moves > WARN_MM { Severity::Warn } else { Severity::Note };
    findings.tell(NAME, severity, at, || {
        (
            format!(
                "The arc is about a half circle given by its radius (chord {} mm, diameter {} mm): the last digit written moves it by {} mm, a warning over {WARN_MM} mm.",
                mm(chord_mm),
                mm(2.0 * radius_mm),
                mm(moves)
            ),
            "Write it with I and J.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    fn end(arc: &str) -> Vec<String> {
        changed("G1 Y80\nG1 X100", &format!("G1 Y60\n{arc}"))
    }

    #[test]
    fn a_half_circle_by_radius_is_noted_or_warned_by_its_digits() {
        // Chord 100 mm, radius 50: with two decimals 1.01 mm, with four 0.1001 mm.
        assert_eq!(end("G2 X100.00 Y60 R50.00"), ["warn arc-ill-defined 12:1 2"]);
        assert_eq!(end("G2 X100.0000 Y60 R50.0000"), ["note arc-ill-defined 12:1 2"]);
    }

    #[test]
    fn well_short_of_a_half_circle_it_passes() {
        // Chord 100: 1.99 R is 100.0 at R 50.2513.
        assert_eq!(end("G2 X100.0000 Y60 R50.2600"), nothing());
        assert_eq!(end("G2 X100.0000 Y60 R50.2500"), ["note arc-ill-defined 12:1 2"]);
    }
}
