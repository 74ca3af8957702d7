//! The rules with a small control, table and clock around them, and an account of what must hold.

use core::time::Duration;
use std::collections::BTreeSet;

use units::Time;

use super::super::GuardRules;
use super::wrong::Wrong;
use crate::cause::Cause;
use crate::guard::{EdgeInput, GuardOrder, GuardReport, GuardSettings, Phase};
use crate::signals::{Opened, Signals};

/// The longest limit met here is 1.5 s.
const OLD: Duration = Duration::from_millis(1600);
/// What the guard latches and these acts can bring about. The seat of the torch is judged as the gate
/// is, and is not fitted here.
pub(super) const LATCHES: [Cause; 7] = [
    Cause::ArcStuck,
    Cause::UnaskedFire,
    Cause::TorchTouched,
    Cause::Estop,
    Cause::GateOpen,
    Cause::LeaseLapsed,
    Cause::GuardLate,
];
pub(super) const LEASE: Duration = Duration::from_millis(200);
/// The permit relay surely holds so long.
pub(super) const HOLDS: Duration = Duration::from_millis(30);
/// Levels are told so often.
const EVERY: Duration = Duration::from_millis(50);
/// What tells two states apart.
pub(super) type Key = ([u32; 13], u64, Vec<String>);

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Act {
    // The table.
    Fire,
    Arc,
    FireAndArcOpen,
    Contact,
    Estop,
    Gate,
    Button,
    /// The chain opens and closes again before anybody looks.
    EstopBriefly,
    Wait {
        ms: u64,
    },
    /// The guard is kept from its steps: what happens is seen, and what is ordered is heard, when it
    /// wakes.
    Sleep,
    Wake,
    // Control.
    Traverse,
    AskToClose,
    LetFire,
    TorchOffDone,
    GiveBack,
    GiveBackAndAskAgain,
    Hear,
    Answer,
    FallSilentOrSpeak,
    // The operator.
    Clear(Cause),
}

const ALWAYS: [Act; 15] = [
    Act::Fire,
    Act::Arc,
    Act::FireAndArcOpen,
    Act::Contact,
    Act::Estop,
    Act::EstopBriefly,
    Act::Gate,
    Act::Button,
    Act::Wait { ms: 10 },
    Act::Wait { ms: 30 },
    Act::Wait { ms: 200 },
    Act::Wait { ms: 500 },
    Act::Wait { ms: 1500 },
    Act::Hear,
    Act::FallSilentOrSpeak,
];

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Control {
    Idle,
    Closing,
    Firing,
    Extinguishing,
}

/// What must hold, kept apart from the rules: by what went in and what was said.
#[derive(Clone)]
pub(super) struct Account {
    pub(super) latches: BTreeSet<Cause>,
    trip_open: bool,
    asked: bool,
    fire_seen_open: bool,
    arc_seen_open: bool,
    pub(super) pulsing: bool,
    /// The permit pin, and when it last changed.
    pin: bool,
    pin_at: Time,
    /// When each of fire-on and arc OK really changed last.
    changed: [Time; 2],
    /// The chain has opened since the last step.
    opened: bool,
}

#[derive(Clone)]
pub(super) struct World {
    pub(super) rules: GuardRules,
    pub(super) wrong: Wrong,
    pub(super) now: Time,
    wake: Option<Time>,
    pub(super) s: Signals,
    pub(super) opened: Opened,
    /// The guard is kept from its steps, and what it was ordered meanwhile waits.
    asleep: bool,
    orders: Vec<GuardOrder>,
    pub(super) lease: Time,
    silent: bool,
    control: Control,
    traversing: bool,
    /// The epoch that control has heard of.
    known: u64,
    /// It has heard of a trip and not answered: nothing else goes out before.
    owes: bool,
    pub(super) cleared: Vec<Cause>,
    pub(super) account: Account,
}

fn gone(cause: Cause, s: &Signals, leased: bool) -> bool {
    match cause {
        Cause::Estop => !s.estop_open,
        Cause::GateOpen => s.gate_closed == Some(true),
        Cause::TorchTouched => !s.contact,
        Cause::ArcStuck | Cause::UnaskedFire => !s.fire_on && !s.arc_ok,
        Cause::LeaseLapsed => leased,
        _ => true,
    }
}

impl World {
    pub(super) fn new(wrong: Wrong) -> Result<Self, String> {
        let now = Time::from_ms(5000);
        let mut w = Self {
            rules: GuardRules::new(GuardSettings::default()),
            wrong,
            now,
            wake: None,
            s: at_rest(),
            opened: Opened::default(),
            asleep: false,
            orders: Vec::new(),
            lease: now + LEASE,
            silent: false,
            control: Control::Idle,
            traversing: false,
            known: 0,
            owes: false,
            cleared: Vec::new(),
            account: Account {
                latches: BTreeSet::new(),
                trip_open: false,
                asked: false,
                fire_seen_open: false,
                arc_seen_open: false,
                pulsing: false,
                pin: false,
                pin_at: now,
                changed: [now; 2],
                opened: false,
            },
        };
        w.step()?;
        Ok(w)
    }

