//! What the guard is told and what it says.

use units::Time;

use super::alarms::Alarmed;
use super::watching::RELAY_PULLS;
use super::{Act, Machine};
use crate::ask::CheckId;
use crate::cause::{Cause, Detail, Place};
use crate::event::Event;
use crate::guard::{EdgeInput, GuardOrder, GuardReport, Phase, SENSE_SETTLES};

impl Machine {
    pub(super) fn set_phase(&mut self, phase: Phase) {
        if phase == Phase::Off {
            self.start_over();
            self.out.permit_off();
        } else {
            self.out.order(GuardOrder::Phase { phase });
        }
        self.guard.phase = phase;
    }

    /// Whether the torch travels in the plane: contact is a collision then.
    pub(super) fn traversing(&mut self, yes: bool) {
        self.tell_guard(yes, self.guard.doing.1);
    }

    pub(super) fn tell_guard(&mut self, traversing: bool, crossing: bool) {
        if self.guard.doing != (traversing, crossing) {
            self.guard.doing = (traversing, crossing);
            self.out.order(GuardOrder::Doing {
                traversing,
                torch_off_done: false,
                crossing,
            });
        }
    }

    /// The controller has carried out or taken torch-off: a fire is unasked half a second on.
    pub(super) fn tell_guard_torch_off(&mut self) {
        let (traversing, crossing) = self.guard.doing;
        self.out.order(GuardOrder::Doing {
            traversing,
            torch_off_done: true,
            crossing,
        });
    }

    pub(super) fn hear_guard(&mut self, report: GuardReport) {
        match report {
            GuardReport::Tripped {
                cause,
                at,
                epoch,
                latched,
                unread,
            } => self.tripped(cause, at, epoch, latched, unread),
            GuardReport::Cleared { cause } => self.cleared(cause),
            GuardReport::StillThere { cause } => {
                // It stays as it was; the alarm says that the cause has not gone.
                self.alarms.set_seen(cause, true);
            }
            GuardReport::Edge {
                input,
                level,
                at,
                after,
            } => self.edge(input, level, at, after),
            GuardReport::TakeAwayLate {
                late_ms,
                refused,
                lost,
            } => {
                let event = Event::TakeAwayLate {
                    late_ms,
                    refused,
                    lost,
                };
                self.record(event, false);
            }
            GuardReport::EdgesMissed { edges } => {
                self.record(Event::EdgesMissed { edges }, false);
            }
            GuardReport::Tested { passed } => {
                if matches!(self.act, Act::Testing { .. }) {
                    self.set_phase(Phase::Off);
                    self.act = Act::Rest;
                    self.permit_test_ended(passed);
                }
            }
        }
    }

    fn tripped(&mut self, cause: Cause, at: Time, epoch: u64, latched: bool, unread: bool) {
        self.guard.epoch = self.guard.epoch.max(epoch);
        self.guard.phase = Phase::Off;
        self.note_detail(cause, unread);
        let why = self.why_tripped(cause);
        if latched {
            self.latch(cause, at, why);
        }
        if cause == Cause::GuardLate {
            self.was_blind();
        }
        if cause.facts().place == Place::Doubtful {
            self.doubt(Some(cause));
        }
        if cause == Cause::Hold {
            self.hold_by_button(at);
        } else if matches!(self.act, Act::Starting) {
            self.halt();
        } else if self.active() {
            self.stop(cause, at);
        } else {
            // It stands still already. The take-away bytes are out: the controller waits for a
            // new epoch.
            self.halt();
        }
        self.out.publish();
    }

    /// The measured fact behind a trip, with its limit.
    pub(super) fn why_tripped(&self, cause: Cause) -> String {
        let g = &self.settings.guard;
        match cause {
            Cause::NoArc => self.why_no_arc(),
            Cause::ArcLost => match self.signals.volts {
                Some(v) => format!(
                    "The arc signal was off for more than {} ms. Volts now {v:.0}.",
                    g.arc_lost_ms
                ),
                None => format!("The arc signal was off for more than {} ms.", g.arc_lost_ms),
            },
            Cause::FireDropped => {
                "The torch signal went off in the cut; torch-off was not confirmed in 150 ms."
                    .into()
            }
            Cause::ArcStuck => format!(
                "Arc signal is still on {} s after it was told to stop.",
                g.arc_out_within_s
            ),
            Cause::UnaskedFire => {
                "The torch or the arc is on and no cut asks for it. The permit is off.".into()
            }
            Cause::TorchTouched => "The torch contact closed while it travelled.".into(),
            Cause::TorchUnseated => "It left its seat. Arc put out. Torch did not lift.".into(),
            Cause::Estop if self.alarms.detail(cause) == Some(Detail::InputsUnread) => {
                "The inputs could not be read. That counts as an open stop chain. Place is doubtful."
                    .into()
            }
            Cause::Estop => {
                "The stop chain opened. The permit was withdrawn. Place is doubtful.".into()
            }
            Cause::GateOpen => "The gate signal said open. The permit was withdrawn.".into(),
            Cause::SenseOn => format!(
                "Its mirror contact said for {} ms that the sensing circuit was on the torch. It was told off.",
                SENSE_SETTLES.as_millis()
            ),
            Cause::Hold => "The hold button was pressed.".into(),
            Cause::LeaseLapsed => format!(
                "The panel did not renew its word within {} ms. The permit was withdrawn.",
                g.lease_ms
            ),
            Cause::GuardLate => format!(
                "It was away for more than {} ms under the permit: the relay may have opened.",
                g.relay_holds_ms
            ),
            _ => "Not known.".into(),
        }
    }

