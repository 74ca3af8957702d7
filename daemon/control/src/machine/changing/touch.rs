//! The moves of a change: to the place for it, and the touch that compares the new parts.

use core::time::Duration;

use link::{Command, Ticket};
use units::{Point, Time};

use super::super::{Act, Machine, Next};
use crate::event::Event;
use crate::view::CutState;

/// A touch is made on the path this far ahead of where it stopped: metal that is still to be cut
/// (ours: an arc's reach and the doubt of the place together are less).
const AHEAD_MM: f64 = 10.0;
/// The path's end is not touched: its kerf may be open already, mm (ours).
const END_MM: f64 = 5.0;
/// A second touch searches this far below the first, mm (invented).
const SECOND_TOUCH_MM: f64 = 2.0;
/// The torch must be lifted, or the circuit switched, within this.
const STEP_LIMIT: Duration = Duration::from_secs(10);

/// A move of a change under way.
#[derive(Clone, Debug)]
pub(crate) struct Going {
    leg: Leg,
    pub since: Time,
    pub limit: Duration,
    target: Point,
    expected_z: f64,
    touches: Vec<f64>,
    answer: Option<(Ticket, Option<f64>)>,
}

#[derive(Clone, Copy, Debug)]
enum Leg {
    Lift(Ticket),
    Go(Ticket),
    TouchLift(Ticket),
    TouchGo(Ticket),
    Sense(Ticket),
    Settle(Time),
    Fast(Ticket),
    Slow(Ticket),
    BackOff(Ticket),
    BackSettle(Time),
    /// Up again; whether the sheet was found.
    Up(Ticket, bool),
}

/// What a look at a move came to.
enum Way {
    Stay,
    On(Leg),
    /// The place for the change is reached.
    There,
    /// The touch is over.
    Touched,
}

impl Going {
    pub(crate) fn touched(&mut self, ticket: Ticket, z: Option<f64>) {
        self.answer = Some((ticket, z));
    }
}

impl Machine {
    pub(super) fn go_to_change(&mut self) {
        let top = self.settings.top_z;
        let target = self.settings.change.unwrap_or(self.settings.park);
        let ticket = self.line.say(Command::RapidZ(top));
        self.set_out(Leg::Lift(ticket), target, 0.0);
    }

    fn set_out(&mut self, leg: Leg, target: Point, expected_z: f64) {
        self.leave_mark();
        self.act = Act::Changing(Box::new(Going {
            leg,
            since: self.now,
            limit: self.travel_limit(self.line.place().unwrap_or(target), target),
            target,
            expected_z,
            touches: Vec::new(),
            answer: None,
        }));
    }

    /// Metal that surely is there: the pierce of a cut not begun, else the path ahead of the place
    /// where the cut in hand stopped. Machine coordinates.
    pub(super) fn touch_place(&self) -> Option<Point> {
        let loaded = self.loaded.as_ref()?;
        let on_table = |p: Point| self.reference.sheet_at.place(p);
        let run = self.run_here();
        let run = run.as_deref().filter(|r| !r.over());
        let Some(run) = run else {
            return loaded.job.cuts.first().map(|c| on_table(c.pierce));
        };
        let begun = |i: usize| run.cuts.get(i).is_none_or(|p| p.sure_mm > 0.0);
        let stopped = run
            .held
            .as_ref()
            .map_or_else(|| run.may_have_reached(self.found, loaded).1, |h| h.at_mm);
        let ahead = stopped.max(run.sure()) + AHEAD_MM;
        let in_hand = run
            .cuts
            .get(run.cut)
            .is_some_and(|p| !matches!(p.state, CutState::Done | CutState::Skipped));
        // Near where the arc is to come on again: there the sheet's height matters.
        if in_hand && ahead + END_MM <= loaded.length(run.cut) {
            return Some(on_table(loaded.point_at(run.cut, ahead)));
        }
        let next = run
            .cuts
            .iter()
            .enumerate()
            .position(|(i, p)| p.state == CutState::ToDo && i != run.cut && !begun(i))?;
        loaded.job.cuts.get(next).map(|c| on_table(c.pierce))
    }

