//! More digits than a controller may keep; counted, the first named.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "digits-excess";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "the program alone",
    measured: || "The digits of every number.".to_owned(),
    limit: || "4 decimals in millimetres, 5 in inches, 12 digits in all: a controller may cut \
              off the rest.".to_owned(),
    source: "Common practice; the number is invented.",
};

/// The first number with too many digits, and how many there are.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Digits {
    first: Option<(Spot, u8, u16, u16)>,
    count: u32,
}

impl Digits {
    pub fn count(&mut self, at: Spot, letter: u8, decimals: u16, digits: u16) {
        self.count += 1;
        self.first.get_or_insert((at, letter, decimals, digits));
    }
}

pub(crate) fn tell(findings: &mut Findings, digits: &Digits) {
    let Some((at, letter, decimals, all)) = digits.first else {
        return;
    };
    findings.note(NAME, at, || {
        (
            format!(
                "{} here has {decimals} decimals and {all} digits in all, {} such numbers in the program; a controller may cut off what is over 4 decimals in mm, 5 in inches, or 12 digits.",
                char::from(letter),
                digits.count
            ),
            "Write the program out with 4 decimals (5 in inches).".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn five_decimals_are_noted_and_four_pass() {
        assert_eq!(changed("X45", "X45.00001"), ["note digits-excess 2:4 -"]);
        assert_eq!(changed("X45", "X45.0001"), nothing());
        assert_eq!(changed("X45", "X0000000000045"), ["note digits-excess 2:4 -"]);
        assert_eq!(changed("X45", "X000000000045"), nothing());
    }
}
