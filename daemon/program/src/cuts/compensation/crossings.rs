//! Whether an offset path crosses itself where the programmed one does not: there, what lies between
//! is narrower than the kerf.

use rstar::{AABB, RTree, RTreeObject};
use units::{Point, Segment};

use crate::geometry::plane::crossing;

/// Chords are no further than this from their arc, mm.
const SAGITTA_MM: f64 = 0.002;

struct Chord {
    piece: usize,
    a: Point,
    b: Point,
}

impl RTreeObject for Chord {
    type Envelope = AABB<[f64; 2]>;

    fn envelope(&self) -> Self::Envelope {
        AABB::from_corners([self.a.x, self.a.y], [self.b.x, self.b.y])
    }
}

fn chords(piece: usize, s: &Segment) -> impl Iterator<Item = Chord> + use<> {
    let mut a = s.from();
    s.flatten(SAGITTA_MM).into_iter().map(move |b| {
        let chord = Chord { piece, a, b };
        a = b;
        chord
    })
}

/// A piece of an offset path and the piece of the programmed path that it comes from.
pub(super) type Sourced = (Segment, usize);

/// The first crossing of an offset path with itself that the programmed path does not have: where,
/// and the piece of the programmed path. `closed`: its last piece leads to its first.
pub(super) fn find(
    offset: &[Sourced],
    programmed: &[Segment],
    closed: bool,
) -> Option<(Point, usize)> {
    let all = offset.iter().enumerate();
    let tree = RTree::bulk_load(all.flat_map(|(i, (s, _))| chords(i, s)).collect());
    for (i, (s, source)) in offset.iter().enumerate() {
        for c in chords(i, s) {
            for other in tree.locate_in_envelope_intersecting(&c.envelope()) {
                let j = other.piece;
                let neighbours = j <= i + 1 || (closed && i == 0 && j + 1 == offset.len());
                if neighbours {
                    continue;
                }
                let Some(part) =
                    crossing(c.a, c.b, other.a, other.b).filter(|_| !parallel(&c, other))
                else {
                    continue;
                };
                let there = offset.get(j).map_or(*source, |(_, there)| *there);
                if !crosses(programmed, *source, there, closed) {
                    return Some((c.a.toward(c.b, part), *source));
                }
            }
        }
    }
    None
}

/// Side by side: where such chords lie on each other, rounding alone makes them cross.
fn parallel(c: &Chord, d: &Chord) -> bool {
    let (ax, ay) = (c.b.x - c.a.x, c.b.y - c.a.y);
    let (bx, by) = (d.b.x - d.a.x, d.b.y - d.a.y);
    (ax * by - ay * bx).abs() <= 1e-6 * ax.hypot(ay) * bx.hypot(by)
}

/// Whether the programmed path crosses itself between the neighbourhoods of two of its pieces.
fn crosses(programmed: &[Segment], i: usize, j: usize, closed: bool) -> bool {
    let n = programmed.len();
    let near = |k: usize| k.saturating_sub(1)..(k + 2).min(n);
    near(i).any(|a| {
        near(j).any(|b| {
            let neighbours = a.abs_diff(b) <= 1 || (closed && a.abs_diff(b) == n - 1);
            !neighbours
                && chords(a, &programmed[a]).any(|p| {
                    chords(b, &programmed[b]).any(|q| crossing(p.a, p.b, q.a, q.b).is_some())
                })
        })
    })
}
