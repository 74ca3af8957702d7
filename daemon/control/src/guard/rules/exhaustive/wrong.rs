//! The rules made wrong on purpose, to see that the search finds it.

use super::world::{HOLDS, LEASE, World};
use crate::cause::Cause;
use crate::guard::{GuardOut, GuardReport, Phase};
use crate::signals::Opened;

/// Rules made wrong on purpose: the search must find each.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Wrong {
    Nothing,
    EstopClearsItself,
    OneClearClearsAll,
    ClearsAGateThatIsOpen,
    ArcStuckNeverClears,
    LeaseIsForgotten,
    TripIsNotWaitedFor,
    NeedNotBeSeenOpen,
    PulsesUnasked,
    PulsesWithALatch,
    GapIsForgotten,
    GapIsJudgedAfterThePulse,
    GapOfTwiceTheHold,
    LateIsNotLatched,
    PulsesUnderAFire,
    LateEdgesAreStampedAtWaking,
    ShortOpeningsAreMissed,
}

impl World {
    /// A step of the rules, made wrong where a test wants it so.
    pub(super) fn rules_step(&mut self) -> GuardOut {
        let r = &mut self.rules;
        let mut lease = self.lease;
        match self.wrong {
            Wrong::LeaseIsForgotten => lease = self.now + LEASE,
            Wrong::NeedNotBeSeenOpen => (r.open_fire, r.open_arc) = (true, true),
            Wrong::GapIsForgotten => r.late.edge_at = None,
            Wrong::GapOfTwiceTheHold => r.settings.relay_holds_ms = 2 * HOLDS.as_millis() as u64,
            Wrong::PulsesUnderAFire => {
                r.pulsing |= r.phase != Phase::Off && r.open_fire && r.open_arc
            }
            _ => {}
        }
        let mut opened = core::mem::take(&mut self.opened);
        if self.wrong == Wrong::ShortOpeningsAreMissed {
            opened = Opened::default();
        }
        let before = r.clone();
        let mut out = r.step(self.now, &self.s, opened, lease);
        match self.wrong {
            // One pulse more before it notices.
            Wrong::GapIsJudgedAfterThePulse
                if r.latches.contains(&Cause::GuardLate) && before.pulsing =>
            {
                out.permit_level = !before.level;
            }
            Wrong::LateIsNotLatched => {
                r.latches.remove(&Cause::GuardLate);
                for report in &mut out.reports {
                    if let GuardReport::Tripped {
                        cause: Cause::GuardLate,
                        latched,
                        ..
                    } = report
                    {
                        *latched = false;
                    }
                }
            }
            Wrong::LateEdgesAreStampedAtWaking => {
                for report in &mut out.reports {
                    if let GuardReport::Edge { after, .. } = report {
                        *after = None;
                    }
                }
            }
            Wrong::EstopClearsItself if !self.s.estop_open => {
                r.latches.remove(&Cause::Estop);
            }
            Wrong::OneClearClearsAll if !self.cleared.is_empty() => r.latches.clear(),
            Wrong::ClearsAGateThatIsOpen if self.cleared.contains(&Cause::GateOpen) => {
                r.latches.remove(&Cause::GateOpen);
            }
            Wrong::TripIsNotWaitedFor => r.handled = r.epoch,
            Wrong::PulsesWithALatch if !r.latches.is_empty() => {
                r.pulsing = r.phase != Phase::Off
                    && r.handled == r.epoch
                    && self.now <= lease
                    && (r.open_fire && !self.s.fire_on)
                    && (r.open_arc && !self.s.arc_ok);
            }
            Wrong::PulsesUnasked => {
                r.pulsing |= r.latches.is_empty() && r.handled == r.epoch && r.handled > 0;
            }
            _ => {}
        }
        out
    }
}
