//! Film and scale on the sheet: where the ohmic circuit closes late or never. A spot keeps what it
//! has, however often it is touched.

use std::collections::BTreeSet;

use units::Point;

use crate::chance::{Chance, Draws};

/// A spot is so large, mm.
const SPOT_MM: f64 = 4.0;
/// Share of spots that are clean, and of those that have a film.
const CLEAN: f64 = 0.85;
const FILM: f64 = 0.12;
/// A film's depth, mm.
const DEPTH_MM: (f64, f64) = (0.1, 0.5);

/// The floating head presses with this before it gives, N.
const FLOAT_N: f64 = 3.0;

/// What lies on a spot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Spot {
    /// The circuit closes so far below the surface, mm.
    Closes(f64),
    /// Scale or paint: it never closes.
    Never,
}

/// The whole sheet's.
#[derive(Clone, Debug)]
pub(crate) struct Films {
    seed: u64,
    counted: Option<(i64, i64)>,
    /// Spots that somebody has cleaned.
    clean: BTreeSet<(i64, i64)>,
}

impl Films {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            seed,
            counted: None,
            clean: BTreeSet::new(),
        }
    }

    fn cell(p: Point) -> (i64, i64) {
        (
            (p.x / SPOT_MM).floor() as i64,
            (p.y / SPOT_MM).floor() as i64,
        )
    }

    /// What lies at this place of the sheet.
    pub(crate) fn at(&self, p: Point) -> Spot {
        let (x, y) = Self::cell(p);
        if self.clean.contains(&(x, y)) {
            return Spot::Closes(0.0);
        }
        let of_cell = (x as u64).wrapping_mul(0x1_0001_0003) ^ (y as u64).rotate_left(32);
        let mut chance = Chance::new(self.seed ^ of_cell, Draws::Film);
        let what = chance.even();
        if what < CLEAN {
            Spot::Closes(0.0)
        } else if what < CLEAN + FILM {
            Spot::Closes(chance.within(DEPTH_MM.0, DEPTH_MM.1))
        } else {
            Spot::Never
        }
    }

    /// So far below the sheet's own surface the circuit closes through a film, mm: the head presses on it
    /// with all that its spring has, and the sheet gives way, so many mm for a newton.
    pub(crate) fn pressed(&self, deep_mm: f64, gives_mm_n: f64) -> f64 {
        if deep_mm > 0.0 {
            deep_mm + FLOAT_N * gives_mm_n
        } else {
            0.0
        }
    }

    /// Somebody has cleaned the sheet here and round about, as far as a torch touches beside.
    pub(crate) fn cleaned(&mut self, p: Point) {
        let (x, y) = Self::cell(p);
        for (dx, dy) in (-2..=2).flat_map(|dx| (-2..=2).map(move |dy| (dx, dy))) {
            self.clean.insert((x + dx, y + dy));
        }
    }

    /// The torch touches off through the surface here: the name of what it met, if that is told for
    /// the first time at this spot.
    pub(crate) fn met(&mut self, p: Point) -> Option<&'static str> {
        let cell = Self::cell(p);
        if self.counted == Some(cell) {
            return None;
        }
        self.counted = Some(cell);
        match self.at(p) {
            Spot::Closes(mm) if mm > 0.0 => Some("film"),
            Spot::Closes(_) => None,
            Spot::Never => Some("scale"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::fits;

    #[test]
    fn of_a_hundred_spots_85_are_clean_12_have_a_film_and_3_never_close() {
        let (mut clean, mut film, mut never) = (0, 0, 0);
        for seed in 0..40 {
            let films = Films::new(seed);
            for k in 0..500 {
                let p = Point::new(f64::from(k % 25) * SPOT_MM, f64::from(k / 25) * SPOT_MM);
                match films.at(p) {
                    Spot::Closes(mm) if mm > 0.0 => {
                        assert!((0.1..=0.5).contains(&mm), "{mm}");
                        film += 1;
                    }
                    Spot::Closes(_) => clean += 1,
                    Spot::Never => never += 1,
                }
            }
        }
        assert!(fits(clean, 20_000, 0.85), "{clean}");
        assert!(fits(film, 20_000, 0.12), "{film}");
        assert!(fits(never, 20_000, 0.03), "{never}");
    }

    #[test]
    fn through_a_film_the_sheet_is_pressed_down_and_a_clean_one_is_only_touched() {
        let films = Films::new(5);
        assert_eq!(films.pressed(0.0, 0.2), 0.0);
        // Handbook: 3 N, and 0.2 mm/N at the edge of a 3 mm sheet.
        assert!((films.pressed(0.3, 0.2) - 0.9).abs() < 1e-12);
    }

    #[test]
    fn a_spot_stays_as_it_is() {
        let films = Films::new(5);
        for k in 0..200 {
            let p = Point::new(f64::from(k) * 7.3, 91.0);
            assert_eq!(films.at(p), films.at(p));
        }
        let mut films = films;
        for k in 0..200 {
            let p = Point::new(f64::from(k) * 7.3, 91.0);
            films.cleaned(p);
            assert_eq!(films.at(p), Spot::Closes(0.0));
        }
    }
}