    fn edge(&mut self, input: EdgeInput, level: bool, at: Time, after: Option<Time>) {
        self.note_relay(input, level, at);
        match (input, level) {
            (EdgeInput::FireOn, true) => self.guard.fire_rise = Some(at),
            (EdgeInput::FireOn, false) => self.guard.fire_fall = Some(at),
            (EdgeInput::ArcOk, true) => {
                self.guard.arc_rise = Some(at);
                if let Some(run) = self.run.as_mut().filter(|r| !r.over()) {
                    run.arc_since = Some(at);
                }
            }
            (EdgeInput::ArcOk, false) => {
                self.guard.arc_fall = Some(at);
                self.guard.arc_fall_after = after;
                if let Some(run) = self.run.as_mut().filter(|r| !r.over())
                    && let Some(since) = run.arc_since.take()
                {
                    let arc_s = at.since(since).as_secs_f64();
                    run.arc_on_s += arc_s;
                    run.arc_off = Some(at);
                    let (run, cut) = (run.id, run.cut + 1);
                    self.record(
                        Event::ArcOff {
                            run,
                            cut,
                            at_s: at.as_s(),
                            arc_s,
                        },
                        false,
                    );
                }
            }
            _ => {}
        }
        self.out.publish();
    }

    /// A test that did not come to its end says nothing of the relay.
    pub(super) fn permit_test_broken(&mut self, cause: Option<Cause>) {
        self.readiness.withdraw(CheckId::SourceOff);
        self.record(Event::PermitTestBroken { cause }, true);
        self.own_turn_over(Err("The permit test was broken off.".into()));
    }

    pub(super) fn permit_test_ended(&mut self, passed: Option<bool>) {
        // The word was for one test: the source is switched on again after it.
        self.readiness.withdraw(CheckId::SourceOff);
        self.record(Event::PermitTested { passed }, true);
        if passed == Some(false) {
            self.latch(
                Cause::PermitStuck,
                self.now,
                format!(
                    "Its mirror contact did not follow: closed in {} ms, open {} ms later.",
                    RELAY_PULLS.as_millis(),
                    self.settings.guard.relay_drop_ms
                ),
            );
        } else {
            self.readiness.permit_proved = passed == Some(true);
            self.readiness.permit_tested = true;
            if self.alarms.is_latched(Cause::PermitStuck) {
                self.out.publish();
            }
        }
        self.step_tested(passed);
    }

    /// Sets a latch: it bars a start until an operator clears it.
    pub(crate) fn latch(&mut self, cause: Cause, at: Time, why: String) {
        if cause == Cause::PermitStuck {
            // An older test says nothing of a relay that does not follow now.
            self.readiness.permit_tested = false;
        }
        self.self_test_anew(cause);
        if self.alarms.latch(cause, at) {
            self.record(
                Event::LatchSet {
                    cause,
                    at_s: at.as_s(),
                    detail: self.alarms.detail(cause),
                },
                true,
            );
        }
        self.alarm(cause, at, true, why);
    }

    /// Raises an alarm, or brings a standing one up to date.
    pub(crate) fn alarm(&mut self, cause: Cause, at: Time, latched: bool, why: String) {
        let cut = self.cut_number();
        self.alarms.raise(Alarmed {
            cause,
            at,
            first: false,
            seen: false,
            latched,
            cut,
            why,
        });
        self.out.publish();
    }

    pub(super) fn cleared(&mut self, cause: Cause) {
        if self.alarms.unlatch(cause) {
            self.record(Event::LatchCleared { cause }, true);
        }
        self.alarms.lower(cause);
        if matches!(cause, Cause::ArcStuck | Cause::UnaskedFire) {
            self.readiness.permit_tested = false;
        }
        // The controller leaves its fault with a new epoch.
        let faulted = self
            .line
            .status
            .as_ref()
            .is_some_and(|s| matches!(s.doing, link::Doing::Faulted | link::Doing::Holding));
        // ... also while the panel is only just starting, or nothing would ever lead it out.
        let still = matches!(self.act, Act::Rest | Act::Starting);
        if still && (faulted || cause.belongs_to_guard()) {
            self.halt();
        }
        self.out.publish();
    }

    /// A sheet that is not where it should be may have been shoved: what is cut of it must show where
    /// it lies. The axes know where they are.
    pub(super) fn doubt_the_sheet(&mut self, cause: Cause) {
        if self.anything_cut() && !self.reference.doubtful {
            self.record(Event::PlaceDoubted { cause: Some(cause) }, true);
            self.reference.doubtful = true;
        }
    }

    pub(super) fn doubt(&mut self, cause: Option<Cause>) {
        if !self.reference.doubtful {
            self.record(Event::PlaceDoubted { cause }, true);
        }
        self.reference.doubtful = true;
        self.reference.homed = false;
    }
}
