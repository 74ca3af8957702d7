//! A tolerance that this table has not been seen to reach.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::report::said::tolerance_mm;
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "tolerance-tight";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a tolerance in a comment, and a measured first article",
    measured: || "The tolerance that the program states.".to_owned(),
    limit: || "What the last first article reached.".to_owned(),
    source: "The machine file (reached_tolerance_mm).",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let comments = sheet.reading.comments.iter();
    let stated = comments.filter_map(|c| Some((tolerance_mm(c)?, c.line)));
    let Some((wanted, line)) = stated.min_by(|a, b| a.0.total_cmp(&b.0)) else {
        return;
    };
    let Some(reached) = sheet.known().reached_tolerance_mm else {
        not_judged::tell(findings, NAME, Lack::Article);
        return;
    };
    if wanted >= reached - 1e-9 {
        return;
    }
    findings.note(NAME, Spot::line(line), || {
        (
            format!(
                "The program asks for {} mm to either side; the last first article reached {} mm.",
                mm(wanted),
                mm(reached)
            ),
            "Measure the first part before the others are cut.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, changed, nothing, report_with};

    #[test]
    fn a_tolerance_narrower_than_what_was_reached_is_noted() {
        assert_eq!(
            changed("G21", "(all sizes +-0.49) G21"),
            ["note tolerance-tight 1:- -"]
        );
        assert_eq!(changed("G21", "(all sizes +-0.5) G21"), nothing());
    }

    #[test]
    fn without_a_first_article_it_is_not_judged_where_a_tolerance_is_stated() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.facts.reached_tolerance_mm = None;
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
        let program = frame::PROGRAM.replace("G21", "(tolerance 0.2 mm) G21");
        let found = brief(&report_with(&program, &input));
        assert_eq!(found, ["note not-judged -:- -"]);
    }
}
