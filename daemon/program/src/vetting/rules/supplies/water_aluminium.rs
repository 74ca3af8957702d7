//! Aluminium on a water table: hydrogen gathers under the sheet.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "water-aluminium";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup",
    measured: || "Aluminium over water.".to_owned(),
    limit: || "Always said: its dross makes hydrogen.".to_owned(),
    source: "Common practice; the danger is known from accidents (from memory).",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(findings, NAME, Lack::Setup("the material is not known"));
        return;
    };
    if !setup.water_table || !setup.material.contains("alumin") {
        return;
    }
    findings.warn(NAME, Spot::default(), || {
        (
            "Aluminium is cut over water: its dross makes hydrogen, which gathers under the sheet \
             and can explode."
                .to_owned(),
            "Drain the table, or stir and vent the water before and while cutting and clear the \
             dross daily; never leave a sheet on it overnight."
                .to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, nothing, placed};

    #[test]
    fn aluminium_over_water_is_warned_and_either_alone_is_not() {
        let on = |material: &str, water| {
            placed(PROGRAM, |s| {
                s.material = material.to_owned();
                s.water_table = water;
            })
        };
        assert_eq!(on("aluminium", true), ["warn water-aluminium -:- -"]);
        assert_eq!(on("aluminium", false), nothing());
        assert_eq!(on("stainless", true), nothing());
    }
}
