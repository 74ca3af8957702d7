//! Where along the path the torch is, from the controller's reports.
//!
//! A place on a path that crosses itself or closes on itself has more than one station, so the
//! count of executed blocks leads and the reported place only measures within the block in hand.
//! It must never claim more than was cut.

use std::collections::VecDeque;

use link::{Status, Ticket};
use units::{Point, Segment, Time};

/// Reports remembered to find the place of an edge.
const REMEMBERED: usize = 64;
/// Half width of what is not known of the moment of an arc edge against a report, s (process
/// handbook: contact delay, report age; invented).
const EDGE_S: f64 = 0.036;
/// Half width of what is not known of the place itself, mm (invented).
const EDGE_MM: f64 = 0.3;

/// One piece of path that was said and is not known to be executed.
#[derive(Clone, Copy, Debug)]
struct Piece {
    ticket: Ticket,
    segment: Segment,
    start_mm: f64,
    feed_mm_s: f64,
}

/// The path in hand.
#[derive(Clone, Debug)]
pub(crate) struct Track {
    pieces: VecDeque<Piece>,
    /// The torch is at least here, mm along the cut.
    pub station: f64,
    reports: VecDeque<(Time, f64)>,
    /// Next element to say, and how far into it to begin.
    pub next: (usize, f64),
    pub torch_off: Option<Ticket>,
    feed: f64,
}

impl Track {
    pub(crate) fn new(from_mm: f64, next: (usize, f64)) -> Self {
        Self {
            pieces: VecDeque::new(),
            station: from_mm,
            reports: VecDeque::new(),
            next,
            torch_off: None,
            feed: 0.0,
        }
    }

    pub(crate) fn said(&mut self, ticket: Ticket, segment: Segment, start_mm: f64, feed_mm_s: f64) {
        self.pieces.push_back(Piece {
            ticket,
            segment,
            start_mm,
            feed_mm_s,
        });
    }

    /// Takes a report; `place` in the path's coordinates.
    pub(crate) fn report(&mut self, status: &Status, place: Point) {
        let mut at = self.station;
        while let (Some(piece), Some(done)) = (self.pieces.front(), status.executed)
            && done >= piece.ticket
        {
            at = at.max(piece.start_mm + piece.segment.length());
            self.feed = piece.feed_mm_s;
            self.pieces.pop_front();
        }
        if let Some(piece) = self.pieces.front() {
            self.feed = piece.feed_mm_s;
            let (along, off) = piece.segment.nearest(place);
            let since = self
                .reports
                .back()
                .map_or(0.1, |(t, _)| status.at.since(*t).as_secs_f64());
            // On a closed arc the start is the end: what the feed cannot have reached since the
            // last report is not believed.
            let reach = self.station.max(at) + piece.feed_mm_s * (since + 0.05) * 1.5 + 0.5;
            let s = piece.start_mm + along;
            if off < 0.5 && s <= reach {
                at = at.max(s);
            }
        }
        self.station = at;
        if self.reports.len() == REMEMBERED {
            self.reports.pop_front();
        }
        self.reports.push_back((status.at, at));
    }

    /// Where the torch was at a moment by the reports, and up to where it is surely cut if the
    /// arc burned until then.
    pub(crate) fn at(&self, t: Time, from_mm: f64) -> (f64, f64) {
        let mut before = None;
        let mut after = None;
        for &(at, s) in &self.reports {
            if at <= t {
                before = Some((at, s));
            } else {
                after = Some((at, s));
                break;
            }
        }
        let s = match (before, after) {
            (Some((t0, s0)), Some((t1, s1))) => {
                let span = t1.since(t0).as_secs_f64();
                let part = if span > 0.0 {
                    t.since(t0).as_secs_f64() / span
                } else {
                    0.0
                };
                s0 + (s1 - s0) * part
            }
            // No report since: where it was last seen, and no guess beyond.
            (Some((_, s0)), None) => s0,
            (None, _) => from_mm,
        };
        let sure = (s - self.feed * EDGE_S - EDGE_MM).max(from_mm);
        (s.max(from_mm), sure)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use link::Doing;

    fn status(at_ms: u64, x: f64, y: f64, executed: Option<u64>) -> Status {
        Status {
            at: Time::from_ms(at_ms),
            place: Point::new(x, y),
            z: 0.0,
            feed_mm_s: None,
            doing: Doing::Running,
            executed: executed.map(Ticket),
            waiting: None,
            queued_ms: None,
            torch: None,
            referenced: None,
            up_ms: None,
        }
    }

    #[test]
    fn the_start_of_a_full_circle_is_not_taken_for_its_end() {
        let circle = Segment::Arc {
            from: Point::new(10.0, 0.0),
            to: Point::new(10.0, 0.0),
            centre: Point::new(0.0, 0.0),
            clockwise: false,
        };
        let mut track = Track::new(0.0, (0, 0.0));
        track.said(Ticket(5), circle, 0.0, 20.0);
        // Rounded to a hair before the start, which is a hair before the end.
        let s = status(0, 10.0, -0.0001, Some(4));
        track.report(&s, s.place);
        assert!(track.station < 0.1, "{}", track.station);
    }

    #[test]
    fn an_edge_between_two_reports_lies_between_their_places_and_is_surely_cut_a_bit_before() {
        let line = Segment::Line {
            from: Point::new(0.0, 0.0),
            to: Point::new(100.0, 0.0),
        };
        let mut track = Track::new(0.0, (0, 0.0));
        track.said(Ticket(5), line, 0.0, 20.0);
        for k in 0..=100_u32 {
            let s = status(u64::from(k) * 20, 0.4 * f64::from(k), 0.0, Some(4));
            track.report(&s, s.place);
        }
        let (s, sure) = track.at(Time::from_ms(1010), 0.0);
        assert!((s - 20.2).abs() < 1e-6, "{s}");
        assert!(
            (sure - (20.2 - 20.0 * EDGE_S - EDGE_MM)).abs() < 1e-6,
            "{sure}"
        );
    }
}
