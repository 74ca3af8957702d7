//! Where rules put what they find.

use std::collections::BTreeMap;

use units::Point;

use crate::cutlist::{Cut, Element};
use crate::report::{Finding, Severity};

/// How many findings of one rule are listed one by one; of the rest only the number is told.
pub const LISTED_PER_RULE: usize = 100;

/// Where something was found. Zero stands for "no such place".
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Spot {
    /// Line, from 1.
    pub line: u32,
    /// Column, from 1.
    pub column: u32,
    /// Cut, from 1.
    pub cut: usize,
    /// Program coordinates while reading, sheet coordinates while vetting, mm.
    pub at: Option<Point>,
}

impl Spot {
    pub fn line(line: u32) -> Self {
        Self {
            line,
            ..Self::default()
        }
    }

    /// The torch on of a cut.
    pub fn torch_on(number: usize, cut: &Cut) -> Self {
        Self {
            line: cut.on_line,
            column: cut.on_column,
            cut: number,
            at: None,
        }
    }

    /// A piece of a cut's path.
    pub fn element(number: usize, e: &Element) -> Self {
        Self {
            line: e.line,
            column: e.column,
            cut: number,
            at: None,
        }
    }

    pub fn at(self, at: Point) -> Self {
        Self {
            at: Some(at),
            ..self
        }
    }
}

/// A bounded collection: a hopeless program must not fill the memory with what is wrong with it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Findings {
    list: Vec<Finding>,
    /// By rule: found in all, and the worst severity among those not listed.
    counts: BTreeMap<&'static str, (usize, Severity)>,
}

impl Findings {
    /// Adds one; its words are only made if it is listed.
    pub fn tell(
        &mut self,
        rule: &'static str,
        severity: Severity,
        spot: Spot,
        words: impl FnOnce() -> (String, String),
    ) {
        self.tell_at(rule, severity, || spot, words);
    }

    /// The same for a place that takes some finding: it is only looked for if it is listed.
    pub fn tell_at(
        &mut self,
        rule: &'static str,
        severity: Severity,
        spot: impl FnOnce() -> Spot,
        words: impl FnOnce() -> (String, String),
    ) {
        let (count, worst) = self.counts.entry(rule).or_insert((0, Severity::Note));
        *count += 1;
        if *count > LISTED_PER_RULE {
            *worst = (*worst).max(severity);
            return;
        }
        let spot = spot();
        let (says, remedy) = words();
        self.list.push(Finding {
            rule: rule.to_owned(),
            severity,
            line: (spot.line > 0).then_some(spot.line),
            column: (spot.column > 0).then_some(spot.column),
            cut: (spot.cut > 0).then_some(spot.cut),
            at: spot.at,
            says,
            remedy,
        });
    }

    pub fn refuse(
        &mut self,
        rule: &'static str,
        spot: Spot,
        words: impl FnOnce() -> (String, String),
    ) {
        self.tell(rule, Severity::Refuse, spot, words);
    }

    pub fn warn(
        &mut self,
        rule: &'static str,
        spot: Spot,
        words: impl FnOnce() -> (String, String),
    ) {
        self.tell(rule, Severity::Warn, spot, words);
    }

    pub fn note(
        &mut self,
        rule: &'static str,
        spot: Spot,
        words: impl FnOnce() -> (String, String),
    ) {
        self.tell(rule, Severity::Note, spot, words);
    }

    /// Adds what another part of vetting has found, as if it had been told here in that order.
    pub fn absorb(&mut self, other: Self) {
        for finding in other.list {
            let Some((&rule, &(_, worst))) = other.counts.get_key_value(finding.rule.as_str())
            else {
                continue;
            };
            let own = self.counts.entry(rule).or_insert((0, Severity::Note));
            own.0 += 1;
            if own.0 > LISTED_PER_RULE {
                own.1 = own.1.max(finding.severity).max(worst);
            } else {
                self.list.push(finding);
            }
        }
        for (rule, (count, worst)) in other.counts {
            if count > LISTED_PER_RULE {
                let own = self.counts.entry(rule).or_insert((0, Severity::Note));
                *own = (own.0 + count - LISTED_PER_RULE, own.1.max(worst));
            }
        }
    }

    /// All that is listed, with one line more for each rule that found too much to list.
    pub fn into_list(mut self) -> Vec<Finding> {
        for (rule, (count, worst)) in &self.counts {
            if *count > LISTED_PER_RULE {
                let more = count - LISTED_PER_RULE;
                self.list.push(Finding {
                    rule: (*rule).to_owned(),
                    severity: *worst,
                    line: None,
                    column: None,
                    cut: None,
                    at: None,
                    says: format!(
                        "{more} more of the same: {count} in all, the first {LISTED_PER_RULE} are listed."
                    ),
                    remedy: "Mend the first ones and vet again: the rest often share their cause."
                        .to_owned(),
                });
            }
        }
        self.list
    }
}

/// Things that are told once with their number: how often each kind came, and where first.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tally {
    kinds: BTreeMap<&'static str, u32>,
    pub first: Option<Spot>,
}

impl Tally {
    pub fn count(&mut self, kind: &'static str, spot: Spot) {
        *self.kinds.entry(kind).or_insert(0) += 1;
        self.first.get_or_insert(spot);
    }

    /// `3 x S, 12 x Z`: the kinds with their numbers.
    pub fn list(&self) -> String {
        let parts: Vec<String> = self
            .kinds
            .iter()
            .map(|(kind, n)| format!("{n} x {kind}"))
            .collect();
        parts.join(", ")
    }
}
