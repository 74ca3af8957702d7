//! Where rules put what they find.

use std::collections::BTreeMap;

use units::Point;

use crate::cuts::cut_list::{Cut, Element};
use crate::report::lack::Lack;
use crate::report::{Finding, Severity};

/// How many findings of one rule are listed one by one; the rest are told as one, with their number
/// and their cuts. No sheet has so many cuts; a hopeless text of 64 MiB has.
pub const LISTED_PER_RULE: usize = 10_000;

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
    counts: BTreeMap<&'static str, Count>,
    /// Rules that had nothing to judge by, and what they lack.
    pub not_judged: BTreeMap<&'static str, Lack>,
}

/// The findings of one rule.
#[derive(Clone, Debug, Default)]
struct Count {
    found: usize,
    /// The first that is not listed: it stands for all that are not.
    rest: Option<Finding>,
}

/// A finding that was just told: more may be said of it.
pub(crate) struct Told<'f>(Option<&'f mut Finding>);

impl Told<'_> {
    /// It concerns these cuts too (from 1).
    pub fn of_cuts(self, cuts: impl IntoIterator<Item = usize>) {
        if let Some(finding) = self.0 {
            finding.cuts.extend(cuts);
        }
    }
}

impl Findings {
    /// Adds one; its words are only made if it is listed.
    pub fn tell(
        &mut self,
        rule: &'static str,
        severity: Severity,
        spot: Spot,
        words: impl FnOnce() -> (String, String),
    ) -> Told<'_> {
        self.tell_at(rule, severity, spot.cut, || spot, words)
    }

    /// The same for a place in a cut (from 1; 0: in none) that takes some finding: it is only looked
    /// for if it is listed.
    pub fn tell_at(
        &mut self,
        rule: &'static str,
        severity: Severity,
        cut: usize,
        spot: impl FnOnce() -> Spot,
        words: impl FnOnce() -> (String, String),
    ) -> Told<'_> {
        crate::work::count(1);
        let count = self.counts.entry(rule).or_default();
        count.found += 1;
        if count.found <= LISTED_PER_RULE {
            self.list.push(made(rule, severity, spot(), words()));
            return Told(self.list.last_mut());
        }
        match &mut count.rest {
            Some(rest) => stand_for(rest, 1, severity, &[cut]),
            None => count.rest = Some(made(rule, severity, spot(), Default::default())),
        }
        Told(count.rest.as_mut())
    }

    pub fn refuse(
        &mut self,
        rule: &'static str,
        spot: Spot,
        words: impl FnOnce() -> (String, String),
    ) -> Told<'_> {
        self.tell(rule, Severity::Refuse, spot, words)
    }

    pub fn warn(
        &mut self,
        rule: &'static str,
        spot: Spot,
        words: impl FnOnce() -> (String, String),
    ) -> Told<'_> {
        self.tell(rule, Severity::Warn, spot, words)
    }

    pub fn note(
        &mut self,
        rule: &'static str,
        spot: Spot,
        words: impl FnOnce() -> (String, String),
    ) -> Told<'_> {
        self.tell(rule, Severity::Note, spot, words)
    }

    /// Adds what another part of vetting has found, as if it had been told here in that order.
    pub fn absorb(&mut self, other: Self) {
        self.not_judged.extend(other.not_judged);
        let mut counts = other.counts;
        for finding in other.list {
            let Some((&rule, _)) = counts.get_key_value(finding.rule.as_str()) else {
                continue;
            };
            self.add(rule, finding);
        }
        for (rule, rest) in counts
            .iter_mut()
            .filter_map(|(r, c)| Some((*r, c.rest.take()?)))
        {
            self.add(rule, rest);
        }
    }

    /// Adds a finding, which may stand for several.
    fn add(&mut self, rule: &'static str, finding: Finding) {
        let count = self.counts.entry(rule).or_default();
        count.found += finding.times();
        if count.found <= LISTED_PER_RULE {
            self.list.push(finding);
            return;
        }
        match &mut count.rest {
            Some(rest) => stand_for(rest, finding.times(), finding.severity, &finding.cuts),
            None => count.rest = Some(finding),
        }
    }

    /// None yet, with room for so many.
    pub fn with_room(many: usize) -> Self {
        Self {
            list: Vec::with_capacity(many),
            ..Self::default()
        }
    }

    /// How many are listed.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// All that is listed, with one more for each rule that found too much to list.
    pub fn into_list(mut self) -> Vec<Finding> {
        for count in core::mem::take(&mut self.counts).into_values() {
            if let Some(mut rest) = count.rest {
                rest.says = format!(
                    "{} more of the same: {} in all, the first {LISTED_PER_RULE} are listed.",
                    rest.times(),
                    count.found
                );
                rest.remedy =
                    "Mend the first ones and vet again: the rest often share their cause."
                        .to_owned();
                self.list.push(rest);
            }
        }
        for finding in &mut self.list {
            finding.cuts.sort_unstable();
            finding.cuts.dedup();
        }
        self.list
    }
}

/// `rest` stands for so many more, of these cuts.
fn stand_for(rest: &mut Finding, more: usize, severity: Severity, cuts: &[usize]) {
    rest.more += more;
    rest.severity = rest.severity.max(severity);
    for &cut in cuts {
        // Many findings of one cut are one entry.
        if cut > 0 && rest.cuts.last() != Some(&cut) {
            rest.cuts.push(cut);
        }
    }
}

fn made(
    rule: &'static str,
    severity: Severity,
    spot: Spot,
    (says, remedy): (String, String),
) -> Finding {
    Finding {
        rule: rule.to_owned(),
        severity,
        line: (spot.line > 0).then_some(spot.line),
        column: (spot.column > 0).then_some(spot.column),
        cut: (spot.cut > 0).then_some(spot.cut),
        cuts: (spot.cut > 0).then_some(spot.cut).into_iter().collect(),
        at: spot.at,
        says,
        remedy,
        under: None,
        more: 0,
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
