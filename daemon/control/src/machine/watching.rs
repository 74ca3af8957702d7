//! What is watched in every state, beside the guard: the permit relay's mirror and the air.

use core::time::Duration;

use super::Machine;
use crate::cause::Cause;
use crate::guard::Phase;

/// The permit relay must pull in within this of the first pulse (process handbook, invented).
pub(crate) const RELAY_PULLS: Duration = Duration::from_millis(100);
/// The mirror's input is believed after up to this, and the guard may be one poll late: the relay
/// itself may already take all of its time to drop, so the bare limit cannot hold.
const MIRROR_LATE: Duration = Duration::from_millis(10);

impl Machine {
    /// A permit relay that does not do what it is asked can no longer be relied on.
    pub(super) fn watch_mirror(&mut self) {
        let asked = match self.guard.phase {
            Phase::Off => Some(false),
            Phase::Closing | Phase::Firing => Some(true),
            // The guard judges the test itself.
            Phase::Test => None,
        };
        let closed = self.signals.permit_closed;
        let differs = asked.is_some() && closed.is_some() && closed != asked;
        if !differs || self.latches.contains_key(&Cause::PermitStuck) {
            self.mirror_odd = None;
            return;
        }
        let since = *self.mirror_odd.get_or_insert(self.now);
        let limit = if closed == Some(true) {
            Duration::from_millis(self.settings.guard.relay_drop_ms)
        } else {
            RELAY_PULLS
        };
        if !self.due(since + limit + MIRROR_LATE) {
            return;
        }
        let why = if closed == Some(true) {
            format!(
                "Its mirror contact is still closed after the last pulse; limit {} ms.",
                limit.as_millis()
            )
        } else {
            format!(
                "Its mirror contact is open under the permit; limit {} ms.",
                limit.as_millis()
            )
        };
        self.latch(Cause::PermitStuck, self.now, why.clone());
        if self.active() && !self.stopping() {
            self.stop_why(Cause::PermitStuck, self.now, why);
        }
    }

    pub(crate) fn air_low(&mut self) -> bool {
        // Valves make short dips: 300 ms low counts (process handbook, invented).
        match self.air_bad_since {
            Some(t) => self.due(t + Duration::from_millis(300)),
            None => false,
        }
    }
}
