//! The whole table on virtual time.

mod buttons;
mod by_chance;
mod mishaps;
mod told;

use units::{Point, Time};

use crate::chance::{Chance, Draws};
use crate::controller::Controller;
use crate::edge::Edges;
use crate::faults::{Waitings, Wrongs};
use crate::harness::{Levels, OpenedBriefly, OutputWires, Plan};
use crate::ledger::{Ledger, Limits, Seen};
use crate::metal::Led;
use crate::outputs::Outputs;
use crate::relays::{Contact, PulseRelay, RelayWrong, SenseWrong};
use crate::rough::Rough;
use crate::rough::film::Spot;
use crate::settings::TableSettings;
use crate::sheet::{NOZZLE_RADIUS_MM, Sheet};
use crate::source::{ArcChart, Gap, Source};
use crate::supplies::Supplies;
use crate::wire::{Noise, WireIn};
use crate::wiring::Wiring;

/// Longest step while anything moves or burns, ns.
const STEP_NS: u64 = 1_000_000;
/// A piece that has tipped up reaches this far round and this high, mm.
const TIPPED_RADIUS_MM: f64 = 40.0;
const TIPPED_HEIGHT_MM: f64 = 45.0;
/// Steps lost when the torch runs into something, mm.
const KNOCK_MM: (f64, f64) = (0.5, -0.3);

/// An order to go wrong that cannot be carried out.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct FaultRefused(String);

/// The simulated table. Pure: time is told to it, and everything that it draws comes from its seed.
#[derive(Clone, Debug)]
pub struct Table {
    settings: TableSettings,
    /// ns, always whole microseconds.
    now: u64,
    controller: Controller,
    wire_in: WireIn,
    noise_in: Noise,
    noise_out: Noise,
    k1: Contact,
    k2: PulseRelay,
    k3: Contact,
    source: Source,
    plan: Plan,
    sheet: Option<Sheet>,
    ledger: Ledger,
    /// How the edges of what was cut turned out.
    edges: Edges,
    waiting: Waitings,
    wrongs: Wrongs,
    contact: bool,
    contact_chance: Chance,
    sense_told: u64,
    panel_killed: bool,
    opened: OpenedBriefly,
    buttons: buttons::Buttons,
    /// What is wrong with the relay of the sensing circuit, and with its mirror.
    sense_wrong: SenseWrong,
    /// ... and with those of the start circuit, K1 and K2.
    start_wrong: (RelayWrong, RelayWrong),
    /// The wires to the panel's inputs, and hands at them.
    wiring: Wiring,
    outputs: Outputs,
    /// What goes wrong by chance.
    rough: Option<Box<Rough>>,
    /// The supplies of a calm table.
    supplies: Option<Supplies>,
}

impl Table {
    /// A table that has just been switched on, with nothing on its slats.
    #[must_use]
    pub fn new(settings: TableSettings) -> Self {
        let seed = settings.seed;
        let plan = Plan::default();
        Self {
            now: 0,
            controller: Controller::new(&settings),
            wire_in: WireIn::new(settings.baud),
            noise_in: Noise::new(settings.bit_error_rate, seed),
            noise_out: Noise::new(settings.bit_error_rate, seed ^ 0x5555),
            k1: Contact::new(6, 4),
            k2: PulseRelay::new(settings.permit_drop_ms),
            k3: Contact::new(6, 4),
            source: Source::new(seed, settings.rough),
            ledger: Ledger::new(&plan, limits(&settings)),
            edges: Edges::default(),
            plan,
            sheet: None,
            waiting: Waitings::default(),
            wrongs: Wrongs::default(),
            contact: false,
            contact_chance: Chance::new(seed, Draws::Contact),
            sense_told: 0,
            panel_killed: false,
            opened: OpenedBriefly::default(),
            buttons: buttons::Buttons::default(),
            sense_wrong: SenseWrong::default(),
            start_wrong: (RelayWrong::default(), RelayWrong::default()),
            wiring: Wiring::default(),
            outputs: Outputs::default(),
            rough: settings.rough.then(|| Box::new(Rough::new(&settings))),
            supplies: settings
                .supplies
                .filter(|_| !settings.rough)
                .map(|state| Supplies::new(state, settings.compressor_l_min)),
            settings,
        }
    }

    /// Table time.
    #[must_use]
    pub fn now(&self) -> Time {
        Time::from_us(self.now / 1000)
    }

    /// Lets time pass up to `to`, in steps of at most 1 ms while anything moves or burns.
    pub fn advance(&mut self, to: Time) {
        let to = to.as_us() * 1000;
        while self.now < to {
            let next = self.next_step().min(to);
            self.step(next);
        }
    }

