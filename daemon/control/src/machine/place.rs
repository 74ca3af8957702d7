//! Where a cut was stopped: a first place at once, by what is known then, and the place again when
//! all stands still, or when a lost line is back.

use core::time::Duration;

use units::Time;

use super::on_path::OnPath;
use super::stop::Stopping;
use super::{Act, Machine};
use crate::cause::Cause;
use crate::event::Event;
use crate::resume::{Lost, Way};

/// The panel's own edge comes by another wire than the controller's stamp of it: within this they are
/// one.
const TOGETHER: Duration = Duration::from_millis(20);

fn earlier(edge: Time) -> Time {
    Time::from_us(edge.as_us().saturating_sub(TOGETHER.as_micros() as u64))
}

impl Machine {
    /// Where the arc was lost on a path, by its own edge if that has come, else by the moment of the
    /// stop.
    pub(super) fn find_place(&mut self, path: &OnPath, stop: Time) -> Option<Lost> {
        let fell = self.guard.arc_fall.filter(|t| *t > path.since);
        let known = fell.map(|at| (self.guard.arc_fall_after.unwrap_or(at), at));
        let (mut first, mut last) = known.unwrap_or((stop, stop));
        if let Some(from) = path.unseen_from {
            first = first.min(from);
            // An arc whose end nobody has seen yet may burn still.
            last = fell.unwrap_or(self.now);
        }
        // From the moment at which the chain opened the drives are dead: the torch stands, whatever a
        // controller that was not told goes on counting, and wherever it says that a later edge fell.
        let stood = self.alarms.latched_at(Cause::Estop);
        let stood = stood.filter(|t| *t > path.since && *t < last);
        if let Some(at) = stood {
            (first, last) = (first.min(at), at);
        }
        let first = first.max(path.since);
        let away = last.since(first) > Duration::from_millis(20);
        let stamp = match fell {
            _ if stood.is_some() => None,
            Some(_) if away => self.line.stamps.first_loss(earlier(first)).map(|s| s.place),
            Some(at) => self.stamped(at),
            None => None,
        };
        let edge = &self.settings.arc_edge;
        let found = path.track.lost_between(first, last, edge, stamp)?;
        let run = self.run.as_mut()?;
        let length_mm = self.loaded.as_ref()?.length(run.cut);
        // An arc that burns on while a cause is being judged (a start signal that dropped out is, for
        // 150 ms) may have come further since, and that was told as surely cut.
        let sure_mm = run.sure();
        let on_path = |mm: f64| mm.max(sure_mm).min(length_mm);
        // Beyond a tab the path is taken up at its far end: what was burnt on the way there is no path, and
        // whoever came that far has left the tab, were it for an instant.
        let beyond = run.plan().filter(|p| p.how.way == Way::Tab).cloned();
        let low_mm = match &beyond {
            Some(plan) if found.low_mm < plan.how.from_mm => sure_mm,
            _ => found.low_mm.min(length_mm),
        };
        let held = Lost {
            at_mm: on_path(found.at_mm),
            low_mm,
            high_mm: on_path(found.high_mm),
        };
        let lost = run.lose(held, path.before);
        run.reached(lost.low_mm);
        if let Some(plan) = beyond.filter(|p| lost.low_mm >= p.how.from_mm) {
            self.leave_gap(&plan);
        }
        Some(lost)
    }

    /// All stands still, or the line is lost: then the place is settled when it is back.
    pub(super) fn settle_or_wait(&mut self, path: Box<OnPath>, s: &Stopping) {
        self.settle_place(&path, s.at);
        let unseen = !self.line.listens() && !path.blind;
        if let Some(held) = self.run.as_mut().and_then(|r| r.held.as_mut())
            && unseen
        {
            held.unseen = Some((path, s.at));
        }
    }

    /// All stands still: the arc's own edge is known, and with it the place.
    fn settle_place(&mut self, path: &OnPath, stop: Time) {
        let known = self.run.as_ref().and_then(super::run::Run::lost);
        let Some(lost) = self.find_place(path, stop) else {
            return;
        };
        let ran_on = (path.track.station - lost.at_mm).max(0.0);
        if let Some(held) = self.run.as_mut().and_then(|r| r.held.as_mut()) {
            held.ran_on_mm = Some(ran_on);
        }
        if known != Some(lost) || path.lit {
            self.place_found(lost);
        }
    }

    /// The hold in hand stands here after all.
    fn place_found(&mut self, lost: Lost) {
        let (Some(loaded), Some(run)) = (&self.loaded, &mut self.run) else {
            return;
        };
        let Some(held) = run.held.as_mut() else {
            return;
        };
        held.at_mm = lost.at_mm;
        if let Some(h) = run.holds.get_mut(held.record) {
            h.at_mm = lost.at_mm;
        }
        let cut = run.cut;
        if let Some(m) = run.marks.last_mut() {
            m.at_mm = lost.at_mm;
            m.place = loaded.point_at(cut, lost.at_mm);
            m.between_mm = Some([lost.low_mm, lost.high_mm]);
        }
        let event = Event::PlaceFound {
            run: run.id,
            cut: cut + 1,
            at_mm: lost.at_mm,
            sure_mm: Some(lost.low_mm),
            high_mm: Some(lost.high_mm),
        };
        self.record(event, true);
    }

    /// What the controller tells of its place from here on is another place.
    pub(super) fn lose_sight(&mut self) {
        if let Act::Stopping(s) = &mut self.act
            && let Some(path) = &mut s.path
        {
            path.blind = true;
        }
    }

    /// The place that the controller has stamped at an edge of the arc signal, sheet coordinates.
    fn stamped(&self, edge: Time) -> Option<units::Point> {
        self.line.stamps.last(false, earlier(edge)).map(|s| s.place)
    }

    /// A report while it is being stopped: the torch brakes on its path.
    pub(super) fn report_braking(&mut self, status: &link::Status) {
        let place = self.to_sheet(status.place);
        let since = self.said_since();
        if let Act::Stopping(s) = &mut self.act
            && let Some(path) = s.path.as_mut().filter(|p| !p.blind)
        {
            path.track.report_braking_made(status, place, since);
        }
    }

    /// The line is back and the controller has proved its count: where the torch stands shows how
    /// far it went on while nobody heard it.
    pub(super) fn find_unseen_place(&mut self) {
        let settled = matches!(self.act, Act::Rest) && self.line.at_rest();
        if !settled || self.reference.doubtful || self.line.unproven.is_some() {
            return;
        }
        let Some(status) = self.line.status.clone() else {
            return;
        };
        let place = self.to_sheet(status.place);
        let since = self.said_since();
        let Some(run) = &mut self.run else { return };
        let Some((mut path, stop)) = run.held.as_mut().and_then(|h| h.unseen.take()) else {
            return;
        };
        path.track.report_braking_made(&status, place, since);
        self.settle_place(&path, stop);
    }
}
