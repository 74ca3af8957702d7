//! Coming to a stop, whatever the cause: the permit first, then hold, torch-off and flush; then
//! wait until it listens, stands and the arc is out; then lift; then held, or one more try.

use core::time::Duration;

use link::{Command, Ticket};
use units::Time;

use super::on_path::OnPath;
use super::run::Held;
use super::{Act, Machine, Next};
use crate::cause::{Cause, Place, Quality};
use crate::event::Event;
use crate::machine::checks;
use crate::resume::Way;
use crate::view::{CutState, HoldRecord, Mark};

/// A controller that was lost is waited for this long before the hold is shown without it.
const LOST_LIMIT: Duration = Duration::from_secs(3);
/// It must stand still within this.
const REST_LIMIT: Duration = Duration::from_secs(10);
/// The arc must be out within this; the guard latches long before.
const ARC_LIMIT: Duration = Duration::from_secs(3);
/// An arc that will not go out is snapped by lifting this long after the guard has latched it.
const SNAP_AFTER: Duration = Duration::from_millis(300);

/// How far the stop has come.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Stage {
    Flush,
    ArcOut { since: Time },
    LiftWait { until: Time },
    Lift { ticket: Ticket, since: Time },
}

/// A stop under way.
#[derive(Clone, Debug)]
pub(crate) struct Stopping {
    pub cause: Cause,
    pub at: Time,
    pub since: Time,
    pub stage: Stage,
    /// The machine will try once more by itself.
    pub retry: bool,
    lift: bool,
    /// HOLD was pressed anew: it is not lifted but to snap an arc that will not go out.
    held_down: bool,
    /// It is lifted to snap the arc.
    snapping: bool,
    at_mm: f64,
    why: String,
    /// The path that it was stopped on: what is still to be learned of its place.
    pub path: Option<Box<OnPath>>,
}

impl Machine {
    /// Stops whatever is under way. `at`: the moment of the edge or limit.
    pub(super) fn stop(&mut self, cause: Cause, at: Time) {
        let why = self.why_tripped(cause);
        self.stop_why(cause, at, why);
    }

    pub(crate) fn stop_why(&mut self, cause: Cause, at: Time, why: String) {
        match core::mem::replace(&mut self.act, Act::Rest) {
            Act::Stopping(stopping) => self.stop_further(stopping, cause, at, &why),
            Act::Cutting(mut cycle) => {
                self.halt();
                if let Some(run) = &mut self.run {
                    run.sensing = false;
                }
                let fell = self.guard.arc_fall;
                let unseen_from = (cause.facts().place == Place::Unseen).then_some(at);
                let stand = cycle.stand(
                    self.guard.arc_fell_first(),
                    self.guard.fire_fall,
                    unseen_from,
                );
                let path = cycle.take_path().map(|(track, since)| OnPath {
                    track,
                    since,
                    before: self.run.as_ref().and_then(super::run::Run::lost),
                    blind: false,
                    unseen_from,
                    lit: fell.is_none_or(|t| t <= since),
                });
                let (mut at_mm, mut retry) = (0.0, false);
                let tries = self.fire_tries();
                let clear = !self.alarms.any_latch();
                if let Some(path) = path.as_ref().filter(|_| !stand.done) {
                    self.find_place(path, at);
                }
                if let Some(run) = &mut self.run {
                    at_mm = run.lost().map_or(0.0, |l| l.at_mm);
                    retry = stand.before_path
                        && path.is_none()
                        && cause.facts().is(Quality::TriesAgain)
                        && run.tries < tries
                        && clear;
                    if run.arc_off.is_none_or(|t| t < at) {
                        run.arc_off = Some(at);
                    }
                }
                if stand.done {
                    at_mm = self.cut_done();
                }
                if retry {
                    self.will_retry(cause);
                } else {
                    self.hold_at(cause, at, at_mm, why.clone());
                }
                let mut stopping = self.stopping_for(cause, at, retry, at_mm, why);
                stopping.path = path.filter(|_| !stand.done).map(Box::new);
                self.act = Act::Stopping(Box::new(stopping));
            }
            other => {
                self.halt();
                let parking = matches!(other, Act::Parking(_));
                if matches!(other, Act::Testing { .. }) {
                    self.permit_test_broken(Some(cause));
                }
                if matches!(other, Act::DryFire(_)) {
                    self.own_turn_over(Err(format!("The dry fire was stopped. {why}")));
                }
                if matches!(other, Act::Changing(_)) {
                    self.stopped_in_change(cause);
                }
                if matches!(other, Act::Homing { .. }) && !self.reference.doubtful {
                    self.doubt(Some(cause));
                }
                if parking {
                    // A job that was ended in the middle of a cut has come as far as it had.
                    let come =
                        |run: &super::run::Run| run.lost().map_or_else(|| run.sure(), |l| l.at_mm);
                    let at_mm = self.run.as_ref().map_or(0.0, come);
                    self.hold_at(cause, at, at_mm, why.clone());
                }
                self.act = Act::Stopping(Box::new(self.stopping_for(cause, at, false, 0.0, why)));
            }
        }
        self.out.publish();
    }

