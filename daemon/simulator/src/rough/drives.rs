//! Drives: play of the axes, and a drive that trips.

use units::Point;

use crate::chance::{Chance, Draws};

/// Play of an axis, mm, evenly (invented here).
const PLAY_MM: (f64, f64) = (0.01, 0.06);
/// Chance that a drive trips at a start (invented here: the handbook gives none).
const TRIP: f64 = 1.0 / 3000.0;
/// Steps lost then, mm, either way on each axis (invented here).
const TRIP_MM: f64 = 0.4;

/// The carriage follows its screw with play.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Play {
    half_mm: [f64; 2],
    at: Option<Point>,
}

impl Play {
    pub(crate) fn new(seed: u64) -> Self {
        let mut chance = Chance::new(seed, Draws::Drives);
        let mut half = || chance.within(PLAY_MM.0, PLAY_MM.1) / 2.0;
        Self {
            half_mm: [half(), half()],
            at: None,
        }
    }

    /// Where the carriage is when the drives have come to `screw`.
    pub(crate) fn follow(&mut self, screw: Point) -> Point {
        let at = self.at.unwrap_or(screw);
        let [a, b] = self.half_mm;
        let at = Point::new(
            at.x.clamp(screw.x - a, screw.x + a),
            at.y.clamp(screw.y - b, screw.y + b),
        );
        self.at = Some(at);
        at
    }

    /// Carriage and screw are pushed alike.
    pub(crate) fn pushed(&mut self, dx: f64, dy: f64) {
        self.at = self.at.map(|at| at.moved(dx, dy));
    }

    pub(crate) fn carriage(&self, screw: Point) -> Point {
        let mut still = *self;
        still.follow(screw)
    }
}

/// Drives that trip.
#[derive(Clone, Debug)]
pub(crate) struct Trips(Chance);

impl Trips {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Chance::new(seed, Draws::Trips))
    }

    /// At a start: the steps that are lost, if a drive trips.
    pub(crate) fn start(&mut self) -> Option<(f64, f64)> {
        let trips = self.0.happens(TRIP);
        trips.then(|| {
            (
                self.0.within(-TRIP_MM, TRIP_MM),
                self.0.within(-TRIP_MM, TRIP_MM),
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::fits;

    #[test]
    fn the_carriage_lags_by_half_the_play_either_way() {
        for seed in 0..50 {
            let mut play = Play::new(seed);
            let half = play.half_mm[0];
            assert!((PLAY_MM.0..=PLAY_MM.1).contains(&(2.0 * half)));
            play.follow(Point::new(10.0, 0.0));
            let at = play.follow(Point::new(20.0, 0.0));
            assert!((20.0 - at.x - half).abs() < 1e-12);
            let at = play.follow(Point::new(20.0 - half, 0.0));
            assert!((20.0 - at.x - half).abs() < 1e-12, "it stays where it was");
            let at = play.follow(Point::new(5.0, 0.0));
            assert!((at.x - 5.0 - half).abs() < 1e-12);
        }
    }

    #[test]
    fn a_drive_trips_once_in_three_thousand_starts() {
        let mut trips = 0;
        for seed in 0..200 {
            let mut of = Trips::new(seed);
            trips += (0..300).filter(|_| of.start().is_some()).count();
        }
        assert!(fits(trips, 60_000, TRIP), "{trips}");
    }
}
