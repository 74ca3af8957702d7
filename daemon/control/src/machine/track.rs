//! Where along the path the torch is, from the controller's reports.
//!
//! A place on a path that crosses itself or closes on itself has more than one station, so the
//! count of executed blocks leads and the reported place only measures within the block in hand.
//! It must never claim more than was cut.

use std::collections::VecDeque;

use link::{Status, Ticket};
use units::{Point, Segment, Time};

use crate::resume::Lost;
use crate::settings::ArcEdge;

/// Reports remembered to find the place of an edge.
const REMEMBERED: usize = 256;
/// Pieces remembered behind the torch, to find the station of a stamped place.
const BEHIND: usize = 64;
/// A torch further than this from a piece does not stand on it, mm.
const OFF_MM: f64 = 0.5;
/// Half width of what is not known of a place itself, mm (process handbook).
const EDGE_MM: f64 = 0.3;
/// Between two reports further apart than this the torch may have stood.
const GAP: core::time::Duration = core::time::Duration::from_millis(100);
/// An edge is not placed further than this beyond the last report.
const BEYOND_S: f64 = 0.3;
/// A stamped place lies within this of where the reports have the torch, mm.
const STAMP_MM: f64 = 8.0;

/// One piece of path that was said.
#[derive(Clone, Copy, Debug)]
struct Piece {
    ticket: Ticket,
    segment: Segment,
    start_mm: f64,
    feed_mm_s: f64,
}

impl Piece {
    fn end_mm(&self) -> f64 {
        self.start_mm + self.segment.length()
    }

    /// Stations on it at which a place may lie, and how far off each: the nearest, and its end, for a
    /// full circle's two ends are one place, told as its start.
    fn places(&self, place: Point) -> [(f64, f64); 2] {
        let (along, off) = self.segment.nearest(place);
        [
            (self.start_mm + along, off),
            (self.end_mm(), self.segment.to().distance(place)),
        ]
    }
}

/// Where the torch was at a moment, mm along the cut.
#[derive(Clone, Copy, Debug)]
struct Told {
    best: f64,
    least: f64,
    most: f64,
}

impl Told {
    const fn exactly(s: f64) -> Self {
        Self {
            best: s,
            least: s,
            most: s,
        }
    }
}

/// The path in hand. A lead-in beside the path counts as stations before `from_mm`.
#[derive(Clone, Debug)]
pub(crate) struct Track {
    pieces: VecDeque<Piece>,
    behind: VecDeque<Piece>,
    /// Where the path is begun, mm along the cut.
    from_mm: f64,
    /// The torch is at least here, mm along the cut.
    pub station: f64,
    /// When each was heard at the latest, where the torch was, and since when it may have been said.
    reports: VecDeque<(Time, f64, Time)>,
    /// Next piece of the lead-in to say.
    pub entry_next: usize,
    /// Next element to say, and how far into it to begin.
    pub next: (usize, f64),
    pub torch_off: Option<Ticket>,
    pub feed: f64,
}

