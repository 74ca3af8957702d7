//! After a touch-off that met nothing: one touch beside it, for the message only. The pierce stays
//! where it was vetted.

use link::{Command, Ticket};
use process::CycleSettings;
use units::Point;

use super::{Cycle, Move, Stage};
use crate::cause::Cause;
use crate::machine::Machine;
use crate::view::Step;

/// So far towards scrap, mm (process handbook, invented).
const BESIDE_MM: f64 = 5.0;

/// Where in the second touch.
#[derive(Clone, Copy, Debug)]
pub(super) enum Beside {
    Lift(Ticket, Point),
    Go(Ticket),
    Down(Ticket),
    Touch(Ticket),
}

impl Beside {
    pub(super) const fn step(self) -> Step {
        match self {
            Self::Lift(..) | Self::Go(_) => Step::Traverse,
            Self::Down(_) => Step::ProbeFast,
            Self::Touch(_) => Step::ProbeSlow,
        }
    }
}

impl Machine {
    /// The first touch of a touch-off met nothing.
    pub(super) fn look_beside(&mut self, c: &mut Cycle, cs: &CycleSettings) -> Move {
        let missed = format!(
            "Torch went {:.0} mm below where the plate should be and touched nothing",
            self.probe_limit(cs)
        );
        if let Some(why) = self.no_metal(c) {
            return Move::Stop(Cause::NoContact, format!("{missed}. {why}"));
        }
        let Some(to) = self.beside(c) else {
            let why = format!("{missed}. By the record there is metal.");
            return Move::Stop(Cause::NoContact, why);
        };
        let z = self.safe_z();
        c.limit = self.z_limit(z, self.settings.rapid_z_mm_s);
        c.missed = missed;
        let lift = self.line.say(Command::RapidZ(z));
        Move::On(Stage::Beside(Beside::Lift(
            lift,
            self.reference.sheet_at.place(to),
        )))
    }

    /// A place further into the scrap: a lead-in leads out of it, so it lies behind the pierce. Sheet
    /// coordinates; `None`: the start is none at the head of a lead-in, or that is beyond the sheet.
    fn beside(&self, c: &Cycle) -> Option<Point> {
        let (loaded, run) = (self.loaded.as_ref()?, self.run.as_ref()?);
        let entry = run.plan().and_then(|p| p.how.entry.first().copied());
        let first = match entry {
            Some(first) => first,
            None if c.from_mm == 0.0 => loaded.job.cuts.get(run.cut)?.path.first()?.segment,
            None => return None,
        };
        let (dx, dy) = first.direction_at(0.0);
        let p = first.from().moved(-dx * BESIDE_MM, -dy * BESIDE_MM);
        let sheet = loaded.job.sheet;
        let on_sheet = (0.0..=sheet.x).contains(&p.x) && (0.0..=sheet.y).contains(&p.y);
        on_sheet.then_some(p)
    }

    pub(super) fn look_touch_beside(
        &mut self,
        c: &mut Cycle,
        at: Beside,
        cs: &CycleSettings,
    ) -> Move {
        match at {
            Beside::Lift(t, to) if self.executed(t) => {
                let from = self.line.place().unwrap_or(to);
                c.limit = self.travel_limit(from, to);
                self.traversing(true);
                let go = self.line.say(Command::RapidXy(to));
                Move::On(Stage::Beside(Beside::Go(go)))
            }
            Beside::Go(t) if self.executed(t) => {
                self.traversing(false);
                let (z, mm_s) = (c.expected_z + cs.probe_switch_mm, cs.probe_fast_mm_s);
                c.limit = self.z_limit(z, mm_s);
                let down = self.line.say(Command::FeedZ { z, mm_s });
                Move::On(Stage::Beside(Beside::Down(down)))
            }
            Beside::Down(t) if self.executed(t) => {
                let (to_z, mm_s) = (c.expected_z - self.probe_limit(cs), cs.probe_slow_mm_s);
                c.limit = self.z_limit(to_z, mm_s);
                c.answer = None;
                let touch = self.line.say(Command::TouchOff { to_z, mm_s });
                Move::On(Stage::Beside(Beside::Touch(touch)))
            }
            Beside::Touch(t) => match c.answer.take() {
                Some((answered, z)) if answered == t => {
                    Move::Stop(Cause::NoContact, told(&c.missed, z))
                }
                other => {
                    c.answer = other;
                    self.overdue(c, c.limit, "The touch-off did not end")
                }
            },
            Beside::Lift(..) | Beside::Go(_) | Beside::Down(_) => {
                self.overdue(c, c.limit, "The second touch did not come about")
            }
        }
    }

    /// A touch-off searches so far below the expected sheet, mm.
    pub(super) fn probe_limit(&self, cs: &CycleSettings) -> f64 {
        let first = self.run.as_ref().is_some_and(|r| r.touched_z.is_none());
        if first {
            cs.probe_limit_first_mm
        } else {
            cs.probe_limit_mm
        }
    }
}

/// What both touches come to.
pub(super) fn told(missed: &str, beside: Option<f64>) -> String {
    match beside {
        Some(_) => {
            format!("{missed}. Metal beside it: {BESIDE_MM:.0} mm towards scrap it met the plate.")
        }
        None => format!(
            "{missed}, nor {BESIDE_MM:.0} mm towards scrap: sheet moved, or sense wire broken."
        ),
    }
}
