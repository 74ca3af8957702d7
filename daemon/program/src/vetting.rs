//! Vetting: the rules, asked one after the other.

pub(crate) mod causes;
pub(crate) mod derived;
pub(crate) mod facts;
pub(crate) mod feeds;
pub(crate) mod lead;
pub(crate) mod rules;

use std::sync::OnceLock;

use units::{Bounds, Placement, Point, Segment};

use crate::contours::Contours;
use crate::contours::near::{Near, Pairs};
use crate::cuts::compensation;
use crate::cuts::cut_list::{Cut, Element};
use crate::cuts::polylines::Flat;
use crate::geometry::plane::Placer;
use crate::report::findings::Findings;
use crate::report::{Finding, Report, Verdict};
use crate::vetting::derived::Derived;
use crate::vetting::facts::Facts;
use crate::vetting::rules::reading::not_judged::Lack;
use crate::{Reading, Setup};

/// What vetting may know besides the program.
#[derive(Clone, Copy, Debug)]
pub struct VetInput<'a> {
    /// What lies on the table.
    pub setup: Option<&'a Setup>,
    /// Travel along X and Y, mm, and where the sheet's corner lies in it.
    pub travel: Point,
    /// The sheet's lower left corner, machine coordinates, mm.
    pub sheet_corner: Point,
    /// Kerf, mm: the chart row's; a kerf in the setup comes before it.
    pub kerf_mm: Option<f64>,
    /// Feed of the chart row, mm/s.
    pub chart_feed_mm_s: Option<f64>,
    /// Traverse height above the sheet, mm.
    pub traverse_height_mm: f64,
    /// Longest line the controller takes, characters.
    pub line_limit: usize,
    /// Why there is no chart row, in words, when there is none.
    pub no_row: Option<&'a str>,
    /// The machine, the chart row and the supplies.
    pub facts: Facts<'a>,
}

/// Whoever waits for vetting: it is told what is done, and may stop it.
pub trait Watch: Sync {
    /// False: nobody wants the result any more. What is found from then on is not whole; once it
    /// says no it must not say yes again.
    fn go_on(&self) -> bool {
        true
    }

    /// A part of the work begins.
    fn phase(&self, name: &'static str) {
        let _ = name;
    }
}

/// Nobody watches.
#[derive(Clone, Copy, Debug)]
pub struct Unwatched;

impl Watch for Unwatched {}

/// A reading as it lies on the sheet: what the rules judge.
pub(crate) struct OnSheet<'a> {
    pub reading: &'a Reading,
    pub input: VetInput<'a>,
    /// Program to sheet; leaves things where they are when there is no setup.
    pub placer: Placer,
    facts: Vec<(Bounds, f64)>,
    flat: OnceLock<Flat>,
    contours: OnceLock<Option<Contours>>,
    pairs: OnceLock<Option<Pairs>>,
    pub derived: Derived,
    pub watch: &'a dyn Watch,
}

impl<'a> OnSheet<'a> {
    pub fn new(reading: &'a Reading, input: &VetInput<'a>, watch: &'a dyn Watch) -> Self {
        let mut input = *input;
        input.kerf_mm = input.setup.and_then(|s| s.kerf).or(input.kerf_mm);
        let placement = input.setup.map_or_else(Placement::default, |s| Placement {
            origin: s.origin,
            rotation_deg: s.rotation,
        });
        let placer = Placer::new(&placement);
        let facts = reading
            .cut_list
            .cuts
            .iter()
            .map(|cut| {
                let mut b = Bounds::of(placer.place(cut.pierce));
                let mut length = 0.0;
                for e in &cut.path {
                    b.join(&placer.segment(&e.segment).bounds());
                    length += e.segment.length();
                }
                (b, length)
            })
            .collect();
        Self {
            reading,
            input,
            placer,
            facts,
            flat: OnceLock::new(),
            contours: OnceLock::new(),
            pairs: OnceLock::new(),
            derived: Derived::default(),
            watch,
        }
    }

