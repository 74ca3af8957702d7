//! The part of a trial that moves: 10 mm along X, and back until HOLD stops it.

use core::time::Duration;

use units::{Point, Segment, Time};

use super::{Stage, Trial};
use crate::words::{Command, Doing, Status, TakeAway, Ticket};

/// The way, mm, and its speed, mm/s: slow enough to be watched (ours).
const WAY_MM: f64 = 10.0;
const WAY_MM_S: f64 = 5.0;
/// Reported places may be off by this, mm (ours).
const OFF_MM: f64 = 0.05;

impl Trial {
    pub(super) fn go_there(&mut self, now: Time, status: &Status) {
        if status.referenced == Some(false) {
            let says =
                "Its axes are not referenced: reference them by its own means, then try again.";
            self.unclear("motion", says.into(), "[[answer]] status: referenced");
            self.stage = Stage::Over;
            return;
        }
        let from = status.place;
        let ticket = self.session.say(way(from, WAY_MM));
        self.go(now, Stage::There { ticket, from });
    }

    pub(super) fn look_there(&mut self, now: Time, ticket: Ticket, from: Point) {
        const RULE: &str = "commands.line, [numbers], reports.length_unit";
        let Some(status) = self.last.clone() else {
            return;
        };
        if status.doing != Doing::Idle || status.executed < Some(ticket) {
            return;
        }
        let (dx, dy) = (status.place.x - from.x, status.place.y - from.y);
        let took = now.since(self.since).as_secs_f64();
        if (dx - WAY_MM).abs() > OFF_MM || dy.abs() > OFF_MM {
            let says = format!(
                "Told to go {WAY_MM} mm along X it reports {dx:.3} along X and {dy:.3} along Y."
            );
            self.fails("motion", says, RULE);
            return;
        }
        let says = format!(
            "It reports {dx:.3} mm along X after {took:.1} s: measure that it is so, and that the torch went \
             to higher X."
        );
        self.passes("motion", says, RULE);
        if self.dialect.hold.is_none() {
            self.stage = Stage::Over;
            return;
        }
        let from = status.place;
        self.session.say(way(from, -WAY_MM));
        self.go(now, Stage::Back { from });
    }

    /// It is told to hold at the middle of its way back.
    pub(super) fn look_back(&mut self, now: Time, from: Point, place: Point) {
        if place.x < from.x - WAY_MM / 2.0 {
            self.session.take_away(TakeAway::Hold);
            self.go(now, Stage::Braking { from });
        }
    }

    /// On its way back it was told to hold.
    pub(super) fn look_braking(&mut self, now: Time, from: Point) {
        const RULE: &str = "bytes.hold, [states]";
        let Some(status) = self.last.clone() else {
            return;
        };
        let back = from.x - status.place.x;
        if back > WAY_MM - OFF_MM {
            let says = "HOLD on its way back did not stop it before the end of its way.".to_owned();
            self.fails("hold in motion", says, RULE);
            return;
        }
        let still = status.feed_mm_s.is_none_or(|v| v.abs() < 1e-3);
        if status.doing == Doing::Holding && still && now >= self.since + Duration::from_millis(300)
        {
            self.held = Some(true);
            let says = format!(
                "HOLD on its way back stopped it after {back:.2} mm of {WAY_MM}; told at {}.",
                WAY_MM / 2.0
            );
            self.passes("hold in motion", says, RULE);
            self.moves = false;
            self.reopen(now);
        }
    }
}

/// A line of path along X.
fn way(from: Point, mm: f64) -> Command {
    Command::Path {
        segment: Segment::Line {
            from,
            to: Point::new(from.x + mm, from.y),
        },
        mm_s: WAY_MM_S,
    }
}