    pub(in crate::machine) fn touch_with_new_parts(&mut self) {
        let Some(target) = self.may_touch() else {
            return;
        };
        let plane = self
            .loaded
            .as_ref()
            .map_or(0.0, |l| self.settings.slat_top_z + l.job.thickness_mm);
        let touches = self.run.as_ref().map_or(&[][..], |r| &r.touches[..]);
        let expected = crate::plane::expected(touches, target).unwrap_or(plane);
        if let Some(c) = &mut self.change {
            c.trouble = None;
        }
        let ticket = self.line.say(Command::RapidZ(self.safe_z()));
        self.set_out(Leg::TouchLift(ticket), target, expected);
    }

    pub(in crate::machine) fn advance_changing(&mut self, mut g: Box<Going>) -> Next {
        let leg = g.leg;
        match self.look_going(&mut g, leg) {
            Way::Stay => Next::Stays(Act::Changing(g)),
            Way::On(leg) => {
                g.leg = leg;
                g.since = self.now;
                Next::Becomes(Act::Changing(g))
            }
            Way::There => {
                self.traversing(false);
                self.at_change_place(true);
                Next::Becomes(Act::Rest)
            }
            Way::Touched => {
                self.out.publish();
                Next::Becomes(Act::Rest)
            }
        }
    }

    fn look_going(&mut self, g: &mut Going, leg: Leg) -> Way {
        let Some(cs) = self.loaded.as_ref().map(|l| l.job.cycle).or_else(|| {
            // Between jobs the torch only goes to the place for changing parts.
            matches!(leg, Leg::Lift(_) | Leg::Go(_)).then(process::CycleSettings::default)
        }) else {
            return Way::Touched;
        };
        let settle = |now: Time, ms: u64| now + Duration::from_millis(ms);
        match leg {
            Leg::Lift(t) if self.executed(t) => {
                self.traversing(true);
                Way::On(Leg::Go(self.line.say(Command::RapidXy(g.target))))
            }
            Leg::Go(t) if self.executed(t) && self.line.at_rest() => Way::There,
            Leg::TouchLift(t) if self.executed(t) => {
                self.traversing(true);
                Way::On(Leg::TouchGo(self.line.say(Command::RapidXy(g.target))))
            }
            Leg::TouchGo(t) if self.executed(t) && self.line.at_rest() => {
                self.traversing(false);
                g.limit = STEP_LIMIT;
                Way::On(Leg::Sense(self.connect_sense()))
            }
            Leg::Sense(t) if self.executed(t) => {
                Way::On(Leg::Settle(settle(self.now, cs.sense_settle_ms)))
            }
            Leg::Settle(until) if self.due(until) => {
                if self.signals.contact {
                    return self.touch_failed(
                        g,
                        "The contact is on above the sheet. Clean nozzle and shield.",
                    );
                }
                g.limit = STEP_LIMIT * 3;
                let z = g.expected_z + cs.probe_switch_mm;
                let mm_s = cs.probe_fast_mm_s;
                Way::On(Leg::Fast(self.line.say(Command::FeedZ { z, mm_s })))
            }
            Leg::Fast(_) if self.signals.contact => {
                // It must not be pushed on: everything that waits is thrown away.
                self.halt();
                self.change_trouble(format!(
                    "Touched more than {:.0} mm above where the sheet should be.",
                    cs.probe_switch_mm
                ));
                Way::Touched
            }
            Leg::Fast(t) if self.executed(t) => self.touch_down(
                g,
                g.expected_z - cs.probe_limit_first_mm,
                cs.probe_slow_mm_s,
            ),
            Leg::Slow(t) => match g.answer.take() {
                Some((answered, z)) if answered == t => self.judge_change_touch(g, z, &cs),
                other => {
                    g.answer = other;
                    self.late(g)
                }
            },
            Leg::BackOff(t) if self.executed(t) => {
                Way::On(Leg::BackSettle(settle(self.now, cs.touch_settle_ms)))
            }
            Leg::BackSettle(until) if self.due(until) => {
                if self.signals.contact {
                    return self.touch_failed(g, "The contact stayed on when lifted.");
                }
                let last = g.touches.last().copied().unwrap_or(g.expected_z);
                self.touch_down(g, last - SECOND_TOUCH_MM, cs.probe_slow_mm_s)
            }
            Leg::Up(t, found) if self.executed(t) => {
                if found {
                    self.touch_compared(g, cs.ohmic_offset_mm);
                }
                Way::Touched
            }
            _ => self.late(g),
        }
    }