    /// Like [`Table::advance`], but stops at the first moment at which a level has changed or bytes
    /// have arrived at the panel. Gives the moment reached.
    pub fn advance_to_change(&mut self, to: Time) -> Time {
        let to = to.as_us() * 1000;
        let (levels, plugged) = (self.levels(), self.plugged());
        while self.now < to {
            let next = self.next_step().min(to);
            self.step(next);
            if self.has_bytes()
                || !levels.same_contacts(&self.levels())
                || plugged != self.plugged()
                || self.panel_killed
            {
                break;
            }
        }
        self.now()
    }

    /// No level changes and no byte arrives before this moment, as long as nothing comes from the
    /// panel.
    #[must_use]
    pub fn next_event(&self) -> Time {
        let mut next = self.next_own();
        let senses = self.k3.closed() || !self.waiting.is_empty();
        if self.source.busy() || (self.controller.moving() && senses) {
            next = next.min(self.now + STEP_NS);
        }
        if let Some(at) = self.controller.wire.next_arrival() {
            next = next.min(at);
        }
        Time::from_us(whole_us(next.max(self.now)) / 1000)
    }

    /// Bytes that the panel wrote just now: they pass the wire at its baud rate.
    pub fn wire_in(&mut self, at: Time, bytes: &[u8]) {
        self.advance(at);
        if self.plugged() {
            self.wire_in.write(self.now, bytes);
        }
    }

    /// Bytes that have fully arrived at the panel.
    pub fn take_wire_out(&mut self) -> Vec<u8> {
        let mut bytes = self.controller.wire.arrived(self.now);
        if !self.plugged() {
            bytes.clear();
        }
        for byte in &mut bytes {
            *byte = self.noise_out.on(*byte);
        }
        bytes
    }

    /// The permit pin has this level from now on.
    pub fn set_permit(&mut self, at: Time, level: bool) {
        self.advance(at);
        self.k2.level(self.now, level);
    }

    /// The panel's optional outputs have these levels from now on.
    pub fn set_outputs(&mut self, at: Time, wires: OutputWires) {
        self.advance(at);
        self.outputs.set(self.now, wires);
    }

    /// What the wires of the optional outputs carry.
    #[must_use]
    pub fn outputs(&self) -> OutputWires {
        self.outputs.wires()
    }

    /// The wires to the panel's inputs.
    #[must_use]
    pub fn levels(&self) -> Levels {
        self.wiring
            .read(self.now, self.contacts(), self.k3.closed())
    }

    /// The contacts themselves.
    fn contacts(&self) -> Levels {
        Levels {
            fire_on: self.start_wrong.0.mirror.unwrap_or(self.k1.closed()),
            arc_ok: self.source.arc_ok(),
            contact: self.contact,
            estop_open: self.wrongs.chain_open,
            hold_button: self.buttons.hold_pressed(),
            air_ok: !self.wrongs.air_low
                && self.rough.as_ref().is_none_or(|r| r.air.good())
                && self.supplies.as_ref().is_none_or(|s| s.air.good()),
            source_on: true,
            torch_seated: !self.wrongs.unseated,
            permit_closed: self.start_wrong.1.mirror.unwrap_or(self.k2.closed()),
            sense_isolated: self.sense_wrong.mirror.unwrap_or(!self.k3.closed()),
            volts: self.source.volts(),
        }
    }

    /// Contacts that opened since this was last asked, however briefly.
    pub fn take_opened(&mut self) -> OpenedBriefly {
        core::mem::take(&mut self.opened)
    }

    /// Whether any has opened and nobody was told yet.
    #[must_use]
    pub fn has_opened(&self) -> bool {
        self.opened != OpenedBriefly::default()
    }

    /// These contacts open and close again within a step: too short for any relay, and for a level that
    /// is looked at now and then.
    pub fn open_briefly(&mut self, which: OpenedBriefly) {
        self.opened.estop |= which.estop;
        self.opened.torch_seated |= which.torch_seated;
        self.opened.gate |= which.gate;
        self.opened.short_edges += which.short_edges;
    }

    /// Whether the serial cable is plugged in.
    #[must_use]
    pub fn plugged(&self) -> bool {
        !self.wrongs.unplugged
    }

    /// The panel has opened the port and cleared its input.
    pub fn opened(&mut self) {
        drop(self.controller.wire.arrived(self.now));
    }

    /// Whether the panel is to be killed now; asked once, it is no longer so.
    pub fn take_panel_killed(&mut self) -> bool {
        core::mem::take(&mut self.panel_killed)
    }

    /// Lays another sheet on the table: the ledger begins anew, and no fault waits any more.
    pub fn lay(&mut self, plan: Plan) {
        self.sheet = Some(Sheet::lay(
            &plan,
            self.settings.slat_top_z,
            self.settings.rough,
            self.settings.falls_mm,
            self.settings.seed,
        ));
        self.ledger = self.ledger.next(&plan, limits(&self.settings));
        self.edges = Edges::default();
        self.plan = plan;
        self.waiting.clear();
        if let (Some(rough), Some(sheet)) = (&mut self.rough, &mut self.sheet) {
            sheet.metal.tells_mm = rough.tips.longest_mm();
            rough.tips.new_sheet();
        }
    }

