//! A rule whose input is not known says so: nothing is passed in silence. One finding stands for all
//! of them, and the report lists them by name.

use crate::sheet::pieces::PieceMap;
use crate::report::lack::Lack;
use crate::vetting::rules::page::Page;
use std::collections::BTreeMap;

use crate::contours::Contours;
use crate::vetting::facts::Chart;
use crate::report::findings::{Findings, Spot};
use crate::report::Want;
use crate::vetting::on_sheet::{OnSheet, VetInput};

pub(crate) const NAME: &str = "not-judged";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "nothing",
    measured: || "Whether every other rule had what it needs: a chart, a sheet, a clamp, a kerf.".to_owned(),
    limit: || "Nothing is passed in silence: a rule that could not judge is named.".to_owned(),
    source: "This panel's own promise.",
};

impl Lack {
    /// What is not known.
    fn words(&self, input: &VetInput<'_>) -> String {
        match self {
            Self::Setup(words) | Self::Machine(words) | Self::Times(words) => (*words).to_owned(),
            Self::Clamp => "where the ground clamp bites is not known".to_owned(),
            Self::Kerf => "the kerf is not known".to_owned(),
            Self::KerfInPart => {
                "the kerf is not known, so the middle of the kerf alone was compared".to_owned()
            }
            Self::Row => match input.facts.chart {
                Chart::Missing(why) => format!("there is no chart row ({why})"),
                Chart::Several(names) => {
                    format!("several chart rows fit and the setup names none: {names}")
                }
                _ if input.setup.is_none() => "the material is not known".to_owned(),
                _ => "there is no chart".to_owned(),
            },
            Self::Metal => {
                "the metal is none that there are numbers for (steel, stainless, aluminium)"
                    .to_owned()
            }
            Self::Article => "no first article was measured yet".to_owned(),
            Self::LessPath => "there is more path than any sheet takes".to_owned(),
            Self::Path => "the path could not be read".to_owned(),
        }
    }

    /// What has to be given, with the right option.
    fn wants(&self, input: &VetInput<'_>) -> Vec<Want> {
        let chart = input.facts.has_chart;
        let row = || match (input.setup.is_some(), chart) {
            (false, false) => vec![Want::Chart, Want::Sheet],
            (false, true) => vec![Want::Sheet],
            (true, false) => vec![Want::Chart],
            (true, true) => vec![Want::Row],
        };
        match self {
            Self::Setup(_) => vec![Want::Sheet],
            Self::Clamp if input.setup.is_none() => vec![Want::Sheet],
            Self::Clamp => vec![Want::Clamp],
            Self::Times(_) if input.facts.times.is_some() => vec![Want::Supplies],
            Self::Kerf | Self::KerfInPart | Self::Row | Self::Times(_) => row(),
            Self::Machine(_) => vec![Want::Machine],
            Self::Metal => vec![Want::Metal],
            Self::Article => vec![Want::Article],
            Self::LessPath => vec![Want::LessPath],
            Self::Path => vec![Want::Path],
        }
    }
}

/// Keeps that a rule was not judged, and what it lacks.
pub(crate) fn tell(findings: &mut Findings, rule: &'static str, lack: Lack) {
    findings.not_judged.entry(rule).or_insert(lack);
}

/// Makes the one finding of all that was not judged: the rules by name, and all that they want.
pub(crate) fn sum_up(findings: &mut Findings, input: &VetInput<'_>) -> (Vec<String>, Vec<Want>) {
    let unjudged = core::mem::take(&mut findings.not_judged);
    if unjudged.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let mut wants: Vec<Want> = unjudged.values().flat_map(|l| l.wants(input)).collect();
    wants.sort_unstable();
    wants.dedup();
    let mut by_words: Vec<(String, Vec<&str>)> = Vec::new();
    // What could not be read is told by a refusal of its own.
    let told = || unjudged.iter().filter(|(_, lack)| **lack != Lack::Path);
    for (rule, lack) in told() {
        let words = lack.words(input);
        match by_words.iter_mut().find(|(w, _)| *w == words) {
            Some((_, rules)) => rules.push(rule),
            None => by_words.push((words, vec![rule])),
        }
    }
    by_words.sort_by_key(|(_, rules)| core::cmp::Reverse(rules.len()));
    let others: Vec<Want> = wants.iter().copied().filter(|w| *w != Want::Path).collect();
    if by_words.is_empty() {
        return (names(&unjudged), wants);
    }
    findings.note(NAME, Spot::default(), || {
        let says = match by_words.as_slice() {
            [(words, rules)] if rules.len() == 1 => {
                format!("{} was not judged: {words}.", rules.concat())
            }
            all => {
                let each = all.iter().map(|(words, rules)| format!("{words} ({})", rules.join(", ")));
                format!(
                    "{} of {} rules were not judged: {}.",
                    told().count(),
                    crate::vetting::rules::ALL.len(),
                    each.collect::<Vec<_>>().join("; ")
                )
            }
        };
        (says, format!("{}.", remedy(&others)))
    });
    (names(&unjudged), wants)
}

fn names(unjudged: &BTreeMap<&'static str, Lack>) -> Vec<String> {
    unjudged.keys().map(|rule| (*rule).to_owned()).collect()
}

