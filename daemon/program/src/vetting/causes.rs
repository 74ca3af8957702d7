//! One cause, one headline: which finding explains others, and the order in which all are told.
//!
//! A cause is found by mending it: the program is judged once more as if the unit were the other,
//! the forgotten torch off were there, the zero lay where all fits. What is no longer found then was
//! explained by the finding that names the cause. Severities, verdict and acceptances stay as they
//! are: a group stands where the worst of it would stand alone.

mod budget;

use core::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use units::{Point, Segment};

use self::budget::Budget;
use crate::cuts::cut_list::{Cut, CutList, Element};
use crate::report::{Finding, Severity};
use crate::vetting::judged;
use crate::vetting::on_sheet::{OnSheet, VetInput};
use crate::vetting::rules;
use crate::vetting::rules::Group;
use crate::vetting::rules::place::outside_sheet;
use crate::watch::Watch;
use crate::{Reading, Unit};

/// A finding and those that it explains, by their places in the list.
#[derive(Clone, Debug, Default)]
struct Cause {
    head: usize,
    explains: Vec<usize>,
    /// It is about the whole program: told first among its like.
    whole: bool,
    /// Said of it besides.
    adds: String,
}

/// All findings in the order in which they are told, each with the place of what explains it.
pub(crate) fn arranged(sheet: &OnSheet<'_>, mut findings: Vec<Finding>) -> Vec<Finding> {
    sort(&mut findings);
    let mut search = Search {
        sheet,
        taken: vec![false; findings.len()],
        findings: &findings,
        budget: Budget::new(),
    };
    let mut causes: Vec<Cause> = Vec::new();
    causes.extend(search.other_machine());
    causes.extend(search.unit());
    causes.extend(search.torch_off());
    causes.extend(search.zero());
    if causes.is_empty() {
        return findings;
    }
    order(findings, &causes)
}

/// Worst first, then in order of line; what has no line comes last.
fn sort(findings: &mut [Finding]) {
    // By keys kept aside: there may be tens of thousands of findings, each some 400 bytes with its words.
    findings.sort_by_cached_key(|f| (Reverse(f.severity), place(f)));
}

fn place(f: &Finding) -> (u32, u32) {
    (f.line.unwrap_or(u32::MAX), f.column.unwrap_or(0))
}

/// Lays the groups out: each where its worst member would stand.
fn order(findings: Vec<Finding>, causes: &[Cause]) -> Vec<Finding> {
    let mut member_of: Vec<Option<usize>> = vec![None; findings.len()];
    let mut causes_of: Vec<Option<usize>> = vec![None; findings.len()];
    for (k, cause) in causes.iter().enumerate() {
        causes_of[cause.head] = Some(k);
        for &i in &cause.explains {
            member_of[i] = Some(k);
        }
    }
    let mut heads: Vec<(Reverse<Severity>, bool, usize, usize)> = Vec::new();
    for (i, f) in findings.iter().enumerate() {
        if member_of[i].is_some() {
            continue;
        }
        // The list is sorted: the first in it is the worst, and stands for the group.
        let (worst, whole) = match causes_of[i] {
            Some(k) => {
                let first = causes[k]
                    .explains
                    .iter()
                    .copied()
                    .chain([i])
                    .min()
                    .unwrap_or(i);
                (first, causes[k].whole)
            }
            None => (i, false),
        };
        let severity = findings.get(worst).map_or(f.severity, |w| w.severity);
        heads.push((Reverse(severity), !whole, worst, i));
    }
    heads.sort_unstable();
    let mut slots: Vec<Option<Finding>> = findings.into_iter().map(Some).collect();
    let mut told: Vec<Finding> = Vec::with_capacity(slots.len());
    for (_, _, _, i) in heads {
        let Some(mut head) = slots[i].take() else {
            continue;
        };
        let at = told.len();
        let Some(cause) = causes_of[i].map(|k| &causes[k]) else {
            told.push(head);
            continue;
        };
        head.says.push_str(&cause.adds);
        told.push(head);
        let mut members = cause.explains.clone();
        members.sort_unstable();
        for m in members {
            if let Some(mut member) = slots[m].take() {
                member.under = Some(at);
                told.push(member);
            }
        }
    }
    told
}

struct Search<'s, 'a> {
    sheet: &'s OnSheet<'a>,
    findings: &'s [Finding],
    /// Explains others, or is explained.
    taken: Vec<bool>,
    /// So many pieces of path may still be judged again.
    budget: Budget,
}

