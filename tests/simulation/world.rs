//! Joins the pure parts the way the service does, on the table's own time.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use control::commissioning::Step;
use control::guard::{GuardOrder, GuardRules};
use control::resume::Way;
use control::view::{Phase, View};
use control::{Ask, AskId, Effect, Event, Input, Machine, Opened, Restored, Seen, Signals};
use planning::Job;
use simulator::harness::{FaultSpec, Levels};
use simulator::{Table, TableSettings};
use standclear::assemble::settings;
use standclear::config::Config;
use standclear::practice::operator::Operator;
use standclear::practice::table;
use standclear::runner::Automatic;
use units::Time;

mod disk;
mod disobeys;
mod dying;
mod hands;
mod keys;
mod replaying;
mod stalls;
mod told;
mod wishing;

use crate::random::restless::{Odd, Restless};
use crate::watch::Watch;

/// The guard hears the levels at least this often.
const SIGNALS_EVERY: Duration = Duration::from_millis(20);
/// The operator looks at least this often.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// A piece of metal is held to the nozzle for so long.
const METAL: Duration = Duration::from_millis(400);
/// A killed panel is back after this, unless it is told otherwise.
const DEAD: Duration = Duration::from_millis(700);

/// Over a disk that is dead for good the operators give up after this.
const GIVES_UP: Duration = Duration::from_secs(40);

/// A job at rest of which nothing was told for so long is not gone on with: whatever comes of itself (a
/// stall, a button, a disk that is back) comes within the first minutes, and an operator looks every few
/// seconds.
const NOTHING_TOLD: Duration = Duration::from_secs(600);

/// A terminal keeps so many bytes that nobody has read.
const TTY: usize = 4095;

pub use disk::{Dead, Disk, Dying};
pub use disobeys::Disobeys;
use hands::Near;
pub use keys::Keys;
use replaying::{Recorded, traced};
use stalls::Part;
pub use stalls::{Stall, Who};
pub use wishing::Wishes;

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
    /// Both contacts of the start were closed, or an arc burnt, when the guard last looked.
    was_lit: bool,
    operator: Operator<Near>,
    /// Nobody stands at the table.
    pub nobody_asks: bool,
    /// A panel was killed.
    pub was_killed: bool,
    /// The journal's disk.
    pub disk: Disk,
    /// Requests at drawn states.
    pub wishes: Wishes,
    /// Who acts beside the careful operator.
    pub restless: Option<Restless>,
    /// Somebody who moves the torch by hand.
    pub keys: Option<Keys>,
    /// The operators look at least this often.
    pub look_every: Duration,
    pub watch: Watch,
    job: Arc<Job>,
    /// What the first panel was told, where a replay is wanted, and what it did.
    pub recorded: Option<Recorded>,
    /// A killed panel is back after this.
    pub dead: Duration,
    /// A panel dies with the power of its computer: of what it recorded only what was synced is left.
    pub power_cut: bool,
    /// Holds of panels that were killed.
    pub earlier_holds: Vec<control::view::HoldRecord>,
    looked: (u64, Time),
    /// The phase when the operator last looked.
    phase: Phase,
    /// Somebody holds a piece of metal to the nozzle.
    pub metal_until: Time,
    plugged_open: bool,
    /// What is kept from going on: the guard's thread, the runner, the wire; until when.
    asleep: [Time; 3],
    /// Stalls to come, soonest first.
    pub stalls: Vec<Stall>,
    /// The guard's pins keep no edges: whatever opened between two looks is missed.
    pub polled: bool,
    /// What the guard was ordered, what it has said, and what the controller has said, while nobody
    /// took it.
    orders: Vec<GuardOrder>,
    inbox: Vec<Input>,
    tty: Vec<u8>,
    /// Edges shorter than a debounce since the panel started.
    short_edges: u64,
    /// What does not obey, soonest first.
    pub disobeys: Vec<(Time, Disobeys)>,
    button_until: Option<Time>,
    /// The contact of K1 or its mirror does not say what it was told.
    k1_lies: bool,
    /// The wires to the inputs are not right.
    pub wired_wrong: bool,
    /// What the journal has told, against the ledger.
    told: told::Told,
    unsent: Vec<u8>,
    pub now: Time,
    /// Time, event, and whether it was durable before the next step.
    pub events: Vec<(Time, Event, bool)>,
    pub sent: Vec<(Time, Vec<u8>)>,
}

