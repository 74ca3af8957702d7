//! Shapes that nobody's drawing program makes on purpose, and that come all the same: paths that
//! touch themselves, edges that parts share, ways out, long ways round again, curves in crumbs.

use super::programs::Drawing;
use crate::chance::Chance;

/// One of them about a place, at most so large, mm.
pub(super) fn shape(d: &mut Drawing, chance: &mut Chance, at: (f64, f64), size: f64) {
    let r = size / 2.0;
    match chance.below(9) {
        0 => eight(d, at, r / 2.0),
        1 => way_out(d, at, r - 6.0, chance.within(3.0, 9.0)),
        2 => shared_edge(d, at, r - 7.0),
        3 => blob(d, at, r - 8.0, 40 + chance.below(80)),
        4 => round_again(d, at, r - 6.0, chance.within(3.0, r)),
        5 => wave(d, at, r - 2.0, 30 + chance.below(60)),
        6 => crossing(d, at, r),
        7 => spiral(d, at, r),
        _ => beside(d, at, r - 4.0, chance.within(5.0, 8.0)),
    }
}

/// Two discs that touch, in one go.
fn eight(d: &mut Drawing, (x, y): (f64, f64), r: f64) {
    d.fire(x, y);
    d.arc("G02", (x, y), r, 0.0);
    d.arc("G03", (x, y), -r, 0.0);
    d.out();
}

/// A disc that is left by a line into the scrap.
fn way_out(d: &mut Drawing, (x, y): (f64, f64), r: f64, out: f64) {
    let f = d.feed;
    d.fire(x + r + 5.0, y - 5.0);
    d.line(x + r, y, f);
    d.arc("G02", (x + r, y), -r, 0.0);
    d.line(x + r + out, y + out / 2.0, f);
    d.out();
}

/// Two parts side by side; the edge between them is cut once.
fn shared_edge(d: &mut Drawing, (x, y): (f64, f64), r: f64) {
    let f = d.feed;
    d.fire(x - r, y + r + 6.0);
    for to in [(x - r, y - r), (x, y - r), (x, y + r), (x - r - 1.0, y + r)] {
        d.line(to.0, to.1, f);
    }
    d.out();
    d.fire(x + r, y + r + 6.0);
    d.line(x + r, y - r, f);
    d.line(x, y - r, f);
    d.out();
    d.fire(x + r + 6.0, y + r);
    d.line(x, y + r, f);
    d.out();
}

/// A closed curve in short straight pieces.
fn blob(d: &mut Drawing, (x, y): (f64, f64), r: f64, pieces: usize) {
    let f = d.feed;
    let place = |k: usize| {
        let a = -core::f64::consts::TAU * k as f64 / pieces as f64;
        let off = r * (0.85 + 0.12 * (3.0 * a).sin());
        (x + off * a.cos(), y + off * a.sin())
    };
    let start = place(0);
    d.fire(start.0 + 6.0, start.1 - 4.0);
    for k in 0..=pieces {
        let p = place(k);
        d.line(p.0, p.1, f);
    }
    d.out();
}

/// A square that is cut on over its beginning.
fn round_again(d: &mut Drawing, (x, y): (f64, f64), r: f64, over: f64) {
    let f = d.feed;
    d.fire(x, y - r - 6.0);
    d.line(x, y - r, f);
    for to in [(-r, -r), (-r, r), (r, r), (r, -r), (-over, -r)] {
        d.line(x + to.0, y + to.1, f);
    }
    d.out();
}

/// An open curve in short straight pieces.
fn wave(d: &mut Drawing, (x, y): (f64, f64), r: f64, pieces: usize) {
    let f = d.feed;
    d.fire(x - r, y);
    for k in 1..=pieces {
        let part = k as f64 / pieces as f64;
        let a = core::f64::consts::TAU * 1.5 * part;
        d.line(x - r + 2.0 * r * part, y + 0.4 * r * a.sin(), f);
    }
    d.out();
}

/// Two slits that cross.
fn crossing(d: &mut Drawing, (x, y): (f64, f64), r: f64) {
    let f = d.feed;
    d.fire(x - r, y);
    d.line(x + r, y, f);
    d.out();
    d.fire(x + 1.0, y - r);
    d.line(x, y + r, f);
    d.out();
}

/// Half circles, each round the one before.
fn spiral(d: &mut Drawing, (x, y): (f64, f64), r: f64) {
    d.fire(x, y);
    let (mut from, mut k) = (x, 1.0);
    while 7.0 * k < r {
        let side = if k as i64 % 2 == 1 { 1.0 } else { -1.0 };
        let to = x + side * 7.0 * k;
        d.arc("G03", (to, y), (to - from) / 2.0, 0.0);
        (from, k) = (to, k + 1.0);
    }
    d.out();
}

/// A slit hard by the edge of a part that is cut after it.
fn beside(d: &mut Drawing, (x, y): (f64, f64), r: f64, apart: f64) {
    let f = d.feed;
    d.fire(x - r, y - r * 0.6);
    d.line(x - r, y + r * 0.6, f);
    d.out();
    d.fire(x + r - 6.0, y - r - 4.0);
    d.line(x + r - 8.0, y - r + 2.0, f);
    for to in [
        (apart - r, 2.0 - r),
        (apart - r, r),
        (r, r),
        (r, 2.0 - r),
        (r - 9.0, 2.0 - r),
    ] {
        d.line(x + to.0, y + to.1, f);
    }
    d.out();
}
