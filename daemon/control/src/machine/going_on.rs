//! Carrying out what was asked for and admitted: start, resume, skip, end, clear, reference.

use std::sync::Arc;

use link::Command;
use units::Placement;

use super::run::{Held, Loaded, Run};
use super::{Act, Machine, Parking};
use crate::ask::Ask;
use crate::cause::Cause;
use crate::event::{Event, Outcome};
use crate::guard::{GuardOrder, Phase};
use crate::resume::{Plan, Splice, Way};
use crate::view::{CutState, HoldRecord};

impl Machine {
    /// Does what admission has let through.
    pub(super) fn carry_out(&mut self, ask: Ask) {
        match ask {
            Ask::Load { job } => {
                self.record(
                    Event::JobLoaded {
                        seal: job.seal.hash().into(),
                        name: job.name.clone(),
                    },
                    true,
                );
                self.loaded = Some(Loaded::new(job));
                self.run = None;
                self.readiness.withdraw_all();
            }
            Ask::Unload => {
                if let Some(loaded) = self.loaded.take() {
                    let seal = loaded.job.seal.hash().into();
                    self.record(Event::JobUnloaded { seal }, false);
                }
                self.run = None;
                self.readiness.withdraw_all();
            }
            Ask::Vouch { check, yes } => {
                if yes {
                    self.readiness.confirm(check, self.now);
                } else {
                    self.readiness.withdraw(check);
                }
                self.record(Event::Vouched { check, yes }, false);
            }
            Ask::Start => self.start(),
            Ask::Hold { press } => self.hold(press),
            Ask::HoldAfterCut => {
                if let Some(run) = &mut self.run {
                    run.hold_after = true;
                }
            }
            Ask::Resume { splice } => {
                if let Some(splice) = splice {
                    self.resume(splice);
                }
            }
            Ask::SkipCut => self.skip(),
            Ask::EndJob => self.end_job(),
            Ask::Seen { cause } => {
                self.record(Event::AlarmSeen { cause }, true);
                self.alarms.set_seen(cause, true);
            }
            Ask::Clear { cause } => self.clear(cause),
            Ask::Home => {
                if !self.reference.doubtful {
                    self.reference.doubtful = true;
                }
                self.reference.homed = false;
                self.reference.checking = None;
                // Heights and places of before belong to another zero.
                if let Some(run) = &mut self.run {
                    run.touches.clear();
                    run.touched_z = None;
                }
                self.reference.sheet_at = Placement {
                    origin: self.settings.sheet_corner,
                    rotation_deg: 0.0,
                };
                self.record(Event::HomingStarted, true);
                let ticket = self.line.say(Command::Home);
                self.act = Act::Homing {
                    ticket,
                    since: self.now,
                };
            }
            Ask::ConfirmPlace => {
                self.reference.doubtful = false;
                self.record(Event::PlaceConfirmed, true);
            }
            Ask::DatumGo => self.datum_go(),
            Ask::HandMove(asked) => self.hand_move(asked),
            Ask::HandStop => self.hand_stop(),
            Ask::HandGo { to } => self.hand_go(to),
            Ask::DatumNudge { dx_mm, dy_mm } => self.datum_nudge(dx_mm, dy_mm),
            Ask::DatumHere => self.datum_here(),
            Ask::PermitTest => self.begin_permit_test(),
            Ask::LampTest => self.begin_lamp_test(),
            Ask::ChangeBegin => self.begin_change(),
            Ask::ChangeIsolated => self.source_isolated(),
            Ask::ChangeParts { parts, set } => self.parts_changed(parts, set),
            Ask::ChangeContactByTouch => self.contact_by_touch(),
            Ask::ChangeSourceOn => self.source_back(),
            Ask::ChangeTouch => self.touch_with_new_parts(),
            Ask::ChangeEnd => self.end_change(false),
            Ask::ChangeCancel => self.cancel_change(),
            Ask::CommissionStep { step } => self.begin_step(step),
            Ask::CommissionAnswer { yes } => self.answer_step(yes),
            Ask::CommissionLeave => self.leave_step(),
        }
    }

