//! The sensing circuit's relay K3: told on before a traverse and a touch-off, told off before a fire.
//!
//! From *ready* on the guard is told that the circuit must be off: if its mirror says otherwise then,
//! or under the permit, the guard takes the permit away by itself (`sense-on`).

use core::time::Duration;

use link::{Command, Ticket};
use units::Time;

use super::{Act, Machine};
use crate::cause::Cause;
use crate::guard::GuardOrder;

/// A relay that was told off and whose mirror still says on after this is stuck (invented: ten times
/// the handbook's settling time).
const STUCK_AFTER: Duration = Duration::from_millis(200);

/// Whether the circuit was told to be off.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) enum SenseOff {
    /// Not told, told on, or it is not known what the controller has taken of it.
    #[default]
    No,
    /// Told; not carried out yet.
    Said(Ticket),
    /// Carried out. `odd`: the mirror says otherwise since then.
    Done { odd: Option<Time> },
}

impl Machine {
    /// Connects the sensing circuit.
    pub(super) fn connect_sense(&mut self) -> Ticket {
        self.sense_off = SenseOff::No;
        self.order_isolated(false);
        self.line.say(Command::SenseOn)
    }

    /// Takes the sensing circuit off the torch.
    pub(super) fn disconnect_sense(&mut self) -> Ticket {
        let ticket = self.line.say(Command::SenseOff);
        self.sense_off = SenseOff::Said(ticket);
        ticket
    }

    /// The circuit is off the torch as far as can be seen: from here on it must stay so.
    pub(super) fn sense_is_off(&mut self) {
        self.order_isolated(true);
    }

    /// Nothing burns and nothing will before it is told off again.
    pub(super) fn sense_may_be_on(&mut self) {
        self.order_isolated(false);
    }

    fn order_isolated(&mut self, yes: bool) {
        if self.guard.isolated != yes {
            self.guard.isolated = yes;
            self.out.order(GuardOrder::Isolated { yes });
        }
    }

    /// What waits at the controller is thrown away: whether it had switched is not known.
    pub(super) fn sense_unknown(&mut self) {
        if matches!(self.sense_off, SenseOff::Said(_)) {
            self.sense_off = SenseOff::No;
        }
    }

    pub(super) fn watch_sense(&mut self) {
        let on_torch = self.signals.sense_isolated == Some(false);
        self.sense_off = match self.sense_off {
            SenseOff::Said(ticket) if self.executed(ticket) => SenseOff::Done { odd: None },
            SenseOff::Done { odd } if on_torch => SenseOff::Done {
                odd: Some(odd.unwrap_or(self.now)),
            },
            SenseOff::Done { .. } => SenseOff::Done { odd: None },
            as_before => as_before,
        };
        if let SenseOff::Done { odd: Some(since) } = self.sense_off {
            self.due(since + STUCK_AFTER);
        }
    }

    /// The mirror says that the circuit is on the torch though it was told off.
    pub(crate) fn sense_contradicts(&self) -> bool {
        matches!(self.sense_off, SenseOff::Done { odd: Some(since) } if self.now >= since + STUCK_AFTER)
    }

    /// A circuit that is on because somebody asked for it (a contact test) must not keep the latch
    /// from being cleared.
    pub(super) fn free_sense(&mut self) {
        let asked_on = matches!(self.act, Act::Rest) && self.sense_off == SenseOff::No;
        if asked_on
            && self.alarms.is_latched(Cause::SenseOn)
            && self.change.is_none()
            && self.line.usable()
        {
            self.disconnect_sense();
        }
    }
}
