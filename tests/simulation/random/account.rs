//! A job's account: what the journal and the view told of it, compared with what the table measured.

use control::Event;
use control::view::{CutState, Phase, View};
use planning::Job;
use simulator::harness::Truth;
use units::{Point, Segment};

use crate::world::World;

/// The line that leads out of a full circle at a cut's end, mm.
fn way_out_mm(cut: &planning::JobCut) -> f64 {
    match cut.path.as_slice() {
        [.., circle, out] if circle.segment.from() == circle.segment.to() => match out.segment {
            Segment::Line { .. } => out.segment.length(),
            Segment::Arc { .. } => 0.0,
        },
        _ => 0.0,
    }
}

/// What the panel says was done, and what the table says.
pub struct Account<'a> {
    world: &'a World,
    job: &'a Job,
    view: &'a View,
    pub truth: Truth,
    /// Nothing can be recorded any more: the job stands, and need not end.
    pub stands: bool,
}

impl<'a> Account<'a> {
    pub fn new(world: &'a World, job: &'a Job, view: &'a View) -> Self {
        let truth = world.table.lock().expect("one thread").truth();
        Self {
            world,
            job,
            view,
            truth,
            stands: false,
        }
    }

    /// What does not agree.
    pub fn settle(&self) -> Vec<String> {
        let mut wrong = Vec::new();
        let mut must = |holds: bool, what: String| {
            if !holds {
                wrong.push(what);
            }
        };
        let truth = &self.truth;
        must(
            self.stands || self.view.phase == Phase::Finished,
            format!("it ended {:?}", self.view.phase),
        );
        must(
            truth.violations.is_empty(),
            format!("wrongs at the table: {:?}", truth.violations),
        );
        let uncut = self.uncut_mm();
        must(
            truth.uncut_mm <= uncut,
            format!("{} mm uncut, explained {uncut:.3}", truth.uncut_mm),
        );
        let off = self.off_path_mm();
        must(
            truth.off_path_mm <= off,
            format!("{} mm off the path, explained {off}", truth.off_path_mm),
        );
        let (recut, entries) = self.again_mm();
        must(
            truth.recut_mm <= recut,
            format!("{} mm cut again, agreed {recut:.3}", truth.recut_mm),
        );
        must(
            truth.entry_mm <= entries,
            format!(
                "{} mm burnt beside the path, agreed {entries:.3}",
                truth.entry_mm
            ),
        );
        wrong
    }

    fn events(&self) -> impl Iterator<Item = &Event> {
        self.world.events.iter().map(|(_, e, _)| e)
    }

    /// What may be left by what the journal and the view say: tabs, and what was left out.
    fn uncut_mm(&self) -> f64 {
        let tabs: f64 = self
            .events()
            .map(|e| match e {
                // A way out that is left is path, and no tab.
                Event::TabLeft { cut, tab_mm, .. } => {
                    tab_mm + 0.3 + self.job.cuts.get(cut - 1).map_or(0.0, way_out_mm)
                }
                _ => 0.0,
            })
            .sum();
        let left_out = self
            .view
            .cuts
            .iter()
            .zip(&self.job.cuts)
            .map(|(seen, cut)| {
                if seen.state == CutState::Done {
                    return 0.0;
                }
                let done: f64 = seen.done.iter().map(|[from, to]| to - from).sum();
                cut.length_mm() - done + 0.3
            });
        0.05 + tabs + left_out.sum::<f64>()
    }

    /// How far off the path it may burn: play of the axes; a lead-in that begins within the kerf of its own
    /// path, and so is no way in for the ledger; and what no panel sees at once: steps that were lost, a
    /// sheet that was pushed.
    fn off_path_mm(&self) -> f64 {
        let was = |name: &str| self.truth.mishaps.contains_key(name);
        let moved = was("collision") || was("sheet-moved") || was("drive-trip");
        0.05 + if moved { 0.6 } else { 0.0 } + self.led_in_beside_mm()
    }

    /// How far beside their paths lead-ins lie that begin within a kerf of them.
    fn led_in_beside_mm(&self) -> f64 {
        let kerf = self.job.row.kerf_mm;
        let mut beside = 0.0_f64;
        for event in self.events() {
            let Event::Resumed {
                cut, plan: Some(p), ..
            } = event
            else {
                continue;
            };
            let Some(path) = self.job.cuts.get(cut - 1).map(|c| &c.path) else {
                continue;
            };
            let off = |at: Point| {
                let each = path.iter().map(|e| e.segment.nearest(at).1);
                each.fold(f64::INFINITY, f64::min)
            };
            let entry = &p.how.entry;
            if entry.first().is_some_and(|s| off(s.from()) <= kerf) {
                let along = |s: &Segment| {
                    (0..=20)
                        .map(|k| f64::from(k) / 20.0 * s.length())
                        .collect::<Vec<_>>()
                };
                let offs = entry
                    .iter()
                    .flat_map(|s| along(s).into_iter().map(|mm| off(s.point_at(mm))));
                beside = offs.fold(beside, f64::max);
            }
        }
        beside
    }

    /// What may be cut again, and burnt beside the path, by the plans that were accepted.
    fn again_mm(&self) -> (f64, f64) {
        let (mut recut, mut entries) = (0.3, 0.3);
        for event in self.events() {
            if let Event::Resumed { plan: Some(p), .. } = event {
                // The last bit of a lead-in lies within the path's own kerf.
                let lead: f64 = p.how.entry.iter().map(Segment::length).sum();
                recut += p.how.overlap_mm + 0.3 + if lead > 0.0 { 1.0 } else { 0.0 };
                entries += f64::from(self.job.cycle.fire_tries) * lead;
            }
        }
        (recut, entries)
    }
}