    /// Whether bytes have arrived at the panel that were not taken yet.
    #[must_use]
    pub fn has_bytes(&self) -> bool {
        self.controller
            .wire
            .next_arrival()
            .is_some_and(|at| at <= self.now)
    }

    /// The next moment at which a part does something by itself.
    fn next_own(&self) -> u64 {
        let mut next = self.controller.next(self.now);
        let others = [
            self.wire_in.next_telling(),
            self.k1.next(),
            self.k2.next(),
            self.k3.next(),
            self.source.next(),
            self.wrongs.chain_closes_at,
            self.buttons.next(),
            self.wiring.next(self.now),
        ];
        for at in others.into_iter().flatten() {
            next = next.min(at);
        }
        next
    }

    fn next_step(&self) -> u64 {
        let mut next = self.next_own();
        if self.controller.moving() || self.source.busy() {
            next = next.min(self.now + STEP_NS);
        }
        // What has arrived and nobody takes is no moment to come.
        let arrival = self.controller.wire.next_arrival();
        if let Some(at) = arrival.filter(|at| *at > self.now) {
            next = next.min(at);
        }
        whole_us(next.max(self.now + 1))
    }

    fn step(&mut self, now: u64) {
        let dt = now - self.now;
        let mut before = self.controller.true_place();
        let mut driven = self.controller.screw();
        self.now = now;
        self.close_chain();
        self.k1.advance(now);
        self.k3.advance(now);
        self.controller.advance(now, dt);
        self.feel(now, Some(before.1));
        self.run_into(before);
        while let Some((_, byte)) = self.wire_in.read(now) {
            let byte = self.noise_in.on(byte);
            self.controller.byte(now, byte);
        }
        self.controller.settle(now);
        if !self.plugged() {
            drop(self.controller.wire.arrived(now));
        }
        let chain = !self.wrongs.chain_open;
        self.k1.coil(now, self.controller.torch() && chain);
        self.k3
            .coil(now, self.sense_wrong.contact(self.controller.sense()));
        self.work_buttons(now);
        self.k2.advance(now, chain);
        self.suffer(dt);
        self.burn(now, dt);
        self.see_mishaps(now);
        if let Some(supplies) = &mut self.supplies {
            let (flows, burning) = (self.source.flows(now), self.source.burning());
            let [now_s, dt_s] = [now, dt].map(|t| t as f64 / 1e9);
            supplies.advance(now_s, dt_s, flows, burning, self.source.transferred());
        }
        self.controller.arc_ok(now, self.source.arc_ok());
        // What pushes the torch is no motion of the drives.
        let (x, y) = self.controller.take_knocked();
        before.0 = before.0.moved(x, y);
        driven = driven.moved(x, y);
        self.judge(now, dt, before, driven);
        if !self.waiting.is_empty() {
            self.go_wrong(now, before);
        }
    }

    /// The ohmic circuit, and the touch-off that stops at it. `from_z`: height at the start of the
    /// step.
    fn feel(&mut self, now: u64, from_z: Option<f64>) {
        let (place, z) = self.controller.true_place();
        let mut met = None;
        if let Some(sheet) = self.sheet.as_ref().filter(|_| self.k3.closed()) {
            let spot = sheet.own(place);
            let mut plane = sheet.surface(place) + self.settings.ohmic_offset_mm;
            if let Some(rough) = &self.rough {
                plane += match rough.film.at(spot) {
                    Spot::Closes(deep_mm) => {
                        rough.wet.above_mm() - rough.film.pressed(deep_mm, sheet.gives_mm_n(place))
                    }
                    Spot::Never => f64::NEG_INFINITY,
                };
            }
            if z <= plane && sheet.metal.distance(spot) <= NOZZLE_RADIUS_MM {
                met = Some(plane.clamp(z, from_z.unwrap_or(z).max(z)));
            }
        }
        let standing = self.wrongs.standing.is_some_and(|at| {
            place.distance(at) <= TIPPED_RADIUS_MM && z < self.top_z() + TIPPED_HEIGHT_MM
        });
        if self.wrongs.bridged || standing {
            met = met.or(Some(z));
        }
        self.contact = self.k3.closed() && !self.wrongs.sense_broken && met.is_some();
        if self.contact
            && self.controller.touching()
            && let Some(z) = met
        {
            let z = z + self.contact_chance.bell(0.0, 0.004).clamp(-0.01, 0.01);
            let z = self.controller.counted_z(z);
            self.controller.met(now, z);
        }
    }

