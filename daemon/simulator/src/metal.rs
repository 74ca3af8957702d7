//! What is left of the sheet's metal, on a grid of 0.1 mm. The arc takes it away, and a piece that
//! comes free and is small enough falls between the slats. A cell is gone when its middle is.

mod grid;
mod pieces;

use units::Point;

use crate::rough::tips::Freed;
use grid::{CELL_MM, Grid};

/// Metal further away than this is as good as none, mm: beyond what arc and nozzle feel.
pub(crate) const FAR_MM: f64 = 4.0;
/// Free pieces are looked for from places this far apart along the kerf, mm.
const LOOK_EVERY_MM: f64 = 2.0;
/// At more than so many times the chart's feed the arc only scores the sheet (from memory, no
/// source: such a kerf would need over twice the power that the arc has).
const SCORES: f64 = 3.0;
/// The kerf is reckoned with no speed below this share of the chart's feed.
const SLOWEST: f64 = 1.0 / 3.0;
/// A kerf is never narrower than this, mm: a plan may name none.
const LEAST_KERF_MM: f64 = 0.2;

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
}

impl Led {
    /// Half the width of the kerf, mm (process handbook, invented): wider when the torch is high or
    /// slow. `None`: too fast to go through.
    pub(crate) fn radius_mm(&self) -> Option<f64> {
        let feed = self.feed_mm_s.max(1.0);
        if self.speed_mm_s > feed * SCORES {
            return None;
        }
        let slow = (feed / self.speed_mm_s.max(feed * SLOWEST)).powf(0.25);
        let high = (1.0 + 0.08 * (self.height_mm - self.cut_height_mm)).clamp(0.5, 2.0);
        Some(self.kerf_mm.max(LEAST_KERF_MM) * slow * high / 2.0)
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

    /// Whether there is metal at this very place.
    #[must_use]
    pub fn at(&self, p: Point) -> bool {
        self.grid.metal_at(p)
    }
}
