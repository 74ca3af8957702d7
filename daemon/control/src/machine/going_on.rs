//! Carrying out what was asked for and admitted: start, resume, skip, end, clear, reference.

use link::{Command, TakeAway};

use super::run::{Loaded, Run};
use super::{Act, Machine, Parking};
use crate::ask::{Ask, ResumeFrom};
use crate::cause::Cause;
use crate::event::{Event, Outcome};
use crate::guard::{GuardOrder, Phase};
use crate::machine::guarding::belongs_to_guard;
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
                self.vouched.clear();
            }
            Ask::Unload => {
                if let Some(loaded) = self.loaded.take() {
                    let seal = loaded.job.seal.hash().into();
                    self.record(Event::JobUnloaded { seal }, false);
                }
                self.run = None;
                self.vouched.clear();
            }
            Ask::Vouch { check, yes } => {
                if yes {
                    self.vouched.insert(check);
                } else {
                    self.vouched.remove(&check);
                }
                self.record(Event::Vouched { check, yes }, false);
            }
            Ask::Start => self.start(),
            Ask::Hold => self.hold(),
            Ask::HoldAfterCut => {
                if let Some(run) = &mut self.run {
                    run.hold_after = true;
                }
            }
            Ask::Resume { from } => self.resume(from),
            Ask::SkipCut => self.skip(),
            Ask::EndJob => self.end_job(),
            Ask::Seen { cause } => {
                self.record(Event::AlarmSeen { cause }, true);
                if let Some(a) = self.alarms.iter_mut().find(|a| a.cause == cause) {
                    a.seen = true;
                }
            }
            Ask::Clear { cause } => self.clear(cause),
            Ask::Home => {
                if !self.doubtful {
                    self.doubtful = true;
                }
                self.homed = false;
                self.record(Event::HomingStarted, true);
                let ticket = self.line.say(Command::Home);
                self.act = Act::Homing {
                    ticket,
                    since: self.now,
                };
            }
            Ask::ConfirmPlace => {
                self.doubtful = false;
                self.record(Event::PlaceConfirmed, true);
            }
            Ask::PermitTest => {
                self.set_phase(Phase::Test);
                self.act = Act::Testing { since: self.now };
            }
        }
    }

    fn start(&mut self) {
        let Some(loaded) = &self.loaded else { return };
        let job = loaded.job.clone();
        let matching = self.interrupted.take_if(|u| u.seal == job.seal.hash());
        if let Some(u) = matching {
            let mut run = Run::taken_up(&u, self.now, loaded);
            let at_mm = run.may_have_reached(self.stood, loaded);
            let offer = super::run::offer(at_mm, run.sure(), job.cycle.resume_back_mm);
            run.from_mm = run.resume_at(at_mm, offer);
            run.holds.push(HoldRecord {
                cause: Cause::Interrupted,
                cut: u.cut,
                at_mm,
                resumed_mm: Some(run.from_mm),
            });
            let event = Event::RunTakenUp {
                run: run.id,
                cut: run.cut + 1,
                from_mm: run.from_mm,
                at_mm: Some(at_mm),
            };
            self.run = Some(run);
            self.record(event, true);
        } else {
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
        }
        self.alarms.retain(|a| a.latched);
        self.begin_cut();
    }

    fn hold(&mut self) {
        if self.active() && !self.stopping() {
            self.stop_why(
                Cause::Hold,
                self.now,
                "HOLD was pressed. The machine put the arc out and stopped.".into(),
            );
        } else if self.line.open {
            // It stands still already; the bytes that take away cost nothing.
            self.set_phase(Phase::Off);
            self.line.session.take_away(TakeAway::TorchOff);
            self.line.session.take_away(TakeAway::Hold);
            if !self.stopping() {
                self.halt();
            }
        }
    }

    fn resume(&mut self, from: ResumeFrom) {
        let Some(run) = &mut self.run else { return };
        let Some(held) = run.held.take() else { return };
        let done = run
            .cuts
            .get(run.cut)
            .is_some_and(|p| p.state == CutState::Done);
        let from_mm = if done {
            run.cut = run.next_to_do();
            0.0
        } else {
            run.resume_at(held.at_mm, from)
        };
        run.from_mm = from_mm;
        run.tries = 0;
        run.hold_after = false;
        if let Some(h) = run.holds.get_mut(held.record) {
            h.resumed_mm = Some(if done { held.at_mm } else { from_mm });
        }
        let event = Event::Resumed {
            run: run.id,
            cut: run.cut + 1,
            way: from,
            from_mm,
        };
        self.record(event, true);
        self.alarms.retain(|a| a.latched);
        self.begin_cut();
    }

    fn skip(&mut self) {
        let Some(run) = &mut self.run else { return };
        run.held = None;
        run.hold_after = false;
        run.tries = 0;
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
            run.cut = run.next_to_do();
            run.from_mm = 0.0;
            self.record(event, true);
        } else {
            run.cut = run.next_to_do();
            run.from_mm = 0.0;
        }
        self.alarms.retain(|a| a.latched);
        self.begin_cut();
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
        self.alarms.retain(|a| a.latched);
        if self.may_move() && self.latches.is_empty() && !self.signals.arc_ok {
            self.park();
        } else {
            self.finish();
        }
    }

    pub(super) fn park(&mut self) {
        let z = self.safe_z();
        let ticket = self.line.say(Command::RapidZ(z));
        self.act = Act::Parking(Parking::Lift {
            ticket,
            since: self.now,
        });
    }

    /// The run is over: what was vouched for lapses with it.
    pub(super) fn finish(&mut self) {
        self.vouched.clear();
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
        if belongs_to_guard(cause) && self.latches.contains_key(&cause) {
            self.out.order(GuardOrder::Clear { cause });
        } else {
            self.cleared(cause);
        }
    }
}
