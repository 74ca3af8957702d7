//! Kerf compensation switched on or off at the wrong place.

use crate::findings::{Findings, Spot};

pub(crate) const NAME: &str = "compensation-open";

pub(crate) fn still_on(findings: &mut Findings, at: Spot, since: Spot) {
    findings.refuse(NAME, at, || {
        (
            format!("Kerf compensation is still on here, since line {}.", since.line),
            "Write G40 after the cut's last move, before the torch goes off.".to_owned(),
        )
    });
}

pub(crate) fn inside_a_cut(findings: &mut Findings, at: Spot) {
    findings.refuse(NAME, at, || {
        (
            "Kerf compensation is switched on with the torch on: the path would jump by half a kerf.".to_owned(),
            "Switch it on before torch on.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use super::super::frame::changed;

    // Until compensation is carried out, its words are refused as unsupported beside this rule.
    const WITH: &str = "refuse unsupported-word";

    fn rest(all: Vec<String>) -> Vec<String> {
        all.into_iter().filter(|f| !f.starts_with(WITH)).collect()
    }

    #[test]
    fn compensation_must_be_closed_before_torch_off_and_opened_before_torch_on() {
        let open = changed("M3", "G41 D1\nM3");
        assert_eq!(rest(open), ["refuse compensation-open 7:1 1"]);
        let inside = changed("G3 X50", "G41\nG40\nG3 X50");
        assert_eq!(rest(inside), ["refuse compensation-open 5:1 1"]);
        let right = changed("M3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nM5", "G42\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nG40\nM5");
        assert_eq!(rest(right), Vec::<String>::new());
    }
}
