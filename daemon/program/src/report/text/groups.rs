//! Findings as they are told together: what explains others, what is of one rule, what says the same.

use std::collections::BTreeMap;

use crate::report::{Finding, Report, Severity};
use crate::vetting::rules::reading::not_judged::list;

/// A finding with those that it explains.
pub(super) struct Head<'f> {
    pub finding: &'f Finding,
    pub explains: Vec<&'f Finding>,
}

/// The findings of one rule and severity under one heading, in the order in which they are told;
/// one that explains others has a heading of its own.
pub(super) fn groups(report: &Report) -> Vec<Vec<Head<'_>>> {
    let mut heads: Vec<Head<'_>> = Vec::new();
    for finding in &report.findings {
        // What is explained stands behind what explains it.
        match heads.last_mut().filter(|_| finding.under.is_some()) {
            Some(head) => head.explains.push(finding),
            None => heads.push(Head {
                finding,
                explains: Vec::new(),
            }),
        }
    }
    let mut all: Vec<Vec<Head<'_>>> = Vec::new();
    let mut place: BTreeMap<(Severity, &str), usize> = BTreeMap::new();
    for head in heads {
        if !head.explains.is_empty() {
            all.push(vec![head]);
            continue;
        }
        let key = (head.finding.severity, head.finding.rule.as_str());
        let slot = *place.entry(key).or_insert_with(|| {
            all.push(Vec::new());
            all.len() - 1
        });
        if let Some(group) = all.get_mut(slot) {
            group.push(head);
        }
    }
    all
}

pub(super) fn times(findings: &[&Finding]) -> usize {
    findings.iter().map(|f| f.times()).sum()
}

/// `cut 4`, `cuts 3 to 17 and 22`; nothing without a cut.
pub(super) fn cuts(numbers: &[usize]) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for &n in numbers {
        match runs.last_mut() {
            Some((_, to)) if n == *to + 1 => *to = n,
            Some((_, to)) if n <= *to => {}
            _ => runs.push((n, n)),
        }
    }
    let mut words: Vec<String> = Vec::new();
    for &(from, to) in runs.iter().take(NAMED) {
        match to - from {
            0 => words.push(from.to_string()),
            1 => words.extend([from.to_string(), to.to_string()]),
            _ => words.push(format!("{from} to {to}")),
        }
    }
    let left: usize = runs
        .iter()
        .skip(NAMED)
        .map(|(from, to)| to - from + 1)
        .sum();
    if left > 0 {
        words.push(format!("{left} more"));
    }
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match numbers {
        [] => String::new(),
        [one] => format!("cut {one}"),
        _ => format!("cuts {}", list(&words)),
    }
}

/// The cuts of several findings, in order, each once.
pub(super) fn all_cuts<'f>(findings: impl Iterator<Item = &'f Finding>) -> Vec<usize> {
    let mut all: Vec<usize> = findings.flat_map(|f| f.cuts.iter().copied()).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// The findings of one rule gathered by what they say, whatever their numbers.
pub(super) fn alike<'f>(group: &[&'f Finding]) -> Vec<Vec<&'f Finding>> {
    let mut kinds: Vec<Vec<&Finding>> = Vec::new();
    let mut place: BTreeMap<String, usize> = BTreeMap::new();
    for &f in group {
        let kind = without_numbers(&f.says) + &without_numbers(&f.remedy);
        let slot = *place.entry(kind).or_insert_with(|| {
            kinds.push(Vec::new());
            kinds.len() - 1
        });
        if let Some(list) = kinds.get_mut(slot) {
            list.push(f);
        }
    }
    kinds
}

/// Words with one mark in place of each number.
pub(super) fn without_numbers(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        if !c.is_ascii_digit() {
            out.push(c);
            continue;
        }
        out.push('#');
        while chars
            .peek()
            .is_some_and(|c| c.is_ascii_digit() || *c == '.')
        {
            chars.next();
        }
    }
    out
}

/// So many further lines are named.
pub(super) const NAMED: usize = 12;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cuts_are_told_as_ranges() {
        assert_eq!(cuts(&[]), "");
        assert_eq!(cuts(&[4]), "cut 4");
        assert_eq!(cuts(&[4, 5]), "cuts 4 and 5");
        let many: Vec<usize> = (3..=17).chain([22]).collect();
        assert_eq!(cuts(&many), "cuts 3 to 17 and 22");
        let every_other: Vec<usize> = (1..100).step_by(2).collect();
        assert!(
            cuts(&every_other).ends_with("23 and 38 more"),
            "{}",
            cuts(&every_other)
        );
    }
}