impl Search<'_, '_> {
    /// The places of the findings of a rule that are still free.
    fn of(&self, rule: &str) -> Vec<usize> {
        crate::work::count(self.findings.len());
        (0..self.findings.len())
            .filter(|&i| !self.taken[i] && self.findings[i].rule == rule)
            .collect()
    }

    /// What is free and `picked`.
    fn free(&self, picked: impl Fn(&Finding) -> bool) -> Vec<usize> {
        crate::work::count(self.findings.len());
        (0..self.findings.len())
            .filter(|&i| {
                !self.taken[i] && self.findings[i].rule != rules::reading::not_judged::NAME
            })
            .filter(|&i| picked(&self.findings[i]))
            .collect()
    }

    fn cause(&mut self, head: usize, mut explains: Vec<usize>, whole: bool) -> Option<Cause> {
        explains.retain(|&i| i != head);
        if explains.is_empty() {
            return None;
        }
        self.taken[head] = true;
        for &i in &explains {
            self.taken[i] = true;
        }
        Some(Cause {
            head,
            explains,
            whole,
            adds: String::new(),
        })
    }

    /// There is no more path than may be judged once more.
    fn is_short(&self) -> bool {
        self.budget.allows(self.pieces())
    }

    /// So many pieces of path are judged each time; a cut counts too.
    fn pieces(&self) -> usize {
        let cuts = &self.sheet.reading.cut_list.cuts;
        cuts.len() + cuts.iter().map(|c| c.path.len()).sum::<usize>()
    }

    /// Words of several kinds that this panel cannot carry out: a program for another machine.
    fn other_machine(&mut self) -> Option<Cause> {
        let unsupported = self.of(rules::reading::unsupported_word::NAME);
        let mut kinds: Vec<&str> = Vec::new();
        for &i in &unsupported {
            let says = self.findings[i].says.as_str();
            if !kinds.contains(&says) && kinds.len() < 100 {
                kinds.push(says);
            }
        }
        let head = *unsupported.first()?;
        let of_it = [
            rules::reading::unsupported_word::NAME,
            rules::reading::unreadable_block::NAME,
            rules::reading::word_ignored::NAME,
            rules::reading::replaced::NAME,
            rules::torch::no_cut::NAME,
            rules::shape::feed_above_machine::NAME,
            rules::reading::dwell_suspect::NAME,
        ];
        let several = kinds.len() > 1;
        let n = kinds.len();
        let explains = match several {
            true => self.free(|f| of_it.contains(&f.rule.as_str())),
            false => unsupported,
        };
        let mut cause = self.cause(head, explains, several)?;
        if several {
            cause.adds = format!(
                " Words of {n} kinds are for another machine or another controller's own language: \
                 the program seems not to be made for this table."
            );
        }
        Some(cause)
    }

    /// The unit of the whole program, or of its feeds, is wrong.
    fn unit(&mut self) -> Option<Cause> {
        let head = *self.of(rules::reading::scale_suspect::NAME).first()?;
        let by = match self.sheet.reading.unit {
            Unit::Millimetre => 25.4,
            Unit::Inch => 1.0 / 25.4,
        };
        let gone = |size: f64, feed: f64| -> Vec<usize> {
            let mended = self.mended(|| {
                let list = scaled(&self.sheet.reading.cut_list, size, feed);
                keys(
                    &with(self.sheet.reading, list),
                    &self.sheet.input,
                    self.sheet.watch,
                )
            });
            self.free(|f| of_sheet(f) && mended.as_ref().is_none_or(|m| !m.contains(&key(f))))
        };
        // The whole program comes first: what explains most is the cause.
        let mut explains = gone(by, by);
        for feed in [25.4, 1.0 / 25.4] {
            if !self.is_short() {
                break;
            }
            let of_feed = gone(1.0, feed);
            if of_feed.len() > explains.len() {
                explains = of_feed;
            }
        }
        explains.extend(self.free(|f| {
            f.rule == rules::reading::units_not_stated::NAME || FORECASTS.contains(&f.rule.as_str())
        }));
        self.cause(head, explains, true)
    }