    pub(super) fn begin_permit_test(&mut self) {
        if self.line.usable() {
            self.disconnect_sense();
        }
        self.set_phase(Phase::Test);
        self.act = Act::Testing { since: self.now };
    }

    fn start(&mut self) {
        let Some(loaded) = &self.loaded else { return };
        let job = loaded.job.clone();
        self.last_run += 1;
        let run = Run::new(self.last_run, self.now, job.cuts.len());
        let event = Event::RunStarted {
            run: run.id,
            seal: job.seal.hash().into(),
            name: job.name.clone(),
            cuts: job.cuts.len(),
        };
        self.run = Some(run);
        self.record(event, true);
        self.alarms.lower_unlatched();
        self.begin_cut();
    }

    /// A run that was interrupted becomes the run in hand, held where it may have come to. Whether it stood
    /// before its next cut: none of that was begun.
    fn take_up(&mut self) -> bool {
        let Some(loaded) = &self.loaded else {
            return false;
        };
        let Some(u) = self
            .interrupted
            .take_if(|u| u.seal == loaded.job.seal.hash())
        else {
            return false;
        };
        let sure_mm = u.sure_mm.get(&u.cut).copied().unwrap_or(0.0);
        let stood = !u.begun && !u.burning && sure_mm <= 0.0;
        let mut run = Run::taken_up(&u, self.now, loaded);
        let lost = run.interrupted_at(self.found, loaded);
        if let Some(lost) = lost {
            run.lose(lost, None);
        }
        let at_mm = lost.map_or(0.0, |l| l.at_mm);
        run.holds.push(HoldRecord {
            cause: Cause::Interrupted,
            cut: u.cut,
            at_mm,
            resumed_mm: None,
        });
        run.held = Some(Held {
            cause: Cause::Interrupted,
            at_mm,
            ran_on_mm: None,
            kerf_end_failed: false,
            why: String::new(),
            record: run.holds.len() - 1,
            unseen: None,
        });
        let event = Event::RunTakenUp {
            run: run.id,
            cut: run.cut + 1,
            from_mm: run.sure(),
            at_mm: Some(at_mm),
            high_mm: lost.map(|l| l.high_mm),
        };
        self.run = Some(run);
        self.record(event, true);
        stood
    }

    fn resume(&mut self, splice: Arc<Splice>) {
        let stood = self.take_up();
        let Some(run) = &mut self.run else { return };
        let Some(held) = run.held.take() else { return };
        let plan = splice.plan().clone();
        run.cut = plan.stop.cut.saturating_sub(1);
        run.from_mm = plan.how.from_mm;
        run.splice = Some(splice);
        run.tries = 0;
        run.hold_after = false;
        let done_before = run
            .holds
            .get(held.record)
            .is_some_and(|h| h.cut != plan.stop.cut);
        if let Some(h) = run.holds.get_mut(held.record) {
            h.resumed_mm = Some(if done_before {
                held.at_mm
            } else {
                plan.how.from_mm
            });
        }
        let event = Event::Resumed {
            run: run.id,
            cut: plan.stop.cut,
            way: None,
            from_mm: plan.how.from_mm,
            plan: Some(Box::new(plan.clone())),
        };
        self.record(event, true);
        self.alarms.lower_unlatched();
        if plan.how.way == Way::Leave {
            self.leave(&plan);
        } else if !(stood && self.stands_again()) {
            self.begin_cut();
        }
    }

    /// What is not cut of the cut in hand stays.
    fn leave(&mut self, plan: &Plan) {
        self.leave_gap(plan);
        self.cut_done();
        self.next_cut();
    }