    /// The cuts with their numbers, from 1.
    pub fn cuts(&self) -> impl Iterator<Item = (&'a Cut, usize)> + use<'a> {
        self.reading.cut_list.cuts.iter().zip(1..)
    }

    /// Every piece of path.
    pub fn elements(&self) -> impl Iterator<Item = &'a Element> + use<'a> {
        self.reading.cut_list.cuts.iter().flat_map(|c| &c.path)
    }

    /// A cut's path as it lies on the sheet, each piece with that of the program.
    pub fn path<'s>(&'s self, cut: &'s Cut) -> impl Iterator<Item = (Segment, &'s Element)> + 's {
        cut.path
            .iter()
            .map(|e| (self.placer.segment(&e.segment), e))
    }

    /// The cuts as straight pieces, worked out when first asked for.
    pub fn flat(&self) -> &Flat {
        self.flat
            .get_or_init(|| Flat::new(&self.reading.cut_list, &self.placer))
    }

    /// The closed contours, worked out when first asked for; `None`: the kerf is not known.
    pub fn contours(&self) -> Option<&Contours> {
        self.contours
            .get_or_init(|| Some(Contours::new(self.flat(), self.input.kerf_mm?)))
            .as_ref()
    }

    /// All paths in a tree; `None`: the kerf is not known.
    pub fn near(&self) -> Option<Near<'_>> {
        let (flat, contours) = (self.flat(), self.contours()?);
        Some(Near { flat, contours })
    }

    /// The pairs of cuts with little metal between them (see [`crate::vetting::rules::shape::web_too_thin`]);
    /// `None`: the kerf or the thickness is not known.
    pub fn near_pairs(&self) -> Option<&Pairs> {
        let work = || {
            let within_mm = rules::shape::web_too_thin::reach_mm(self.input.setup?.thickness);
            let kerf_mm = self.input.kerf_mm?;
            Some(self.near()?.pairs(within_mm + kerf_mm, kerf_mm, self.watch))
        };
        self.pairs.get_or_init(work).as_ref()
    }

    fn fact(&self, number: usize) -> (Bounds, f64) {
        let nowhere = (Bounds::of(Point::default()), 0.0);
        let slot = number.checked_sub(1).and_then(|i| self.facts.get(i));
        slot.copied().unwrap_or(nowhere)
    }

    /// The rectangle round a cut, sheet mm.
    pub fn bounds(&self, number: usize) -> Bounds {
        self.fact(number).0
    }

    /// The length of a cut, mm.
    pub fn length_mm(&self, number: usize) -> f64 {
        self.fact(number).1
    }

    /// The rectangle round all cuts, sheet mm.
    pub fn all_bounds(&self) -> Option<Bounds> {
        let mut all: Option<Bounds> = None;
        for (b, _) in &self.facts {
            all.get_or_insert(*b).join(b);
        }
        all
    }

    /// How far from the sheet's corner the cuts reach, mm.
    pub fn far_mm(&self) -> f64 {
        self.all_bounds().map_or(0.0, |b| {
            [b.low.x, b.low.y, b.high.x, b.high.y]
                .iter()
                .fold(0.0, |far: f64, v| far.max(v.abs()))
        })
    }
}

/// What vetting says, and the sheet that it has worked out on the way.
#[derive(Debug)]
pub struct Vetting {
    /// The report.
    pub report: Report,
    /// The sheet through all cuts; `None`: the sheet or the kerf is not known, the path could not be
    /// read, or there is more of it than any sheet takes.
    pub pieces: Option<crate::PieceMap>,
    /// The outlines of the pieces that are loose in the end, sheet mm.
    pub loose: Vec<Loose>,
    /// Stretches on which each cut crosses a kerf that is cut before it, mm along it: as the rule
    /// `kerf-crossing` tells them.
    pub crossings: Vec<Vec<[f64; 2]>>,
}

/// A piece that is loose when all is cut.
#[derive(Clone, Debug, PartialEq)]
pub struct Loose {
    /// The cut that frees it, from 1.
    pub cut: usize,
    /// The middle of the kerf round it, sheet mm.
    pub outline: Vec<Point>,
}

/// Vets a program that was read. Judged is what will be cut: kerf compensation that was not carried
/// out yet is carried out first (see [`crate::compensated`]).
#[must_use]
pub fn vet(reading: &Reading, input: &VetInput<'_>) -> Report {
    vet_in_full(reading, input).report
}

/// Vets a program that was read; gives also what was found of its pieces.
#[must_use]
pub fn vet_in_full(reading: &Reading, input: &VetInput<'_>) -> Vetting {
    if compensation::is_due(&reading.cut_list) {
        let kerf_mm = input.setup.and_then(|s| s.kerf).or(input.kerf_mm);
        return vet_in_full(&compensation::compensated(reading.clone(), kerf_mm), input);
    }
    let judging = Judging::new(reading, input, &Unwatched);
    let found = judging.halves().map(|half| judging.judge(&half));
    judging.whole(found)
}

/// Vetting in parts that do not wait for each other: the service may run them side by side. The
/// result is the same however they are run.
pub struct Judging<'a> {
    sheet: OnSheet<'a>,
    /// The path is what the program means.
    known: bool,
}

/// Rules to be judged together.
pub struct Half(Vec<usize>);

/// What the rules of one half have found.
pub struct Found(Vec<(usize, Findings)>);

impl<'a> Judging<'a> {
    /// Vetting of a program whose kerf compensation, if it asks for any, was carried out (see
    /// [`crate::compensated`]). `watch` is told of its progress and may stop it.
    #[must_use]
    pub fn new(reading: &'a Reading, input: &VetInput<'a>, watch: &'a dyn Watch) -> Self {
        watch.phase("bounds and lengths");
        let sheet = OnSheet::new(reading, input, watch);
        let known = path_known(reading);
        if known {
            watch.phase("polylines");
            sheet.flat();
        }
        Self { sheet, known }
    }

