//! Free pieces: one may stand up on its slat, and the torch that runs into it is pushed out of its
//! seat, loses steps, and may take the sheet along.

use units::{Bounds, Point};

use crate::chance::{Chance, Draws};

/// A piece of 0.5 to 2 pitches tips with this chance.
const TIPS: f64 = 0.35;
/// The body of the torch has this radius, mm.
const BODY_MM: f64 = 25.0;
/// What has tipped stands on what lies so deep under the slats' tops, mm (process handbook's example).
const DEPTH_MM: f64 = 60.0;
/// Steps lost in a collision, mm.
const LOST_MM: (f64, f64) = (0.2, 3.0);
/// Chance that the sheet moves, and how far, mm.
const MOVES: f64 = 0.5;
const MOVED_MM: (f64, f64) = (0.5, 5.0);
/// The hazard of the arc on a free piece, a second.
const LOSES: (f64, f64) = (0.5, 5.0);
/// The rim of a free piece, where the arc still has the rest of the sheet beside it, mm.
const RIM_MM: f64 = 2.5;

/// A piece that has come free and does not fall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Freed {
    pub(crate) bounds: Bounds,
    /// Its greatest length, mm.
    pub(crate) length_mm: f64,
}

/// A piece that stands up.
#[derive(Clone, Copy, Debug)]
struct Standing {
    /// The half that has risen.
    half: Bounds,
    height_mm: f64,
    /// The torch was away from it since it tipped: it leaned against it before.
    clear: bool,
}

/// What a collision has done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Collision {
    /// Steps lost along the way that the torch went, mm.
    pub(crate) lost_mm: f64,
    /// The sheet moved so far the same way, mm.
    pub(crate) moved_mm: f64,
}

#[derive(Clone, Debug)]
pub(crate) struct Tips {
    chance: Chance,
    /// A piece no longer than this falls, mm: half a pitch; up to four times as long it may tip.
    pitch_mm: f64,
    standing: Vec<Standing>,
    lying: Vec<(Freed, f64)>,
}

impl Tips {
    /// `pitch_mm`: of the slats.
    pub(crate) fn new(seed: u64, pitch_mm: f64) -> Self {
        Self {
            chance: Chance::new(seed, Draws::Tips),
            pitch_mm,
            standing: Vec::new(),
            lying: Vec::new(),
        }
    }

    /// A free piece of this length may tip, mm.
    pub(crate) fn longest_mm(&self) -> f64 {
        2.0 * self.pitch_mm
    }

    /// A piece has come free and has not fallen. `true`: it stands up.
    pub(crate) fn freed(&mut self, piece: Freed) -> bool {
        if !self.chance.happens(TIPS) {
            let loses = self.chance.within(LOSES.0, LOSES.1);
            self.lying.push((piece, loses));
            return false;
        }
        let b = piece.bounds;
        let middle = Point::new((b.low.x + b.high.x) / 2.0, (b.low.y + b.high.y) / 2.0);
        let upper = self.chance.happens(0.5);
        let mut half = b;
        match (b.high.x - b.low.x >= b.high.y - b.low.y, upper) {
            (true, true) => half.low.x = middle.x,
            (true, false) => half.high.x = middle.x,
            (false, true) => half.low.y = middle.y,
            (false, false) => half.high.y = middle.y,
        }
        self.standing.push(Standing {
            half,
            height_mm: (piece.length_mm / 2.0).min(DEPTH_MM),
            clear: false,
        });
        true
    }

    /// The torch is here, so far above the surface; `moves`: in the plane, or down.
    pub(crate) fn torch(&mut self, at: Point, height_mm: f64, moves: bool) -> Option<Collision> {
        let mut hit = false;
        for s in &mut self.standing {
            let near = outside(&s.half, at) < BODY_MM && height_mm < s.height_mm;
            hit |= near && s.clear && moves;
            s.clear |= !near;
        }
        if !hit {
            return None;
        }
        for s in &mut self.standing {
            // What was run into leans against the torch until it is taken away.
            s.clear &= outside(&s.half, at) >= BODY_MM;
        }
        let lost_mm = self.chance.within(LOST_MM.0, LOST_MM.1);
        let moved_mm = if self.chance.happens(MOVES) {
            self.chance.within(MOVED_MM.0, MOVED_MM.1)
        } else {
            0.0
        };
        Some(Collision { lost_mm, moved_mm })
    }

    /// The arc's own hazard here, where it stands on a free piece with nothing else beside it.
    pub(crate) fn free(&self, at: Point) -> Option<f64> {
        let inside = |b: &Bounds| {
            at.x > b.low.x + RIM_MM
                && at.x < b.high.x - RIM_MM
                && at.y > b.low.y + RIM_MM
                && at.y < b.high.y - RIM_MM
        };
        let piece = self.lying.iter().find(|(f, _)| inside(&f.bounds));
        piece.map(|(_, loses)| *loses)
    }

    /// Somebody has taken away what stood up.
    pub(crate) fn cleared(&mut self) {
        self.standing.clear();
    }

    pub(crate) fn new_sheet(&mut self) {
        self.standing.clear();
        self.lying.clear();
    }
}

fn outside(b: &Bounds, p: Point) -> f64 {
    let dx = (b.low.x - p.x).max(p.x - b.high.x).max(0.0);
    let dy = (b.low.y - p.y).max(p.y - b.high.y).max(0.0);
    dx.hypot(dy)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::fits;

    fn piece() -> Freed {
        let bounds = Bounds {
            low: Point::new(100.0, 100.0),
            high: Point::new(190.0, 160.0),
        };
        Freed {
            bounds,
            length_mm: 90.0,
        }
    }

    #[test]
    fn about_a_third_tips_and_half_of_what_is_run_into_takes_the_sheet_along() {
        let (mut tipped, mut moved) = (0, 0);
        for seed in 0..6000 {
            let mut tips = Tips::new(seed, 75.0);
            if !tips.freed(piece()) {
                assert!(tips.torch(Point::new(145.0, 130.0), 8.0, true).is_none());
                continue;
            }
            tipped += 1;
            // Handbook: 90 x 60, d 60: 45 mm.
            assert_eq!(tips.standing[0].height_mm, 45.0);
            assert!(tips.torch(Point::new(145.0, 130.0), 8.0, true).is_none());
            assert!(tips.torch(Point::new(300.0, 130.0), 8.0, true).is_none());
            assert!(tips.torch(Point::new(145.0, 130.0), 46.0, true).is_none());
            let hit = tips
                .torch(Point::new(145.0, 130.0), 8.0, true)
                .expect("run into");
            assert!((0.2..=3.0).contains(&hit.lost_mm), "{hit:?}");
            if hit.moved_mm > 0.0 {
                assert!((0.5..=5.0).contains(&hit.moved_mm), "{hit:?}");
                moved += 1;
            }
        }
        assert!(fits(tipped, 6000, TIPS), "{tipped}");
        assert!(fits(moved, tipped, MOVES), "{moved} of {tipped}");
    }
}