impl World {
    pub fn new(config: Config, job: Arc<Job>, seed: u64, faults: &[FaultSpec]) -> Self {
        let settings = table::table_settings(&config, seed, false);
        Self::on(config, job, settings, faults)
    }

    /// On a certain table.
    pub fn on(config: Config, job: Arc<Job>, table: TableSettings, faults: &[FaultSpec]) -> Self {
        let mut table = Table::new(table);
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
            nobody_asks: false,
            was_killed: false,
            disk: Disk::default(),
            wishes: Wishes::default(),
            restless: None,
            keys: None,
            look_every: LOOK_EVERY,
            watch: Watch::default(),
            recorded: None,
            job,
            dead: DEAD,
            power_cut: false,
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
            was_lit: false,
            looked: (u64::MAX, Time::ZERO),
            phase: Phase::Starting,
            metal_until: Time::ZERO,
            plugged_open: false,
            asleep: [Time::ZERO; 3],
            stalls: Vec::new(),
            polled: false,
            orders: Vec::new(),
            inbox: Vec::new(),
            tty: Vec::new(),
            short_edges: 0,
            disobeys: Vec::new(),
            button_until: None,
            k1_lies: false,
            wired_wrong: false,
            told: told::Told::default(),
            unsent: Vec::new(),
            now: Time::ZERO,
            events: Vec::new(),
            sent: Vec::new(),
        };
        world.watch.born_again(world.job.cycle.fire_tries);
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
            if self.phase == Phase::Finished || self.stands_for_good() {
                break;
            }
        }
        self.view()
    }

    /// Nothing can be recorded any more, and nothing has gone on for long; or nobody has had anything to
    /// tell for so long that nobody will.
    fn stands_for_good(&self) -> bool {
        use Phase::{Changing, Hand, Homing, Running, Stopping};
        let rest = !matches!(self.phase, Running | Stopping | Homing | Hand | Changing);
        let told = self.events.last().map_or(Time::ZERO, |(at, ..)| *at);
        let given_up = self.now.since(told) > NOTHING_TOLD;
        rest && (given_up || self.disk.dead_for_good(self.now, GIVES_UP))
    }

    /// One moment at which something may happen.
    pub fn turn(&mut self) {
        self.pass();
        self.settle_turn();
    }

    fn pass(&mut self) {
        if self.now == Time::ZERO {
            self.step(Input::Tick);
        }
        let mut to = self.now + SIGNALS_EVERY;
        let next = [
            self.machine.deadline().filter(|_| self.awake(Part::Runner)),
            self.guard_next.filter(|_| self.awake(Part::Guard)),
            self.stalls.first().map(|s| s.at),
            self.disobeys_at(),
            self.disk.next(self.now),
            self.wishes.next().filter(|_| self.awake(Part::Runner)),
            self.keys
                .as_ref()
                .and_then(Keys::next)
                .filter(|t| *t > self.now),
        ];
        let woken = self.asleep.into_iter().filter(|t| *t > self.now);
        for at in next.into_iter().flatten().chain(woken) {
            to = to.min(at.max(self.now + Duration::from_micros(100)));
        }
        let (now, bytes, plugged) = self.with_table(|t| {
            let now = t.advance_to_change(to);
            (now, t.take_wire_out(), t.plugged())
        });
        self.now = now;
        self.disobey();
        self.let_disk_write();
        if self.with_table(Table::take_panel_killed) {
            self.die_and_start_again();
            return;
        }
        self.begin_stalls();
        self.send_unsent();
        self.guard_step();
        if self.plugged_open {
            self.tty.extend_from_slice(&bytes);
            // What nobody takes is lost beyond this, as in a terminal's queue.
            self.tty.truncate(TTY);
        }
        if !self.awake(Part::Runner) {
            return;
        }
        for input in core::mem::take(&mut self.inbox) {
            self.step(input);
        }
        if !plugged && self.plugged_open {
            self.plugged_open = false;
            self.tty.clear();
            self.step(Input::LinkLost {
                why: "the cable is out".into(),
            });
        }
        if !self.tty.is_empty() && self.plugged_open {
            let bytes = core::mem::take(&mut self.tty);
            self.step(Input::Bytes { bytes });
        }
        if self.machine.deadline().is_some_and(|at| at <= self.now) {
            self.step(Input::Tick);
        }
        self.make_wishes();
        self.press_keys();
        self.let_operator_look();
        // Orders of this moment reach the guard in this moment.
        self.guard_step();
    }

    /// The machine moves something, or brings it to a stop.
    pub fn machine_moves(&self) -> bool {
        match self.machine.phase() {
            Phase::Running | Phase::Stopping | Phase::Homing | Phase::Hand | Phase::Starting => {
                true
            }
            Phase::Changing => self.view().change.is_some_and(|c| c.moving) || self.permitting(),
            _ => self.permitting(),
        }
    }

    /// The permit pulses.
    pub fn permitting(&self) -> bool {
        self.guard.pulsing()
    }

    /// A second try was made in the run.
    pub fn tried_again(&self) -> bool {
        let is = |(_, e, _): &(Time, Event, bool)| matches!(e, Event::Retry { .. });
        self.events.iter().any(is)
    }

    fn let_operator_look(&mut self) {
        if self.nobody_asks || self.wishes.quiet(self.now) {
            let view = self.view();
            self.phase = view.phase;
            self.watch.seen(self.now, &view);
            return;
        }
        for _ in 0..50 {
            self.make_wishes();
            if self.wishes.quiet(self.now) {
                return;
            }
            let generation = self.machine.generation();
            let due =
                self.looked.0 != generation || self.now.since(self.looked.1) >= self.look_every;
            if !due {
                return;
            }
            self.looked = (generation, self.now);
            let view = self.view();
            self.phase = view.phase;
            self.watch.seen(self.now, &view);
            let odd = self.restless.as_mut();
            match odd.and_then(|r| r.act(self.now, &view, &self.job)) {
                Some(Odd::Ask { ask, old }) => {
                    self.ask_of(generation.saturating_sub(old), ask);
                    continue;
                }
                Some(Odd::Metal) => self.metal_until = self.now + METAL,
                None => {}
            }
            // One of them sees a change of parts through.
            if self.restless.is_some() && view.phase == Phase::Changing {
                self.operator.look_after(&view);
                return;
            }
            let Some(ask) = self.operator.consider(self.now, &view) else {
                return;
            };
            self.ask(ask);
        }
    }

    pub fn ask(&mut self, ask: Ask) {
        self.ask_of(self.machine.generation(), ask);
    }

    /// By somebody who has seen that state.
    fn ask_of(&mut self, generation: u64, ask: Ask) {
        self.watch.asked(&ask);
        self.step(Input::Ask {
            id: AskId(0),
            generation,
            ask,
        });
    }

    /// What the machine is told by the guard: it waits while nobody takes it.
    fn tell(&mut self, input: Input) {
        if self.awake(Part::Runner) && self.inbox.is_empty() {
            self.step(input);
        } else {
            self.inbox.push(input);
        }
    }

    /// Inputs are worked by hand, or wired wrong: what they say is not what the relays do.
    fn walked(&self) -> bool {
        let open = self.view().commissioning.and_then(|c| c.open);
        self.wired_wrong || open.is_some_and(|o| o.step != Step::DryFire)
    }

    fn guard_step(&mut self) {
        if !self.awake(Part::Guard) {
            return;
        }
        for order in core::mem::take(&mut self.orders) {
            self.guard.order(self.now, &order);
        }
        let (levels, burns) = self.with_table(|t| (t.levels(), t.burns()));
        let mut signals = signals(&levels);
        // K1 alone starts nothing: it closes once more when the chain is whole again before a controller
        // without a torch-off byte has heard to open it. A contact that welds, a mirror that says so, or a
        // hand that bridges it is no start either.
        let both = signals.fire_on && (levels.permit_closed || self.guard.pulsing());
        let lit = both || burns;
        if lit && !self.was_lit && !self.k1_lies && !self.walked() {
            let kept = self.disk.start.is_some_and(|(_, kept)| kept);
            let now = self.now;
            self.watch.fires(now, kept);
            let lamp = self.with_table(|t| t.outputs().beacon);
            assert!(lamp, "it fires at {now} and the beacon is dark");
        }
        self.was_lit = lit;
        // The circuit that is closed by the plate is closed by a piece of metal as well.
        signals.contact |= self.now < self.metal_until && signals.sense_isolated == Some(false);
        let opened = self.opened();
        let out = self.guard.step(self.now, &signals, opened, self.lease);
        self.watch
            .guard(self.now, &signals, &self.guard, &self.machine);
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
            self.tell(Input::Guard { report });
        }
        let seen = Seen {
            missed: opened.missed,
            short_edges: self.short_edges,
            ..Seen::at(self.now)
        };
        self.tell(Input::Signals {
            signals,
            seen: Some(seen),
        });
    }

    fn opened(&mut self) -> Opened {
        let brief = self.with_table(Table::take_opened);
        self.short_edges += u64::from(brief.short_edges);
        if self.polled {
            return Opened {
                missed: true,
                ..Opened::default()
            };
        }
        Opened {
            estop: brief.estop,
            torch_seated: brief.torch_seated,
            gate: brief.gate,
            short_edges: brief.short_edges,
            ..Opened::default()
        }
    }

    fn write(&mut self, bytes: &[u8]) {
        if self.plugged_open && !self.awake(Part::Wire) {
            self.unsent.extend_from_slice(bytes);
        } else if self.plugged_open && !bytes.is_empty() {
            let now = self.now;
            self.with_table(|t| t.wire_in(now, bytes));
            self.sent.push((now, bytes.to_vec()));
        }
    }

    pub fn step(&mut self, input: Input) {
        let asked = match &input {
            Input::Ask { ask, .. } => Some(ask.clone()),
            _ => None,
        };
        let recording = self.recorded.as_mut().filter(|r| !r.over);
        let told = recording.is_some().then(|| input.clone());
        let effects = self.machine.step(self.now, input);
        if let (Some(recorded), Some(told)) = (&mut self.recorded, told) {
            recorded.inputs.push((self.now, told));
            recorded.trace.push(traced(&effects));
        }
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
                    if self.awake(Part::Guard) {
                        self.guard.order(self.now, &order);
                    } else {
                        self.orders.push(order);
                    }
                }
                Effect::Record { id, event, durable } => {
                    self.watch.event(self.now, &event);
                    self.settle_told(&event);
                    self.wishes.event(&event);
                    if matches!(event, Event::CutStarted { .. } | Event::DryFire) {
                        self.disk.begin_start(id);
                    }
                    self.events.push((self.now, event, durable));
                    if durable {
                        self.keep(id);
                    }
                }
                Effect::Answer { answer, .. } => {
                    if let Some(ask) = &asked {
                        self.settle_answer(ask, &answer);
                    }
                }
                Effect::Outputs { levels } => self.outputs(levels),
                Effect::Publish => self.wishes.published = true,
            }
        }
    }

    /// The last events in words, for a failure's message.
    pub fn story(&self, last: usize) -> String {
        let told: Vec<_> = self
            .events
            .iter()
            .filter(|(_, e, _)| !matches!(e, Event::CutReached { .. } | Event::Vouched { .. }))
            .collect();
        let from = told.len().saturating_sub(last);
        told[from..]
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
        hold_button: Some(levels.hold_button),
        float_switch: None,
        air_ok: Some(levels.air_ok),
        source_on: None,
        torch_seated: Some(levels.torch_seated),
        gate_closed: None,
        permit_closed: Some(levels.permit_closed),
        sense_isolated: Some(levels.sense_isolated),
        volts: Some(levels.volts),
        ..Signals::default()
    }
}