    /// The rules in two halves: those that ask for the pieces of the sheet, and the others.
    #[must_use]
    pub fn halves(&self) -> [Half; 2] {
        let of = |order: bool| {
            let wanted = |rule: &&rules::Rule| (rule.group == rules::Group::Order) == order;
            let numbers = rules::ALL.iter().enumerate().filter(|(_, r)| wanted(r));
            Half(numbers.map(|(k, _)| k).collect())
        };
        [of(true), of(false)]
    }

    /// Judges by the rules of one half.
    #[must_use]
    pub fn judge(&self, half: &Half) -> Found {
        let mut all = Vec::new();
        for &number in &half.0 {
            if self.sheet.watch.go_on() {
                self.sheet.watch.phase(rules::ALL[number].name);
                let mut found = Findings::default();
                by_rule(&self.sheet, self.known, &rules::ALL[number], &mut found);
                all.push((number, found));
            }
        }
        Found(all)
    }

    /// The report from what both halves have found.
    #[must_use]
    pub fn whole(self, halves: [Found; 2]) -> Vetting {
        let Self { sheet, known } = self;
        sheet.watch.phase("report");
        let mut by_rule: Vec<(usize, Findings)> = halves.into_iter().flat_map(|f| f.0).collect();
        by_rule.sort_by_key(|(number, _)| *number);
        let mut found = Findings::default();
        by_rule.into_iter().for_each(|(_, f)| found.absorb(f));
        let reading = sheet.reading;
        let (not_judged, lacks) = rules::reading::not_judged::sum_up(&mut found, &sheet.input);
        let mut findings: Vec<Finding> = reading.findings.clone();
        for finding in &mut findings {
            finding.at = finding.at.map(|p| sheet.placer.place(p));
        }
        findings.extend(found.into_list());
        let findings = causes::arranged(&sheet, findings);
        let cuts = reading.cut_list.cuts.len();
        let report = Report {
            verdict: Verdict::of(&findings),
            cuts,
            pierces: cuts,
            // Not `sum`: of nothing that is -0.
            cut_mm: sheet.facts.iter().fold(0.0, |all, (_, mm)| all + mm),
            rapid_mm: reading.cut_list.rapid_mm(),
            time_s: None,
            bounds: sheet.all_bounds(),
            not_judged,
            findings,
            lacks,
        };
        let loose = if known { sheet.loose() } else { Vec::new() };
        let crossings = if known { crossings(&sheet) } else { Vec::new() };
        Vetting {
            report,
            pieces: known.then(|| sheet.into_pieces()).flatten(),
            loose,
            crossings,
        }
    }
}

fn crossings(sheet: &OnSheet<'_>) -> Vec<Vec<[f64; 2]>> {
    let of = |(_, number)| {
        let stretches = rules::order::kerf_crossing::of_cut(sheet, number);
        stretches.map(|s| [s.from_mm, s.to_mm]).collect()
    };
    sheet.cuts().map(of).collect()
}

/// The sheet through all cuts of a program, without a report: its pieces, what is loose, what the
/// clamp holds. `None`: the sheet or the kerf is not known, there is more path than any sheet takes, or
/// `watch` stops it.
#[must_use]
pub fn piece_map(
    reading: &Reading,
    input: &VetInput<'_>,
    watch: &dyn Watch,
) -> Option<crate::PieceMap> {
    if compensation::is_due(&reading.cut_list) {
        let kerf_mm = input.setup.and_then(|s| s.kerf).or(input.kerf_mm);
        let carried_out = compensation::compensated(reading.clone(), kerf_mm);
        return piece_map(&carried_out, input, watch);
    }
    OnSheet::new(reading, input, watch).into_pieces()
}

/// A path that could not be read is not the one that would be cut: what it does to the sheet is
/// judged when the blocks are mended. The verdict is `refused` as it is.
fn path_known(reading: &Reading) -> bool {
    reading.is_program && !reading.findings.iter().any(rules::path_unknown)
}

/// What the rules find in the cut list as it lies on the sheet.
pub(crate) fn judged(sheet: &OnSheet<'_>) -> Findings {
    let mut found = Findings::default();
    let known = path_known(sheet.reading);
    for rule in rules::ALL {
        if sheet.watch.go_on() {
            by_rule(sheet, known, rule, &mut found);
        }
    }
    found
}

/// What one rule finds, or that it had nothing to judge by.
fn by_rule(sheet: &OnSheet<'_>, known: bool, rule: &rules::Rule, found: &mut Findings) {
    match rule.judge {
        Some(judge) if known || (sheet.reading.is_program && !rule.group.needs_path()) => {
            judge(sheet, found);
        }
        Some(_) => rules::reading::not_judged::tell(found, rule.name, Lack::Path),
        None if sheet.reading.is_program || rules::asked_of_any_file(rule.name) => {}
        None => rules::reading::not_judged::tell(found, rule.name, Lack::Path),
    }
}
