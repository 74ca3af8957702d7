//! Joins the pure parts the way the service does, on the table's own time.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use control::guard::{GuardOrder, GuardRules};
use control::resume::Way;
use control::view::{Phase, View};
use control::{Ask, AskId, Effect, Event, Input, Job, Machine, Restored, Signals};
use simulator::Table;
use simulator::harness::{FaultSpec, Levels};
use standclear::assemble::settings;
use standclear::config::Config;
use standclear::practice::operator::{Hands, Operator};
use standclear::practice::table;
use standclear::runner::Automatic;
use units::Time;

/// The guard hears the levels at least this often.
const SIGNALS_EVERY: Duration = Duration::from_millis(20);
/// The operator looks at least this often.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// Hands that act on the table in the same thread.
#[derive(Clone)]
struct Near(Arc<Mutex<Table>>);

impl Hands for Near {
    fn set_right(&mut self) {
        self.0.lock().expect("one thread").remedy(None);
    }

    fn switch_source_off_and_on(&mut self) {
        let stuck = Some(simulator::harness::FaultKind::ArcStuck);
        self.0.lock().expect("one thread").remedy(stuck);
    }
}

/// A killed panel is back after this, unless it is told otherwise.
const DEAD: Duration = Duration::from_millis(700);
/// What was recorded within this of its death is lost, unless it was durable.
const JOURNAL_LAG: Duration = Duration::from_millis(100);

/// Everything.
pub struct World {
    config: Config,
    pub table: Arc<Mutex<Table>>,
    pub machine: Machine,
    guard: GuardRules,
    guard_next: Option<Time>,
    epoch: u64,
    handled: u64,
    lease: Time,
    permit: bool,
    operator: Operator<Near>,
    job: Arc<Job>,
    /// A killed panel is back after this.
    pub dead: Duration,
    /// Holds of panels that were killed.
    pub earlier_holds: Vec<control::view::HoldRecord>,
    looked: (u64, Time),
    plugged_open: bool,
    pub now: Time,
    /// Time, event, and whether it was durable before the next step.
    pub events: Vec<(Time, Event, bool)>,
    pub sent: Vec<(Time, Vec<u8>)>,
}

impl World {
    pub fn new(config: Config, job: Arc<Job>, seed: u64, faults: &[FaultSpec]) -> Self {
        let mut table = Table::new(table::table_settings(&config, seed, false));
        table.lay(table::plan(&job, config.sheet_corner));
        for fault in faults {
            table.inject(*fault).expect("a place that exists");
        }
        let table = Arc::new(Mutex::new(table));
        let machine = Machine::new(
            settings(&config),
            Arc::clone(&config.link.dialect),
            Restored::default(),
        );
        let mut world = Self {
            operator: Operator::new(Near(Arc::clone(&table)), Arc::clone(&job)),
            job,
            dead: DEAD,
            earlier_holds: Vec::new(),
            guard: GuardRules::new(config.guard),
            config,
            table,
            machine,
            guard_next: None,
            epoch: 0,
            handled: 0,
            lease: Time::ZERO,
            permit: false,
            looked: (u64::MAX, Time::ZERO),
            plugged_open: false,
            now: Time::ZERO,
            events: Vec::new(),
            sent: Vec::new(),
        };
        world.step(Input::Tick);
        world
    }

    /// The operator takes this way on wherever it is offered.
    pub fn prefer(&mut self, way: Way) {
        self.operator.prefer(way);
    }

    fn with_table<T>(&self, act: impl FnOnce(&mut Table) -> T) -> T {
        act(&mut self.table.lock().expect("one thread"))
    }

    pub fn view(&self) -> View {
        self.machine.view(self.now)
    }

    /// Runs until the job is finished or `limit` of table time has passed.
    pub fn run(&mut self, limit: Duration) -> View {
        let end = self.now + limit;
        while self.now < end {
            self.turn();
            if self.generation_phase() == Phase::Finished {
                break;
            }
        }
        self.view()
    }

    fn generation_phase(&self) -> Phase {
        self.machine.view(self.now).phase
    }

    /// One moment at which something may happen.
    pub fn turn(&mut self) {
        let mut to = self.now + SIGNALS_EVERY;
        for at in [self.machine.deadline(), self.guard_next]
            .into_iter()
            .flatten()
        {
            to = to.min(at.max(self.now + Duration::from_micros(100)));
        }
        let (now, bytes, plugged) = self.with_table(|t| {
            let now = t.advance_to_change(to);
            (now, t.take_wire_out(), t.plugged())
        });
        self.now = now;
        if self.with_table(Table::take_panel_killed) {
            self.die_and_start_again();
            return;
        }
        self.guard_step();
        if !plugged && self.plugged_open {
            self.plugged_open = false;
            self.step(Input::LinkLost {
                why: "the cable is out".into(),
            });
        }
        if !bytes.is_empty() && self.plugged_open {
            self.step(Input::Bytes { bytes });
        }
        if self.machine.deadline().is_some_and(|at| at <= self.now) {
            self.step(Input::Tick);
        }
        self.let_operator_look();
        // Orders of this moment reach the guard in this moment.
        self.guard_step();
    }