/// `Give --config and --setup`: what to do about all that is wanted.
fn remedy(wants: &[Want]) -> String {
    let mut all: Vec<String> = Vec::new();
    let options = options(wants);
    if !options.is_empty() {
        all.push(format!("give {}", list(&options)));
    }
    for want in wants {
        let other = match want {
            Want::Clamp => "write clamp = [x, y] into the setup",
            Want::Row => "name a chart row that fits in the setup (chart = \"...\") or add one to the chart",
            Want::Metal => "judge by a test cut",
            Want::Supplies => "write [supplies] into the machine file",
            Want::Article => "measure the first part that is cut",
            Want::LessPath => "divide the program",
            Want::Path | Want::Chart | Want::Sheet | Want::Machine => continue,
        };
        all.push(other.to_owned());
    }
    let text = all.join("; ");
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// The options of the command line that give what is wanted.
pub(crate) fn options(wants: &[Want]) -> Vec<&'static str> {
    let config = wants.contains(&Want::Chart) || wants.contains(&Want::Machine);
    let mut options = Vec::new();
    if config {
        options.push("--config");
    }
    if wants.contains(&Want::Sheet) {
        options.push("--setup");
    }
    options
}

/// `a, b and c`.
pub(crate) fn list(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// The balance of the arc's power needs numbers of the metal.
pub(crate) fn no_metal(findings: &mut Findings, rule: &'static str) {
    tell(findings, rule, Lack::Metal);
}

pub(crate) fn no_kerf(findings: &mut Findings, rule: &'static str) {
    tell(findings, rule, Lack::Kerf);
}

/// The sheet through all cuts; without it the rule was not judged.
pub(crate) fn pieces<'s>(
    sheet: &'s OnSheet<'_>,
    findings: &mut Findings,
    rule: &'static str,
) -> Option<&'s PieceMap> {
    if sheet.input.setup.is_none() {
        tell(findings, rule, Lack::Setup("the sheet is not known"));
        return None;
    }
    if sheet.input.kerf_mm.is_none() {
        no_kerf(findings, rule);
        return None;
    }
    let pieces = sheet.pieces();
    if pieces.is_none() {
        tell(findings, rule, Lack::LessPath);
    }
    pieces
}

/// The contours; without a kerf there are none, and the rule was not judged.
pub(crate) fn contours<'s>(
    sheet: &'s OnSheet<'_>,
    findings: &mut Findings,
    rule: &'static str,
) -> Option<&'s Contours> {
    let found = sheet.contours();
    if found.is_none() {
        tell(findings, rule, Lack::Kerf);
    }
    found
}

/// The contours with kerf and thickness, mm; without a kerf or a setup the rule was not judged.
pub(crate) fn sized<'s>(
    sheet: &'s OnSheet<'_>,
    findings: &mut Findings,
    rule: &'static str,
) -> Option<(&'s Contours, f64, f64)> {
    let Some(setup) = sheet.input.setup else {
        tell(findings, rule, Lack::Setup("the thickness is not known"));
        return None;
    };
    let contours = contours(sheet, findings, rule)?;
    Some((contours, sheet.input.kerf_mm?, setup.thickness))
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;

    #[test]
    fn without_a_setup_each_rule_that_needs_one_is_named_once_and_one_finding_stands_for_all() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.setup = None;
        let report = frame::report_with(frame::PROGRAM, &input);
        let mut rules = report.not_judged.clone();
        let listed = rules.len();
        rules.sort();
        rules.dedup();
        assert_eq!(rules.len(), listed, "each is named once");
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
        assert_eq!(frame::brief(&report), ["note not-judged -:- -"]);
        let only = &report.findings[0];
        for rule in &rules {
            assert!(only.says.contains(rule.as_str()), "{rule}: {}", only.says);
        }
        // A chart is at hand: the setup alone is wanted.
        assert_eq!(only.remedy, "Give --setup.");
        assert_eq!(report.verdict, crate::Verdict::Clear);
    }

    #[test]
    fn the_remedy_names_what_is_missing_and_nothing_else() {
        let setup = frame::setup();
        let mut bare = setup.clone();
        bare.clamp = None;
        let remedies = |setup, chart: bool| {
            let whole = frame::setup();
            let mut input = frame::input(&whole);
            input.setup = setup;
            input.facts.has_chart = chart;
            if !chart || setup.is_none() {
                input.facts.chart = crate::Chart::NotGiven;
                input.kerf_mm = None;
                input.facts.times = None;
            }
            let report = frame::report_with(frame::PROGRAM, &input);
            let found = report.findings.into_iter().find(|f| f.rule == super::NAME);
            found.map_or_else(String::new, |f| f.remedy)
        };
        assert_eq!(remedies(None, false), "Give --config and --setup.");
        assert_eq!(remedies(None, true), "Give --setup.");
        assert_eq!(remedies(Some(&setup), false), "Give --config.");
        assert_eq!(remedies(Some(&bare), true), "Write clamp = [x, y] into the setup.");
        assert_eq!(remedies(Some(&setup), true), "");
    }

    #[test]
    fn rules_that_had_no_path_to_judge_are_named_too() {
        let report = frame::report(&frame::PROGRAM.replace("G1 X100", "G1 X1O0"));
        assert!(report.not_judged.iter().any(|r| r == "return-path-lost"));
        assert_eq!(report.lacks, [crate::Want::Path]);
        let none = frame::report("<svg/>");
        assert!(none.not_judged.iter().any(|r| r == "torch-left-on"));
    }

    #[test]
    fn with_everything_known_nothing_is_left_unjudged() {
        assert_eq!(frame::found(frame::PROGRAM), frame::nothing());
    }
}
