//! What the panel's own cycle does in place of the program; counted, the first line named.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Tally};

pub(crate) const NAME: &str = "replaced";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "the program alone",
    measured: || "Z moves, touch-off blocks and pierce delays of the program.".to_owned(),
    limit: || "The panel's own cycle takes their place; they are counted.".to_owned(),
    source: "This panel's own cycle.",
};

pub(crate) fn tell(findings: &mut Findings, tally: &Tally) {
    let Some(first) = tally.first else {
        return;
    };
    findings.note(NAME, first, || {
        (
            format!(
                "The panel's own cycle (touch off, pierce, cut height) does this in place of the program, the first in line {}: {}.",
                first.line,
                tally.list()
            ),
            "Set heights and delays in the chart, not in the program.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn heights_touch_offs_and_pierce_dwells_are_replaced() {
        let all = changed(
            "M3\nG1 X50 F660",
            "G38.2 Z-20 F100\nG92 Z0\nG0 Z4\nM3\nG4 P0.4\nG1 Z1.5\nG1 X50 Z1.5 F660",
        );
        assert_eq!(all, ["note replaced 3:1 -"]);
        assert_eq!(changed("M3", "M3"), nothing());
    }

    #[test]
    fn the_touch_off_of_another_machine_is_replaced_however_it_is_written() {
        for block in [
            "G31 Z-20 F100\nG92 Z0",
            "G91 G38.3 Z-20 F100\nG90",
            "G38.4 Z5 F50",
            "G38.5 Z5",
            "G38.2 Z-20 F100\nG10 L20 P1 Z0",
            "G38.2 Z-20 F100\nG10 L20 P0 Z1.5\nG0 Z4",
        ] {
            let all = changed("M3\nG1 X50 F660", &format!("{block}\nM3\nG1 X50 F660"));
            // Where the touch-off stands in the block: behind a word of its own in the second one.
            let column = if block.starts_with("G91") { 5 } else { 1 };
            assert_eq!(all, [format!("note replaced 3:{column} -")], "{block}");
        }
    }
}
