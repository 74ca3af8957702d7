//! When the cause of an alarm counts as gone: a rule for each cause, from the handbook's table.
//!
//! Nothing here clears anything. An operator asks; a rule that is not true refuses him. Time alone
//! makes no rule true but the two that wait for a supply to recover.

use core::time::Duration;

use super::{Act, Machine};
use crate::cause::Cause;

/// Air must have been good for this long (process handbook, invented).
pub(super) const AIR_GOOD_FOR: Duration = Duration::from_secs(5);
/// At this far below traverse height the torch still counts as up, mm: the controller's last digit
/// and a little.
pub(super) const UP_MM: f64 = 0.1;
/// Below this the torch is dead, V (process handbook, invented).
pub(super) const DEAD_V: f64 = 5.0;

impl Machine {
    /// Whether the condition behind an alarm has gone, as far as control can see.
    pub(crate) fn gone(&self, cause: Cause) -> bool {
        let s = &self.signals;
        match cause {
            Cause::NoArc => self.inputs_open() && self.torch_dead(),
            Cause::ArcLost | Cause::FireDropped => self.inputs_open(),
            Cause::ArcStuck | Cause::UnaskedFire => {
                let open = s.permit_closed != Some(true) && !s.contact;
                let tested = self.self_test.passed;
                let isolated = self.seen_isolated(cause);
                self.inputs_open() && self.torch_dead() && open && isolated && tested
            }
            Cause::ContactStuck => self.heard(!s.contact) && self.contact_opened(),
            Cause::TorchTouched => self.heard(!s.contact),
            Cause::TorchUnseated => self.heard(s.torch_seated != Some(false)),
            Cause::Estop => self.heard(!s.estop_open),
            Cause::SenseOn => self.heard(s.sense_isolated != Some(false)),
            Cause::GateOpen => self.heard(s.gate_closed != Some(false)),
            Cause::AirLow => self.air_good(),
            Cause::SourceOff => self.heard(s.source_on != Some(false)),
            Cause::LinkCut | Cause::ControllerReset | Cause::ControllerFault => self.line.listens(),
            Cause::PermitStuck => {
                self.readiness.permit_tested && self.heard(s.permit_closed != Some(true))
            }
            Cause::RecordFailed => !self.keeping.failing,
            Cause::PlaceDrift => !self.reference.doubtful,
            Cause::ScreenLost => self.screen.there != Some(false),
            Cause::AirWait => self.waited(cause) && self.heard(s.air_ok != Some(false)),
            Cause::DutyWait => self.waited(cause),
            // The guard judges its own lease; that this is asked shows that control is alive.
            Cause::LeaseLapsed | Cause::GuardLate => true,
            Cause::InputsStale => self.afresh(),
            Cause::Hold => true,
            // A person must have looked: see below. The machine sees nothing of it once it stands.
            Cause::NoContact
            | Cause::TouchUnsure
            | Cause::PlateMoved
            | Cause::VoltsOdd
            | Cause::HeightLimit
            | Cause::Starved
            | Cause::LinkNoise
            | Cause::Interrupted
            | Cause::RecordLost
            | Cause::Overdue
            | Cause::ChangeDue => !matches!(self.act, Act::Stopping(_)),
        }
    }

    /// Whether it takes the operator's word that he has looked, besides what the machine sees.
    pub(crate) fn wants_a_look(&self, cause: Cause) -> bool {
        match cause {
            Cause::NoContact
            | Cause::TouchUnsure
            | Cause::PlateMoved
            | Cause::VoltsOdd
            | Cause::HeightLimit
            | Cause::Starved
            | Cause::LinkNoise
            | Cause::Interrupted
            | Cause::RecordLost
            | Cause::SenseOn
            | Cause::Overdue => true,
            // Parts were changed, or he says that these go on.
            Cause::ChangeDue => {
                let raised = self.alarms.of(cause).map(|a| a.at);
                self.parts_changed_at < raised
            }
            // Where the source's own contact is not wired, only he knows that he has isolated it.
            Cause::ArcStuck | Cause::UnaskedFire => self.signals.source_on.is_none(),
            Cause::NoArc
            | Cause::ArcLost
            | Cause::FireDropped
            | Cause::ContactStuck
            | Cause::TorchTouched
            | Cause::TorchUnseated
            | Cause::Estop
            | Cause::GateOpen
            | Cause::Hold
            | Cause::AirLow
            | Cause::SourceOff
            | Cause::LinkCut
            | Cause::ControllerReset
            | Cause::ControllerFault
            | Cause::PermitStuck
            | Cause::LeaseLapsed
            | Cause::RecordFailed
            | Cause::PlaceDrift
            | Cause::ScreenLost
            | Cause::InputsStale
            | Cause::GuardLate
            | Cause::AirWait
            | Cause::DutyWait => false,
        }
    }

    /// Inputs that were never heard say nothing.
    fn heard(&self, holds: bool) -> bool {
        self.signals_heard && holds
    }

    fn inputs_open(&self) -> bool {
        self.heard(!self.signals.fire_on && !self.signals.arc_ok)
    }

    fn torch_dead(&self) -> bool {
        self.signals.volts.is_none_or(|v| v.abs() < DEAD_V)
    }

    /// The source was seen switched off since the latch was set, where its contact is wired.
    fn seen_isolated(&self, cause: Cause) -> bool {
        self.signals.source_on.is_none()
            || match (self.since.source_open_at, self.alarms.latched_at(cause)) {
                (Some(open), Some(latched)) => open >= latched,
                _ => false,
            }
    }

    /// The contact was seen open with the torch up since it was told to stay on: a torch that stands low
    /// again by then, over a mark of the sheet, says nothing against it.
    fn contact_opened(&self) -> bool {
        let raised = self.alarms.of(Cause::ContactStuck);
        self.torch_up() || self.since.contact_open_at > raised.map(|a| a.at)
    }

    /// At traverse height, by the last report.
    pub(super) fn torch_up(&self) -> bool {
        self.line.z().is_some_and(|z| z >= self.safe_z() - UP_MM)
    }

    fn air_good(&self) -> bool {
        match self.signals.air_ok {
            None => self.signals_heard,
            Some(false) => false,
            Some(true) => self
                .since
                .air_good
                .is_some_and(|t| self.now >= t + AIR_GOOD_FOR),
        }
    }

    /// Wakes it when a rule that waits becomes true, so that it is told at once.
    pub(super) fn watch_recovery(&mut self) {
        let waits = self.alarms.stands(Cause::AirLow);
        if waits && let Some(t) = self.since.air_good {
            self.due(t + AIR_GOOD_FOR);
        }
        let alarms = &self.alarms;
        self.waits.retain(|cause, _| alarms.stands(*cause));
        let until = self.waits.values().copied().filter(|t| *t > self.now).min();
        if let Some(t) = until {
            self.due(t);
        }
    }
}
