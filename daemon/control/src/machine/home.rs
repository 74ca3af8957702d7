//! Home and away: referencing, and the way to the parking place.

use core::time::Duration;

use link::Ticket;
use units::Time;

use super::{Act, Machine, Next};
use crate::cause::Cause;
use crate::event::Event;

/// Referencing takes at most this long.
pub(super) const HOMING_LIMIT: Duration = Duration::from_secs(180);

/// After the last cut: up, then to the parking place.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Parking {
    Lift {
        ticket: Ticket,
        since: Time,
        limit: Duration,
    },
    Go {
        ticket: Ticket,
        since: Time,
        limit: Duration,
    },
}

impl Machine {
    pub(super) fn advance_homing(&mut self, ticket: Ticket, since: Time) -> Next {
        if self.executed(ticket) && self.line.at_rest() {
            self.reference.homed = true;
            self.record(Event::Homed, true);
            return Next::Becomes(Act::Rest);
        }
        if self.due(since + HOMING_LIMIT) {
            self.alarm(
                Cause::Overdue,
                self.now,
                false,
                format!("Referencing took longer than {} s.", HOMING_LIMIT.as_secs()),
            );
            self.halt();
            return Next::Becomes(Act::Rest);
        }
        Next::Stays(Act::Homing { ticket, since })
    }

    pub(super) fn advance_parking(&mut self, parking: Parking) -> Next {
        let (Parking::Lift {
            ticket,
            since,
            limit,
        }
        | Parking::Go {
            ticket,
            since,
            limit,
        }) = parking;
        if self.executed(ticket) {
            if let Parking::Lift { .. } = parking {
                let park = self.settings.park;
                let ticket = self.line.say(link::Command::RapidXy(park));
                self.traversing(true);
                return Next::Becomes(Act::Parking(Parking::Go {
                    ticket,
                    since: self.now,
                    limit,
                }));
            }
            self.traversing(false);
            self.disconnect_sense();
            self.finish();
            return Next::Becomes(Act::Rest);
        }
        if self.due(since + limit) {
            // All cuts are done: a torch that does not come home is told, the run is over.
            self.traversing(false);
            self.alarm(
                Cause::Overdue,
                self.now,
                false,
                "The torch did not reach its parking place in time.".into(),
            );
            self.halt();
            self.finish();
            return Next::Becomes(Act::Rest);
        }
        Next::Stays(Act::Parking(parking))
    }
}
