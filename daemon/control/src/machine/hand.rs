//! The torch moved by hand from a screen: while a key is kept pressed, by one short step, or to a place
//! that is known. No permit is asked for here, ever.
//!
//! A press lasts as long as it is renewed: the screen asks again under the same name. The controller is
//! given pieces of path of [`PIECE`], and never more than [`MOST_PIECES`] that it has not reported as done:
//! a panel that dies, or a line that is lost, leaves a torch that comes to stand by itself. When a press
//! ends (let go, not renewed, contact, or whatever stops the machine), the take-away bytes go out.
//!
//! Contact ends every move but the one away from the sheet; in the plane the guard watches for it as
//! well, and latches `torch-touched`. If the power goes, the drives go with it.

use core::time::Duration;
use std::collections::VecDeque;

use link::{Command, Ticket};
use units::{Point, Segment, Time};

use super::{Act, Machine, Next};
use crate::ask::{HandAxis, HandMove, HandPlace, PressId};
use crate::cause::Cause;
use crate::event::Event;

/// A press that is not renewed for this long has ended. A screen renews every 60 ms; the torch must
/// stand 200 ms after the last (screens handbook R17), and brakes for 50 ms of it.
pub(crate) const RENEWED_WITHIN: Duration = Duration::from_millis(130);
/// One piece of path takes so long at full speed.
const PIECE: Duration = Duration::from_millis(40);
/// The next piece is sent when what was sent ends within this.
const AHEAD: Duration = Duration::from_millis(100);
/// So many pieces may be on their way: 0.1 s of path, and what a report of every 50 ms has not told yet.
const MOST_PIECES: usize = 6;
/// Speed in the plane, mm/s (invented).
const PLANE_MM_S: f64 = 20.0;
/// Speed along Z, mm/s (invented).
const Z_MM_S: f64 = 5.0;
/// One step is at most so long, mm.
pub(crate) const STEP_MM: f64 = 10.0;
/// A step ends within this.
const STEP_LIMIT: Duration = Duration::from_secs(30);
/// The torch stands within this when a press has ended.
const STANDS_WITHIN: Duration = Duration::from_secs(2);

/// A move by hand under way.
#[derive(Clone, Debug)]
pub(crate) enum Hand {
    Pressed(Pressed),
    Going(Going),
    /// The take-away bytes are out; it comes to stand.
    Ending {
        since: Time,
    },
}

/// A key is kept pressed, or a step is being made.
#[derive(Clone, Debug)]
pub(crate) struct Pressed {
    asked: HandMove,
    since: Time,
    renewed: Time,
    /// Where the path that was sent ends: in the plane and along Z.
    end: (Point, f64),
    /// By when it is passed, at full speed.
    until: Time,
    /// What was sent and not reported as done.
    sent: VecDeque<Ticket>,
}

/// Up, then over to a place.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Going {
    up: bool,
    to: Point,
    ticket: Ticket,
    since: Time,
    limit: Duration,
}

/// The press that began last: once it has ended it cannot be renewed.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct LastPress(Option<PressId>);

impl Machine {
    /// The press under way is this one, and it may go on.
    pub(crate) fn renews(&self, asked: &HandMove) -> bool {
        matches!(&self.act, Act::Hand(Hand::Pressed(p)) if p.asked == *asked && asked.step_mm.is_none())
    }

    /// This press has begun once and ended.
    pub(crate) fn press_is_over(&self, press: PressId) -> bool {
        self.last_press.0 == Some(press)
    }

    /// Whether there is room that way, as far as the table goes.
    pub(crate) fn has_room(&self, asked: &HandMove) -> bool {
        match (self.line.place(), self.line.z()) {
            (Some(place), Some(z)) => self.target(asked, (place, z), STEP_MM) != (place, z),
            _ => false,
        }
    }

    /// Where so many millimetres lead, within the travel.
    fn target(&self, asked: &HandMove, (from, z): (Point, f64), mm: f64) -> (Point, f64) {
        let mm = if asked.forward { mm } else { -mm };
        // Never back over an end that the torch stands beyond: that would be a move the other way.
        let within = |v: f64, most: f64| {
            if asked.forward {
                (v + mm).min(most).max(v)
            } else {
                (v + mm).max(0.0).min(v)
            }
        };
        let travel = self.settings.travel.unwrap_or(from);
        match asked.axis {
            HandAxis::X => (Point::new(within(from.x, travel.x), from.y), z),
            HandAxis::Y => (Point::new(from.x, within(from.y, travel.y)), z),
            HandAxis::Z => (from, within(z, self.settings.top_z)),
        }
    }

    /// A press begins, or goes on.
    pub(super) fn hand_move(&mut self, asked: HandMove) {
        let now = self.now;
        if self.renews(&asked) {
            if let Act::Hand(Hand::Pressed(p)) = &mut self.act {
                p.renewed = now;
            }
            return;
        }
        let (Some(place), Some(z)) = (self.line.place(), self.line.z()) else {
            return;
        };
        self.last_press = LastPress(Some(asked.press));
        self.leave_mark();
        // Without the circuit no contact is seen.
        self.connect_sense();
        self.traversing(asked.axis != HandAxis::Z);
        let mut pressed = Pressed {
            asked,
            since: now,
            renewed: now,
            end: (place, z),
            until: now,
            sent: VecDeque::new(),
        };
        if let Some(mm) = asked.step_mm {
            self.send_piece(&mut pressed, mm);
        }
        self.record(
            Event::HandMoved {
                axis: asked.axis,
                forward: asked.forward,
                step_mm: asked.step_mm,
            },
            false,
        );
        self.act = Act::Hand(Hand::Pressed(pressed));
    }