    /// A torch off is missing: two cuts have become one.
    fn torch_off(&mut self) -> Vec<Cause> {
        let forgotten = self.forgotten();
        let Some(earliest) = forgotten.first().map(|f| f.cut) else {
            return Vec::new();
        };
        let at = |cut: usize| forgotten.binary_search_by_key(&cut, |f| f.cut);
        let mended = self.mended(|| {
            let list = &self.sheet.reading.cut_list;
            let mut cuts = Vec::new();
            for (cut, number) in list.cuts.iter().zip(1..) {
                match at(number).ok().and_then(|k| forgotten.get(k)) {
                    Some(f) => cuts.extend(split(cut, f)),
                    None => cuts.push(cut.clone()),
                }
            }
            let stops = list.stops.clone();
            keys(
                &with(self.sheet.reading, CutList { cuts, stops }),
                &self.sheet.input,
                self.sheet.watch,
            )
        });
        // What follows a cut is explained by the last before it, what comes earlier by the first.
        let mut explains: Vec<Vec<usize>> = vec![Vec::new(); forgotten.len()];
        let gone = |f: &Finding| {
            of_sheet(f) && f.cut.is_some() && mended.as_ref().is_some_and(|m| !m.contains(&key(f)))
        };
        let own = |f: &Finding| {
            let rule = f.rule.as_str();
            f.cut.is_some_and(|cut| at(cut).is_ok())
                && (rule == rules::torch::torch_on_in_rapid::NAME
                    || rule == rules::torch::torch_left_on::NAME
                    || (rule == rules::torch::torch_on_twice::NAME && f.severity == Severity::Warn))
        };
        for i in self.free(|f| own(f) || gone(f)) {
            let cut = self.findings[i].cut.unwrap_or(earliest);
            let k = at(cut).unwrap_or_else(|next| next.saturating_sub(1));
            if let Some(list) = explains.get_mut(k) {
                list.push(i);
            }
        }
        // A headline of one is not to stand under another.
        let heads: BTreeSet<usize> = forgotten.iter().map(|f| f.head).collect();
        let mut causes = Vec::new();
        for (f, mut explains) in forgotten.iter().zip(explains) {
            explains.retain(|i| !heads.contains(i));
            if let Some(mut cause) = self.cause(f.head, explains, false) {
                let then = match f.ons.first() {
                    Some(line) => format!("it is put on again in line {line}"),
                    None => "the program ends with it on".to_owned(),
                };
                cause.adds = format!(" A torch off is missing before this: {then}.");
                causes.push(cause);
            }
        }
        causes
    }

    /// The cuts that a missing torch off has made of two, in order.
    fn forgotten(&self) -> Vec<Forgotten> {
        let mut all: BTreeMap<usize, Forgotten> = BTreeMap::new();
        // In this order, so that the rapid, which stands where the torch off should, is the headline.
        for rule in [
            rules::torch::torch_on_in_rapid::NAME,
            rules::torch::torch_on_twice::NAME,
            rules::torch::torch_left_on::NAME,
        ] {
            for i in self.of(rule) {
                let f = &self.findings[i];
                let (Some(cut), Some(line)) = (f.cut, f.line) else {
                    continue;
                };
                if rule == rules::torch::torch_on_twice::NAME && f.severity != Severity::Warn {
                    continue;
                }
                let of_cut = all.entry(cut).or_insert(Forgotten {
                    cut,
                    head: i,
                    rapids: Vec::new(),
                    ons: Vec::new(),
                    left_on: false,
                });
                match rule {
                    rules::torch::torch_on_in_rapid::NAME => of_cut.rapids.push(line),
                    rules::torch::torch_on_twice::NAME => of_cut.ons.push(line),
                    _ => of_cut.left_on = true,
                }
            }
        }
        let forgotten = |f: &Forgotten| !f.ons.is_empty() || (f.left_on && !f.rapids.is_empty());
        let mut all: Vec<Forgotten> = all.into_values().filter(forgotten).collect();
        for f in &mut all {
            f.rapids.sort_unstable();
            f.ons.sort_unstable();
        }
        all
    }

    /// The zero lies so that the path leaves the sheet or the travel.
    fn zero(&mut self) -> Option<Cause> {
        let outside = |f: &Finding| {
            f.rule == outside_sheet::NAME || f.rule == rules::place::outside_travel::NAME
        };
        let head = *self.free(outside).first()?;
        let setup = self.sheet.input.setup?;
        let explains = match outside_sheet::fit(self.sheet)? {
            outside_sheet::Fit::Move(by) => {
                let mended = self.mended(|| {
                    let mut moved = setup.clone();
                    moved.origin = setup.origin.moved(by.x, by.y);
                    let input = VetInput {
                        setup: Some(&moved),
                        ..self.sheet.input
                    };
                    keys(self.sheet.reading, &input, self.sheet.watch)
                });
                self.free(|f| {
                    let gone = mended.as_ref().is_some_and(|m| !m.contains(&key(f)));
                    outside(f) || (of_sheet(f) && gone)
                })
            }
            outside_sheet::Fit::Never(_) => {
                let off = |p: Point| {
                    let inside = |v: f64, size: f64| (0.0..=size).contains(&v);
                    !inside(p.x, setup.sheet.x) || !inside(p.y, setup.sheet.y)
                };
                let voids = [
                    rules::order::pierce_in_void::NAME,
                    rules::order::path_in_void::NAME,
                ];
                self.free(|f| {
                    outside(f) || (voids.contains(&f.rule.as_str()) && f.at.is_some_and(off))
                })
            }
            outside_sheet::Fit::Fits => return None,
        };
        self.cause(head, explains, true)
    }