    fn stopping_for(
        &self,
        cause: Cause,
        at: Time,
        retry: bool,
        at_mm: f64,
        why: String,
    ) -> Stopping {
        Stopping {
            cause,
            at,
            since: self.now,
            stage: Stage::Flush,
            retry,
            lift: cause.facts().lifts,
            held_down: false,
            snapping: false,
            at_mm,
            why,
            path: None,
        }
    }

    /// A further cause while it is being stopped: recorded under the first.
    fn stop_further(&mut self, mut stopping: Box<Stopping>, cause: Cause, at: Time, why: &str) {
        self.halt();
        stopping.lift &= cause.facts().lifts;
        stopping.stage = Stage::Flush;
        stopping.since = self.now;
        if let Some(path) = &mut stopping.path
            && cause.facts().place == Place::Unseen
        {
            path.unseen_from = Some(path.unseen_from.map_or(at, |t| t.min(at)));
        }
        if stopping.cause == Cause::InputsStale && self.explains_stale(cause, at) {
            self.stale_explained(&mut stopping, cause, at, why);
        } else if cause != stopping.cause {
            self.record(
                Event::CauseFollowed {
                    cause,
                    at_s: at.as_s(),
                },
                true,
            );
            self.no_second_try(&mut stopping);
            if cause != Cause::Hold {
                let latched = self.alarms.is_latched(cause);
                self.alarm(cause, at, latched, why.into());
            }
        }
        // What the guard stamped earlier was the first cause, even if control noticed another one.
        if at < stopping.at && cause == Cause::Estop && stopping.cause != cause {
            stopping.cause = cause;
            stopping.at = at;
            self.rename_hold(cause);
        }
        self.act = Act::Stopping(stopping);
    }

    /// Old inputs were noticed first; this is why they were old, or what had stopped it already.
    fn stale_explained(&mut self, stopping: &mut Stopping, cause: Cause, at: Time, why: &str) {
        if cause != Cause::Hold {
            let latched = self.alarms.is_latched(cause);
            self.alarm(cause, at, latched, why.into());
        }
        if !self.alarms.is_latched(Cause::InputsStale) {
            self.alarms.lower(Cause::InputsStale);
        }
        stopping.cause = cause;
        stopping.at = stopping.at.min(at);
        self.rename_hold(cause);
    }

    /// The run is held after this stop, whatever was planned.
    fn no_second_try(&mut self, stopping: &mut Stopping) {
        if core::mem::take(&mut stopping.retry) {
            let why = stopping.why.clone();
            self.hold_at(stopping.cause, stopping.at, stopping.at_mm, why);
        }
    }

    /// HOLD while it is being stopped: no second try; `anew`: and no motion but what puts the arc
    /// out. The stop itself begins again, for the bytes that were written hold the controller.
    pub(super) fn hold_further(&mut self, at: Time, anew: bool) {
        let Act::Stopping(mut stopping) = core::mem::replace(&mut self.act, Act::Rest) else {
            return;
        };
        self.halt();
        if anew && stopping.cause != Cause::Hold {
            let (cause, at_s) = (Cause::Hold, at.as_s());
            self.record(Event::CauseFollowed { cause, at_s }, true);
        }
        self.no_second_try(&mut stopping);
        stopping.held_down |= anew;
        stopping.snapping = false;
        stopping.stage = Stage::Flush;
        stopping.since = self.now;
        self.act = Act::Stopping(stopping);
    }

