//! The ways on from the stop that a view shows: what resuming would do, for whoever shows and seals it.

use planning::{Job, JobCut};
use program::resume::{Stopped, Ways};
use program::{Facts, Slats, VetInput};
use units::Point;

use crate::resume::{Barred, Plan, Plans, Proposal, Stop};
use crate::view::View;

/// The ways on from the stop that a view shows, taken up `back_mm` earlier than need be; `None`:
/// nothing is stopped.
#[must_use]
pub fn plans(job: &Job, view: &View, back_mm: f64) -> Option<Plans> {
    let stop = view.hold.as_ref()?.stop?;
    let cut = stop.cut.checked_sub(1)?;
    let Some(in_hand) = job.cuts.get(cut) else {
        let why = "Every cut is cut: the torch goes to its parking place.";
        return Some(Plans {
            stop,
            plans: vec![plan(&stop, Proposal::fresh(Point::default(), why), 0.0)],
            barred: Vec::new(),
        });
    };
    let Ways { proposals, barred } = ways(job, view, &stop, cut, back_mm);
    let planned = |how: Proposal| {
        let feed_mm_s = feed_at(in_hand, how.from_mm);
        plan(&stop, how, feed_mm_s)
    };
    Some(Plans {
        stop,
        plans: proposals.into_iter().map(planned).collect(),
        barred: barred
            .into_iter()
            .map(|(way, why)| Barred { way, why })
            .collect(),
    })
}

fn ways(job: &Job, view: &View, stop: &Stop, cut: usize, back_mm: f64) -> Ways {
    let cuts: Vec<program::Cut> = job.cuts.iter().map(as_drawn).collect();
    let done: Vec<Vec<[f64; 2]>> = view.cuts.iter().map(|c| c.done.clone()).collect();
    let stopped = Stopped {
        cuts: &cuts,
        done: &done,
        entries: &view.entries,
        cut,
        lost: stop.lost,
        kerf_end_failed: stop.kerf_end_failed,
        back_mm: if back_mm.is_finite() {
            back_mm.max(0.0)
        } else {
            0.0
        },
    };
    let stock = job.stock.as_ref();
    let input = VetInput {
        setup: stock.map(|s| &s.setup),
        travel: stock.map_or(job.sheet, |s| s.travel),
        sheet_corner: stock.map_or(Point::default(), |s| s.sheet_corner),
        kerf_mm: stock.and_then(|s| s.kerf_mm).or(Some(job.row.kerf_mm)),
        chart_feed_mm_s: Some(job.row.feed_mm_s()),
        traverse_height_mm: job.cycle.safe_height_mm,
        line_limit: usize::MAX,
        no_row: None,
        facts: Facts {
            slats: stock.map_or_else(Slats::default, |s| s.slats),
            ..Facts::default()
        },
    };
    program::resume::ways(&stopped, &input)
}

fn as_drawn(cut: &JobCut) -> program::Cut {
    let line = cut.path.first().map_or(1, |e| e.line);
    program::Cut {
        pierce: cut.pierce,
        on_line: line,
        on_column: 1,
        off_line: cut.path.last().map_or(line, |e| e.line),
        path: cut
            .path
            .iter()
            .map(|e| program::Element {
                segment: e.segment,
                feed_mm_s: Some(e.feed_mm_s),
                line: e.line,
                column: 1,
            })
            .collect(),
        compensation: None,
    }
}

/// The feed of a path at a station, mm/s.
fn feed_at(cut: &JobCut, s: f64) -> f64 {
    let mut end = 0.0;
    let there = cut.path.iter().find(|e| {
        end += e.segment.length();
        end > s
    });
    there.or(cut.path.last()).map_or(0.0, |e| e.feed_mm_s)
}

/// Its name is what it is: another plan has another.
fn plan(stop: &Stop, how: Proposal, entry_mm_s: f64) -> Plan {
    let unnamed = Plan {
        id: String::new(),
        stop: *stop,
        entry_mm_s,
        how,
    };
    let id = program::hash(&unnamed);
    Plan {
        id: id.chars().take(16).collect(),
        ..unnamed
    }
}
