//! A guard that comes late: what it may have missed, and that it must not pulse again.

use core::time::Duration;

use units::Time;

use super::GuardRules;
use crate::cause::Cause;

/// Woken no later than this after its deadline it was in time: the spread of the arc's edge covers
/// as much.
const IN_TIME: Duration = Duration::from_millis(5);

/// When it was last there, and when it wanted to be there again.
#[derive(Clone, Debug, Default)]
pub(super) struct Lateness {
    /// The last step, and by when it was to come back.
    pub(super) last: Option<(Time, Time)>,
    /// This step is late: what has changed has changed at some moment after this.
    pub(super) away_since: Option<Time>,
    /// The permit's last edge, while it pulses.
    pub(super) edge_at: Option<Time>,
}

impl Lateness {
    /// The step is over. `wake`: the rules' own deadline; the levels are wanted `every` so often in
    /// any case. An edge wakes it sooner.
    pub(super) fn leave(&mut self, now: Time, wake: Option<Time>, every: Duration) {
        let by = wake.map_or(now + every, |at| at.min(now + every));
        self.last = Some((now, by));
    }
}

impl GuardRules {
    /// Notes whether this step comes later than it was asked for.
    pub(super) fn come(&mut self, now: Time) {
        let late = self.late.last.filter(|(_, by)| now > *by + IN_TIME);
        self.late.away_since = late.map(|(at, _)| at);
    }

    /// A relay that was left without an edge for longer than it surely holds may have opened, and
    /// must not be closed again under a fire that is asked for. Judged before anything else.
    pub(super) fn judge_gap(&mut self, now: Time) {
        let holds = Duration::from_millis(self.settings.relay_holds_ms);
        let gap = self
            .late
            .edge_at
            .filter(|at| self.pulsing && now.since(*at) >= holds);
        if let Some(edge) = gap {
            let since = self.late.last.map_or(edge, |(at, _)| at);
            self.latch(now, Cause::GuardLate, since);
        }
    }
}
