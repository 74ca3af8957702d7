//! Legal language that this panel cannot carry out safely.

use crate::vetting::rules::page::Page;
use crate::cuts::cut_list::Side;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "unsupported-word";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "Words that are legal, or belong to another controller's own language, and that a \
              flat table cannot carry out: other planes, canned cycles, subprograms, macros, \
              parameters, rotary axes.".to_owned(),
    limit: || "None is carried out by guessing.".to_owned(),
    source: "RS-274 as published in NISTIR 6556; its tables of G and M words (from memory); what this panel carries out is \
              its own choice.",
};

/// A cut begins where a move in machine coordinates has left the torch.
pub(crate) fn start_unknown(findings: &mut Findings, at: Spot, since: u32) {
    findings.refuse(NAME, Spot { at: None, ..at }, || {
        (
            format!(
                "The torch goes on where the G53 move of line {since} has left it, and the program does not say where that is."
            ),
            "Move to the start of the cut with X and Y before the torch goes on.".to_owned(),
        )
    });
}

/// The kerf that compensation needs is not known: nothing can be cut, and nothing judged.
pub(crate) fn kerf_not_known(findings: &mut Findings, at: Spot, side: Side, cuts: usize) {
    findings.refuse(NAME, at, || {
        (
            format!(
                "{} asks for kerf compensation and the kerf is not known ({cuts} cut{}).",
                side.word(),
                if cuts == 1 { "" } else { "s" }
            ),
            "Give the kerf in the setup or a chart row, or state it with decimals, such as D1.45."
                .to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn what_a_flat_cutting_table_cannot_do_is_refused_where_it_stands() {
        for (to, expected) in [
            ("M5\nG18", "7:1 -"),
            ("M5\nG81 X5 Y5 Z-1 R2", "7:1 -"),
            ("M5\nG10 L2 P1 X0", "7:1 -"),
            ("M5\nG31 X5", "7:1 -"),
            ("M5\nG12", "7:1 -"),
            ("M5\nM98 P100", "7:1 -"),
            ("M5\nG0 A90", "7:4 -"),
            ("M5\nO100", "7:1 -"),
            ("M5\n#1=5", "7:1 -"),
            ("M5\nG0 X[1+2]", "7:5 -"),
            ("M5\nG55", "7:1 -"),
            ("M5\nG38.2 X5", "7:1 -"),
            ("M5\nG95", "7:1 -"),
        ] {
            let all = changed("M5", to);
            assert!(
                all.contains(&format!("refuse unsupported-word {expected}")),
                "{to}: {all:?}"
            );
        }
    }

    #[test]
    fn words_that_move_the_zero_or_the_unit_may_not_stand_under_compensation() {
        for word in [
            "G21",
            "G28",
            "G30",
            "G92 X0 Y0",
            "G92.1",
            "G53 G0 X0",
            "G53 G0 Z0",
        ] {
            let under = changed("G0 X66 Y-8", &format!("G41\n{word}\nG40\nG0 X66 Y-8"));
            assert!(
                under.contains(&"refuse unsupported-word 8:1 -".to_owned()),
                "{word}: {under:?}"
            );
            let behind = changed(
                "G0 X66 Y-8",
                &format!("G41\nG40\n{word}\nG92.1\nG0 X66 Y-8"),
            );
            assert!(
                !behind.iter().any(|f| f.starts_with("refuse")),
                "{word}: {behind:?}"
            );
        }
        // The unit word is carried out before the compensation of its block, the others behind it.
        let one_block = changed("G0 X66 Y-8", "G41 G21\nG40 G92.1\nG0 X66 Y-8");
        assert_eq!(one_block, nothing());
        let plane = changed("G0 X66 Y-8", "G41\nG18\nG40\nG0 X66 Y-8");
        assert_eq!(plane, ["refuse unsupported-word 8:1 -"]);
        assert_eq!(
            changed("G0 X66 Y-8", "G41\nG17\nG40\nG0 X66 Y-8"),
            nothing()
        );
    }

    #[test]
    fn a_cut_may_not_begin_where_machine_coordinates_have_left_the_torch() {
        let all = changed("G0 X45 Y40", "G53 G0 X0 Y0");
        assert!(
            all.contains(&"refuse unsupported-word 3:1 -".to_owned()),
            "{all:?}"
        );
        let all = changed("G0 X45 Y40", "G53 G0 X0 Y0\nG0 X45 Y40");
        assert_eq!(all, ["note replaced 2:1 -"]);
    }

    #[test]
    fn the_zero_may_be_named_as_long_as_it_stays_one() {
        assert_eq!(changed("G21 G90", "G21 G90 G55 G40 G64 G17 G94"), nothing());
        assert_eq!(changed("M5", "M5\nG54"), nothing());
    }
}