    fn will_retry(&mut self, cause: Cause) {
        if let Some(run) = &mut self.run {
            run.retry_of = Some(cause);
            let event = Event::Retry {
                run: run.id,
                cut: run.cut + 1,
                cause,
                try_number: run.tries + 1,
            };
            self.record(event, true);
        }
    }

    /// The run is held from here on: its record, its flag, its alarm.
    pub(super) fn hold_at(&mut self, cause: Cause, at: Time, at_mm: f64, why: String) {
        let volts = self.signals.volts;
        let Some(loaded) = &self.loaded else { return };
        let Some(run) = self.run.as_mut().filter(|r| !r.over()) else {
            return;
        };
        // On the way to the parking place it is still the last cut that it stands after.
        let cut = run.cut.min(loaded.job.cuts.len().saturating_sub(1));
        let place = loaded.point_at(cut, at_mm);
        let lost = if run.cut == cut { run.lost() } else { None };
        let kerf_end_failed =
            cause == Cause::NoArc && run.plan().is_some_and(|p| p.how.way == Way::KerfEnd);
        run.holds.push(HoldRecord {
            cause,
            cut: cut + 1,
            at_mm,
            resumed_mm: None,
        });
        let number = run.marks.len() as u32 + 1;
        run.marks.push(Mark {
            number,
            cut: cut + 1,
            at_mm,
            place,
            between_mm: lost.map(|l| [l.low_mm, l.high_mm]),
            cause,
        });
        run.retry_of = None;
        run.held = Some(Held {
            cause,
            at_mm,
            ran_on_mm: None,
            kerf_end_failed,
            why: why.clone(),
            record: run.holds.len() - 1,
            unseen: None,
        });
        let event = Event::Held {
            run: run.id,
            cause,
            cut: cut + 1,
            at_mm,
            sure_mm: run.sure(),
            place: Some(place),
            volts,
            high_mm: lost.map(|l| l.high_mm),
            detail: self.alarms.detail(cause),
        };
        self.record(event, true);
        if cause != Cause::Hold {
            let latched = self.alarms.is_latched(cause);
            self.alarm(cause, at, latched, why);
        }
        if cause == Cause::PlateMoved {
            if let Some(z) = self.line.status.as_ref().map(|s| s.z) {
                self.stands_up(z);
            }
            self.doubt_the_sheet(cause);
        }
    }

    /// The hold in hand was the doing of something else; `false` if there is none that it explains.
    pub(super) fn explain(&mut self, cause: Cause) -> bool {
        let held = self
            .run
            .as_ref()
            .and_then(|r| r.held.as_ref())
            .map(|h| h.cause);
        if let Act::Stopping(s) = &mut self.act {
            s.lift &= cause.facts().lifts;
            s.since = self.now;
        }
        match held {
            Some(was) if was.facts().is(Quality::ShownByReset) => {
                if let Act::Stopping(s) = &mut self.act {
                    s.cause = cause;
                }
                self.rename_hold(cause);
                true
            }
            _ => false,
        }
    }

    fn rename_hold(&mut self, cause: Cause) {
        let why = self.alarms.of(cause).map(|a| a.why.clone());
        let Some(run) = &mut self.run else { return };
        let Some(held) = &mut run.held else { return };
        let was = held.cause;
        held.cause = cause;
        if let Some(why) = why {
            held.why = why;
        }
        if let Some(h) = run.holds.get_mut(held.record) {
            h.cause = cause;
        }
        if let Some(m) = run.marks.last_mut() {
            m.cause = cause;
        }
        let event = Event::HoldExplained {
            run: run.id,
            was,
            cause,
        };
        self.record(event, true);
    }

