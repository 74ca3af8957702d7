//! Where a path closes.

use units::Point;

use crate::cuts::polylines::Polyline;
use crate::geometry::plane::between;

/// The path "meets itself again" within this, mm.
const MEETS_MM: f64 = 0.1;
/// A path that turns back onto its lead-in keeps to it within this for at least so long, mm: at an acute
/// corner (2.3 degrees and more) it does not.
const BACK_MM: f64 = 0.02;
const BACK_FOR_MM: f64 = 0.5;
/// A lead-out is no longer than this, mm; nor than a third of the path.
pub(super) const LEAD_OUT_MM: f64 = 25.0;
/// So many pieces are searched for where a lead-out departs: a path of crumbs must not take for ever.
const SEARCHED: usize = 400;

#[derive(Clone, Copy, Debug)]
pub(super) struct Closed {
    pub joint_mm: f64,
    pub closed_mm: f64,
    pub overlap_mm: f64,
    pub tab_mm: f64,
    pub lead_out_mm: f64,
}

/// A gap up to this is a tab if it is no more than a tenth of the path, mm; common practice, no
/// source.
pub(super) const TAB_MM: f64 = 20.0;

#[derive(Clone, Copy, Debug)]
pub(super) enum Closing {
    Closed(Closed),
    /// Closed but for a tab.
    Held(Closed),
    /// The end is so far from every earlier part of the path, mm.
    Open {
        gap_mm: f64,
    },
}

pub(super) fn close(line: Polyline<'_>, kerf_mm: f64) -> Closing {
    let length = line.length();
    if line.points.len() < 3 || length <= 2.0 * kerf_mm {
        return Closing::Open {
            gap_mm: f64::INFINITY,
        };
    }
    match from_end(line, length, kerf_mm) {
        Ok(closed) => Closing::Closed(closed),
        Err(gap_mm) => match departs(line, length).and_then(|s| {
            let closed = from_end(line, s, kerf_mm).ok()?;
            // A small knot at the end of a long path closes nothing.
            let whole = closed.closed_mm - closed.joint_mm >= 0.5 * length;
            whole.then_some(Closed {
                lead_out_mm: length - s,
                ..closed
            })
        }) {
            Some(closed) => Closing::Closed(closed),
            None => held(line, length, kerf_mm).map_or(Closing::Open { gap_mm }, Closing::Held),
        },
    }
}

/// Closed as seen from a place `end` mm along; else how far it is from every earlier part.
fn from_end(line: Polyline<'_>, end: f64, kerf_mm: f64) -> Result<Closed, f64> {
    let p = line.at(end);
    // A hole narrower than a kerf never leaves that neighbourhood.
    let far = line
        .points
        .iter()
        .map(|q| q.distance(p))
        .fold(0.0, f64::max);
    let reach = kerf_mm.min(far / 2.0).max(MEETS_MM);
    // What leads up to the end is near it: only what lies before the path has left it counts.
    let last = line.index_at(end);
    let away = (1..=last)
        .rev()
        .find(|&i| line.points[i - 1].distance(p) > reach)
        .ok_or(f64::INFINITY)?;
    let mut nearest = (0.0, f64::INFINITY);
    let mut met: Option<(f64, f64)> = None;
    // The piece that enters the neighbourhood is nowhere nearer than that.
    for i in 1..away {
        let (s, off) = line.chord(i).nearest(p);
        if off < nearest.1 {
            nearest = (s, off);
        }
        if off <= MEETS_MM {
            // The best of the first stretch that meets it.
            if met.is_none_or(|(_, best)| off < best) {
                met = Some((s, off));
            }
        } else if met.is_some() {
            break;
        }
    }
    let (s, off) = met.unwrap_or(nearest);
    if off > kerf_mm {
        return Err(off);
    }
    if off > MEETS_MM {
        return Ok(Closed {
            joint_mm: s,
            closed_mm: end,
            overlap_mm: -off,
            tab_mm: 0.0,
            lead_out_mm: 0.0,
        });
    }
    // Where two lines part at a right angle they seem to run together for this long.
    let over = Some(together(
        line,
        [s, end],
        s.min(end - s),
        -1.0,
        1.4 * MEETS_MM,
    ))
    .filter(|d| *d > 1.5 * MEETS_MM)
    .unwrap_or(0.0);
    if over == 0.0
        && let Some(closed) = back_on_the_lead(line, s, end)
    {
        return Ok(closed);
    }
    Ok(Closed {
        joint_mm: s - over,
        closed_mm: end - over,
        overlap_mm: over,
        tab_mm: 0.0,
        lead_out_mm: 0.0,
    })
}