    fn send_piece(&mut self, p: &mut Pressed, mm: f64) {
        let to = self.target(&p.asked, p.end, mm);
        if to == p.end {
            return;
        }
        let command = if p.asked.axis == HandAxis::Z {
            Command::FeedZ {
                z: to.1,
                mm_s: Z_MM_S,
            }
        } else {
            Command::Path {
                segment: Segment::Line {
                    from: p.end.0,
                    to: to.0,
                },
                mm_s: PLANE_MM_S,
            }
        };
        p.sent.push_back(self.line.say(command));
        p.end = to;
        p.until = p.until.max(self.now) + PIECE;
    }

    /// The key was let go.
    pub(super) fn hand_stop(&mut self) {
        if matches!(self.act, Act::Hand(Hand::Pressed(_) | Hand::Going(_))) {
            self.act = self.end_hand();
        }
    }

    fn end_hand(&mut self) -> Act {
        self.halt();
        Act::Hand(Hand::Ending { since: self.now })
    }

    /// The torch goes to a known place: up first.
    pub(super) fn hand_go(&mut self, to: HandPlace) {
        let to = match to {
            HandPlace::Corner => self.reference.sheet_at.origin,
            HandPlace::Park => self.settings.park,
        };
        self.leave_mark();
        self.connect_sense();
        let ticket = self.line.say(Command::RapidZ(self.settings.top_z));
        self.act = Act::Hand(Hand::Going(Going {
            up: true,
            to,
            ticket,
            since: self.now,
            limit: STEP_LIMIT,
        }));
    }

    pub(super) fn advance_hand(&mut self, hand: Hand) -> Next {
        match hand {
            Hand::Pressed(p) => self.advance_pressed(p),
            Hand::Going(g) => self.advance_going(g),
            Hand::Ending { since } => {
                if self.line.at_rest() {
                    return self.hand_is_over();
                }
                if self.due(since + STANDS_WITHIN) {
                    return self.hand_overdue("The torch did not come to stand.");
                }
                Next::Stays(Act::Hand(hand))
            }
        }
    }

    fn advance_pressed(&mut self, mut p: Pressed) -> Next {
        let away = p.asked.axis == HandAxis::Z && p.asked.forward;
        if self.signals.contact && !away {
            return Next::Becomes(self.end_hand());
        }
        while p.sent.front().is_some_and(|t| self.executed(*t)) {
            p.sent.pop_front();
        }
        if p.asked.step_mm.is_some() {
            if p.sent.is_empty() && self.line.at_rest() {
                return self.hand_is_over();
            }
            if self.due(p.since + STEP_LIMIT) {
                self.halt();
                return self.hand_overdue("The step did not end in time.");
            }
            return Next::Stays(Act::Hand(Hand::Pressed(p)));
        }
        if self.due(p.renewed + RENEWED_WITHIN) {
            return Next::Becomes(self.end_hand());
        }
        let mm_s = if p.asked.axis == HandAxis::Z {
            Z_MM_S
        } else {
            PLANE_MM_S
        };
        while p.sent.len() < MOST_PIECES && self.now + AHEAD >= p.until {
            let sent = p.sent.len();
            self.send_piece(&mut p, mm_s * PIECE.as_secs_f64());
            if p.sent.len() == sent {
                // At the end of the travel: it stands there until the key is let go.
                break;
            }
        }
        if p.until > self.now + AHEAD {
            let next = Time::from_us(p.until.as_us().saturating_sub(AHEAD.as_micros() as u64));
            self.due(next);
        }
        Next::Stays(Act::Hand(Hand::Pressed(p)))
    }

    fn advance_going(&mut self, g: Going) -> Next {
        if self.executed(g.ticket) && self.line.at_rest() {
            if !g.up {
                return self.hand_is_over();
            }
            let limit = self.travel_limit(self.line.place().unwrap_or(g.to), g.to);
            self.traversing(true);
            let ticket = self.line.say(Command::RapidXy(g.to));
            return Next::Becomes(Act::Hand(Hand::Going(Going {
                up: false,
                ticket,
                since: self.now,
                limit,
                ..g
            })));
        }
        if self.due(g.since + g.limit) {
            self.halt();
            return self.hand_overdue("The torch did not reach its place in time.");
        }
        Next::Stays(Act::Hand(Hand::Going(g)))
    }

    fn hand_is_over(&mut self) -> Next {
        // The circuit stays on the torch: a contact that stands is still seen, and bars what is not up.
        self.traversing(false);
        self.out.publish();
        Next::Becomes(Act::Rest)
    }

    fn hand_overdue(&mut self, why: &str) -> Next {
        self.traversing(false);
        self.alarm(Cause::Overdue, self.now, false, why.into());
        Next::Becomes(Act::Rest)
    }
}