    /// A stretch that stays uncut, as planned.
    pub(super) fn leave_gap(&mut self, plan: &Plan) {
        let Some([from_mm, to_mm]) = plan.gap() else {
            return;
        };
        let Some(loaded) = &self.loaded else { return };
        let Some(run) = &mut self.run else { return };
        let gap = [from_mm, to_mm.min(loaded.length(run.cut))];
        let Some(p) = run.cuts.get_mut(run.cut) else {
            return;
        };
        if p.gaps.contains(&gap) {
            return;
        }
        p.gaps.push(gap);
        let event = Event::TabLeft {
            run: run.id,
            cut: run.cut + 1,
            from_mm: gap[0],
            to_mm: gap[1],
            tab_mm: plan.how.tab_mm,
        };
        self.record(event, true);
    }

    /// The torch is up after a cut, or a cut is left out: on to the next that is neither done nor
    /// skipped, unless the run stops here.
    pub(super) fn next_cut(&mut self) {
        let Some(run) = &mut self.run else { return };
        let before = run.cut;
        run.cut = run.next_to_do();
        run.from_mm = 0.0;
        run.tries = 0;
        run.splice = None;
        if !self.stands_between(before) {
            self.begin_cut();
        }
    }

    fn skip(&mut self) {
        self.take_up();
        let Some(run) = &mut self.run else { return };
        run.held = None;
        run.hold_after = false;
        let sure_mm = run.sure();
        if let Some(p) = run.cuts.get_mut(run.cut)
            && p.state != CutState::Done
        {
            p.state = CutState::Skipped;
            let event = Event::Skipped {
                run: run.id,
                cut: run.cut + 1,
                sure_mm,
            };
            self.record(event, true);
        }
        self.alarms.lower_unlatched();
        self.next_cut();
    }

    fn end_job(&mut self) {
        if let Some(run) = &mut self.run {
            run.held = None;
            for p in &mut run.cuts {
                if p.state == CutState::Now {
                    p.state = CutState::ToDo;
                }
            }
        }
        self.alarms.lower_unlatched();
        if self.may_move() && crate::machine::checks::bars_moving(self).is_none() {
            self.park();
        } else {
            self.finish();
        }
    }

    pub(super) fn park(&mut self) {
        self.leave_mark();
        let z = self.safe_z();
        let ticket = self.line.say(Command::RapidZ(z));
        let park = self.settings.park;
        self.act = Act::Parking(Parking::Lift {
            ticket,
            since: self.now,
            limit: self.travel_limit(self.line.place().unwrap_or(park), park),
        });
    }

    /// The run is over: what was vouched for lapses with it.
    pub(super) fn finish(&mut self) {
        self.readiness.withdraw_all();
        let now = self.now;
        let Some(run) = &mut self.run else { return };
        if run.over() {
            return;
        }
        let left = run
            .cuts
            .iter()
            .any(|p| !matches!(p.state, CutState::Done | CutState::Skipped));
        let outcome = if left {
            Outcome::Ended
        } else {
            Outcome::Finished
        };
        run.ended = Some((now, outcome));
        run.held = None;
        let event = Event::RunEnded {
            run: run.id,
            outcome,
            cuts_done: run.done_count(),
            cuts: run.cuts.len(),
            holds: run.holds.len(),
            pierces: run.pierces,
            arc_on_s: run.arc_on_s,
            run_s: now.since(run.started).as_secs_f64(),
        };
        self.record(event, true);
    }

    fn clear(&mut self, cause: Cause) {
        if cause == Cause::Interrupted
            && let Some(u) = self.interrupted.take()
        {
            self.record(
                Event::RunEnded {
                    run: u.run,
                    outcome: Outcome::GivenUp,
                    cuts_done: u.done.len(),
                    cuts: u.cuts,
                    holds: 0,
                    pierces: u.pierces,
                    arc_on_s: 0.0,
                    run_s: 0.0,
                },
                true,
            );
        }
        if cause.belongs_to_guard() && self.alarms.is_latched(cause) {
            self.out.order(GuardOrder::Clear { cause });
        } else {
            self.cleared(cause);
        }
    }
}