    fn touch_down(&mut self, g: &mut Going, to_z: f64, mm_s: f64) -> Way {
        g.answer = None;
        g.limit = STEP_LIMIT * 3;
        Way::On(Leg::Slow(self.line.say(Command::TouchOff { to_z, mm_s })))
    }

    fn judge_change_touch(
        &mut self,
        g: &mut Going,
        z: Option<f64>,
        cs: &process::CycleSettings,
    ) -> Way {
        let Some(z) = z else {
            return self.touch_failed(g, "The torch came down and touched nothing.");
        };
        g.touches.push(z);
        g.limit = STEP_LIMIT;
        match g.touches[..] {
            [_] => {
                let up = z + cs.back_off_mm;
                Way::On(Leg::BackOff(self.line.say(Command::RapidZ(up))))
            }
            [a, b, ..] if (a - b).abs() <= cs.touch_agree_mm => self.up(g, true),
            _ => self.touch_failed(
                g,
                "Two touches of the sheet differ. Clean nozzle and sheet.",
            ),
        }
    }

    fn touch_failed(&mut self, g: &mut Going, says: &str) -> Way {
        self.change_trouble(says.into());
        self.up(g, false)
    }

    fn up(&mut self, g: &mut Going, found: bool) -> Way {
        g.limit = STEP_LIMIT * 3;
        let z = self.safe_z();
        Way::On(Leg::Up(self.line.say(Command::RapidZ(z)), found))
    }

    fn late(&mut self, g: &Going) -> Way {
        if !self.due(g.since + g.limit) {
            return Way::Stay;
        }
        self.traversing(false);
        self.halt();
        self.change_trouble(format!(
            "The torch did not get there within {:.0} s.",
            g.limit.as_secs_f64()
        ));
        Way::Touched
    }

    /// What the touch says of the new parts goes into the height that is expected from here on.
    fn touch_compared(&mut self, g: &Going, ohmic_offset_mm: f64) {
        let z_mm = g.touches.iter().sum::<f64>() / g.touches.len().max(1) as f64 - ohmic_offset_mm;
        let mut off_mm = None;
        if let Some(run) = self.run.as_mut().filter(|r| !r.over()) {
            if run.touches.is_empty() {
                run.highest_z = Some(z_mm);
            } else {
                let off = z_mm - g.expected_z;
                off_mm = Some(off);
                // New parts change what every place of the sheet reads, by the same.
                for touch in &mut run.touches {
                    touch.1 += off;
                }
                run.highest_z = run.highest_z.map(|h| (h + off.max(0.0)).max(z_mm));
            }
            run.touched_z = Some(z_mm);
        }
        let run = self.change.as_ref().and_then(|c| c.run);
        self.record(Event::TouchCompared { run, z_mm, off_mm }, true);
        if self.change.as_ref().is_some_and(|c| !c.tested) {
            self.contact_tested(true);
        }
        if let Some(c) = &mut self.change {
            c.off_mm = off_mm;
            c.step = crate::view::ChangeStep::Done;
        }
    }
}
