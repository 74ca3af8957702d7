//! What the guard decides: levels and moments in, a permit level and reports out.
//!
//! It may only take away. It pulses the permit only while control asks for it, control's word is
//! fresh, no trip waits to be handled, no latch stands, and `fire_on` and `arc_ok` were both seen
//! open since the last stop. If the power goes nothing of it remains: latches come back from the
//! journal by [`GuardOrder::Restore`].

mod fire;
mod late;
mod permit;

use core::time::Duration;
use std::collections::BTreeSet;

use units::Time;

use super::{EdgeInput, GuardOrder, GuardOut, GuardReport, GuardSettings, Phase};
use crate::cause::Cause;
use crate::signals::{Moments, Opened, Signals};

/// `fire_on` is believed after this long (common practice, no source).
const FIRE_ACCEPT: Duration = Duration::from_millis(5);
/// `arc_ok` is believed after this long (common practice, no source).
const ARC_ACCEPT: Duration = Duration::from_millis(10);
/// `contact` is believed after this long: slag flickers (common practice, no source).
const CONTACT_ACCEPT: Duration = Duration::from_millis(10);
/// The sensing circuit's relay must have come to rest within this: its mirror is believed after it
/// (process handbook, the circuit's settling time, invented).
pub(crate) const SENSE_SETTLES: Duration = Duration::from_millis(20);
/// Inputs are only watched for this long after switch-on: an arc of before may still be dying.
const SETTLE_AT_START: Duration = Duration::from_millis(1000);
/// Volts above this without a fire are an arc nobody asked for, V.
const VOLTS_UNASKED: f64 = 60.0;

/// How far a permit test has come.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Test {
    Pulsing { since: Time },
    Dropping { since: Time },
}

/// A level with the moment of its last change.
#[derive(Clone, Copy, Debug)]
struct Seen {
    level: bool,
    since: Time,
}

impl Seen {
    fn held(self, level: bool, for_at_least: Duration) -> Option<Time> {
        (self.level == level).then(|| self.since + for_at_least)
    }
}

/// The rules and what they remember.
#[derive(Clone, Debug)]
pub struct GuardRules {
    settings: GuardSettings,
    phase: Phase,
    epoch: u64,
    handled: u64,
    latches: BTreeSet<Cause>,
    clears: Vec<Cause>,
    started: Option<Time>,
    last: Option<Signals>,
    fire: Seen,
    arc: Seen,
    contact: Seen,
    volts_high: Seen,
    /// The mirror says that the sensing circuit is on the torch.
    sensing: Seen,
    /// Control has told that it must be off.
    isolated: bool,
    /// When `fire_on` first closed in this firing.
    fired: Option<Time>,
    /// The arc was accepted in this firing.
    arc_seen: bool,
    /// `fire_on` opened or the pulses ended: from here the arc must go out.
    out_from: Option<Time>,
    /// A fire that is left over from before a stop: judged only after torch-off was taken.
    fire_excused: bool,
    torch_off: Option<Time>,
    last_fire: Option<Time>,
    traversing: bool,
    /// Contact was closed already when the traverse began: a bridge of slag, judged by the sense
    /// test; an edge in the traverse is a touch.
    contact_excused: bool,
    crossing: bool,
    open_fire: bool,
    open_arc: bool,
    test: Option<Test>,
    pulsing: bool,
    level: bool,
    toggle_at: Time,
    late: late::Lateness,
    wake: Option<Time>,
    reports: Vec<GuardReport>,
    take_away: bool,
}

impl GuardRules {
    /// A guard that has seen nothing yet and permits nothing.
    #[must_use]
    pub fn new(settings: GuardSettings) -> Self {
        let open = Seen {
            level: false,
            since: Time::ZERO,
        };
        Self {
            settings,
            phase: Phase::Off,
            epoch: 0,
            handled: 0,
            latches: BTreeSet::new(),
            clears: Vec::new(),
            started: None,
            last: None,
            fire: open,
            arc: open,
            contact: open,
            volts_high: open,
            sensing: open,
            isolated: false,
            fired: None,
            arc_seen: false,
            out_from: None,
            fire_excused: true,
            torch_off: None,
            last_fire: None,
            traversing: false,
            contact_excused: false,
            crossing: false,
            open_fire: false,
            open_arc: false,
            test: None,
            pulsing: false,
            level: false,
            toggle_at: Time::ZERO,
            late: late::Lateness::default(),
            wake: None,
            reports: Vec::new(),
            take_away: false,
        }
    }