    fn order(&mut self, order: &GuardOrder) {
        if self.asleep {
            self.orders.push(order.clone());
            return;
        }
        match order {
            GuardOrder::Phase { phase } => {
                let asked = *phase != Phase::Off;
                if !asked && self.account.asked {
                    self.account.fire_seen_open = false;
                    self.account.arc_seen_open = false;
                }
                self.account.asked = asked;
            }
            GuardOrder::Handled { epoch } if *epoch >= self.rules.epoch => {
                self.account.trip_open = false;
            }
            GuardOrder::Clear { cause } => {
                self.cleared.push(*cause);
                if self.wrong == Wrong::ArcStuckNeverClears && *cause == Cause::ArcStuck {
                    return;
                }
            }
            _ => {}
        }
        self.rules.order(self.now, order);
    }

    fn phase(&mut self, phase: Phase) {
        self.order(&GuardOrder::Phase { phase });
    }

    fn doing(&mut self, torch_off_done: bool) {
        self.order(&GuardOrder::Doing {
            traversing: self.traversing,
            torch_off_done,
            crossing: false,
        });
    }

    fn step(&mut self) -> Result<(), String> {
        if !self.silent {
            self.lease = self.now + LEASE;
        }
        let was_pulsing = self.account.pulsing;
        let out = self.rules_step();
        self.wake = Time::sooner(out.deadline, Some(self.now + EVERY));
        let a = &mut self.account;
        let brief = core::mem::take(&mut a.opened);
        let gap = was_pulsing && self.now.since(a.pin_at) >= HOLDS;
        let moved = out.permit_level != a.pin;
        if moved {
            (a.pin, a.pin_at) = (out.permit_level, self.now);
        }
        a.fire_seen_open |= !self.s.fire_on;
        a.arc_seen_open |= !self.s.arc_ok;
        for report in &out.reports {
            match report {
                GuardReport::Tripped { cause, latched, .. } => {
                    if *latched {
                        a.latches.insert(*cause);
                    }
                    (a.trip_open, a.asked) = (true, false);
                    (a.fire_seen_open, a.arc_seen_open) = (false, false);
                    if !out.take_away {
                        return Err(format!("{cause}: a trip without the take-away bytes"));
                    }
                }
                GuardReport::Cleared { cause } => {
                    a.latches.remove(cause);
                    if !self.cleared.contains(cause)
                        || !gone(*cause, &self.s, self.now <= self.lease)
                    {
                        return Err(format!("{cause}: cleared unasked or while it stands"));
                    }
                }
                GuardReport::Edge {
                    input, at, after, ..
                } => {
                    let really = match input {
                        EdgeInput::FireOn => a.changed[0],
                        EdgeInput::ArcOk => a.changed[1],
                        _ => continue,
                    };
                    // While the permit pulses looks are 5 ms apart, and 5 ms more is in time. A guard
                    // at rest is woken by edges: it cannot tell that it was kept from one.
                    let slack = Duration::from_millis(10);
                    let told = after.unwrap_or(*at);
                    if *at < really || was_pulsing && told > really + slack {
                        return Err(format!("{input:?} was at {really}, told {after:?} to {at}"));
                    }
                }
                _ => {}
            }
        }
        self.cleared.clear();
        if gap && !a.latches.contains(&Cause::GuardLate) {
            return Err("a gap in the pulses that is not latched".into());
        }
        if gap && moved && out.permit_level {
            return Err("a pulse after a gap".into());
        }
        if brief && !a.latches.contains(&Cause::Estop) {
            return Err("the stop chain opened for a moment and is not latched".into());
        }
        if !self.rules.latches().eq(a.latches.iter().copied()) {
            let latches: Vec<_> = self.rules.latches().collect();
            return Err(format!("latched {latches:?}, told {:?}", a.latches));
        }
        let pulsing = self.rules.pulsing();
        let begins = pulsing && !a.pulsing;
        a.pulsing = pulsing;
        let against = [
            (!a.latches.is_empty(), "a latch"),
            (a.trip_open, "a trip that nobody handled"),
            (!a.asked, "nobody asking"),
            (self.now > self.lease, "a lapsed lease"),
            (self.s.estop_open, "the stop chain open"),
            (!a.fire_seen_open, "fire-on not seen open since the stop"),
            (!a.arc_seen_open, "arc OK not seen open since the stop"),
            (begins && self.s.fire_on, "fire-on at its first pulse"),
            (begins && self.s.arc_ok, "arc OK at its first pulse"),
        ];
        match against.iter().find(|(stands, _)| *stands) {
            Some((_, what)) if pulsing => Err(format!("the permit is pulsed with {what}")),
            _ if out.permit_level && !pulsing => Err("a level that is no pulse".into()),
            _ if self.s.estop_open && !a.latches.contains(&Cause::Estop) => {
                Err("the stop chain is open and not latched".into())
            }
            _ => Ok(()),
        }
    }

