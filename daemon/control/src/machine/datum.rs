//! The datum check: the torch is taken over what was cut already, the operator moves it until it
//! stands right, and the sheet's place follows. No permit is asked for here, ever.

use core::time::Duration;

use link::{Command, Ticket};
use units::{Point, Segment, Time};

use super::{Act, Machine, Next};
use crate::cause::Cause;
use crate::datum::{self, DATUM_MM, DatumMark, Fit, Seen};
use crate::event::Event;
use crate::view::{CutState, DatumView};

/// So far above the sheet the torch is looked at, mm (invented).
const LOOK_MM: f64 = 5.0;
/// It comes down and is nudged at this speed, mm/s (invented).
const SLOW_MM_S: f64 = 10.0;
/// One nudge is at most so long, mm.
pub(crate) const NUDGE_MM: f64 = 10.0;
/// A nudge and a way down end within this.
const SLOW_LIMIT: Duration = Duration::from_secs(30);

/// What has been looked at so far.
#[derive(Clone, Debug)]
pub(crate) struct Checking {
    pub marks: Vec<DatumMark>,
    pub seen: Vec<Seen>,
    /// The torch stands over the next mark.
    pub over: bool,
}

/// A move of the check.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ToMark {
    leg: Leg,
    ticket: Ticket,
    since: Time,
    limit: Duration,
}

/// Up, over to the mark, down; or nudged where it stands.
#[derive(Clone, Copy, Debug)]
enum Leg {
    Lift,
    Go,
    Down,
    Nudge,
}

impl Machine {
    /// Something of the run in hand is cut: after a doubtful place the sheet itself must show where
    /// it lies. So it is also with a run that was interrupted, whatever is loaded.
    pub(crate) fn needs_datum(&self) -> bool {
        self.reference.doubtful && self.anything_cut()
    }

    /// Of the run in hand, or of one that was interrupted.
    pub(super) fn anything_cut(&self) -> bool {
        match (&self.run, &self.interrupted) {
            (Some(run), _) if !run.over() => run.cuts.iter().any(|p| !p.done().is_empty()),
            (_, Some(u)) => !u.done.is_empty() || u.sure_mm.values().any(|mm| *mm > 0.0),
            _ => false,
        }
    }

    /// What the check is made with.
    fn marks(&self) -> Vec<DatumMark> {
        let (Some(loaded), Some(run)) = (&self.loaded, self.run_here()) else {
            return Vec::new();
        };
        let done = run.cuts.iter().map(|p| p.state == CutState::Done);
        datum::marks(&loaded.job, &done.collect::<Vec<_>>())
    }

    /// The torch goes to the next mark.
    pub(super) fn datum_go(&mut self) {
        let checking = self.reference.checking.take().unwrap_or_else(|| Checking {
            marks: self.marks(),
            seen: Vec::new(),
            over: false,
        });
        self.reference.checking = Some(Checking {
            over: false,
            ..checking
        });
        let ticket = self.line.say(Command::RapidZ(self.safe_z()));
        self.act = self.heading(Leg::Lift, ticket, SLOW_LIMIT);
    }

    fn heading(&self, leg: Leg, ticket: Ticket, limit: Duration) -> Act {
        Act::ToMark(ToMark {
            leg,
            ticket,
            since: self.now,
            limit,
        })
    }

    /// The torch is taken elsewhere: it stands over no mark.
    pub(super) fn leave_mark(&mut self) {
        if let Some(c) = &mut self.reference.checking {
            c.over = false;
        }
    }

    fn next_mark(&self) -> Option<DatumMark> {
        let c = self.reference.checking.as_ref()?;
        c.marks.get(c.seen.len()).copied()
    }

    pub(super) fn advance_to_mark(&mut self, to: ToMark) -> Next {
        if !(self.executed(to.ticket) && self.line.at_rest()) {
            if self.due(to.since + to.limit) {
                self.traversing(false);
                let why = "The torch did not reach the mark in time.";
                self.alarm(Cause::Overdue, self.now, false, why.into());
                self.halt();
                return Next::Becomes(Act::Rest);
            }
            return Next::Stays(Act::ToMark(to));
        }
        let Some(mark) = self.next_mark() else {
            return Next::Becomes(Act::Rest);
        };
        match to.leg {
            Leg::Lift => {
                let there = self.reference.sheet_at.place(mark.place);
                let limit = self.travel_limit(self.line.place().unwrap_or(there), there);
                self.traversing(true);
                let ticket = self.line.say(Command::RapidXy(there));
                Next::Becomes(self.heading(Leg::Go, ticket, limit))
            }
            Leg::Go => {
                self.traversing(false);
                let (z, mm_s) = (self.looking_z(), SLOW_MM_S);
                let ticket = self.line.say(Command::FeedZ { z, mm_s });
                Next::Becomes(self.heading(Leg::Down, ticket, SLOW_LIMIT))
            }
            Leg::Down | Leg::Nudge => {
                if let Some(c) = &mut self.reference.checking {
                    c.over = true;
                }
                self.out.publish();
                Next::Becomes(Act::Rest)
            }
        }
    }

