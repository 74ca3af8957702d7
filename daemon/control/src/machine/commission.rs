//! Commissioning, as far as the machine has a part in it: the step that is open is shown the levels, its
//! permit tests and dry fires are made, and how it went is recorded.
//!
//! Nothing of what a walk lets happen is hidden: working the emergency stop latches as it always does, and
//! the latches are cleared by the operator as always.

use core::time::Duration;

use link::Ticket;
use units::Time;

use super::{Act, Machine};
use crate::commissioning::{Own, Sequence, Step, has_course};
use crate::event::Event;
use crate::guard::EdgeInput;
use crate::machine::admission::{self, No};
use crate::machine::checks;
use crate::view::{CommissioningView, Follows, LevelView, OpenStepView, StepView};

/// Between two turns of the machine's own, and before the first (ours).
const PAUSE: Duration = Duration::from_millis(500);

/// The sensing relay's mirror must follow within this (ours: ten times the handbook's settling time).
const SENSE_SWITCHES: Duration = Duration::from_millis(200);

/// A step that is open.
#[derive(Clone, Debug)]
pub(crate) struct OpenStep {
    pub step: Step,
    sequence: Sequence,
    /// The sensing circuit was told to be on the torch for it.
    sensing: bool,
    /// The machine's own turn was begun.
    own: bool,
    /// The permit relay's mirror was seen to close, and to open.
    relay: (Option<Time>, Option<Time>),
    /// Presses of HOLD when it was begun or last answered: after another nothing pulses or fires by itself.
    holds: u64,
    /// When the last turn of the machine's own was over, or an answer came.
    turned: Time,
    /// The sensing circuit was told off (`false`) or on, and by which line, and when it was done.
    sense_test: Option<(bool, Ticket, Option<Time>)>,
}

impl OpenStep {
    /// A question stands.
    pub(crate) fn asks(&self) -> bool {
        self.sequence.instruction().is_some_and(|i| i.answer)
    }

    /// Turns that are left.
    pub(crate) fn left(&self) -> usize {
        self.sequence.left()
    }
}

impl Machine {
    /// A table that comes proved begins with the records of the steps that guard a person, once.
    pub(super) fn come_commissioned(&mut self) {
        let Some(table) = &self.settings.commissioning else {
            return;
        };
        if !table.comes_proved || !self.records.is_empty() {
            return;
        }
        let covered = Step::guarding().filter_map(|s| Some((s, table.covered.get(&s)?.clone())));
        let covered = covered.collect();
        self.record(Event::CameCommissioned { covered }, false);
    }

    /// Which step keeps the table from being started, and why, in words; `None`: none does.
    pub(super) fn open_step_says(&self) -> Option<String> {
        self.records.says(self.settings.commissioning.as_ref()?)
    }

    /// Begins a step anew.
    pub(super) fn begin_step(&mut self, step: Step) {
        let Some(sequence) = Sequence::new(step, &self.signals, self.line.switches_sense()) else {
            return;
        };
        self.commission = Some(OpenStep {
            step,
            sequence,
            sensing: false,
            own: false,
            relay: (None, None),
            holds: self.presses.count(),
            turned: self.now,
            sense_test: None,
        });
        self.out.publish();
    }

    /// The operator has answered the question that is asked.
    pub(super) fn answer_step(&mut self, yes: bool) {
        let holds = self.presses.count();
        if let Some(open) = &mut self.commission {
            open.holds = holds;
            open.turned = self.now;
            let _ = open.sequence.told(self.now, yes);
        }
    }

    /// Leaves the step as if it had not been begun: an older record stays.
    pub(super) fn leave_step(&mut self) {
        if let Some(open) = self.commission.take() {
            self.sensing_ends(&open);
            self.out.publish();
        }
    }

    fn sensing_ends(&mut self, open: &OpenStep) {
        if open.sensing && self.line.usable() {
            self.disconnect_sense();
        }
    }

