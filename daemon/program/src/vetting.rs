//! Vetting: the rules, asked one after the other.

pub(crate) mod causes;
pub(crate) mod facts;
pub(crate) mod feeds;
pub(crate) mod lead;
pub(crate) mod on_sheet;
pub(crate) mod rules;
pub(crate) mod webs;

use std::collections::VecDeque;

use crate::vetting::facts::Facts;
use crate::vetting::on_sheet::Loose;
use crate::vetting::on_sheet::OnSheet;
use crate::vetting::on_sheet::VetInput;
use crate::watch::Unwatched;
use crate::watch::Watch;

use crate::Reading;
use crate::cuts::compensation;
use crate::report::findings::Findings;
use crate::report::lack::Lack;
use crate::report::{Finding, Report, Verdict};

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
    let mut rules = judging.rules();
    let found = judging.judge(|| rules.pop_front());
    judging.whole([found])
}

/// Vetting in parts that do not wait for each other: the service may run them side by side. The
/// result is the same however they are run.
pub struct Judging<'a> {
    sheet: OnSheet<'a>,
    /// The path is what the program means.
    known: bool,
}

/// A rule that is to judge.
pub struct ToJudge(usize);

/// What some of the rules have found.
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

    /// What the rules are told of machine, chart row and supplies, where it was worked out only
    /// after [`Judging::new`] (beside it, for instance). Until then only rules may judge that do not wait for
    /// it; the slats are to be in the input from the beginning.
    pub fn tell(&self, facts: Facts<'a>) {
        self.sheet.tell(facts);
    }

    /// Whether a rule has to wait until [`Judging::tell`] was called. Those of the order of cuts judge by the
    /// sheet alone.
    #[must_use]
    pub fn waits(&self, rule: &ToJudge) -> bool {
        rules::ALL[rule.0].group != rules::Group::Order && !self.sheet.was_told()
    }

    /// The rules: first those that ask for the pieces of the sheet, whose working out is most of the work,
    /// then the others. Two that share them draw from the two ends, and are done at the same time.
    #[must_use]
    pub fn rules(&self) -> VecDeque<ToJudge> {
        let of = |order: bool| {
            let wanted = move |rule: &&rules::Rule| (rule.group == rules::Group::Order) == order;
            let all = rules::ALL.iter().zip(0..);
            all.filter(move |(rule, _)| wanted(rule))
                .map(|(_, k)| ToJudge(k))
        };
        of(true).chain(of(false)).collect()
    }

    /// Judges by the rules that `next` gives, until it gives no more.
    #[must_use]
    pub fn judge(&self, mut next: impl FnMut() -> Option<ToJudge>) -> Found {
        let mut all = Vec::new();
        while self.sheet.watch.go_on()
            && let Some(ToJudge(number)) = next()
        {
            self.sheet.watch.phase(rules::ALL[number].name);
            let mut found = Findings::default();
            by_rule(&self.sheet, self.known, &rules::ALL[number], &mut found);
            all.push((number, found));
        }
        Found(all)
    }

    /// The report from what all rules have found.
    #[must_use]
    pub fn whole(self, found: impl IntoIterator<Item = Found>) -> Vetting {
        let Self { sheet, known } = self;
        sheet.watch.phase("report");
        let mut by_rule: Vec<(usize, Findings)> = found.into_iter().flat_map(|f| f.0).collect();
        by_rule.sort_by_key(|(number, _)| *number);
        let reading = sheet.reading;
        let of_rules: usize = by_rule.iter().map(|(_, f)| f.len()).sum();
        let mut found = Findings::with_room(of_rules + reading.findings.len());
        by_rule.into_iter().for_each(|(_, f)| found.absorb(f));
        let input = VetInput {
            facts: *sheet.known(),
            ..sheet.input
        };
        let (not_judged, lacks) = rules::reading::not_judged::sum_up(&mut found, &input);
        let mut findings = found.into_list();
        let of_reading = reading.findings.iter().cloned().map(|finding| Finding {
            at: finding.at.map(|p| sheet.placer.place(p)),
            ..finding
        });
        // In front: of two at one place the reader's comes first.
        findings.splice(0..0, of_reading);
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