impl Track {
    /// A path begun at `from_mm`, behind a lead-in of `entry_mm`.
    pub(crate) fn new(from_mm: f64, entry_mm: f64, next: (usize, f64)) -> Self {
        Self {
            pieces: VecDeque::new(),
            behind: VecDeque::new(),
            from_mm,
            station: from_mm - entry_mm,
            reports: VecDeque::new(),
            entry_next: 0,
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

    /// Takes a report; `place` in the path's coordinates. It was made after `since`, and was heard when
    /// it says.
    pub(crate) fn report_made(&mut self, status: &Status, place: Point, since: Time) {
        let mut at = self.station;
        while let (Some(piece), Some(done)) = (self.pieces.front(), status.executed)
            && done >= piece.ticket
        {
            at = at.max(piece.end_mm());
            self.feed = piece.feed_mm_s;
            self.behind.push_back(*piece);
            if self.behind.len() > BEHIND {
                self.behind.pop_front();
            }
            self.pieces.pop_front();
        }
        if let Some(piece) = self.pieces.front() {
            self.feed = piece.feed_mm_s;
            let (along, off) = piece.segment.nearest(place);
            let s = piece.start_mm + along;
            if off >= OFF_MM {
                // Where the dialect only infers what is executed, that may come late: the torch stands on a
                // later piece by then.
                at = at.max(self.station_ahead(place, status.at).unwrap_or(at));
            } else if s <= self.reach(at, piece.feed_mm_s, status.at) {
                at = at.max(s);
            }
        }
        self.note(status.at, at, since);
    }

    /// Takes a report of a torch that is being stopped: what is executed is told no more. A place that
    /// lies on none of what is ahead tells nothing.
    pub(crate) fn report_braking_made(&mut self, status: &Status, place: Point, since: Time) {
        if let Some(at) = self.station_ahead(place, status.at) {
            self.note(status.at, at, since);
        }
    }

    /// The station of a place on the pieces that are not told as executed, as far as the torch can have come,
    /// over however many pieces: a curve may be said in crumbs. `None`: it lies on none of them.
    fn station_ahead(&self, place: Point, now: Time) -> Option<f64> {
        let mut best: Option<(f64, f64)> = None;
        let mut fastest = 0.0_f64;
        for piece in &self.pieces {
            fastest = fastest.max(piece.feed_mm_s);
            let reach = self.reach(self.station, fastest, now);
            if piece.start_mm > reach {
                break;
            }
            for (s, off) in piece.places(place) {
                let within = s >= self.station - EDGE_MM && s <= reach;
                if within && off < OFF_MM && best.is_none_or(|(o, _)| off < o - 1e-3) {
                    best = Some((off, s.max(self.station)));
                }
            }
        }
        best.map(|(_, at)| at)
    }

    /// On a closed arc the start is the end: what the feed cannot have reached since the last report
    /// is not believed.
    fn reach(&self, at: f64, feed_mm_s: f64, now: Time) -> f64 {
        // That one may have lain in the port: it counts from when it was made.
        let made = self.reports.back().map(|(.., made)| *made);
        let since = made.map_or(0.1, |made| now.since(made).as_secs_f64());
        self.station.max(at) + feed_mm_s * (since + 0.05) * 1.5 + 0.5
    }

    fn note(&mut self, at: Time, s: f64, since: Time) {
        self.station = s;
        // A torch that stands is told by when it came there and when it stood there last.
        let n = self.reports.len();
        let stands = |k: usize| self.reports.get(k).is_some_and(|(_, was, _)| *was == s);
        if n >= 2
            && stands(n - 1)
            && stands(n - 2)
            && let Some(last) = self.reports.back_mut()
        {
            *last = (at, s, since);
            return;
        }
        if self.reports.len() == REMEMBERED {
            self.reports.pop_front();
        }
        self.reports.push_back((at, s, since));
    }

    /// Where the torch was at a moment by the reports.
    fn station_at(&self, t: Time) -> Told {
        // Reports that lay in the port for a while may be of before or after it.
        let after = self.reports.iter().position(|(.., since)| *since > t);
        let before = self.reports.iter().rposition(|(at, ..)| *at <= t);
        let known = |k: usize| self.reports.get(k).map(|(at, s, _)| (*at, *s));
        // One that lay in the port was made at some moment since then: the torch may have gone on as long.
        let made = |k: usize| self.reports.get(k).map(|(.., since)| *since);
        let (t0, s0) = match (before.and_then(known), after.and_then(known)) {
            (Some(before), _) => before,
            (None, Some((_, s1))) => return Told::exactly(s1),
            (None, None) => return Told::exactly(self.station),
        };
        let (heard, t0) = (t0, before.and_then(made).unwrap_or(t0));
        let gone_s = t.since(t0).as_secs_f64();
        match after.and_then(known) {
            Some((t1, s1)) if t1.since(t0) <= GAP && t0 == heard => {
                let span = t1.since(t0).as_secs_f64();
                Told::exactly(s0 + (s1 - s0) * if span > 0.0 { gone_s / span } else { 0.0 })
            }
            Some((_, s1)) => {
                // The arc was on: it moved, at most by the feed of what lies between.
                let most = (s0 + self.fastest(s0, s1) * gone_s).min(s1);
                Told {
                    best: most,
                    least: s0,
                    most,
                }
            }
            None => {
                let unsure = self.reports.back().map_or(s0, |(_, s, _)| *s);
                let most = (s0 + self.feed * gone_s.min(BEYOND_S)).max(unsure);
                Told {
                    best: most,
                    least: s0,
                    most,
                }
            }
        }
    }

    /// The greatest feed between two stations, mm/s.
    fn fastest(&self, from: f64, to: f64) -> f64 {
        let pieces = self.behind.iter().chain(self.pieces.iter());
        pieces
            .skip_while(|piece| piece.end_mm() < from)
            .take_while(|piece| piece.start_mm <= to)
            .map(|piece| piece.feed_mm_s)
            .fold(self.feed, f64::max)
    }

    /// The path is surely cut up to here if the arc has burned until this moment, mm.
    pub(crate) fn sure_at(&self, t: Time, edge: &ArcEdge) -> f64 {
        let s = self.station_at(t).least;
        (s - self.feed * edge.unstamped_s() - EDGE_MM).max(self.from_mm)
    }

    /// Where the arc was lost whose signal fell between two moments (process handbook 4.7): one and the
    /// same unless nobody looked. `stamp`: the place at the edge as the controller has stamped it, in
    /// the path's coordinates. `None`: still on the lead-in.
    pub(crate) fn lost_between(
        &self,
        first: Time,
        last: Time,
        arc: &ArcEdge,
        stamp: Option<Point>,
    ) -> Option<Lost> {
        let (told, end) = (self.station_at(first), self.station_at(last));
        let told = Told {
            most: told.most.max(end.most),
            ..told
        };
        let (s, spread_s) = match stamp.and_then(|p| self.station_of(p, told)) {
            Some(s) => (Told::exactly(s), arc.spread_s()),
            None => (told, arc.unstamped_s()),
        };
        let lag = self.feed * arc.delay_s();
        let half = self.feed * spread_s + EDGE_MM;
        let least = self.from_mm;
        (s.most > least || self.entry_next == 0).then(|| Lost {
            at_mm: (s.best - lag).max(least),
            low_mm: (s.least - lag - half).max(least),
            high_mm: (s.most - lag + half).max(least),
        })
    }

    /// The station of a stamped place, near to where the reports have the torch.
    fn station_of(&self, p: Point, told: Told) -> Option<f64> {
        let near = told.best;
        let near_enough = |piece: &&Piece| piece.start_mm < told.most + STAMP_MM;
        let ahead = self.pieces.iter().take_while(near_enough);
        let pieces = self.behind.iter().chain(ahead);
        pieces
            .flat_map(|piece| piece.places(p))
            .filter(|(s, off)| {
                *off < OFF_MM && *s > told.least - STAMP_MM && *s < told.most + STAMP_MM
            })
            .min_by(|a, b| {
                (a.1, (a.0 - near).abs())
                    .partial_cmp(&(b.1, (b.0 - near).abs()))
                    .unwrap_or(core::cmp::Ordering::Equal)
            })
            .map(|(s, _)| s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use link::Doing;

    impl Track {
        fn report(&mut self, status: &Status, place: Point) {
            self.report_made(status, place, status.at);
        }

        fn report_braking(&mut self, status: &Status, place: Point) {
            self.report_braking_made(status, place, status.at);
        }

        fn lost(&self, edge: Time, arc: &ArcEdge, stamp: Option<Point>) -> Option<Lost> {
            self.lost_between(edge, edge, arc, stamp)
        }
    }

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
        let mut track = Track::new(0.0, 0.0, (0, 0.0));
        track.said(Ticket(5), circle, 0.0, 20.0);
        // Rounded to a hair before the start, which is a hair before the end.
        let s = status(0, 10.0, -0.0001, Some(4));
        track.report(&s, s.place);
        assert!(track.station < 0.1, "{}", track.station);
    }

    #[test]
    fn a_place_off_the_path_after_a_stop_does_not_say_that_the_torch_stood() {
        let mut track = along_a_line(100);
        let before = track.lost(Time::from_ms(2100), &ArcEdge::default(), None);
        let s = status(5000, 40.0, 30.0, None);
        track.report_braking(&s, s.place);
        let after = track.lost(Time::from_ms(2100), &ArcEdge::default(), None);
        assert_eq!(after, before);
        assert!(after.is_some_and(|l| l.at_mm > 41.0), "{after:?}");
    }

    #[test]
    fn a_torch_that_has_come_to_the_end_of_a_full_circle_unseen_stands_at_its_end() {
        let circle = Segment::Arc {
            from: Point::new(10.0, 0.0),
            to: Point::new(10.0, 0.0),
            centre: Point::new(0.0, 0.0),
            clockwise: false,
        };
        let mut track = Track::new(0.0, 0.0, (0, 0.0));
        track.said(Ticket(5), circle, 0.0, 20.0);
        for k in 0..=50_u32 {
            let at = circle.point_at(1.2 * f64::from(k));
            let s = status(u64::from(k) * 60, at.x, at.y, Some(4));
            track.report(&s, s.place);
        }
        let s = status(4000, 10.0, 0.0, None);
        track.report_braking(&s, s.place);
        assert!((track.station - circle.length()).abs() < 1e-6);
        let lost = track.lost(Time::from_ms(3100), &ArcEdge::default(), None);
        assert!(lost.is_some_and(|l| l.at_mm > 61.0), "{lost:?}");
    }

    #[test]
    fn a_torch_beyond_a_corner_is_found_there_though_the_piece_before_it_is_not_told_as_done() {
        let line = |from: (f64, f64), to: (f64, f64)| Segment::Line {
            from: Point::new(from.0, from.1),
            to: Point::new(to.0, to.1),
        };
        let mut track = Track::new(0.0, 0.0, (0, 0.0));
        track.said(Ticket(5), line((0.0, 0.0), (10.0, 0.0)), 0.0, 20.0);
        track.said(Ticket(6), line((10.0, 0.0), (10.0, 50.0)), 10.0, 20.0);
        for k in 0..=14_u32 {
            let mm = f64::from(k);
            let s = status(
                u64::from(k) * 50,
                mm.min(10.0),
                (mm - 10.0).max(0.0),
                Some(4),
            );
            track.report(&s, s.place);
        }
        let lost = track.lost(Time::from_ms(700), &ArcEdge::default(), None);
        assert!(
            lost.is_some_and(|l| l.low_mm < 14.0 && l.high_mm > 14.0),
            "{lost:?}"
        );
    }

    #[test]
    fn a_report_that_lay_unread_does_not_keep_the_next_from_being_believed() {
        let mut track = along_a_line_at(55.0, 0);
        // Asked for at 150 ms, and read 150 ms later by a panel that stood still meanwhile.
        let (lay, made) = (status(300, 2.0, 0.0, Some(4)), Time::from_ms(150));
        track.report_braking_made(&lay, lay.place, made);
        // The next was asked for after that and came at once: 9 mm further on.
        track.report_braking(&status(310, 11.0, 0.0, None), Point::new(11.0, 0.0));
        assert!((track.station - 11.0).abs() < 1e-9, "{}", track.station);
        let lost = track.lost(Time::from_ms(305), &ArcEdge::default(), None);
        assert!(lost.is_some_and(|l| l.high_mm > 11.0));
    }

    fn along_a_line(upto: u32) -> Track {
        along_a_line_at(20.0, upto)
    }

    fn along_a_line_at(feed_mm_s: f64, upto: u32) -> Track {
        let line = Segment::Line {
            from: Point::new(0.0, 0.0),
            to: Point::new(100.0, 0.0),
        };
        let mut track = Track::new(0.0, 0.0, (0, 0.0));
        track.said(Ticket(5), line, 0.0, feed_mm_s);
        for k in 0..=upto {
            let s = status(u64::from(k) * 20, 0.4 * f64::from(k), 0.0, Some(4));
            track.report(&s, s.place);
        }
        track
    }

    #[test]
    fn an_edge_between_two_reports_lies_between_their_places_less_the_contacts_delay() {
        let track = along_a_line(100);
        let arc = ArcEdge::default();
        let lost = track
            .lost(Time::from_ms(1010), &arc, None)
            .expect("on the path");
        // 20 mm/s: at the edge 20.2 mm; the contact lags by 12 ms, 36 ms are not known, and 0.3 mm.
        assert!(
            (lost.at_mm - (20.2 - 20.0 * 0.012)).abs() < 1e-6,
            "{lost:?}"
        );
        assert!((lost.at_mm - lost.low_mm - (20.0 * 0.036 + 0.3)).abs() < 1e-6);
        assert!((lost.high_mm - lost.at_mm - (20.0 * 0.036 + 0.3)).abs() < 1e-6);
    }

    #[test]
    fn a_stamped_place_is_known_better_than_the_reports_tell() {
        let track = along_a_line(100);
        let arc = ArcEdge::default();
        let stamp = Some(Point::new(20.33, 0.0));
        let lost = track
            .lost(Time::from_ms(1010), &arc, stamp)
            .expect("on the path");
        assert!(
            (lost.at_mm - (20.33 - 20.0 * 0.012)).abs() < 1e-6,
            "{lost:?}"
        );
        assert!((lost.high_mm - lost.low_mm - 2.0 * (20.0 * 0.010 + 0.3)).abs() < 1e-6);
        // One that lies elsewhere is not believed.
        let far = track.lost(Time::from_ms(1010), &arc, Some(Point::new(20.0, 9.0)));
        assert_eq!(far, track.lost(Time::from_ms(1010), &arc, None));
    }

    #[test]
    fn an_edge_after_the_last_report_may_lie_further_on() {
        let track = along_a_line(50);
        let arc = ArcEdge::default();
        let lost = track
            .lost(Time::from_ms(1100), &arc, None)
            .expect("on the path");
        assert!(
            (lost.low_mm - (20.0 - 20.0 * 0.048 - 0.3)).abs() < 1e-6,
            "{lost:?}"
        );
        assert!(
            (lost.high_mm - (20.0 + 2.0 + 20.0 * 0.024 + 0.3)).abs() < 1e-6,
            "{lost:?}"
        );
    }

    #[test]
    fn an_arc_that_outlasts_the_silence_may_have_burned_to_where_the_torch_is_found() {
        // At 20 mm after a second.
        let mut track = along_a_line(50);
        // Nothing is heard for a second, in which the torch came to stand 12 mm further on.
        track.report_braking(&status(2000, 32.0, 0.0, None), Point::new(32.0, 0.0));
        let told = |ms: u64| track.station_at(Time::from_ms(ms));
        assert!((told(1100).most - 22.0).abs() < 1e-9);
        assert!((told(1500).most - 30.0).abs() < 1e-9);
        assert!((told(1700).most - 32.0).abs() < 1e-9);
        assert!((told(1700).least - 20.0).abs() < 1e-9);
    }

    #[test]
    fn unseen_it_may_have_gone_as_fast_as_what_it_passed_allows() {
        let line = |from: f64, to: f64| Segment::Line {
            from: Point::new(from, 0.0),
            to: Point::new(to, 0.0),
        };
        let mut track = Track::new(0.0, 0.0, (0, 0.0));
        track.said(Ticket(5), line(0.0, 21.0), 0.0, 10.0);
        track.said(Ticket(6), line(21.0, 80.0), 21.0, 30.0);
        for k in 0..=100 {
            let s = status(k * 20, 0.2 * k as f64, 0.0, Some(4));
            track.report(&s, s.place);
        }
        track.report_braking(&status(3000, 41.0, 0.0, None), Point::new(41.0, 0.0));
        // A millimetre at 10 mm/s, and 0.6 s at 30 mm/s.
        assert!(track.station_at(Time::from_ms(2700)).most >= 39.0);
    }

    #[test]
    fn a_torch_that_ran_on_unheard_over_many_short_pieces_is_found_where_it_stands() {
        let mut track = Track::new(0.0, 0.0, (0, 0.0));
        for k in 0..40_u32 {
            let (a, b) = (f64::from(k), f64::from(k + 1));
            let piece = Segment::Line {
                from: Point::new(a, 0.0),
                to: Point::new(b, 0.0),
            };
            track.said(Ticket(5 + u64::from(k)), piece, a, 36.0);
        }
        for k in 0..=5_u32 {
            let s = status(u64::from(k) * 20, 0.72 * f64::from(k), 0.0, Some(4));
            track.report(&s, s.place);
        }
        // Heard last at 3.6 mm; found half a second later, 13.4 mm further on. The arc burned till then.
        track.report_braking(&status(700, 17.0, 0.0, None), Point::new(17.0, 0.0));
        assert!((track.station - 17.0).abs() < 1e-9, "{}", track.station);
        let arc = ArcEdge::default();
        let lost = track.lost(Time::from_ms(600), &arc, None);
        assert!(lost.is_some_and(|l| l.high_mm >= 17.0), "{lost:?}");
        // ... and a place stamped there is believed.
        let stamp = Some(Point::new(17.0, 0.0));
        let lost = track.lost(Time::from_ms(600), &arc, stamp);
        assert!(lost.is_some_and(|l| l.high_mm >= 17.0), "{lost:?}");
    }

    #[test]
    fn a_torch_that_brakes_past_a_corner_is_followed() {
        let a = Segment::Line {
            from: Point::new(0.0, 0.0),
            to: Point::new(10.0, 0.0),
        };
        let b = Segment::Line {
            from: Point::new(10.0, 0.0),
            to: Point::new(10.0, 10.0),
        };
        let mut track = Track::new(0.0, 0.0, (0, 0.0));
        track.said(Ticket(5), a, 0.0, 20.0);
        track.said(Ticket(6), b, 10.0, 20.0);
        for (ms, x) in [(0, 4.0), (200, 8.0), (290, 9.8)] {
            let s = status(ms, x, 0.0, Some(4));
            track.report(&s, s.place);
        }
        let s = status(310, 10.0, 0.4, None);
        track.report_braking(&s, s.place);
        assert!((track.station - 10.4).abs() < 1e-6, "{}", track.station);
    }

    #[test]
    fn a_lead_in_lies_before_the_path() {
        let lead = Segment::Line {
            from: Point::new(-4.0, 0.0),
            to: Point::new(0.0, 0.0),
        };
        let mut track = Track::new(30.0, 4.0, (0, 0.0));
        track.said(Ticket(5), lead, 26.0, 20.0);
        track.entry_next = 1;
        let s = status(0, -2.0, 0.0, Some(4));
        track.report(&s, s.place);
        assert!((track.station - 28.0).abs() < 1e-6);
        assert_eq!(
            track.lost(Time::from_ms(0), &ArcEdge::default(), None),
            None
        );
        assert!((track.sure_at(Time::from_ms(0), &ArcEdge::default()) - 30.0).abs() < 1e-9);
    }
}