    /// What is found when a cause is mended; `None`: there is too much path to judge it twice.
    fn mended(&self, judge: impl FnOnce() -> BTreeSet<Key>) -> Option<BTreeSet<Key>> {
        self.budget.take(self.pieces()).then(judge)
    }
}

/// A cut that a missing torch off has made of two or more.
#[derive(Debug)]
struct Forgotten {
    /// From 1.
    cut: usize,
    /// The finding that names the place best.
    head: usize,
    /// Lines of rapid moves with the torch on.
    rapids: Vec<u32>,
    /// Lines where it is put on again.
    ons: Vec<u32>,
    /// It stays on until the end.
    left_on: bool,
}

/// Findings are the same if they are of one rule at one line.
type Key = (String, Option<u32>);

fn key(f: &Finding) -> Key {
    (f.rule.clone(), f.line)
}

fn keys(reading: &Reading, input: &VetInput<'_>, watch: &dyn Watch) -> BTreeSet<Key> {
    let found = judged(&OnSheet::new(reading, input, watch));
    found.into_list().iter().map(key).collect()
}

/// Forecasts hang on the path as it was read: another path, another forecast.
const FORECASTS: [&str; 5] = [
    rules::supplies::air_short::NAME,
    rules::supplies::duty_exceeded::NAME,
    rules::supplies::wear_out::NAME,
    rules::supplies::little_arc_time::NAME,
    rules::shape::heat_build_up::NAME,
];

/// It comes from a rule that judges where the path lies and what it does.
fn of_sheet(f: &Finding) -> bool {
    rules::ALL.iter().any(|r| {
        r.name == f.rule
            && r.judge.is_some()
            && !FORECASTS.contains(&r.name)
            && matches!(
                r.group,
                Group::Torch | Group::Place | Group::Order | Group::Shape
            )
    })
}

/// The same reading with other cuts.
fn with(reading: &Reading, cut_list: CutList) -> Reading {
    Reading {
        cut_list,
        findings: Vec::new(),
        comments: reading.comments.clone(),
        tools: reading.tools.clone(),
        ..*reading
    }
}

/// The cuts with all sizes, and all feeds, times a number.
fn scaled(list: &CutList, by: f64, feed_by: f64) -> CutList {
    let point = |p: Point| Point::new(p.x * by, p.y * by);
    let segment = |s: &Segment| match *s {
        Segment::Line { from, to } => Segment::Line {
            from: point(from),
            to: point(to),
        },
        Segment::Arc {
            from,
            to,
            centre,
            clockwise,
        } => Segment::Arc {
            from: point(from),
            to: point(to),
            centre: point(centre),
            clockwise,
        },
    };
    let cut = |c: &Cut| Cut {
        pierce: point(c.pierce),
        path: (c.path.iter())
            .map(|e| Element {
                segment: segment(&e.segment),
                feed_mm_s: e.feed_mm_s.map(|f| f * feed_by),
                ..*e
            })
            .collect(),
        ..c.clone()
    };
    CutList {
        cuts: list.cuts.iter().map(cut).collect(),
        stops: list.stops.clone(),
    }
}

/// A cut as it would be with the torch off at its rapid moves, until it is put on again.
fn split(cut: &Cut, f: &Forgotten) -> Vec<Cut> {
    let begun = |pierce: Point, line: u32| Cut {
        pierce,
        on_line: line,
        path: Vec::new(),
        compensation: None,
        ..cut.clone()
    };
    let mut cuts = Vec::new();
    let mut open = Some(begun(cut.pierce, cut.on_line));
    let mut ons = f.ons.iter().copied().peekable();
    for e in &cut.path {
        if f.rapids.binary_search(&e.line).is_ok() {
            cuts.extend(open.take());
            continue;
        }
        while let Some(line) = ons.next_if(|line| *line <= e.line) {
            if open.as_ref().is_none_or(|c| !c.path.is_empty()) {
                cuts.extend(open.replace(begun(e.segment.from(), line)));
            }
        }
        if let Some(c) = &mut open {
            c.path.push(*e);
        }
    }
    cuts.extend(open);
    cuts
}