    fn top_z(&self) -> f64 {
        self.settings.slat_top_z + self.plan.thickness_mm
    }

    fn height(&self, place: Point, z: f64) -> f64 {
        let surface = self
            .sheet
            .as_ref()
            .map_or(self.settings.slat_top_z, |s| s.surface(place));
        z - surface
    }

    /// A place of the table on the sheet as the plan draws it.
    fn on_sheet(&self, place: Point) -> Point {
        self.sheet.as_ref().map_or(place, |s| s.own(place))
    }

    fn outside(&self, place: Point) -> f64 {
        self.sheet
            .as_ref()
            .map_or(f64::INFINITY, |s| s.outside(place))
    }

    fn burn(&mut self, now: u64, dt: u64) {
        let (place, z) = self.controller.true_place();
        let burning = self.source.burning();
        let arc = self.source.transferred();
        let (metal_mm, front) = match &mut self.sheet {
            Some(sheet) if burning => {
                let own = sheet.own(place);
                let way = sheet.metal.goes(own);
                let front = way
                    .filter(|_| arc)
                    .map_or(1.0, |w| sheet.metal.front(own, w));
                (sheet.metal.felt(own), front)
            }
            _ => (self.outside(place), 1.0),
        };
        let gap = Gap {
            // Nothing feels it without a fire.
            height_mm: if burning {
                self.height(place, z)
            } else {
                f64::INFINITY
            },
            metal_mm,
            speed_mm_s: self.controller.xy_speed(),
            front,
        };
        let chart = ArcChart {
            volts: self.plan.volts,
            cut_height_mm: self.plan.cut_height_mm,
            feed_mm_s: self.plan.feed_mm_s,
            load: self.plan.amps / self.settings.endless_amps.max(1.0),
        };
        let circuit = self.k1.closed() && self.k2.closed();
        self.source
            .advance(now, dt, circuit, !self.wrongs.air_low, gap, chart);
        self.take_metal(place, gap, dt);
    }

    /// What the arc has burnt through is gone; when it is out, what it cut free falls.
    fn take_metal(&mut self, at: Point, gap: Gap, dt: u64) {
        let arc = self.source.transferred();
        let felt = self.source.conditions;
        let asks = arc.then(|| self.plan.kerf().asks(gap.speed_mm_s)).flatten();
        if let Some(sheet) = &mut self.sheet {
            if !arc {
                sheet.metal.end(true);
                return;
            }
            let at = sheet.own(at);
            let led = Led {
                kerf_mm: self.plan.kerf_mm,
                height_mm: gap.height_mm,
                cut_height_mm: self.plan.cut_height_mm,
                speed_mm_s: gap.speed_mm_s,
                feed_mm_s: self.plan.feed_mm_s,
                asks,
                wear: felt.map_or(0.0, |c| c.wear),
                blown: felt.is_some_and(|c| c.blown),
            };
            self.edges.cut(gap.speed_mm_s * dt as f64 / 1e9, &led);
            match led.radius_mm() {
                Some(radius) => sheet.metal.burn(at, radius),
                None => sheet.metal.end(false),
            }
        }
    }

    fn judge(&mut self, now: u64, dt: u64, before: (Point, f64), driven: Point) {
        for (epoch, number) in self.controller.take_done() {
            self.ledger.executed(now, epoch, number);
        }
        let (place, z) = self.controller.true_place();
        let outside_mm = self.outside(place);
        let moved_mm = place.distance(before.0);
        let seen = Seen {
            now,
            dt,
            // The paths are told apart by hundredths of a millimetre: play would mix them up.
            place: self.on_sheet(self.controller.screw()),
            height_mm: self.height(place, z),
            moved_mm,
            driven_mm: self.controller.screw().distance(driven),
            moved_z_mm: z - before.1,
            arc: self.source.transferred(),
            burning: self.source.burning(),
            stuck_on: self.source.latched,
            k1_wrong: self.start_wrong.0.holds(),
            k2_wrong: self.start_wrong.1.holds(),
            circuit: self.k1.closed() && self.k2.closed(),
            k2: self.k2.closed(),
            last_pulse: self.k2.last_pulse(),
            chain_open: self.wrongs.chain_open,
            sensing: self.k3.closed(),
            holding: self.controller.holding(),
            rapid: self.controller.rapid_to().is_some(),
            outside_mm,
            metal: outside_mm <= 0.0,
        };
        self.ledger.see(&seen);
    }
}

fn limits(settings: &TableSettings) -> Limits {
    Limits {
        permit_drop_ms: settings.permit_drop_ms,
        rapid_floor_mm: settings.rapid_floor_mm,
    }
}

fn whole_us(ns: u64) -> u64 {
    ns.div_ceil(1000) * 1000
}
