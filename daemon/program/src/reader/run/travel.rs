//! Moves: straight, round, by a touch-off, in machine coordinates.

use crate::vetting::rules::reading::arc_ambiguous;
use crate::vetting::rules::reading::arc_ill_defined;
use crate::vetting::rules::reading::arc_impossible;
use crate::vetting::rules::reading::arc_radius_mismatch;
use crate::vetting::rules::torch::torch_on_in_rapid;
use crate::vetting::rules::torch::zero_shift_in_cut;
use units::{Point, Segment};

use super::{BlockAt, Place, Run};
use crate::cuts::cut_list::Element;
use crate::reader::codes::Code;
use crate::reader::codes::Motion;
use crate::reader::scan::Words;
use crate::reader::{arcs, spot};
use crate::report::findings::Spot;

impl Run<'_> {
    pub(super) fn target(&self, words: &Words<'_>) -> Point {
        let unit = self.unit.mm();
        let axis = |letter, at: f64, shift: f64| match words.value(letter) {
            Some(v) if self.relative => at + v * unit,
            Some(v) => v * unit + shift,
            None => at,
        };
        Point::new(
            axis(b'X', self.at.x, self.shift.x),
            axis(b'Y', self.at.y, self.shift.y),
        )
    }

    pub(super) fn travel(&mut self, b: &BlockAt<'_>) {
        let w = b.words;
        if let Some(code) = b.asked.touch_off {
            let at = self.spot(b, code.offset);
            if w.has_any(b"XY") {
                self.unsupported(
                    b,
                    code.offset,
                    "This touch-off moves sideways; the panel touches off straight down."
                        .to_owned(),
                    "Touch off with Z alone.",
                );
            } else {
                self.replaced.count("touch-off", at);
            }
            return;
        }
        if w.has(b'Z') {
            self.replaced.count("Z word", self.spot(b, w.offset(b'Z')));
        }
        if let Some(code) = b.asked.machine_place {
            self.machine_place(b, code);
            return;
        }
        let arc_words = w.has_any(b"IJR")
            && matches!(self.motion, Some(Motion::Clockwise | Motion::Anticlockwise));
        if !w.has_any(b"XY") && !arc_words {
            if !w.has(b'Z')
                && matches!(
                    b.asked.motion,
                    Some(Motion::Clockwise | Motion::Anticlockwise)
                )
                && !self.refused
            {
                self.arc_without_words(b);
            }
            return;
        }
        let Some(motion) = self.motion else {
            if !self.refused {
                let first = if w.has(b'X') { b'X' } else { b'Y' };
                self.unreadable(
                    b,
                    w.offset(first),
                    "X and Y stand here with no G0, G1, G2 or G3 in force.".to_owned(),
                    "Write how to move there, such as G0 or G1.",
                );
            }
            return;
        };
        let to = self.target(w);
        self.at = match motion {
            Motion::Rapid | Motion::Line => {
                self.straight(b, motion, to);
                to
            }
            Motion::Clockwise => self.arc(b, to, true),
            Motion::Anticlockwise => self.arc(b, to, false),
        };
        self.moved = true;
        if let Some(on) = &mut self.compensation {
            on.moved = true;
        }
        if !self.refused && !self.relative && w.has(b'X') && w.has(b'Y') {
            self.place = Place::Known;
        }
    }

    pub(super) fn arc_without_words(&mut self, b: &BlockAt<'_>) {
        let code = b.words.g_codes().first().map_or(0, |c| c.offset);
        // `G2` alone on a line only says how the next lines move; no standard asks more of it here.
        self.ignored
            .count("G2/G3 without a move", self.spot(b, code));
    }

    pub(super) fn machine_place(&mut self, b: &BlockAt<'_>, code: Code) {
        let at = self.spot(b, code.offset);
        if !matches!(self.motion, Some(Motion::Rapid | Motion::Line)) && b.words.has_any(b"XY") {
            self.unreadable(
                b,
                code.offset,
                "G53 goes with G0 or G1 only.".to_owned(),
                "Write G53 G0, or take G53 out.",
            );
            return;
        }
        if !b.words.has_any(b"XY") {
            return;
        }
        if self.torch.is_on() {
            zero_shift_in_cut::tell(&mut self.findings, at, "G53");
            return;
        }
        self.replaced.count("G53 move", at);
        self.moved = true;
        self.place = Place::Machine { line: b.number };
    }

    pub(super) fn straight(&mut self, b: &BlockAt<'_>, motion: Motion, to: Point) {
        if !self.torch.is_on() {
            return;
        }
        if motion == Motion::Rapid {
            let at = self.spot(b, b.move_offset());
            torch_on_in_rapid::judge(&mut self.findings, at, self.at.distance(to));
        }
        self.cut(b, Segment::Line { from: self.at, to });
    }

    pub(super) fn cut(&mut self, b: &BlockAt<'_>, segment: Segment) {
        if segment.from() == segment.to() && matches!(segment, Segment::Line { .. }) {
            return;
        }
        let feed_mm_s = if self.inverse_time {
            let rate = b.words.value(b'F').filter(|f| *f > 0.0);
            if rate.is_none() && !self.refused {
                self.unreadable(
                    b,
                    0,
                    "With G93 in force every cutting move needs its own F.".to_owned(),
                    "Write F on this line, or use G94.",
                );
            }
            rate.map(|f| f * segment.length() / 60.0)
        } else {
            self.feed_mm_s
        };
        let column = spot(b.number, b.line, b.move_offset()).column;
        self.torch.add(Element {
            segment,
            feed_mm_s,
            line: b.number,
            column,
        });
    }

    /// Takes an arc; returns where it ends.
    pub(super) fn arc(&mut self, b: &BlockAt<'_>, to: Point, clockwise: bool) -> Point {
        let from = self.at;
        let w = b.words;
        let at = self.spot(b, b.move_offset());
        let centre = if self.refused {
            None
        } else if w.has(b'R') {
            self.radius_format(b, at, to, clockwise)
        } else {
            self.centre_format(b, at, to)
        };
        // A full turn ends where it starts, whatever crumbs its words add up to.
        let end = centre.map_or(to, |(_, end)| end);
        if !self.torch.is_on() {
            return end;
        }
        let segment = match centre {
            Some((centre, to)) => Segment::Arc {
                from,
                to,
                centre,
                clockwise,
            },
            // Refused already; a straight line keeps the path whole.
            None => Segment::Line { from, to },
        };
        self.cut(b, segment);
        end
    }

    pub(super) fn radius_format(
        &mut self,
        b: &BlockAt<'_>,
        at: Spot,
        to: Point,
        clockwise: bool,
    ) -> Option<(Point, Point)> {
        let w = b.words;
        let unit = self.unit.mm();
        let radius = w.value(b'R')? * unit;
        if w.has_any(b"IJ") {
            self.unreadable(
                b,
                w.offset(b'R'),
                "The arc has a radius and a centre.".to_owned(),
                "Keep R, or keep I and J.",
            );
            return None;
        }
        let centre = arcs::centre_of_radius(self.at, to, radius, clockwise);
        if self.place != Place::Known {
            return centre.map(|c| (c, to));
        }
        let chord = self.at.distance(to);
        let Some(centre) = centre else {
            self.refused = true;
            arc_impossible::radius(&mut self.findings, at, chord, radius.abs());
            return None;
        };
        let numbers = [w.get(b'X'), w.get(b'Y'), w.get(b'R')];
        let digit = arcs::last_digit(&numbers, self.finest_decimals) * unit;
        arc_ill_defined::judge(&mut self.findings, at, chord, radius.abs(), digit);
        Some((centre, to))
    }

    pub(super) fn centre_format(
        &mut self,
        b: &BlockAt<'_>,
        at: Spot,
        to: Point,
    ) -> Option<(Point, Point)> {
        let w = b.words;
        let unit = self.unit.mm();
        let (i, j) = (w.value(b'I'), w.value(b'J'));
        let centre = match (i, j) {
            (None, None) => None,
            (Some(i), Some(j)) if self.centre_absolute => {
                Some(Point::new(i * unit + self.shift.x, j * unit + self.shift.y))
            }
            _ if self.centre_absolute => None,
            _ => Some(
                self.at
                    .moved(i.unwrap_or(0.0) * unit, j.unwrap_or(0.0) * unit),
            ),
        };
        let Some(centre) = centre else {
            self.refused = true;
            arc_impossible::no_centre(&mut self.findings, at, self.centre_absolute);
            return None;
        };
        let radius = self.at.distance(centre);
        if radius < 1e-6 {
            self.refused = true;
            arc_impossible::no_radius(&mut self.findings, at);
            return None;
        }
        if self.place != Place::Known {
            return Some((arcs::on_bisector(self.at, to, centre), to));
        }
        // Sums of relative words leave crumbs; a full turn is still a full turn.
        let gap = self.at.distance(to);
        if gap < 1e-9 {
            return Some((centre, self.at));
        }
        arc_ambiguous::judge(&mut self.findings, at, gap, radius);
        let end_radius = to.distance(centre);
        let moved = arcs::on_bisector(self.at, to, centre);
        let offset = if self.centre_absolute {
            Point::new(moved.x - self.shift.x, moved.y - self.shift.y)
        } else {
            Point::new(moved.x - self.at.x, moved.y - self.at.y)
        };
        let (shown, name) = (Point::new(offset.x / unit, offset.y / unit), self.unit);
        let mended =
            arc_radius_mismatch::judge(&mut self.findings, at, radius, end_radius, shown, name);
        Some((if mended { moved } else { centre }, to))
    }
}
