//! To pierce height, and the sensing circuit off the torch.

use core::time::Duration;

use link::Command;
use process::CycleSettings;

use super::{Cycle, Move, REST_LIMIT, RETEST_LIFT_MM, Stage};
use crate::cause::Cause;
use crate::machine::Machine;

/// Mirror of the sensing circuit's relay.
const ISOLATE_LIMIT: Duration = Duration::from_millis(500);

impl Machine {
    /// At pierce height contact must be open; then the circuit is taken off.
    pub(super) fn look_height(&mut self, c: &mut Cycle, cs: &CycleSettings) -> Move {
        match c.stage {
            Stage::Height(t) => {
                if !self.executed(t) || !self.line.at_rest() {
                    return self.overdue(c, c.limit, "The torch did not reach pierce height");
                }
                if !self.signals.contact {
                    let t = self.disconnect_sense();
                    return Move::On(Stage::Isolate(t));
                }
                if c.raised {
                    return Move::Stop(
                        Cause::ContactStuck,
                        "Contact is on at pierce height, twice.".into(),
                    );
                }
                c.raised = true;
                let z = (c.surface_z + RETEST_LIFT_MM * 2.0).min(self.settings.top_z);
                Move::On(Stage::Raise(self.line.say(Command::RapidZ(z))))
            }
            Stage::Raise(t) => {
                if self.executed(t) {
                    return self.go_to_height(c);
                }
                self.overdue(c, c.limit, "The torch did not lift")
            }
            Stage::Isolate(t) => {
                if self.executed(t) {
                    let until = self.now + Duration::from_millis(cs.sense_settle_ms);
                    return Move::On(Stage::Isolated(until));
                }
                self.overdue(c, REST_LIMIT, "The sensing circuit was not switched")
            }
            Stage::Isolated(until) => {
                if !self.due(until) {
                    return Move::Stay;
                }
                if self.signals.sense_isolated != Some(false) {
                    if let Some(why) = self.no_metal(c) {
                        return Move::Stop(Cause::NoContact, why);
                    }
                    self.sense_is_off();
                    return Move::On(Stage::Ready);
                }
                if self.due(c.since + ISOLATE_LIMIT) {
                    return Move::Stop(
                        Cause::SenseOn,
                        format!(
                            "The sensing circuit is not off the torch after {} ms.",
                            ISOLATE_LIMIT.as_millis()
                        ),
                    );
                }
                Move::Stay
            }
            _ => Move::Stay,
        }
    }
}
