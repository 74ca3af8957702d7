//! Vetting of a splice: the rules of vetting, asked of the sheet as it is now with the new way into
//! the cut, less those that its own purpose breaks.

use super::ground::{history, made, part};
use super::{Proposal, Stopped, Way};
use crate::report::findings::Findings;
use crate::report::{Finding, Severity};
use crate::vetting::on_sheet::{OnSheet, VetInput};
use crate::vetting::rules;
use crate::vetting::rules::Group;
use crate::{Cut, CutList, Element, Reading};

/// Broken by the purpose of every splice, and those that judge how much of a
/// contour a cut has left, which here is what the stop has left of it.
const EXEMPT: [&str; 7] = [
    rules::shape::no_lead_in::NAME,
    rules::shape::lead_in_short::NAME,
    rules::order::pierce_near_kerf::NAME,
    rules::order::cut_twice::NAME,
    rules::order::path_in_void::NAME,
    rules::order::open_contour::NAME,
    // It says what vetting has said of the same metal before.
    rules::order::hole_after_outline::NAME,
];

/// What the rules say against a proposal: refusals and warnings that the cut did not have already.
/// `joint`: where its contour begins and where it is closed; `known`: what vetting has said of it.
pub(super) fn judge(
    stopped: &Stopped<'_>,
    input: &VetInput<'_>,
    proposal: &Proposal,
    joint: Option<(f64, f64)>,
    known: impl FnOnce() -> Vec<Finding>,
) -> Vec<Finding> {
    let Some(cut) = stopped.cuts.get(stopped.cut) else {
        return Vec::new();
    };
    let kerf_end = proposal.way == Way::KerfEnd || proposal.way == Way::Restart;
    let counts = |f: &Finding| {
        let rule = f.rule.as_str();
        !EXEMPT.contains(&rule) && (rule != rules::order::pierce_in_void::NAME || !kerf_end)
    };
    let mut said = on_the_sheet_now(stopped, input, cut, proposal);
    said.retain(counts);
    let mut of_entry = of_the_entry(input, cut, proposal);
    of_entry.retain(counts);
    let mut shape = Vec::new();
    if let Some(joint) = joint.filter(|j| proposal.from_mm >= j.0)
        && !proposal.entry.is_empty()
    {
        shape = as_drawn(stopped, input, cut, proposal, joint);
        shape.retain(counts);
    }
    if !(said.is_empty() && shape.is_empty()) {
        let known = known();
        let new = |f: &Finding| known.iter().all(|k| k.rule != f.rule);
        said.retain(|f| f.severity == Severity::Refuse || new(f));
        shape.retain(new);
        said.append(&mut shape);
    }
    for f in of_entry {
        if said.iter().all(|s| s.rule != f.rule) {
            said.push(f);
        }
    }
    said
}

/// The new way into the cut by itself: what is said of its place is never known before.
fn of_the_entry(input: &VetInput<'_>, cut: &Cut, proposal: &Proposal) -> Vec<Finding> {
    match made(&proposal.entry, cut.on_line) {
        Some(entry) => said(input, list(vec![entry]), 1, &[Group::Place]),
        None => Vec::new(),
    }
}

/// What the rules say of the cut in hand as the program draws it: its warnings were accepted.
pub(super) fn known(stopped: &Stopped<'_>, input: &VetInput<'_>) -> Vec<Finding> {
    let cuts = list(stopped.cuts.to_vec());
    let groups = [Group::Place, Group::Order, Group::Shape];
    said(input, cuts, stopped.cut + 1, &groups)
}

/// Place and metal: the sheet with what is cut so far, and the splice behind it.
fn on_the_sheet_now(
    stopped: &Stopped<'_>,
    input: &VetInput<'_>,
    cut: &Cut,
    proposal: &Proposal,
) -> Vec<Finding> {
    let mut list = history(stopped);
    let entry = made(&proposal.entry, cut.on_line);
    let rest = part(cut, proposal.from_mm, f64::INFINITY);
    let Some(splice) = joined(entry, rest) else {
        return Vec::new();
    };
    list.cuts.push(splice);
    let number = list.cuts.len();
    said(input, list, number, &[Group::Place, Group::Order])
}

/// Shape: the program with this contour begun at the joint instead.
fn as_drawn(
    stopped: &Stopped<'_>,
    input: &VetInput<'_>,
    cut: &Cut,
    proposal: &Proposal,
    (joint_mm, closed_mm): (f64, f64),
) -> Vec<Finding> {
    let entry = made(&proposal.entry, cut.on_line);
    let rest = joined(entry, part(cut, proposal.from_mm, closed_mm));
    let Some(turned) = joined(rest, part(cut, joint_mm, proposal.from_mm)) else {
        return Vec::new();
    };
    let mut cuts = stopped.cuts.to_vec();
    if let Some(slot) = cuts.get_mut(stopped.cut) {
        *slot = turned;
    }
    said(input, list(cuts), stopped.cut + 1, &[Group::Shape])
}

fn list(cuts: Vec<Cut>) -> CutList {
    CutList {
        cuts,
        stops: Vec::new(),
    }
}

/// Two stretches as one cut.
fn joined(first: Option<Cut>, second: Option<Cut>) -> Option<Cut> {
    let (Some(mut first), Some(second)) = (first.clone(), second.clone()) else {
        return first.or(second);
    };
    let feed = second.path.first().and_then(|e| e.feed_mm_s);
    let fed = |e: Element| Element {
        feed_mm_s: e.feed_mm_s.or(feed),
        ..e
    };
    first.path = first.path.into_iter().map(fed).chain(second.path).collect();
    Some(first)
}

/// What the rules of some groups say of one cut: refusals and warnings.
fn said(input: &VetInput<'_>, list: CutList, number: usize, groups: &[Group]) -> Vec<Finding> {
    let reading = Reading::of_cuts(list);
    let sheet = OnSheet::new(&reading, input, &crate::Unwatched);
    let mut found = Findings::default();
    for rule in rules::ALL.iter().filter(|r| groups.contains(&r.group)) {
        if let Some(judge) = rule.judge {
            judge(&sheet, &mut found);
        }
    }
    let mut list = found.into_list();
    list.retain(|f| f.cut == Some(number) && f.severity != Severity::Note);
    // Its number here is not its number in the program.
    for f in &mut list {
        f.cut = None;
    }
    list
}