    fn wait(&mut self, ms: u64) -> Result<(), String> {
        let until = self.now + Duration::from_millis(ms);
        if self.asleep {
            self.now = until;
            return Ok(());
        }
        while self.now < until {
            self.now = match self.wake {
                Some(t) if t > self.now && t < until => t,
                _ => until,
            };
            self.step()?;
        }
        Ok(())
    }

    pub(super) fn acts(&self) -> Vec<Act> {
        let mut acts = ALWAYS.to_vec();
        if self.asleep {
            acts.retain(|a| !matches!(a, Act::Hear | Act::Wait { ms: 500 | 1500 }));
            acts.extend([Act::Wake, Act::Wait { ms: 19 }, Act::Wait { ms: 29 }]);
        } else {
            acts.push(Act::Sleep);
        }
        if self.owes {
            acts.push(Act::Answer);
            return acts;
        }
        acts.extend_from_slice(match self.control {
            Control::Idle => &[Act::AskToClose, Act::Traverse],
            Control::Closing => &[Act::LetFire, Act::GiveBack],
            Control::Firing => &[Act::TorchOffDone, Act::GiveBack, Act::GiveBackAndAskAgain],
            Control::Extinguishing => &[Act::GiveBack, Act::GiveBackAndAskAgain],
        });
        acts.extend(self.account.latches.iter().map(|c| Act::Clear(*c)));
        acts
    }

    pub(super) fn act(&mut self, act: Act) -> Result<(), String> {
        match act {
            Act::Fire => self.level(!self.s.fire_on, self.s.arc_ok),
            Act::Arc => self.level(self.s.fire_on, !self.s.arc_ok),
            Act::FireAndArcOpen => self.level(false, false),
            Act::EstopBriefly => {
                self.opened.estop = true;
                self.account.opened = true;
            }
            Act::Sleep => {
                self.asleep = true;
                return Ok(());
            }
            Act::Wake => return self.wake_up(),
            Act::Contact => self.s.contact = !self.s.contact,
            Act::Estop => self.s.estop_open = !self.s.estop_open,
            Act::Gate => self.s.gate_closed = self.s.gate_closed.map(|c| !c),
            Act::Button => self.s.hold_button = self.s.hold_button.map(|c| !c),
            Act::Wait { ms } => return self.wait(ms),
            Act::Traverse => {
                self.traversing = !self.traversing;
                self.doing(false);
            }
            Act::AskToClose => {
                self.control = Control::Closing;
                self.traversing = false;
                self.doing(false);
                self.phase(Phase::Closing);
            }
            Act::LetFire => {
                self.control = Control::Firing;
                self.phase(Phase::Firing);
            }
            Act::TorchOffDone => {
                self.control = Control::Extinguishing;
                self.doing(true);
            }
            Act::GiveBack => {
                self.control = Control::Idle;
                self.phase(Phase::Off);
            }
            Act::GiveBackAndAskAgain => {
                self.control = Control::Closing;
                self.phase(Phase::Off);
                self.phase(Phase::Closing);
            }
            Act::Hear => {
                self.owes |= self.known != self.rules.epoch;
                self.known = self.rules.epoch;
                return Ok(());
            }
            // As a halt of control: what was asked is taken back before the trip counts as handled.
            Act::Answer => {
                self.owes = false;
                self.control = Control::Idle;
                self.traversing = false;
                self.phase(Phase::Off);
                self.doing(false);
                self.order(&GuardOrder::Handled { epoch: self.known });
            }
            Act::FallSilentOrSpeak => self.silent = !self.silent,
            Act::Clear(cause) => self.order(&GuardOrder::Clear { cause }),
        }
        if self.asleep {
            return Ok(());
        }
        self.step()
    }

    fn level(&mut self, fire: bool, arc: bool) {
        let a = &mut self.account;
        if self.s.fire_on != fire {
            a.changed[0] = self.now;
        }
        if self.s.arc_ok != arc {
            a.changed[1] = self.now;
        }
        (self.s.fire_on, self.s.arc_ok) = (fire, arc);
    }