/// Closed but for a tab: the nearest earlier part of the path lies a short gap away from its end.
fn held(line: Polyline<'_>, length: f64, kerf_mm: f64) -> Option<Closed> {
    let reach = TAB_MM.min(length / 10.0);
    if reach <= kerf_mm {
        return None;
    }
    let p = line.at(length);
    let last = line.points.len() - 1;
    let away = (1..=last)
        .rev()
        .find(|&i| line.points[i - 1].distance(p) > reach)?;
    let (joint_mm, tab_mm) =
        (1..away)
            .map(|i| line.chord(i).nearest(p))
            .fold((0.0, f64::INFINITY), |best, next| {
                if next.1 < best.1 { next } else { best }
            });
    (tab_mm <= reach && length - joint_mm >= 0.5 * length).then_some(Closed {
        joint_mm,
        closed_mm: length,
        overlap_mm: -tab_mm,
        tab_mm,
        lead_out_mm: 0.0,
    })
}

/// The path goes round, meets the end of its lead-in, and runs on back along the lead-in.
fn back_on_the_lead(line: Polyline<'_>, s: f64, end: f64) -> Option<Closed> {
    let back = together(line, [s, end], (end - s) / 3.0, 1.0, BACK_MM);
    (back > BACK_FOR_MM && back < (end - s) / 3.0).then_some(Closed {
        joint_mm: s + back,
        closed_mm: end - back,
        overlap_mm: back,
        tab_mm: 0.0,
        lead_out_mm: 0.0,
    })
}

/// How long, of `most`, the path before `end` runs along the path before `s` (`way` is -1), or along
/// the path behind it the other way round (1), never further from it than `within`, mm.
fn together(line: Polyline<'_>, [s, end]: [f64; 2], most: f64, way: f64, within: f64) -> f64 {
    let apart = |d: f64| line.at(s + way * d).distance(line.at(end - d)) > within;
    let step = 0.25_f64.max(most / 4000.0);
    let mut good = 0.0;
    while good < most {
        let next = (good + step).min(most);
        if apart(next) {
            let (mut lo, mut hi) = (good, next);
            for _ in 0..8 {
                let middle = f64::midpoint(lo, hi);
                if apart(middle) {
                    hi = middle
                } else {
                    lo = middle
                }
            }
            return lo;
        }
        good = next;
    }
    most
}

/// Where a lead-out departs from the path that was cut before: looked for from the end backwards.
fn departs(line: Polyline<'_>, length: f64) -> Option<f64> {
    let reach = LEAD_OUT_MM.min(length / 3.0);
    let last = line.points.len() - 1;
    let tail = (1..=last)
        .rev()
        .take(SEARCHED)
        .take_while(|&i| length - line.along[i] <= reach);
    for t in tail {
        let c = line.chord(t);
        let b = c.bounds();
        let near = |p: Point, q: Point| {
            p.x.min(q.x) <= b.high.x + MEETS_MM
                && p.x.max(q.x) >= b.low.x - MEETS_MM
                && p.y.min(q.y) <= b.high.y + MEETS_MM
                && p.y.max(q.y) >= b.low.y - MEETS_MM
        };
        let head = (1..=last)
            .take(50 * SEARCHED)
            .take_while(|&i| line.along[i] <= length / 2.0);
        for h in head {
            let (p, q) = (line.points[h - 1], line.points[h]);
            if !near(p, q) {
                continue;
            }
            let (off, at) = between(c.a, c.b, p, q);
            if off <= MEETS_MM {
                return Some(c.s + c.a.distance(at));
            }
        }
    }
    None
}