    /// The machine's own turn is over: what it measured, or what was wrong.
    pub(super) fn own_turn_over(&mut self, how: Result<String, String>) {
        let now = self.now;
        if let Some(open) = &mut self.commission {
            open.sequence.done(now, how);
            open.own = false;
            open.turned = now;
            self.out.publish();
        }
    }

    /// An edge that is timed by the guard.
    pub(super) fn note_relay(&mut self, input: EdgeInput, level: bool, at: Time) {
        if let (EdgeInput::PermitClosed, Some(open)) = (input, &mut self.commission) {
            match level {
                true => open.relay = (Some(at), None),
                false => open.relay.1 = Some(at),
            }
        }
    }

    /// A permit test has come to its end.
    pub(super) fn step_tested(&mut self, passed: Option<bool>) {
        let Some(open) = &self.commission else { return };
        let limit_ms = self.settings.guard.relay_drop_ms;
        let how = match (passed, open.relay) {
            (Some(false), _) => Err(format!(
                "The permit relay did not follow: it must close within 100 ms and open within {limit_ms} ms."
            )),
            (Some(true), (Some(closed), Some(opened))) => self.judge_hold(opened.since(closed)),
            (Some(true), _) => Ok("The permit relay followed.".into()),
            (None, _) => Ok("The permit was pulsed; no contact shows the relay.".into()),
        };
        self.own_turn_over(how);
    }

    /// The guard stops its pulses as it sees the relay close: from then on it only holds.
    fn judge_hold(&self, held: Duration) -> Result<String, String> {
        let ms = held.as_secs_f64() * 1000.0;
        // The relay's shortest hold less 20 % (process handbook: common practice, invented).
        let surely = ms * 0.8;
        let told = self.settings.guard.relay_holds_ms;
        if told as f64 > surely {
            return Err(format!(
                "The permit relay held for {ms:.0} ms: guard.relay_holds_ms is {told}, and must be {surely:.0} \
                 or less."
            ));
        }
        Ok(format!(
            "The permit relay opened {ms:.0} ms after the pulses."
        ))
    }

    /// Shows the open step the levels of this moment, does what it wants and records how it went.
    pub(super) fn watch_commission(&mut self) {
        self.look_at_sense_test();
        let Some(mut open) = self.commission.take() else {
            return;
        };
        if open.sequence.see(self.now, &self.signals) {
            self.out.publish();
        }
        let senses = open.sequence.instruction().is_some_and(|i| i.senses);
        let still = matches!(self.act, Act::Rest);
        if senses && !open.sensing && still && self.line.usable() {
            self.connect_sense();
            open.sensing = true;
        }
        if open.sequence.own().is_some() && open.holds != self.presses.count() {
            open.sequence
                .done(self.now, Err("HOLD was pressed.".into()));
        }
        let waits = open.sequence.own().is_some() && still && !open.own;
        // Relays and levels come to rest between two of them.
        let own = open
            .sequence
            .own()
            .filter(|_| waits && self.due(open.turned + PAUSE));
        if let Some(outcome) = open.sequence.outcome() {
            self.sensing_ends(&open);
            self.record_step(open.step, outcome);
            return;
        }
        if let Some(at) = open.sequence.due() {
            self.due(at);
        }
        open.own |= own.is_some();
        self.commission = Some(open);
        match own {
            Some(Own::PermitTest) => self.test_for_step(),
            Some(Own::SenseTest) => self.begin_sense_test(),
            Some(Own::DryFire) => self.begin_dry_fire(),
            None => {}
        }
    }

    fn test_for_step(&mut self) {
        // The step has asked for it, and nothing of it is done without a yes.
        self.readiness.confirm(crate::CheckId::SourceOff, self.now);
        match checks::bars_permit_test(self) {
            Some(check) => {
                let says = format!("The permit test was not made: {}.", not_so(check));
                self.own_turn_over(Err(says));
            }
            None => self.begin_permit_test(),
        }
    }

