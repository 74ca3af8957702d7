//! When the cause of an alarm counts as gone: the conditions that the table of causes names.
//!
//! Nothing here clears anything. An operator asks; a rule that is not true refuses him. Time alone
//! makes no rule true but the two that wait for a supply to recover.

use core::time::Duration;

use super::{Act, Machine};
use crate::cause::{Cause, Clears, Look};

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
        match cause.facts().clears {
            Clears::WhenAsked => true,
            Clears::Standing => !matches!(self.act, Act::Stopping(_)),
            Clears::FireAndArcOpen => self.inputs_open(),
            Clears::TorchDead => self.inputs_open() && self.torch_dead(),
            Clears::SourceIsolated => {
                let open = s.permit_closed != Some(true) && !s.contact;
                let tested = self.self_test.passed;
                let isolated = self.seen_isolated(cause);
                self.inputs_open() && self.torch_dead() && open && isolated && tested
            }
            Clears::ContactOpen => self.heard(!s.contact),
            Clears::ContactOpenedUp => self.heard(!s.contact) && self.contact_opened(),
            Clears::TorchSeated => self.heard(s.torch_seated != Some(false)),
            Clears::ChainClosed => self.heard(!s.estop_open),
            Clears::GateClosed => self.heard(s.gate_closed != Some(false)),
            Clears::AirGood => self.air_good(),
            Clears::AirRecovered => self.waited(cause) && self.heard(s.air_ok != Some(false)),
            Clears::TimeOver => self.waited(cause),
            Clears::SourceOn => self.heard(s.source_on != Some(false)),
            Clears::SenseIsolated => self.heard(s.sense_isolated != Some(false)),
            Clears::ControllerListens => self.line.listens(),
            Clears::PermitTested => {
                self.readiness.permit_tested && self.heard(s.permit_closed != Some(true))
            }
            Clears::ScreenThere => self.screen.there != Some(false),
            Clears::SeenAfresh => self.afresh(),
            Clears::RecordWritten => !self.keeping.failing,
            Clears::NewDatum => !self.reference.doubtful,
        }
    }

    /// Whether it takes the operator's word that he has looked, besides what the machine sees.
    pub(crate) fn wants_a_look(&self, cause: Cause) -> bool {
        match cause.facts().look {
            Look::No => false,
            Look::Yes => true,
            Look::SourceUnseen => self.signals.source_on.is_none(),
            Look::PartsKept => {
                let raised = self.alarms.of(cause).map(|a| a.at);
                self.parts_changed_at < raised
            }
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