    /// As its thread does it: the orders that have come in are heard first.
    fn wake_up(&mut self) -> Result<(), String> {
        self.asleep = false;
        for order in core::mem::take(&mut self.orders) {
            self.order(&order);
        }
        self.step()
    }

    /// All that a rule can tell, with ages for moments.
    pub(super) fn key(&self) -> Key {
        let r = &self.rules;
        let us = |d: Duration| d.min(OLD).as_micros() as u32;
        let age = |t: Time| us(self.now.since(t));
        let aged = |t: Option<Time>| t.map_or(u32::MAX, age);
        let ahead = |t: Time| us(t.since(self.now)) * u32::from(t > self.now);
        let stays = r
            .out_from
            .is_some_and(|t| r.arc.since < t + Duration::from_millis(500));
        let mut bits = 0;
        for bit in [
            self.s.fire_on,
            self.s.arc_ok,
            self.s.contact,
            self.s.estop_open,
            self.s.gate_closed == Some(true),
            self.s.hold_button == Some(true),
            self.silent,
            self.now <= self.lease,
            self.traversing,
            r.traversing,
            r.contact_excused,
            self.owes,
            self.known == r.epoch,
            r.handled == r.epoch,
            r.arc_seen,
            r.fire_excused,
            r.open_fire,
            r.open_arc,
            r.pulsing,
            r.level,
            stays,
            self.account.trip_open,
            self.account.asked,
            self.account.fire_seen_open,
            self.account.arc_seen_open,
        ] {
            bits = bits << 1 | u64::from(bit);
        }
        bits = bits << 4 | (r.phase as u64) << 2 | self.control as u64;
        for cause in LATCHES {
            bits = bits << 1 | u64::from(r.latches.contains(&cause));
        }
        bits = bits << 1 | u64::from(self.opened.estop);
        bits = bits << 1 | u64::from(self.asleep);
        let orders = self.orders.iter().map(|o| format!("{o:?}")).collect();
        let ages = [
            aged(r.started),
            age(r.fire.since),
            age(r.arc.since),
            age(r.contact.since),
            aged(r.fired),
            aged(r.out_from),
            aged(r.torch_off),
            ahead(self.lease),
            if r.pulsing { ahead(r.toggle_at) } else { 0 },
            if r.pulsing {
                age(self.account.pin_at)
            } else {
                0
            },
            if self.asleep { age(self.slept()) } else { 0 },
            if self.asleep {
                age(self.account.changed[0])
            } else {
                0
            },
            if self.asleep {
                age(self.account.changed[1])
            } else {
                0
            },
        ];
        (ages, bits, orders)
    }

    /// When the guard was last there.
    fn slept(&self) -> Time {
        self.rules.late.last.map_or(Time::ZERO, |(at, _)| at)
    }

    /// Each latch yields to its own request when its cause has gone, and to nothing else.
    pub(super) fn probe(&self) -> Result<(), String> {
        if self.asleep {
            // Nothing reaches it before it wakes.
            let mut awake = self.clone();
            awake.wake_up()?;
            return awake.probe();
        }
        for &cause in &self.account.latches {
            let mut own = self.clone();
            own.order(&GuardOrder::Clear { cause });
            own.step()?;
            let gone = gone(cause, &own.s, own.now <= own.lease);
            if own.account.latches.contains(&cause) == gone {
                return Err(format!(
                    "{cause}: gone {gone}, and its own request says otherwise"
                ));
            }
            let mut others = self.clone();
            for other in Cause::ALL.into_iter().filter(|c| *c != cause) {
                others.order(&GuardOrder::Clear { cause: other });
            }
            for phase in [Phase::Off, Phase::Closing, Phase::Firing, Phase::Off] {
                others.phase(phase);
            }
            others.doing(true);
            let epoch = others.rules.epoch;
            others.order(&GuardOrder::Handled { epoch });
            others.step()?;
            if !others.account.latches.contains(&cause) {
                return Err(format!("{cause}: cleared by what is not its own request"));
            }
        }
        self.way_out()
    }

    /// Whoever does the right thing from here gets the permit again.
    fn way_out(&self) -> Result<(), String> {
        let mut w = self.clone();
        w.level(false, false);
        w.s = at_rest();
        w.silent = false;
        w.step()?;
        w.act(Act::Hear)?;
        w.act(Act::Answer)?;
        for cause in w.account.latches.clone() {
            w.act(Act::Clear(cause))?;
        }
        w.act(Act::AskToClose)?;
        if w.account.pulsing {
            return Ok(());
        }
        let latches = &w.account.latches;
        Err(format!("no way on to a permit, latched: {latches:?}"))
    }
}

fn at_rest() -> Signals {
    Signals {
        hold_button: Some(false),
        gate_closed: Some(true),
        ..Signals::default()
    }
}
