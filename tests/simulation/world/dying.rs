//! A panel that is killed over its table, and the next one.

use std::sync::Arc;

use control::guard::GuardRules;
use control::{Input, Machine, OutputLevels, Restored};
use simulator::harness::OutputWires;
use standclear::assemble::settings;
use standclear::practice::operator::Operator;
use units::Time;

use super::{Near, World};

impl World {
    /// What the panel has told its optional outputs.
    pub(super) fn outputs(&mut self, levels: OutputLevels) {
        let now = self.now;
        let wires = OutputWires {
            beacon: levels.beacon,
            sounder: levels.sounder,
            extraction: levels.extraction,
        };
        self.with_table(|t| t.set_outputs(now, wires));
    }

    /// The panel is killed here and started again: the pulses and the bytes end, what the journal
    /// had not written yet is lost, and everything is made anew from what it holds.
    pub(super) fn die_and_start_again(&mut self) {
        let dead_until = self.now + self.dead;
        self.was_killed = true;
        // Its lines are given back, and fall.
        self.outputs(OutputLevels::default());
        self.with_table(|t| {
            t.advance(dead_until);
            drop(t.take_wire_out());
            // Killed again while it was dead: there was nobody to kill.
            t.take_panel_killed();
        });
        let died = self.now;
        let kept = self.kept(died);
        let known = Restored::from_events(kept);
        self.earlier_holds.extend(self.machine.view(died).holds);
        self.now = dead_until;
        self.machine = Machine::new(
            settings(&self.config),
            Arc::clone(&self.config.link.dialect),
            known,
        );
        self.guard = GuardRules::new(self.config.guard);
        self.watch.born_again(self.job.cycle.fire_tries);
        self.told_anew();
        self.wishes.panel_died();
        if let Some(recorded) = &mut self.recorded {
            recorded.over = true;
        }
        (self.guard_next, self.epoch, self.handled) = (None, 0, 0);
        self.asleep = [Time::ZERO; 3];
        self.orders.clear();
        self.inbox.clear();
        self.tty.clear();
        self.unsent.clear();
        self.lease = Time::ZERO;
        self.looked = (u64::MAX, Time::ZERO);
        self.plugged_open = false;
        self.operator = Operator::new(Near(Arc::clone(&self.table)), Arc::clone(&self.job));
        self.step(Input::Tick);
    }
}
