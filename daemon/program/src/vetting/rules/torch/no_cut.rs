//! A program that never fires, or never moves while firing.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "no-cut";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "Whether the torch goes on, and moves while it is on.".to_owned(),
    limit: || "It must do both once.".to_owned(),
    source: "What a cutting program is.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let list = &sheet.reading.cut_list;
    if !sheet.reading.is_program {
        return;
    }
    let Some(first) = list.cuts.first() else {
        findings.refuse(NAME, Spot::default(), || {
            (
                "The program never puts the torch on.".to_owned(),
                "Write torch on (M3) and torch off (M5), or name this table's torch words in the machine file.".to_owned(),
            )
        });
        return;
    };
    if sheet.elements().next().is_none() {
        findings.refuse(NAME, Spot::torch_on(1, first), || {
            (
                format!("The torch goes on in line {} and never moves while it is on.", first.on_line),
                "Write the path between torch on and torch off.".to_owned(),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{found, nothing};

    #[test]
    fn a_program_must_fire_and_move() {
        assert_eq!(found("G21 G1 X10 F500\nM2\n"), ["refuse no-cut -:- -"]);
        assert_eq!(found("G21 G0 X10\nM3\nM5\nG1 X20 F500\nM2\n"), ["refuse no-cut 2:1 1"]);
        assert_eq!(found("G21 G0 X10\nM3\nG1 X100 F1100\nM5\nM2\n"), nothing());
    }
}
