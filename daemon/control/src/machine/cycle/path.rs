//! Along the path: sent in one stream with the torch-off, its place kept, and on to the next cut.

use core::time::Duration;

use link::Command;

use super::{Cycle, Move, Stage};
use crate::cause::Cause;
use crate::event::Event;
use crate::machine::Machine;
use crate::machine::run::{Run, SYNCED_S};
use crate::machine::track::Track;
use crate::resume::Way;
use crate::view::Retry;
use units::Segment;

/// The path is sent once the torch is within this of cut height, mm (process handbook, invented):
/// its lines arrive behind the rest of the drop, and the arc does not stand while reports travel.
const NEAR_CUT_HEIGHT_MM: f64 = 0.3;
/// It must be there within this (process handbook, invented).
pub(super) const DROP_LIMIT: Duration = Duration::from_secs(1);
/// The longer lost-arc time holds this far before and behind a predicted crossing, mm.
const CROSSING_MM: f64 = 2.0;
/// ... and so much earlier: the place is as old as a report, and the order is on its way, s.
const CROSSING_S: f64 = 0.1;
/// Path commands that may lie in the session and are not taken yet.
const UNSENT: usize = 64;
/// How often the place is kept in the journal while cutting: a panel that is killed knows no later
/// place, and what was cut since is cut again.
const PROGRESS: Duration = Duration::from_millis(250);
/// Less motion than this in the controller's queue is too little, ms (process handbook, invented).
const STARVED_MS: u32 = 40;
/// The queue is filled within this (invented).
const FILLS_WITHIN: Duration = Duration::from_millis(500);
/// Where the queue's length is not known, so many pieces are many.
const MANY: u32 = 8;

impl Machine {
    /// Arc on and pierce time over: down to cut height. The path is sent when the torch is nearly
    /// there; where it stands at cut height already, at once.
    pub(super) fn begin_path(&mut self, c: &mut Cycle) {
        let Some(loaded) = &self.loaded else { return };
        let Some(run) = &mut self.run else { return };
        if let Some(cause) = run.retry_of.take() {
            run.retries.push(Retry {
                cause,
                cut: run.cut + 1,
            });
        }
        run.progress_kept = Some(self.now);
        let next = loaded.element_at(run.cut, c.from_mm).unwrap_or((0, 0.0));
        let entry_mm = lead_of(run, c.open_kerf)
            .0
            .iter()
            .map(Segment::length)
            .sum();
        let left = loaded.length(run.cut) - c.from_mm;
        let slowest = loaded.job.cuts[run.cut]
            .path
            .iter()
            .map(|e| e.feed_mm_s)
            .fold(f64::INFINITY, f64::min);
        c.limit = Duration::from_secs_f64(
            (3.0 * left / slowest.clamp(0.01, 1e6) + 10.0).clamp(10.0, 1e6),
        );
        if !c.open_kerf {
            let z = c.surface_z + loaded.job.row.cut_height_mm;
            let mm_s = loaded.job.cycle.drop_mm_s;
            self.line.say(Command::FeedZ { z, mm_s });
            c.drop_to = Some(z);
        }
        c.track = Some(Track::new(c.from_mm, entry_mm, next));
        self.burn_plan();
        if c.drop_to.is_none() {
            self.stream(c);
        }
    }

    /// The torch comes down from pierce height; nothing of the path is sent before it is nearly there.
    fn look_drop(&mut self, c: &mut Cycle, to_z: f64) -> Move {
        let z = self.line.z();
        if z.is_some_and(|z| z - to_z <= NEAR_CUT_HEIGHT_MM) {
            c.drop_to = None;
            c.since = self.now;
            self.stream(c);
            return Move::Stay;
        }
        if self.due(c.since + DROP_LIMIT) {
            return Move::Stop(
                Cause::Overdue,
                format!(
                    "The torch was not within {NEAR_CUT_HEIGHT_MM} mm of cut height in {:.1} s.",
                    DROP_LIMIT.as_secs_f64()
                ),
            );
        }
        Move::Stay
    }

    /// The arc may be lost for longer here: a re-entry, or a crossing that vetting has predicted.
    fn crosses(&self, c: &Cycle, station: f64) -> bool {
        if station <= c.until_crossed_mm {
            return true;
        }
        let (Some(loaded), Some(run)) = (&self.loaded, &self.run) else {
            return false;
        };
        let Some(cut) = loaded.job.cuts.get(run.cut) else {
            return false;
        };
        let feed = loaded
            .element_at(run.cut, station)
            .and_then(|(i, _)| cut.path.get(i))
            .map_or(0.0, |e| e.feed_mm_s);
        let soon = station + feed * CROSSING_S;
        let near = |s: &[f64; 2]| soon >= s[0] - CROSSING_MM && station <= s[1] + CROSSING_MM;
        cut.crossings.iter().any(near)
    }

    /// A plan is carried out from here on: its lead-in is burnt.
    fn burn_plan(&mut self) {
        let Some(run) = &mut self.run else { return };
        let Some(plan) = run.plan().cloned() else {
            return;
        };
        if !plan.how.entry.is_empty() && run.entries.last() != Some(&plan.how.entry) {
            run.entries.push(plan.how.entry.clone());
        }
    }