    fn looking_z(&self) -> f64 {
        let thickness = self.loaded.as_ref().map_or(0.0, |l| l.job.thickness_mm);
        let plane = self.settings.slat_top_z + thickness;
        let highest = self.run.as_ref().and_then(|r| r.highest_z);
        (highest.map_or(plane, |z| z.max(plane)) + LOOK_MM).min(self.safe_z())
    }

    /// The operator moves it a little, as the sheet lies.
    pub(super) fn datum_nudge(&mut self, dx: f64, dy: f64) {
        let Some(from) = self.line.place() else {
            return;
        };
        let to = from.moved(dx, dy);
        let ticket = self.line.say(Command::Path {
            segment: Segment::Line { from, to },
            mm_s: SLOW_MM_S,
        });
        if let Some(c) = &mut self.reference.checking {
            c.over = false;
        }
        self.act = self.heading(Leg::Nudge, ticket, SLOW_LIMIT);
    }

    /// It stands over the mark.
    pub(super) fn datum_here(&mut self) {
        let (Some(mark), Some(found)) = (self.next_mark(), self.line.place()) else {
            return;
        };
        let believed = self.reference.sheet_at.place(mark.place);
        let event = Event::DatumSeen {
            mark,
            dx_mm: found.x - believed.x,
            dy_mm: found.y - believed.y,
        };
        self.record(event, true);
        let Some(c) = &mut self.reference.checking else {
            return;
        };
        c.over = false;
        c.seen.push(Seen { mark, found });
        if c.seen.len() >= c.marks.len() {
            let seen = core::mem::take(&mut c.seen);
            self.reference.checking = None;
            self.conclude(&seen);
        }
    }

    fn conclude(&mut self, seen: &[Seen]) {
        let Some(fit) = datum::fit(seen, &self.reference.sheet_at) else {
            let why = "The marks do not tell where the sheet lies.";
            self.alarm(Cause::PlaceDrift, self.now, false, why.into());
            return;
        };
        let holds = fit.residual_mm <= DATUM_MM;
        let corrected = holds && fit.off_mm > DATUM_MM;
        let event = Event::DatumFitted {
            off_mm: fit.off_mm,
            residual_mm: fit.residual_mm,
            sheet_at: corrected.then_some(fit.sheet_at),
        };
        self.record(event, true);
        if !holds {
            self.drifted(&fit);
            return;
        }
        if corrected {
            self.reference.sheet_at = fit.sheet_at;
        }
        self.alarms.lower(Cause::PlaceDrift);
        self.reference.doubtful = false;
        self.record(Event::PlaceConfirmed, true);
    }

    fn drifted(&mut self, fit: &Fit) {
        let why = format!(
            "The marks do not fit the sheet: {:.1} mm off, and {:.1} mm by any shift and turn; limit {DATUM_MM:.1} mm.",
            fit.off_mm, fit.residual_mm
        );
        self.alarm(Cause::PlaceDrift, self.now, false, why);
    }

    pub(super) fn datum_view(&self) -> Option<DatumView> {
        if !self.needs_datum() || !self.reference.homed {
            return None;
        }
        let c = self.reference.checking.as_ref();
        let marks = c.map_or_else(|| self.marks(), |c| c.marks.clone());
        Some(DatumView {
            marks,
            seen: c.map_or(0, |c| c.seen.len()),
            over: c.is_some_and(|c| c.over),
        })
    }

    /// A place on the sheet in machine coordinates, and back.
    pub(super) fn to_sheet(&self, p: Point) -> Point {
        let (sin, cos) = self.reference.sheet_at.rotation_deg.to_radians().sin_cos();
        let (x, y) = (
            p.x - self.reference.sheet_at.origin.x,
            p.y - self.reference.sheet_at.origin.y,
        );
        Point::new(x * cos + y * sin, y * cos - x * sin)
    }
}
