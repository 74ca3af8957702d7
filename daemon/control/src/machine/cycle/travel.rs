//! Up and over to the pierce, and out and up after the cut.

use core::time::Duration;

use link::Command;
use process::CycleSettings;
use units::Time;

use super::firing::VOLTS_AT_REST;
use super::{Cycle, Move, OUT_LIMIT, Stage, arc_early};
use crate::cause::Cause;
use crate::guard::Phase;
use crate::machine::Machine;

/// Within this of where it was sent it has arrived, mm.
const ARRIVED_MM: f64 = 0.05;

impl Machine {
    /// Connects the sensing circuit where nothing can burn it, so that a traverse is watched.
    pub(super) fn sense_for_traverse(&mut self) -> bool {
        let s = &self.signals;
        let dead = s.volts.is_none_or(|v| v.abs() < VOLTS_AT_REST);
        let may = dead && !s.fire_on && !s.arc_ok;
        if may {
            self.connect_sense();
        }
        may
    }

    /// Up, then over the sheet to the pierce.
    pub(super) fn look_travel(&mut self, c: &mut Cycle, cs: &CycleSettings) -> Move {
        match c.stage {
            Stage::Lift(t) => {
                if self.executed(t) {
                    if core::mem::take(&mut c.connecting) {
                        c.settled = Some(self.now + Duration::from_millis(cs.sense_settle_ms));
                    }
                    if c.settled.is_some_and(|at| !self.due(at)) {
                        return Move::Stay;
                    }
                    let there = self.line.say(Command::RapidXy(c.target));
                    self.traversing(true);
                    return Move::On(Stage::Traverse(there));
                }
                self.overdue(c, c.limit, "The torch did not reach traverse height")
            }
            Stage::Traverse(t) => {
                let there = self
                    .line
                    .place()
                    .is_some_and(|p| p.distance(c.target) <= ARRIVED_MM);
                if self.executed(t) && there {
                    // Only now: from here a contact is a bridged nozzle, no collision.
                    self.traversing(false);
                    if let Some(z) = self.height_without_touch(c, cs) {
                        return self.skip_touch(c, z);
                    }
                    if let Some(until) = self.post_flow_until(cs) {
                        return Move::On(Stage::PostFlow(until));
                    }
                    let sense = self.connect_sense();
                    return Move::On(Stage::SenseConnect(sense));
                }
                self.overdue(c, c.limit, "The torch did not reach the pierce")
            }
            _ => Move::Stay,
        }
    }

    /// On thin sheet the jet of the post-flow presses the sheet down: until when a touch-off waits for
    /// it to end.
    fn post_flow_until(&self, cs: &CycleSettings) -> Option<Time> {
        let thick = self.loaded.as_ref().map_or(0.0, |l| l.job.thickness_mm);
        let off = self.run.as_ref()?.arc_off?;
        let ends = off + Duration::from_secs_f64(cs.post_flow_s);
        let wait_s = cs.post_flow_wait_s(thick, ends.since(self.now).as_secs_f64());
        (wait_s > 0.0).then(|| self.now + Duration::from_secs_f64(wait_s))
    }

    /// Torch-off was carried out: the arc must go out, then the torch lifts.
    pub(super) fn look_out(&mut self, c: &mut Cycle, cs: &CycleSettings) -> Move {
        match c.stage {
            Stage::Extinguish => {
                if !self.signals.fire_on && !self.signals.arc_ok {
                    if arc_early(self.guard.arc_fell_first(), self.guard.fire_fall, c.since) {
                        return Move::Stop(
                            Cause::ArcLost,
                            "The arc was out before the torch was told to stop.".into(),
                        );
                    }
                    self.set_phase(Phase::Off);
                    self.cut_done();
                    let from = self.guard.arc_fall.unwrap_or(self.now);
                    return Move::On(Stage::OutWait(
                        from + Duration::from_millis(cs.lift_wait_ms),
                    ));
                }
                self.overdue(c, OUT_LIMIT, "Torch and arc were not seen off")
            }
            Stage::OutWait(until) => {
                if self.due(until) {
                    let z = self.safe_z();
                    c.limit = self.z_limit(z, self.settings.rapid_z_mm_s);
                    let sensing = self.sense_for_traverse();
                    if let Some(run) = &mut self.run {
                        run.sensing = sensing;
                    }
                    return Move::On(Stage::Retract(self.line.say(Command::RapidZ(z))));
                }
                Move::Stay
            }
            Stage::Retract(t) => {
                if self.executed(t) {
                    return Move::Next;
                }
                self.overdue(c, c.limit, "The torch did not lift")
            }
            _ => Move::Stay,
        }
    }
}