    /// The panel is killed here and started again: the pulses and the bytes end, what the journal
    /// had not written yet is lost, and everything is made anew from what it holds.
    fn die_and_start_again(&mut self) {
        let dead_until = self.now + self.dead;
        self.with_table(|t| {
            t.advance(dead_until);
            drop(t.take_wire_out());
            // Killed again while it was dead: there was nobody to kill.
            t.take_panel_killed();
        });
        let died = self.now;
        let kept = self
            .events
            .iter()
            .filter(|(at, _, durable)| *durable || *at + JOURNAL_LAG <= died);
        let known = Restored::from_events(kept.map(|(_, e, _)| e.clone()));
        self.earlier_holds.extend(self.machine.view(died).holds);
        self.now = dead_until;
        self.machine = Machine::new(
            settings(&self.config),
            Arc::clone(&self.config.link.dialect),
            known,
        );
        self.guard = GuardRules::new(self.config.guard);
        (self.guard_next, self.epoch, self.handled) = (None, 0, 0);
        self.lease = Time::ZERO;
        self.looked = (u64::MAX, Time::ZERO);
        self.plugged_open = false;
        self.operator = Operator::new(Near(Arc::clone(&self.table)), Arc::clone(&self.job));
        self.step(Input::Tick);
    }

    fn let_operator_look(&mut self) {
        for _ in 0..50 {
            let generation = self.machine.generation();
            let due = self.looked.0 != generation || self.now.since(self.looked.1) >= LOOK_EVERY;
            if !due {
                return;
            }
            self.looked = (generation, self.now);
            let view = self.view();
            let Some(ask) = self.operator.consider(self.now, &view) else {
                return;
            };
            self.ask(ask);
        }
    }

    pub fn ask(&mut self, ask: Ask) {
        let generation = self.machine.generation();
        self.step(Input::Ask {
            id: AskId(0),
            generation,
            ask,
        });
    }

    fn guard_step(&mut self) {
        let signals = signals(&self.with_table(|t| t.levels()));
        let out = self.guard.step(self.now, &signals, self.lease);
        self.epoch = out.epoch;
        self.guard_next = out.deadline;
        if out.permit_level != self.permit {
            self.permit = out.permit_level;
            let (now, level) = (self.now, out.permit_level);
            self.with_table(|t| t.set_permit(now, level));
        }
        if out.take_away {
            let bytes = self.config.link.dialect.take_away_bytes();
            self.write(&bytes);
        }
        for report in out.reports {
            self.step(Input::Guard { report });
        }
        self.step(Input::Signals { signals });
    }

    fn write(&mut self, bytes: &[u8]) {
        if self.plugged_open {
            let now = self.now;
            self.with_table(|t| t.wire_in(now, bytes));
            self.sent.push((now, bytes.to_vec()));
        }
    }

    pub fn step(&mut self, input: Input) {
        let effects = self.machine.step(self.now, input);
        self.lease = self.now + Duration::from_millis(self.config.guard.lease_ms);
        for effect in effects.0 {
            match effect {
                Effect::Write { bytes, take_away } => {
                    if take_away || self.epoch == self.handled {
                        self.write(&bytes);
                    }
                }
                Effect::OpenLink => {
                    let plugged = self.with_table(|t| {
                        t.opened();
                        t.plugged()
                    });
                    self.plugged_open = plugged;
                    let answer = if plugged {
                        Input::LinkOpened
                    } else {
                        Input::LinkLost {
                            why: "no such port".into(),
                        }
                    };
                    self.step(answer);
                }
                Effect::CloseLink => self.plugged_open = false,
                Effect::Guard { order } => {
                    if let GuardOrder::Handled { epoch } = order {
                        self.handled = epoch;
                    }
                    self.guard.order(self.now, &order);
                }
                Effect::Record { id, event, durable } => {
                    self.events.push((self.now, event, durable));
                    if durable {
                        self.step(Input::Durable { id });
                    }
                }
                Effect::Publish | Effect::Answer { .. } => {}
            }
        }
    }

    /// The last events in words, for a failure's message.
    pub fn story(&self, last: usize) -> String {
        let from = self.events.len().saturating_sub(last);
        self.events[from..]
            .iter()
            .map(|(at, e, _)| format!("{at} {}: {}\n", e.name(), e.says()))
            .collect()
    }
}

fn signals(levels: &Levels) -> Signals {
    Signals {
        fire_on: levels.fire_on,
        arc_ok: levels.arc_ok,
        contact: levels.contact,
        estop_open: levels.estop_open,
        hold_button: None,
        float_switch: None,
        air_ok: Some(levels.air_ok),
        source_on: None,
        torch_seated: Some(levels.torch_seated),
        gate_closed: None,
        permit_closed: Some(levels.permit_closed),
        sense_isolated: Some(levels.sense_isolated),
        volts: Some(levels.volts),
    }
}
