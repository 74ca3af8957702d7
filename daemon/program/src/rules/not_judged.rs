//! A rule whose input is not known says so, once: nothing is passed in silence.

use crate::contour::Contours;
use crate::findings::{Findings, Spot};
use crate::vet::OnSheet;

pub(crate) const NAME: &str = "not-judged";

pub(crate) fn tell(findings: &mut Findings, rule: &str, lacks: &str, remedy: &str) {
    findings.note(NAME, Spot::default(), || {
        (format!("{rule} was not judged: {lacks}."), remedy.to_owned())
    });
}

/// The balance of the arc's power needs numbers of the metal.
pub(crate) fn no_metal(findings: &mut Findings, rule: &str) {
    tell(
        findings,
        rule,
        "the metal is none that there are numbers for (steel, stainless, aluminium)",
        "Judge by a test cut.",
    );
}

pub(crate) fn no_kerf(findings: &mut Findings, rule: &str) {
    tell(
        findings,
        rule,
        "the kerf is not known",
        "Choose a chart row, or write the kerf into the setup.",
    );
}

/// The contours; without a kerf there are none, and the rule was not judged.
pub(crate) fn contours<'s>(
    sheet: &'s OnSheet<'_>,
    findings: &mut Findings,
    rule: &str,
) -> Option<&'s Contours> {
    let found = sheet.contours();
    if found.is_none() {
        let remedy = "Give a chart row or a kerf in the setup.";
        tell(findings, rule, "the kerf is not known", remedy);
    }
    found
}

/// The contours with kerf and thickness, mm; without a kerf or a setup the rule was not judged.
pub(crate) fn sized<'s>(
    sheet: &'s OnSheet<'_>,
    findings: &mut Findings,
    rule: &str,
) -> Option<(&'s Contours, f64, f64)> {
    let Some(setup) = sheet.input.setup else {
        let remedy = "Give a setup (--setup).";
        tell(findings, rule, "the thickness is not known", remedy);
        return None;
    };
    let contours = contours(sheet, findings, rule)?;
    Some((contours, sheet.input.kerf_mm?, setup.thickness))
}

#[cfg(test)]
mod tests {
    use super::super::frame;

    #[test]
    fn without_a_setup_each_rule_that_needs_one_is_named_once() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.setup = None;
        let report = frame::report_with(frame::PROGRAM, &input);
        let mut rules: Vec<_> = report
            .findings
            .iter()
            .map(|f| f.says.split(' ').next().unwrap_or_default().to_owned())
            .collect();
        rules.sort();
        let once = rules.len();
        rules.dedup();
        assert_eq!(rules.len(), once, "each is named once");
        for rule in [
            "near-edge",
            "on-clamp",
            "outside-sheet",
            "outside-travel",
            "over-used",
            "path-in-void",
            "return-path-lost",
            "scale-suspect",
        ] {
            assert!(rules.iter().any(|r| r == rule), "{rule}");
        }
        assert!(report.findings.iter().all(|f| f.rule == super::NAME));
        assert_eq!(report.verdict, crate::Verdict::Clear);
    }

    #[test]
    fn with_everything_known_nothing_is_left_unjudged() {
        assert_eq!(frame::found(frame::PROGRAM), frame::nothing());
    }
}