    fn begin_sense_test(&mut self) {
        let ticket = self.disconnect_sense();
        if let Some(open) = &mut self.commission {
            open.sense_test = Some((false, ticket, None));
        }
    }

    /// Off, then on again: its mirror must say so each time.
    fn look_at_sense_test(&mut self) {
        let test = self.commission.as_ref().and_then(|open| open.sense_test);
        let Some((on, ticket, done)) = test else {
            return;
        };
        if !self.line.usable() {
            return self.sense_test_over(Err("The controller was lost.".into()));
        }
        let Some(at) = done.or_else(|| self.executed(ticket).then_some(self.now)) else {
            return;
        };
        let right = self.signals.sense_isolated == Some(!on);
        if !right && !self.due(at + SENSE_SWITCHES) {
            if let Some(open) = &mut self.commission {
                open.sense_test = Some((on, ticket, Some(at)));
            }
            return;
        }
        if !right {
            let told = if on { "on" } else { "off" };
            return self.sense_test_over(Err(format!(
                "The sensing circuit was told {told}, and its mirror says otherwise: the relay is stuck, or \
                 sense_isolated inverted."
            )));
        }
        if on {
            return self.sense_test_over(Ok("The sensing relay switches off and on.".into()));
        }
        let ticket = self.connect_sense();
        if let Some(open) = &mut self.commission {
            open.sense_test = Some((true, ticket, None));
        }
    }

    fn sense_test_over(&mut self, how: Result<String, String>) {
        if let Some(open) = &mut self.commission {
            open.sense_test = None;
            open.sensing = true;
        }
        self.own_turn_over(how);
    }

    fn record_step(&mut self, step: Step, outcome: crate::commissioning::Outcome) {
        let table = self.settings.commissioning.as_ref();
        let event = Event::Commissioned {
            step,
            passed: outcome.passed,
            measured: outcome.measured,
            covered: table
                .and_then(|t| t.covered.get(&step).cloned())
                .unwrap_or_default(),
            simulated: table.is_some_and(|t| t.simulated),
        };
        self.record(event, true);
        self.out.publish();
    }

    pub(super) fn commissioning_view(&self) -> Option<CommissioningView> {
        let table = self.settings.commissioning.as_ref()?;
        let row = |step: Step| {
            let record = self.records.of(step);
            let no = admission::no_step(self, step);
            StepView {
                step,
                standing: self.records.standing(step, table),
                here: has_course(step),
                measured: record.map(|r| r.measured.clone()),
                simulated: record.is_some_and(|r| r.simulated),
                refused: no.map(|no| format!("{} {}", no.says(), no.remedy())),
                barred_by: match no {
                    Some(No::Check(check)) => Some(check),
                    _ => None,
                },
            }
        };
        Some(CommissioningView {
            steps: Step::ALL.into_iter().map(row).collect(),
            open: self
                .commission
                .as_ref()
                .map(|open| self.open_step_view(open)),
        })
    }

    fn open_step_view(&self, open: &OpenStep) -> OpenStepView {
        let sequence = &open.sequence;
        let instruction = sequence.instruction();
        let level = |(wire, closed, changed)| LevelView {
            wire,
            closed,
            changed,
        };
        OpenStepView {
            step: open.step,
            answer: instruction.as_ref().is_some_and(|i| i.answer),
            follows: sequence.follows().and_then(|own| match own {
                Own::PermitTest => Some(Follows::Pulses),
                Own::DryFire => Some(Follows::Fires),
                Own::SenseTest => None,
            }),
            wire: instruction.as_ref().and_then(|i| i.wire),
            says: instruction.map(|i| i.says),
            left: sequence.left(),
            measured: sequence.measured().to_vec(),
            found: sequence.found().to_vec(),
            levels: sequence
                .levels(&self.signals)
                .into_iter()
                .map(level)
                .collect(),
        }
    }
}

/// A check that does not hold, as a clause.
pub(super) fn not_so(check: crate::CheckId) -> String {
    format!("not true: {}", crate::words::check(check).says)
}