    pub(super) fn advance_stopping(&mut self, mut s: Box<Stopping>) -> Next {
        match s.stage {
            Stage::Flush => {
                if self.line.listens() && self.line.at_rest() {
                    s.stage = Stage::ArcOut { since: self.now };
                    return Next::Becomes(Act::Stopping(s));
                }
                let limit = if self.line.alive {
                    REST_LIMIT
                } else {
                    LOST_LIMIT
                };
                if self.due(s.since + limit) {
                    return self.stand_still(&s);
                }
            }
            Stage::ArcOut { since } => {
                let out = !self.signals.arc_ok && !self.signals.fire_on;
                if out && self.levels_fresh() {
                    let wait = self
                        .loaded
                        .as_ref()
                        .map_or(50, |l| l.job.cycle.lift_wait_ms);
                    let from = self.guard.arc_fall.unwrap_or(since);
                    s.stage = Stage::LiftWait {
                        until: from + Duration::from_millis(wait),
                    };
                    return Next::Becomes(Act::Stopping(s));
                }
                let stuck = self.alarms.latched_at(Cause::ArcStuck);
                if let Some(at) = stuck
                    && s.lift
                    && self.due(at + SNAP_AFTER)
                {
                    // Harm to the emitter is accepted: a stretched arc snaps.
                    s.snapping = true;
                    s.stage = Stage::LiftWait { until: self.now };
                    return Next::Becomes(Act::Stopping(s));
                }
                if self.due(since + ARC_LIMIT) {
                    return self.stand_still(&s);
                }
            }
            Stage::LiftWait { until } => {
                if self.due(until) {
                    let safe = self.safe_z();
                    let low = self.line.z().is_some_and(|z| z < safe - 0.02);
                    let lift = s.lift && (!s.held_down || s.snapping);
                    if lift && low && self.may_move() {
                        let ticket = self.line.say(Command::RapidZ(safe));
                        s.stage = Stage::Lift {
                            ticket,
                            since: self.now,
                        };
                        return Next::Becomes(Act::Stopping(s));
                    }
                    return self.stand_still(&s);
                }
            }
            Stage::Lift { ticket, since } => {
                if self.executed(ticket) && self.line.at_rest() {
                    return self.stand_still(&s);
                }
                if self.due(since + REST_LIMIT) {
                    return self.stand_still(&s);
                }
            }
        }
        Next::Stays(Act::Stopping(s))
    }

    /// Whether the axes may be moved at all: they know where they are. Where the sheet lies may be in
    /// doubt all the same.
    pub(crate) fn may_move(&self) -> bool {
        self.line.usable()
            && self.levels_fresh()
            && !self.signals.estop_open
            && (self.reference.homed || !self.reference.doubtful)
            && self.line.unproven.is_none()
            && self.line.referenced(self.reference.homed)
    }

    /// The stop is over: at rest, or a second try begins.
    fn stand_still(&mut self, s: &Stopping) -> Next {
        // From here on the sensing circuit bars firing alone.
        self.sense_may_be_on();
        if let Some(path) = s.path.clone() {
            self.settle_or_wait(path, s);
        }
        if !s.retry {
            return Next::Becomes(Act::Rest);
        }
        if self.may_move() && checks::bars_going_on(self).is_none() {
            self.begin_cut();
            return Next::Set;
        }
        self.hold_at(s.cause, s.at, s.at_mm, s.why.clone());
        Next::Becomes(Act::Rest)
    }

    /// The cut in hand is done: its torch-off was carried out with the arc on. Its length, mm.
    pub(super) fn cut_done(&mut self) -> f64 {
        let Some(loaded) = &self.loaded else {
            return 0.0;
        };
        let Some(run) = &mut self.run else { return 0.0 };
        let length_mm = loaded.length(run.cut);
        match run.cuts.get_mut(run.cut) {
            Some(p) if p.state != CutState::Done => {
                p.state = CutState::Done;
                p.sure_mm = length_mm;
                p.lost = None;
            }
            _ => return length_mm,
        }
        let event = Event::CutDone {
            run: run.id,
            cut: run.cut + 1,
            length_mm,
        };
        self.record(event, false);
        length_mm
    }
}
