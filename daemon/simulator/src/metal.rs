//! What is left of the sheet's metal, on a grid of 0.1 mm. The arc takes it away, and a piece that
//! comes free and is small enough falls between the slats. A cell is gone when its middle is.

mod grid;
mod pieces;

use units::Point;

use crate::energy::MOST;
use crate::rough::tips::Freed;
use grid::{CELL_MM, Grid};

/// Metal further away than this is as good as none, mm: beyond what arc and nozzle feel.
pub(crate) const FAR_MM: f64 = 4.0;
/// Free pieces are looked for from places this far apart along the kerf, mm.
const LOOK_EVERY_MM: f64 = 2.0;
/// Where the arc's power is not told: at more than so many times the chart's feed it only scores the
/// sheet (every row of the practice chart asks for the whole power by then).
const SCORES: f64 = 3.0;
/// The kerf is reckoned with no speed below this share of the chart's feed.
const SLOWEST: f64 = 1.0 / 3.0;
/// A kerf is never narrower than this, mm: a plan may name none.
const LEAST_KERF_MM: f64 = 0.2;

/// Worn out parts cut so much wider, and blown ones beside that, mm (process handbook, invented).
const WORN_MM: f64 = 0.25;
const BLOWN_MM: f64 = 0.4;
/// The front of the arc reaches so far, mm; and the places looked at there: angles from straight ahead, rad.
const FRONT_MM: f64 = 1.5;
const FRONT_RAD: [f64; 7] = [-1.4, -0.9, -0.45, 0.0, 0.45, 0.9, 1.4];

/// How an arc that burns through the sheet is led.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Led {
    /// Kerf at cut height and feed, mm.
    pub(crate) kerf_mm: f64,
    /// Tip above the surface, mm.
    pub(crate) height_mm: f64,
    pub(crate) cut_height_mm: f64,
    pub(crate) speed_mm_s: f64,
    pub(crate) feed_mm_s: f64,
    /// Share of its power that the kerf asks for at this speed; `None`: not told.
    pub(crate) asks: Option<f64>,
    /// Share of the torch parts' life that is used up, and whether they are blown.
    pub(crate) wear: f64,
    pub(crate) blown: bool,
}

impl Led {
    /// Half the width of the kerf, mm (process handbook, invented): wider when the torch is high or
    /// slow, or the parts worn. `None`: too fast to go through.
    pub(crate) fn radius_mm(&self) -> Option<f64> {
        let feed = self.feed_mm_s.max(1.0);
        let too_fast = match self.asks {
            Some(share) => share > MOST,
            None => self.speed_mm_s > feed * SCORES,
        };
        if too_fast {
            return None;
        }
        let slow = (feed / self.speed_mm_s.max(feed * SLOWEST)).powf(0.25);
        let high = (1.0 + 0.08 * (self.height_mm - self.cut_height_mm)).clamp(0.5, 2.0);
        let worn = WORN_MM * self.wear + if self.blown { BLOWN_MM } else { 0.0 };
        Some((self.kerf_mm.max(LEAST_KERF_MM) * slow * high + worn) / 2.0)
    }
}

/// The metal of one sheet.
#[derive(Clone, Debug)]
pub struct Metal {
    grid: Grid,
    /// A free piece no longer than this falls, mm.
    falls_mm: f64,
    /// A free piece that does not fall and is no longer than this is told of, mm.
    pub(crate) tells_mm: f64,
    /// Such pieces that nobody was told of yet.
    freed: Vec<Freed>,
    /// Sine and cosine of [`FRONT_RAD`].
    front_sin_cos: [(f64, f64); FRONT_RAD.len()],
    /// Where the arc has been since free pieces were last looked for.
    trace: Vec<Beside>,
    arc: Option<Arc>,
    felt: Option<(Point, f64)>,
}

/// The arc's way that is not taken away yet, and half the kerf's width.
#[derive(Clone, Copy, Debug)]
struct Arc {
    from: Point,
    to: Point,
    radius: f64,
}

/// A place of the arc's way, and the metal on either side of the kerf.
#[derive(Clone, Copy, Debug)]
struct Beside {
    at: Point,
    sides: [Point; 2],
}

impl Metal {
    /// A whole sheet. `corner`: its lower left one. A free piece no longer than `falls_mm` falls.
    #[must_use]
    pub fn new(corner: Point, size: Point, falls_mm: f64) -> Self {
        Self {
            grid: Grid::new(corner, size),
            falls_mm,
            tells_mm: 0.0,
            freed: Vec::new(),
            front_sin_cos: FRONT_RAD.map(f64::sin_cos),
            trace: Vec::new(),
            arc: None,
            felt: None,
        }
    }

    /// The arc burns at a place, and takes away what lies within `radius` mm of its way there.
    pub fn burn(&mut self, at: Point, radius: f64) {
        let arc = self.arc.get_or_insert(Arc {
            from: at,
            to: at,
            radius: 0.0,
        });
        arc.to = at;
        let moved = arc.from.distance(at);
        // Steps are far smaller than cells.
        if moved >= CELL_MM || radius > arc.radius + CELL_MM / 2.0 {
            arc.radius = radius;
            let arc = *arc;
            self.take(arc);
        }
    }

