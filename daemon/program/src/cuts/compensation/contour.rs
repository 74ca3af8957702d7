//! Where in a programmed path its contour lies.

use units::Segment;

/// An end that comes so near to an earlier corner closes a contour, mm.
const CLOSES_MM: f64 = 0.1;
/// Nearer than this the contour has a corner where it closes: sums of rounded numbers, mm.
const EXACT_MM: f64 = 0.02;
/// A lead-in has no more pieces than this (a long path is not compared with itself for ever).
const LEAD_IN_PIECES: usize = 400;
const COMPARED: usize = 20_000_000;
/// A shorter way round is no contour, mm.
const SHORTEST_MM: f64 = 1.0;

/// A contour within a path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Loop {
    /// Its first piece.
    pub first: usize,
    /// The piece behind its last.
    pub end: usize,
    /// It closes in a corner of the path: offset all round. Otherwise it closes in the middle of a
    /// piece, where there is no corner.
    pub exact: bool,
    /// The piece that comes back to its first corner.
    pub meets: usize,
}

/// The contour of a path, if it comes back to an earlier corner of itself.
pub(super) fn find(path: &[Segment]) -> Option<Loop> {
    let n = path.len();
    let most = (COMPARED / n.max(1)).clamp(12, LEAD_IN_PIECES);
    for first in 0..n.min(most) {
        let start = path[first].from();
        let mut gone = 0.0;
        for (k, s) in path.iter().enumerate().skip(first) {
            let (near, off) = if k == first || gone < SHORTEST_MM {
                // The piece that leaves the corner: only its end may come back to it.
                (s.length(), s.to().distance(start))
            } else {
                s.nearest(start)
            };
            let length = s.length();
            if off <= CLOSES_MM && gone + near >= SHORTEST_MM {
                let at_end = s.to().distance(start);
                let exact = at_end <= EXACT_MM;
                if exact || at_end > CLOSES_MM || k + 1 == n {
                    let end = if exact { k + 1 } else { n };
                    return Some(shrunk(
                        path,
                        Loop {
                            first,
                            end,
                            exact,
                            meets: k,
                        },
                    ));
                }
            }
            gone += length;
        }
    }
    None
}

/// Without a lead-out that runs back along the lead-in.
fn shrunk(path: &[Segment], mut found: Loop) -> Loop {
    while found.exact && found.end > found.first + 3 {
        let (first, last) = (&path[found.first], &path[found.end - 1]);
        let back = first.to().distance(last.from()) <= EXACT_MM
            && first.from().distance(last.to()) <= EXACT_MM
            && (first.length() - last.length()).abs() <= EXACT_MM
            && super::corner::turn(last, first).abs() > 3.0;
        if !back {
            break;
        }
        found.first += 1;
        found.end -= 1;
        found.meets = found.end - 1;
    }
    found
}
