//! Where the torch was when the arc came or went, as the controller caught it at the edge.

use std::collections::VecDeque;

use link::{Stamped, StampedInput};
use units::{Point, Time};

/// So many edges are kept: the last loss and what led to it.
const KEPT: usize = 16;

/// One edge of arc OK.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stamp {
    /// Sheet coordinates, mm.
    pub place: Point,
    /// True: the arc came.
    pub level: bool,
    pub heard_at: Time,
}

/// The last edges since the controller started, oldest first.
#[derive(Clone, Debug, Default)]
pub(crate) struct Stamps {
    last: VecDeque<Stamp>,
}

impl Stamps {
    /// Keeps an edge of arc OK; others tell nothing about the arc. `place`: its place on the sheet,
    /// mm.
    pub(crate) fn keep(&mut self, stamped: &Stamped, place: Point) {
        if stamped.input != StampedInput::ArcOk {
            return;
        }
        if self.last.len() == KEPT {
            self.last.pop_front();
        }
        self.last.push_back(Stamp {
            place,
            level: stamped.level,
            heard_at: stamped.heard_at,
        });
    }

    /// The last time that the arc came (`true`) or went (`false`), heard no earlier than `since`.
    pub(crate) fn last(&self, level: bool, since: Time) -> Option<&Stamp> {
        self.last
            .iter()
            .rev()
            .find(|s| s.level == level && s.heard_at >= since)
    }

    /// The first time since then that the arc went.
    pub(crate) fn first_loss(&self, since: Time) -> Option<&Stamp> {
        self.last.iter().find(|s| !s.level && s.heard_at >= since)
    }

    /// The controller has started anew: its place and its clock are others.
    pub(crate) fn clear(&mut self) {
        self.last.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamped(number: u64, input: StampedInput, level: bool) -> Stamped {
        Stamped {
            number,
            input,
            level,
            place: Point::new(100.0 + number as f64, 70.0),
            up_ms: 10 * number,
            heard_at: Time::from_ms(10 * number + 3),
        }
    }

    #[test]
    fn the_last_loss_is_found_and_not_before_it_is_asked_for() {
        let mut stamps = Stamps::default();
        let here = |number: u64| Point::new(number as f64, 10.0);
        for (number, level) in [(1, true), (2, false), (3, true), (4, false), (5, true)] {
            stamps.keep(&stamped(number, StampedInput::ArcOk, level), here(number));
        }
        stamps.keep(&stamped(6, StampedInput::Contact, false), here(6));
        let loss = stamps.last(false, Time::ZERO).expect("two were kept");
        assert_eq!(loss.place, here(4));
        assert_eq!(stamps.last(false, Time::from_ms(44)), None);
        assert_eq!(
            stamps.last(true, Time::ZERO).map(|s| s.place),
            Some(here(5))
        );
        stamps.clear();
        assert_eq!(stamps.last(true, Time::ZERO), None);
    }

    #[test]
    fn a_chattering_contact_fills_no_memory_and_the_newest_stay() {
        let mut stamps = Stamps::default();
        for number in 0..1000 {
            let level = number % 2 == 0;
            stamps.keep(
                &stamped(number, StampedInput::ArcOk, level),
                Point::new(number as f64, 0.0),
            );
        }
        assert_eq!(stamps.last.len(), KEPT);
        assert_eq!(
            stamps.last(false, Time::ZERO).map(|s| s.place.x),
            Some(999.0)
        );
    }
}