    /// Takes away what the arc has passed.
    fn take(&mut self, arc: Arc) {
        self.grid.take(arc.from, arc.to, arc.radius);
        self.felt = None;
        self.arc = Some(Arc {
            from: arc.to,
            ..arc
        });
        let apart = |b: &Beside| b.at.distance(arc.to) >= LOOK_EVERY_MM;
        let moved = arc.from.distance(arc.to);
        if moved > 0.0 && self.trace.last().is_none_or(apart) {
            let out = (arc.radius + 2.0 * CELL_MM) / moved;
            let (dx, dy) = ((arc.to.x - arc.from.x) * out, (arc.to.y - arc.from.y) * out);
            let sides = [arc.to.moved(-dy, dx), arc.to.moved(dy, -dx)];
            self.trace.push(Beside { at: arc.to, sides });
        }
    }

    /// The arc burns no more, or does not go through. `out`: it is out, and what has come free by it
    /// falls, if it is small.
    pub fn end(&mut self, out: bool) {
        if let Some(arc) = self.arc.take() {
            self.take(arc);
            self.arc = None;
        }
        if out && !self.trace.is_empty() {
            let trace = core::mem::take(&mut self.trace);
            let seeds = trace.iter().flat_map(|b| b.sides);
            let freed = pieces::drop_free(&mut self.grid, seeds, self.falls_mm, self.tells_mm);
            self.freed.extend(freed);
            self.felt = None;
        }
    }

    /// Pieces that have come free and lie where they were, since this was last asked.
    pub(crate) fn take_freed(&mut self) -> Vec<Freed> {
        core::mem::take(&mut self.freed)
    }

    /// From a place to the nearest metal in the plane, mm; 4 or more: none that counts.
    #[must_use]
    pub fn distance(&self, p: Point) -> f64 {
        self.grid.distance(p, FAR_MM)
    }

    /// The same for a torch that has hardly moved since it was last asked for.
    pub(crate) fn felt(&mut self, p: Point) -> f64 {
        match self.felt {
            Some((at, mm)) if at.distance(p) < CELL_MM => mm,
            _ => {
                let mm = self.distance(p);
                self.felt = Some((p, mm));
                mm
            }
        }
    }

    /// Which way the arc goes that comes to this place, as a unit vector; `None`: it has not moved.
    pub(crate) fn goes(&self, to: Point) -> Option<(f64, f64)> {
        let at = self
            .trace
            .last()
            .map(|b| b.at)
            .or(self.arc.map(|a| a.from))?;
        let mm = at.distance(to);
        (mm > CELL_MM).then(|| ((to.x - at.x) / mm, (to.y - at.y) / mm))
    }

    /// Share of metal in front of an arc that goes this way (a unit vector), beyond its own kerf.
    pub(crate) fn front(&self, at: Point, way: (f64, f64)) -> f64 {
        let metal = self.front_sin_cos.iter().filter(|(sin, cos)| {
            let x = way.0 * cos - way.1 * sin;
            let y = way.0 * sin + way.1 * cos;
            self.at(at.moved(FRONT_MM * x, FRONT_MM * y))
        });
        metal.count() as f64 / FRONT_RAD.len() as f64
    }

    /// Whether there is metal at this very place.
    #[must_use]
    pub fn at(&self, p: Point) -> bool {
        self.grid.metal_at(p)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LED: Led = Led {
        kerf_mm: 1.45,
        height_mm: 1.5,
        cut_height_mm: 1.5,
        speed_mm_s: 18.3,
        feed_mm_s: 18.3,
        asks: Some(0.45),
        wear: 0.0,
        blown: false,
    };

    /// Width of the kerf, mm.
    fn width(led: Led) -> f64 {
        2.0 * led.radius_mm().expect("goes through")
    }

    #[test]
    fn a_kerf_is_wider_from_high_up_slow_and_with_worn_parts() {
        assert!((width(LED) - 1.45).abs() < 1e-9);
        let high = Led {
            height_mm: 2.5,
            ..LED
        };
        assert!((width(high) - 1.45 * 1.08).abs() < 1e-9);
        let slow = Led {
            speed_mm_s: 9.15,
            ..LED
        };
        assert!((width(slow) - 1.45 * 2.0_f64.powf(0.25)).abs() < 1e-9);
        let worn = Led { wear: 0.8, ..LED };
        assert!((width(worn) - 1.65).abs() < 1e-9);
        let blown = Led { blown: true, ..LED };
        assert!((width(blown) - 1.85).abs() < 1e-9);
    }

    #[test]
    fn an_arc_that_is_asked_for_more_than_three_quarters_of_its_power_leaves_the_metal() {
        for (asks, through) in [(0.74, true), (0.76, false)] {
            let asks = Some(asks);
            assert_eq!(Led { asks, ..LED }.radius_mm().is_some(), through);
        }
        let untold = |speed_mm_s: f64| Led {
            asks: None,
            speed_mm_s,
            ..LED
        };
        assert!(untold(50.0).radius_mm().is_some() && untold(60.0).radius_mm().is_none());
    }

    #[test]
    fn the_front_of_an_arc_is_metal_until_it_comes_to_a_kerf_or_an_edge() {
        let mut metal = Metal::new(Point::new(0.0, 0.0), Point::new(100.0, 100.0), 0.0);
        let right = (1.0, 0.0);
        let mut to = |x: f64| {
            metal.burn(Point::new(x, 50.0), 0.7);
            metal.front(Point::new(x, 50.0), right)
        };
        assert_eq!(to(20.0), 1.0);
        assert_eq!(to(21.0), 1.0);
        assert_eq!(to(60.0), 1.0);
        // Along a kerf of 1.4 mm three of the seven places lie in it.
        assert_eq!(metal.front(Point::new(40.0, 50.0), right), 4.0 / 7.0);
        assert_eq!(metal.front(Point::new(99.5, 80.0), right), 2.0 / 7.0);
        assert_eq!(metal.front(Point::new(120.0, 80.0), right), 0.0);
    }
}