    /// Whether the permit is being pulsed.
    #[must_use]
    pub fn pulsing(&self) -> bool {
        self.pulsing
    }

    /// The latches that stand.
    pub fn latches(&self) -> impl Iterator<Item = Cause> + '_ {
        self.latches.iter().copied()
    }

    /// Takes an order of control.
    pub fn order(&mut self, now: Time, order: &GuardOrder) {
        match *order {
            GuardOrder::Phase { phase } => self.enter(now, phase),
            GuardOrder::Handled { epoch } => self.handled = self.handled.max(epoch.min(self.epoch)),
            GuardOrder::Clear { cause } => self.clears.push(cause),
            GuardOrder::Restore { cause } => {
                self.latches.insert(cause);
            }
            GuardOrder::Isolated { yes } => {
                self.isolated = yes;
                // A circuit that was on by order is judged from the new order on.
                self.sensing.since = self.sensing.since.max(now);
            }
            GuardOrder::Doing {
                traversing,
                torch_off_done,
                crossing,
            } => {
                if traversing && !self.traversing {
                    self.contact_excused = self.contact.level;
                }
                self.traversing = traversing;
                self.crossing = crossing;
                if torch_off_done {
                    self.torch_off = Some(now);
                }
            }
        }
    }

    fn enter(&mut self, now: Time, phase: Phase) {
        if phase == self.phase {
            return;
        }
        match phase {
            Phase::Off => self.end_firing(now),
            Phase::Closing => {
                self.fired = None;
                self.arc_seen = false;
                self.torch_off = None;
                self.fire_excused = false;
                self.out_from = None;
            }
            Phase::Firing => {}
            Phase::Test => self.test = Some(Test::Pulsing { since: now }),
        }
        self.phase = phase;
    }

    /// The permit is given back: until both were seen open it is not given again.
    fn end_firing(&mut self, now: Time) {
        if matches!(self.phase, Phase::Firing | Phase::Closing) {
            self.open_fire = false;
            self.open_arc = false;
            self.fire_excused = true;
            self.out_from.get_or_insert(now);
        }
        // A test that is broken off says nothing of the relay.
        self.test = None;
        self.phase = Phase::Off;
    }

    /// Judges the levels at `now`. `opened`: what opened since the step before, though its level may
    /// have come back: it counts as a level. `lease_until`: how long control's word holds.
    pub fn step(
        &mut self,
        now: Time,
        signals: &Signals,
        opened: Opened,
        lease_until: Time,
    ) -> GuardOut {
        let signals = &opened.over(signals);
        self.come(now);
        self.wake = None;
        self.take_away = false;
        self.judge_gap(now);
        self.read(now, signals, opened.moments);
        self.judge_wires(now, signals);
        self.judge_lease(now, lease_until);
        self.judge_firing(now);
        self.judge_rest(now, signals);
        self.run_test(now, signals);
        self.try_clears(now, signals, lease_until);
        self.pulse(now, signals, lease_until);
        self.late
            .leave(now, self.wake, self.settings.signals_every());
        GuardOut {
            permit_level: self.level,
            take_away: self.take_away,
            reports: core::mem::take(&mut self.reports),
            epoch: self.epoch,
            deadline: self.wake,
        }
    }

    /// When an input changed that the pins say changed at `told`, and since when it may have, if all
    /// that is known is that the guard came late.
    fn moment(&self, now: Time, told: Option<Time>) -> (Time, Option<Time>) {
        match (told, self.late.last) {
            // The look before saw it otherwise: it cannot have been before that.
            (Some(at), Some((before, _))) => (at.max(before).min(now), None),
            // Levels that stood when the guard began have changed at no moment of its own.
            _ => (now, self.late.away_since),
        }
    }

    /// Notes changes at their first moment.
    fn read(&mut self, now: Time, s: &Signals, told: Moments) {
        let first = self.last.is_none();
        if first {
            self.started = Some(now);
        }
        let was = self.last.replace(*s).unwrap_or(*s);
        let edges = [
            (EdgeInput::FireOn, was.fire_on, s.fire_on, told.fire_on),
            (EdgeInput::ArcOk, was.arc_ok, s.arc_ok, told.arc_ok),
            (EdgeInput::Contact, was.contact, s.contact, told.contact),
            (
                EdgeInput::EstopOpen,
                was.estop_open,
                s.estop_open,
                told.estop,
            ),
            (
                EdgeInput::PermitClosed,
                was.permit_closed == Some(true),
                s.permit_closed == Some(true),
                told.permit_closed,
            ),
            (
                EdgeInput::HoldButton,
                was.hold_button == Some(true),
                s.hold_button == Some(true),
                told.hold_button,
            ),
        ];
        for (input, before, level, told) in edges {
            if before != level {
                let (at, after) = self.moment(now, told);
                self.reports.push(GuardReport::Edge {
                    input,
                    level,
                    at,
                    after,
                });
            }
        }
        let since = |told| self.moment(now, told).0;
        let (fire, arc, contact) = (since(told.fire_on), since(told.arc_ok), since(told.contact));
        let (estop, hold) = (since(told.estop), since(told.hold_button));
        for (seen, level, since) in [
            (&mut self.fire, s.fire_on, fire),
            (&mut self.arc, s.arc_ok, arc),
            (&mut self.contact, s.contact, contact),
            (&mut self.sensing, s.sense_isolated == Some(false), now),
            (
                &mut self.volts_high,
                s.volts.is_some_and(|v| v > VOLTS_UNASKED),
                now,
            ),
        ] {
            if seen.level != level || first {
                *seen = Seen { level, since };
            }
        }
        self.contact_excused &= s.contact;
        self.open_fire |= !s.fire_on;
        self.open_arc |= !s.arc_ok;
        if s.fire_on {
            self.last_fire = Some(now);
        } else {
            if was.fire_on {
                self.out_from.get_or_insert(now);
            }
            // After the stop it was seen open: from now on any fire is a new one.
            if self.phase == Phase::Off && self.torch_off.is_some() {
                self.fire_excused = false;
            }
        }
        if s.estop_open && (first || !was.estop_open) {
            self.trip(now, Cause::Estop, estop, true);
        }
        if s.hold_button == Some(true) && (first || was.hold_button != Some(true)) {
            self.trip(now, Cause::Hold, hold, false);
        }
    }

    /// Inputs that latch in any state.
    fn judge_wires(&mut self, now: Time, s: &Signals) {
        if s.estop_open {
            self.latch(now, Cause::Estop, now);
        }
        if s.torch_seated == Some(false) {
            self.latch(now, Cause::TorchUnseated, now);
        }
        if s.gate_closed == Some(false) {
            self.latch(now, Cause::GateOpen, now);
        }
        let arc_on = self.phase == Phase::Firing && self.arc_seen;
        let watched = (self.traversing && !self.contact_excused)
            || (arc_on && self.settings.sense_stays_connected);
        if watched
            && let Some(at) = self.contact.held(true, CONTACT_ACCEPT)
            && self.due(now, at)
        {
            self.latch(now, Cause::TorchTouched, self.contact.since);
        }
        let permitting = matches!(self.phase, Phase::Closing | Phase::Firing);
        if (self.isolated || permitting)
            && !self.settings.sense_stays_connected
            && let Some(at) = self.sensing.held(true, SENSE_SETTLES)
            && self.due(now, at)
        {
            self.latch(now, Cause::SenseOn, self.sensing.since);
        }
    }

    fn judge_lease(&mut self, now: Time, lease_until: Time) {
        if self.phase != Phase::Off && self.due(now, lease_until + Duration::from_micros(1)) {
            self.latch(now, Cause::LeaseLapsed, lease_until);
        }
    }

    /// Whether `at` has come; if not, the guard wants to be stepped then.
    fn due(&mut self, now: Time, at: Time) -> bool {
        if now >= at {
            return true;
        }
        self.wake = Time::sooner(self.wake, Some(at));
        false
    }

    fn latch(&mut self, now: Time, cause: Cause, at: Time) {
        if self.latches.contains(&cause) {
            return;
        }
        self.trip(now, cause, at, true);
    }

    fn trip(&mut self, now: Time, cause: Cause, at: Time, latched: bool) {
        // Already latched, the edge counts all the same: lines may be on their way.
        if latched {
            self.latches.insert(cause);
        }
        self.epoch += 1;
        self.take_away = true;
        self.pulsing = false;
        self.level = false;
        self.end_firing(now);
        self.open_fire = false;
        self.open_arc = false;
        self.fire_excused = true;
        self.torch_off = None;
        self.reports.push(GuardReport::Tripped {
            cause,
            at,
            epoch: self.epoch,
            latched,
            unread: cause == Cause::Estop && self.last.is_some_and(|s| s.unreadable),
        });
    }
}

#[cfg(test)]
mod exhaustive;
