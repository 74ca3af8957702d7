//! A program for more than one material, thickness or current, or for another than the setup's: one
//! run has one set of settings.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::report::said::{Metal, Said, said};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "mixed-settings";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse or warn",
    needs: "a setup",
    measured: || "Materials, thicknesses and currents that tool words and comments ask for.".to_owned(),
    limit: || "One setting for the whole program (refused), and that of the setup (a warning).".to_owned(),
    source: "Common practice, no source.",
};

/// A sheet measures so much more or less than its nominal thickness, as a part.
const MEASURED: f64 = 0.10;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    tools(sheet, findings);
    let all: Vec<Said> = sheet.reading.comments.iter().filter_map(said).collect();
    let Some(first) = all.first() else {
        return;
    };
    if let Some(other) = all.iter().find(|s| s.contradicts(first)) {
        findings.refuse(NAME, Spot::line(other.line), || {
            (
                format!(
                    "Comments ask for more than one setting: {} in line {}, {} here.",
                    first.words(),
                    first.line,
                    other.words()
                ),
                "Cut each with its own program and setup, or correct the comment.".to_owned(),
            )
        });
        return;
    }
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(findings, NAME, Lack::Setup("what the comments say cannot be compared: there is no setup"));
        return;
    };
    let row_amps = sheet.known().chart.row().map(|r| r.amps);
    let wrong = all.iter().find(|s| {
        let metal = Metal::of_setup(&setup.material).is_some_and(|m| m != s.metal);
        let thickness = s.thickness_mm.is_some_and(|t| {
            (t - setup.thickness).abs() > MEASURED * setup.thickness.max(t) + 1e-9
        });
        let amps = s
            .amps
            .zip(row_amps)
            .is_some_and(|(a, r)| (a - r).abs() > 0.02 * r);
        metal || thickness || amps
    });
    if let Some(s) = wrong {
        let amps = row_amps.map_or(String::new(), |a| format!(" {a} A"));
        findings.warn(NAME, Spot::line(s.line), || {
            (
                format!(
                    "The program says it is for {}; on the table lies {} {} mm{amps}.",
                    s.words(),
                    setup.material,
                    crate::geometry::plane::mm(setup.thickness)
                ),
                "Take the program that was made for this sheet, or correct the setup.".to_owned(),
            )
        });
    }
}

/// Tool words with different numbers, each with cuts of its own.
fn tools(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let cuts = sheet.reading.cut_list.cuts.len();
    let all = &sheet.reading.tools;
    let next = all.iter().skip(1).map(|t| t.after_cuts).chain([cuts]);
    // T0 is "none" wherever it is used.
    let mut used = all
        .iter()
        .zip(next)
        .filter(|(tool, next)| tool.number != 0.0 && *next > tool.after_cuts)
        .map(|(tool, _)| tool);
    let Some(first) = used.next() else {
        return;
    };
    let Some(other) = used.find(|t| t.number != first.number) else {
        return;
    };
    findings.refuse(NAME, Spot::line(other.line), || {
        (
            format!(
                "Tool words ask for more than one setting: T{} in line {}, T{} here, and cuts follow \
                 both.",
                first.number, first.line, other.number
            ),
            "Cut what belongs to each with a program and a setup of its own.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing, placed};

    /// The frame with these lines before its first and before its second cut.
    fn with(first: &str, second: &str) -> Vec<String> {
        let program = PROGRAM
            .replace("G0 X45 Y40", &format!("{first}\nG0 X45 Y40"))
            .replacen("M5\n", &format!("M5\n{second}\n"), 1);
        found(&program)
    }

    #[test]
    fn two_tools_with_cuts_are_refused_and_one_is_not() {
        let ignored = "note word-ignored 2:1 -";
        assert_eq!(with("T1", "T2"), ["refuse mixed-settings 8:- -", ignored]);
        assert_eq!(with("T1", "T1"), [ignored]);
        // No cut follows the first: it is not used.
        assert_eq!(with("T1\nT2", "N5"), [ignored]);
        assert_eq!(with("T1", "T0"), [ignored]);
    }

    #[test]
    fn comments_that_contradict_each_other_are_refused() {
        let refused = ["refuse mixed-settings 8:- -"];
        assert_eq!(with("(steel 5 mm)", "(steel 8 mm)"), refused);
        assert_eq!(with("(steel 5 mm 40 A)", "(steel 5 mm 55 A)"), refused);
        assert_eq!(with("(steel 5 mm)", "(stainless 5 mm)"), refused);
        assert_eq!(with("(steel 5 mm)", "(steel 5 mm 40 A)"), nothing());
        assert_eq!(with("(steel 5 mm)", "(13 mm holes of part 8)"), nothing());
    }

    #[test]
    fn a_comment_for_another_sheet_than_the_setups_is_warned() {
        let warned = ["warn mixed-settings 1:- -"];
        assert_eq!(changed("G21", "(stainless 5 mm) G21"), warned);
        assert_eq!(changed("G21", "(steel 6 mm) G21"), warned);
        assert_eq!(changed("G21", "(steel 5 mm 55 A) G21"), warned);
        assert_eq!(changed("G21", "(steel 5 mm 40 A) G21"), nothing());
        // A sheet of 5 mm measured at 4.6.
        let program = format!("(steel 5 mm)\n{PROGRAM}");
        assert_eq!(placed(&program, |s| s.thickness = 4.6), nothing());
    }
}
