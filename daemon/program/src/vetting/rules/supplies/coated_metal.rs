//! A coating that burns to fume.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "coated-metal";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup",
    measured: || "Whether the setup names a coating.".to_owned(),
    limit: || "Always said: fumes.".to_owned(),
    source: "Common practice, no source.",
};

/// Parts of words that name a coating.
const COATED: [&str; 9] = [
    "galv", "zinc", "coated", "painted", "primed", "primer", "plated", "cadmium", "lead",
];
/// What a setup may write where there is none.
const NO_COATING: [&str; 5] = ["", "none", "no", "bare", "uncoated"];

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(findings, NAME, Lack::Setup("the material is not known"));
        return;
    };
    let stated = setup.coating.as_deref().map(|c| c.trim().to_lowercase());
    let coating = match stated {
        Some(c) if NO_COATING.contains(&c.as_str()) => return,
        Some(c) => c,
        None if setup.material.contains("uncoated") => return,
        None if COATED.iter().any(|w| setup.material.contains(w)) => setup.material.clone(),
        None => return,
    };
    findings.note(NAME, Spot::default(), || {
        (
            format!("The sheet is coated ({coating}): cutting burns the coating to harmful fume."),
            "Draw the fume off, wear a respirator for metal fume, or strip the coating along the cut."
                .to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, nothing, placed};

    #[test]
    fn a_coating_is_noted_from_its_key_or_from_the_materials_name() {
        let coated = |coating: &str| placed(PROGRAM, |s| s.coating = Some(coating.to_owned()));
        assert_eq!(coated("galvanised"), ["note coated-metal -:- -"]);
        assert_eq!(coated("red lead"), ["note coated-metal -:- -"]);
        assert_eq!(coated("none"), nothing());
        let of = |material: &str| placed(PROGRAM, |s| s.material = material.to_owned());
        assert_eq!(of("galvanised-steel"), ["note coated-metal -:- -"]);
        assert_eq!(of("uncoated-steel"), nothing());
        assert_eq!(of("mild-steel"), nothing());
    }
}