    /// The path is taken up beyond a tab: from here on the tab stays.
    fn leave_tab(&mut self) {
        let plan = self.run.as_ref().and_then(|r| r.plan()).cloned();
        if let Some(plan) = plan.filter(|p| p.how.way == Way::Tab) {
            self.leave_gap(&plan);
        }
    }

    /// Keeps the session fed, and the torch-off in the same stream.
    pub(super) fn stream(&mut self, c: &mut Cycle) {
        let (from_mm, open_kerf) = (c.from_mm, c.open_kerf);
        let (Some(loaded), Some(run), Some(track)) = (&self.loaded, &self.run, &mut c.track) else {
            return;
        };
        let (lead, mm_s) = lead_of(run, open_kerf);
        while self.line.session.unsent() < UNSENT
            && let Some(segment) = lead.get(track.entry_next)
        {
            let left: f64 = lead
                .iter()
                .skip(track.entry_next)
                .map(Segment::length)
                .sum();
            track.entry_next += 1;
            let placed = segment.placed(&self.reference.sheet_at);
            let ticket = self.line.session.say(Command::Path {
                segment: placed,
                mm_s,
            });
            track.said(ticket, *segment, from_mm - left, mm_s);
        }
        while track.torch_off.is_none() && self.line.session.unsent() < UNSENT {
            let (i, into) = track.next;
            match loaded.piece(run.cut, i, into) {
                Some((segment, start_mm, feed)) => {
                    track.next = (i + 1, 0.0);
                    // Shorter than the wire can write: the next piece begins at the same place.
                    if segment.length() < 1e-4 || (into > 0.0 && segment.length() < 1e-3) {
                        continue;
                    }
                    let placed = segment.placed(&self.reference.sheet_at);
                    let ticket = self.line.session.say(Command::Path {
                        segment: placed,
                        mm_s: feed,
                    });
                    track.said(ticket, segment, start_mm, feed);
                }
                None => track.torch_off = Some(self.line.session.say(Command::TorchOff)),
            }
        }
    }

    pub(super) fn look_path(&mut self, c: &mut Cycle) -> Move {
        if let Some(z) = c.drop_to {
            return self.look_drop(c, z);
        }
        self.stream(c);
        self.look_faltering(c);
        let off = c.track.as_ref().and_then(|t| t.torch_off);
        if off.is_some_and(|t| self.executed(t)) {
            self.tell_guard_torch_off();
            return Move::On(Stage::Extinguish);
        }
        let edge = &self.settings.arc_edge;
        // What burned when the inputs were last seen may have gone out since.
        let seen = self.seen_at();
        let (station, sure) = c.track.as_ref().map_or((c.from_mm, c.from_mm), |t| {
            (t.station, t.sure_at(seen, edge))
        });
        let crosses = self.crosses(c, station);
        self.tell_guard(false, crosses);
        let arc_on = self.signals.arc_ok;
        if arc_on && station > c.from_mm {
            self.leave_tab();
        }
        if let Some(run) = &mut self.run
            && arc_on
            && station > c.from_mm
        {
            run.reached(sure);
            let due = run.progress_kept.map_or(self.now, |t| t + PROGRESS);
            if self.now >= due {
                run.progress_kept = Some(self.now);
                let synced = Duration::from_secs_f64(SYNCED_S);
                let sync = run.progress_synced.is_none_or(|t| self.now >= t + synced);
                if sync {
                    run.progress_synced = Some(self.now);
                }
                let event = Event::CutReached {
                    run: run.id,
                    cut: run.cut + 1,
                    at_mm: run.sure(),
                    arc_s: run.arc_since.map(|t| self.now.since(t).as_secs_f64()),
                };
                self.record(event, sync);
            }
        }
        if let Some(why) = self.starved(c) {
            return Move::Stop(Cause::Starved, why);
        }
        self.overdue(c, c.limit, "The path did not end")
    }

    /// So little motion is left in the controller's queue that the arc will stand before more comes.
    fn starved(&self, c: &mut Cycle) -> Option<String> {
        let status = self.line.status.as_ref()?;
        let track = c.track.as_ref()?;
        let (left_ms, waiting) = (status.queued_ms?, status.waiting?);
        let full = left_ms >= STARVED_MS;
        c.fed |= full;
        // At its head the queue only just fills: too slow a line is judged a moment later.
        let filled = c.fed || self.now >= c.since + FILLS_WITHIN;
        let last = track.torch_off.is_some() && self.line.session.unsent() == 0;
        // Many short pieces are little motion: while the queue is well filled more is on its way.
        let short_pieces = self.line.session.queue().map_or(MANY, |n| n / 2) <= waiting;
        let fresh = status.at >= c.since;
        if full || !filled || last || short_pieces || !fresh || !self.signals.arc_ok {
            return None;
        }
        Some(format!(
            "{left_ms} ms of motion left with the arc on; limit {STARVED_MS} ms."
        ))
    }
}

/// The lead-in of the plan in hand and its feed; none where the torch is fired in the open kerf.
fn lead_of(run: &Run, open_kerf: bool) -> (&[Segment], f64) {
    let plan = run.plan().filter(|_| !open_kerf);
    plan.map_or((&[], 0.0), |p| (p.how.entry.as_slice(), p.entry_mm_s))
}
