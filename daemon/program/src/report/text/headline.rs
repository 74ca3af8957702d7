//! The first line: how bad it is, what was judged and what was not.

use super::number;
use crate::report::{Finding, Report, Severity, Verdict};
use crate::vetting::rules::reading::not_judged::{list, options};

/// How many findings there are of a severity.
pub(super) fn count(report: &Report, severity: Severity) -> usize {
    let of = report.findings.iter().filter(|f| f.severity == severity);
    of.map(Finding::times).sum()
}

/// `3 findings bar it from being cut`, and whether one explains the others.
pub(super) fn bars(report: &Report) -> String {
    let n = count(report, Severity::Refuse);
    let s = if n == 1 { "s" } else { "" };
    let under = (report.findings.iter())
        .filter(|f| f.severity == Severity::Refuse && f.under == Some(0))
        .map(Finding::times)
        .sum::<usize>();
    let own = report
        .findings
        .first()
        .is_some_and(|f| f.severity == Severity::Refuse);
    let one = match under {
        0 => String::new(),
        _ if n == under + usize::from(own) && own => ", the first explains the others".to_owned(),
        _ if n == under => ", the first line explains them".to_owned(),
        _ => format!(", the first line explains {under} of them"),
    };
    format!("{} bar{s} it from being cut{one}", number(n, "finding"))
}

/// What was judged and what was not, where something was not.
pub(super) fn judged(report: &Report) -> Option<String> {
    let missing = report.not_judged.len();
    if missing == 0 {
        return None;
    }
    let all = crate::RULES.len();
    let silent = crate::RULES
        .iter()
        .filter(|r| {
            r.name == crate::vetting::rules::reading::not_judged::NAME
                || (!report.not_judged.iter().any(|n| n == r.name)
                    && !report.findings.iter().any(|f| f.rule == r.name))
        })
        .count();
    let nouns: Vec<&str> = report.lacks.iter().map(|w| w.noun()).collect();
    let lack = match (nouns.is_empty(), missing) {
        (true, _) => "were not judged".to_owned(),
        (_, 1) => format!("lacks {}", list(&nouns)),
        _ => format!("lack {}", list(&nouns)),
    };
    let which = match missing {
        1 => report.not_judged.first().cloned().unwrap_or_default(),
        n if silent + n == all => "the others".to_owned(),
        n => format!("{n} others"),
    };
    let options = options(&report.lacks);
    let give = match options.is_empty() {
        true => String::new(),
        false => format!(": give {}", list(&options)),
    };
    let no = match report.verdict {
        Verdict::Clear => "no finding",
        Verdict::Warned | Verdict::Refused => "No finding",
    };
    Some(format!(
        "{no} in {silent} of {all} rules; {which} {lack}{give}"
    ))
}
