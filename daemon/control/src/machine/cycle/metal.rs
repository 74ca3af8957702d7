//! Whether there is metal where the torch is to be fired, by the panel's own record of what is
//! surely cut: the simplest that cannot be wrong about a kerf. Pieces that have fallen are vetting's
//! matter, and that of the ways on from a stop.

use units::{Point, Segment};

use super::Cycle;
use crate::machine::Machine;
use crate::machine::run::{Loaded, Run};

/// A fresh start wants metal within this round it, mm (process handbook, invented).
const ROUND_MM: f64 = 1.0;
/// ... at this share of the places looked at (process handbook, invented).
const SHARE: f64 = 0.9;
/// A start from the open kerf wants its wall within this, mm (process handbook, invented).
const WALL_MM: f64 = 2.0;
/// The edge of a kerf is not known better than this, mm (ours): what lies so near to it may be metal.
const EDGE_MM: f64 = 0.1;

impl Machine {
    /// Why there is nothing to fire at, if there is nothing.
    pub(super) fn no_metal(&self, c: &Cycle) -> Option<String> {
        let (loaded, run) = (self.loaded.as_ref()?, self.run.as_ref()?);
        let job = &loaded.job;
        let kerf_mm = job.stock.as_ref().and_then(|s| s.kerf_mm);
        let at = self.to_sheet(c.target);
        let radius_mm = kerf_mm.unwrap_or(job.row.kerf_mm) / 2.0;
        if c.open_kerf {
            let gone = gone_near(loaded, run, at, WALL_MM + radius_mm);
            let wall = places(at, WALL_MM).any(|p| is_metal(p, &gone, radius_mm - EDGE_MM));
            return (!wall).then(|| {
                format!("By the record no metal is left within {WALL_MM:.1} mm of the start in the open kerf.")
            });
        }
        let gone = gone_near(loaded, run, at, ROUND_MM + radius_mm);
        let metal = places(at, ROUND_MM).filter(|p| is_metal(*p, &gone, radius_mm - EDGE_MM));
        let share = metal.count() as f64 / places(at, ROUND_MM).count() as f64;
        (share < SHARE).then(|| {
            format!(
                "Pierce in a void: by the record only {:.0} % within {ROUND_MM:.1} mm is metal; at least {:.0} %.",
                share * 100.0,
                SHARE * 100.0
            )
        })
    }
}

/// Stretches of kerf that are surely cut, near a place.
fn gone_near(loaded: &Loaded, run: &Run, at: Point, within_mm: f64) -> Vec<Segment> {
    let near = |s: &Segment| {
        let b = s.bounds();
        let x = (b.low.x - at.x).max(at.x - b.high.x);
        let y = (b.low.y - at.y).max(at.y - b.high.y);
        x <= within_mm && y <= within_mm
    };
    let mut gone: Vec<Segment> = run.entries.iter().flatten().copied().filter(near).collect();
    for (cut, progress) in loaded.job.cuts.iter().zip(&run.cuts) {
        for [from, to] in progress.done() {
            let mut start = 0.0;
            for e in &cut.path {
                let length = e.segment.length();
                let (a, b) = ((from - start).max(0.0), (to - start).min(length));
                start += length;
                if a < b && near(&e.segment) {
                    gone.push(e.segment.part(a, b));
                }
                if start >= to {
                    break;
                }
            }
        }
    }
    gone
}

/// Places round one, up to this far: itself, and two circles.
fn places(at: Point, within_mm: f64) -> impl Iterator<Item = Point> {
    let circles = [(0.0, 1_u32), (0.5, 8), (1.0, 12)];
    circles.into_iter().flat_map(move |(r, n)| {
        (0..n).map(move |k| {
            let a = core::f64::consts::TAU * f64::from(k) / f64::from(n);
            at.moved(r * within_mm * a.cos(), r * within_mm * a.sin())
        })
    })
}

/// No kerf has taken it away.
fn is_metal(p: Point, gone: &[Segment], radius_mm: f64) -> bool {
    gone.iter().all(|s| s.nearest(p).1 >= radius_mm)
}
