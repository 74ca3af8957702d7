//! The rules of return path, voids and traverses, from the engine's sheets.

use geo::{MultiPolygon, Polygon};
use program::Severity;

use crate::check::{Case, Known, Tally, reach};
use crate::engine::{area, holds, inside, length, metal_part, over};
use crate::sheets::{P, from_line};

/// The torch traverses so high over the sheet.
pub const TRAVERSE_MM: f64 = 25.0;
/// A piece rises by half its length when it tips; so much room is wanted above it.
const CLEAR_MM: f64 = 5.0;
/// Metal so far beyond the kerf carries the arc.
const CARRIES_MM: f64 = 0.75;
/// Nearer than this to a limit either answer is right.
const UNSURE_MM: f64 = 0.5;

pub fn compared(case: &Case, tally: &mut Tally) {
    for cut in 1..=case.cuts() {
        return_path(case, cut, tally);
        pierce(case, cut, tally);
        path(case, cut, tally);
        traverse(case, cut, tally);
    }
}

/// How bad a rule is told of a cut.
fn told(case: &Case, rule: &str, cut: usize) -> Option<Severity> {
    case.report
        .findings
        .iter()
        .filter(|f| f.rule == rule && f.cuts.contains(&cut))
        .map(|f| f.severity)
        .max()
}

/// Whether at a place no metal near the torch hangs together with the clamp; `None`: either is right.
fn lost(case: &Case, narrow: &MultiPolygon, wide: &MultiPolygon, p: P) -> Option<bool> {
    let limit = case.sheet.kerf / 2.0 + CARRIES_MM;
    let each = [narrow, wide].map(|metal| {
        let (of_clamp, of_any) = reach(case, metal, p);
        if of_clamp < limit - UNSURE_MM {
            Some(false)
        } else if of_clamp > limit + UNSURE_MM && of_any < limit - UNSURE_MM {
            Some(true)
        } else {
            None
        }
    });
    (each[0] == each[1]).then_some(each[0]).flatten()
}

/// The first `mm` of a path, and where it ends.
fn first(path: &[P], mm: f64) -> Vec<P> {
    let mut all = vec![path[0]];
    let mut left = mm;
    for w in path.windows(2) {
        let long = (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]);
        if long >= left {
            let part = if long > 0.0 { left / long } else { 0.0 };
            all.push([
                w[0][0] + (w[1][0] - w[0][0]) * part,
                w[0][1] + (w[1][1] - w[0][1]) * part,
            ]);
            break;
        }
        left -= long;
        all.push(w[1]);
    }
    all
}

fn long(path: &[P]) -> f64 {
    path.windows(2)
        .map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]))
        .sum()
}

fn return_path(case: &Case, cut: usize, tally: &mut Tally) {
    let whole = &case.sheet.paths[cut - 1];
    let refused = told(case, "return-path-lost", cut).is_some();
    let before = cut - 1;
    tally.compared += 1;
    let at_pierce = lost(
        case,
        &case.narrow.after[before],
        &case.wide.after[before],
        whole[0],
    );
    let along = |mm: f64| {
        let path = first(whole, mm);
        let end = *path.last().expect("a path has a place");
        let narrow = case.narrow.without(&case.narrow.after[before], &path);
        let wide = case.wide.without(&case.wide.after[before], &path);
        lost(case, &narrow, &wide, end)
    };
    let length = long(whole);
    if refused {
        tally.lost += 1;
        // Somewhere it must be so, or nearly.
        let n = (length / 3.0).ceil().max(1.0) as u32;
        let somewhere = at_pierce != Some(false)
            || (0..=n).any(|k| along(length * f64::from(k) / f64::from(n)) != Some(false));
        if !somewhere {
            case.wrong(
                tally,
                format!("cut {cut} has its return path everywhere, told that it has not"),
            );
        }
        return;
    }
    let steady = [0.3, 0.6, 0.9].iter().any(|part| {
        // Two places in a row: one alone is a crumb.
        along(length * part) == Some(true)
            && along(length * part + 2.5 * case.sheet.kerf) == Some(true)
    });
    if at_pierce == Some(true) || steady {
        case.wrong(
            tally,
            format!("cut {cut} has no return path (at its pierce: {at_pierce:?}), nothing is told"),
        );
    }
}

/// The pieces that are there after so many cuts, those that have fallen left out; `None` where one near
/// `p` may have or not.
fn there(case: &Case, cuts: usize, p: P, near: f64) -> Option<Vec<&Polygon>> {
    let mut all = Vec::new();
    for piece in &case.cut.after[cuts] {
        if crate::engine::apart(p, piece) > near {
            continue;
        }
        let Some(q) = inside(piece) else { continue };
        let crumb = area(piece) < 4.0;
        match (case.known(cuts, q), case.fallen(cuts, q)) {
            _ if crumb => return None,
            (Known::Metal, _) | (_, Some(false)) => all.push(piece),
            (Known::Void, Some(true)) => {}
            _ => return None,
        }
    }
    Some(all)
}

fn pierce(case: &Case, cut: usize, tally: &mut Tally) {
    let p = case.sheet.paths[cut - 1][0];
    let refused = told(case, "pierce-in-void", cut).is_some();
    tally.pierces += usize::from(refused);
    tally.compared += 1;
    let Some(metal) = there(case, cut - 1, p, 1.5) else {
        tally.left_out += 1;
        return;
    };
    let part = metal_part(p, 1.0, &metal);
    if (part < 0.82 && !refused) || (part > 0.97 && refused) {
        case.wrong(
            tally,
            format!(
                "cut {cut} is pierced at {p:.2?} where {:.0} % is metal, refused: {refused}",
                part * 100.0
            ),
        );
    }
}

/// Whether there is metal in the half disc before the torch: surely, surely not, or either.
fn ahead(case: &Case, cut: usize, p: P, u: P, own: &[P]) -> Known {
    let reach = (case.sheet.kerf / 2.0 + CARRIES_MM).max(1.5);
    let mut unsure = false;
    for k in 1..=8 {
        let r = (reach + 0.4) * f64::from(k) / 8.0;
        for deg in [0.0_f64, 25.0, -25.0, 50.0, -50.0, 75.0, -75.0, 95.0, -95.0] {
            let (sin, cos) = deg.to_radians().sin_cos();
            let q = [
                p[0] + r * (u[0] * cos - u[1] * sin),
                p[1] + r * (u[1] * cos + u[0] * sin),
            ];
            let from_own = own
                .windows(2)
                .map(|w| from_line(q, w[0], w[1]))
                .fold(f64::INFINITY, f64::min);
            let half = case.sheet.kerf / 2.0;
            if from_own < half - 0.3 {
                continue;
            }
            match case.known(cut - 1, q) {
                Known::Void => {}
                Known::Metal if from_own > half + 0.7 && r < 0.75 * reach && deg.abs() < 60.0 => {
                    return Known::Metal;
                }
                _ => unsure = true,
            }
        }
    }
    if unsure { Known::Unsure } else { Known::Void }
}

fn path(case: &Case, cut: usize, tally: &mut Tally) {
    let whole = &case.sheet.paths[cut - 1];
    let refused = told(case, "path-in-void", cut);
    tally.voids += usize::from(refused.is_some());
    tally.compared += 1;
    let (length, step) = (long(whole), 0.5);
    let n = (length / step).floor() as u32;
    let (mut surely, mut perhaps) = (0.0_f64, 0.0_f64);
    let (mut void, mut no_metal) = (0.0, 0.0);
    for k in 0..n {
        let mm = step * f64::from(k);
        let own = first(whole, mm);
        let here = *own.last().expect("a path has a place");
        let next = *first(whole, mm + 0.05).last().expect("a path has a place");
        let d = (next[0] - here[0]).hypot(next[1] - here[1]);
        if d < 1e-9 {
            continue;
        }
        let u = [(next[0] - here[0]) / d, (next[1] - here[1]) / d];
        // Own kerf counts from a little behind on.
        let behind = first(whole, (mm - 1.0).max(0.0));
        let known = ahead(case, cut, here, u, &behind);
        void = if known == Known::Void {
            void + step
        } else {
            0.0
        };
        no_metal = if known == Known::Metal {
            0.0
        } else {
            no_metal + step
        };
        surely = surely.max(void);
        perhaps = perhaps.max(no_metal);
    }
    let kerf = case.sheet.kerf;
    let wrong = match refused {
        None => surely > 0.5 * kerf + 1.5,
        Some(Severity::Refuse) => perhaps < 3.0 * kerf - 1.5,
        Some(_) => surely > 3.0 * kerf + 1.5 || perhaps < 0.5 * kerf - 1.0,
    };
    if wrong {
        case.wrong(tally, format!("cut {cut} runs {surely:.1} to {perhaps:.1} mm without metal ahead, told {refused:?}"));
    }
}

fn traverse(case: &Case, cut: usize, tally: &mut Tally) {
    if cut < 2 {
        return;
    }
    let from = *case.sheet.paths[cut - 2]
        .last()
        .expect("a path has a place");
    let to = case.sheet.paths[cut - 1][0];
    let warned = told(case, "rapid-over-loose", cut).is_some();
    tally.over += usize::from(warned);
    tally.compared += 1;
    let before = cut - 1;
    let (mut surely, mut perhaps) = (false, false);
    let least = 2.0 * (TRAVERSE_MM - CLEAR_MM);
    for piece in &case.narrow.after[before] {
        let mm = over(piece, from, to);
        if mm < 1.0 || area(piece) < 4.0 {
            continue;
        }
        let Some(p) = inside(piece) else { continue };
        if holds(piece, case.main) {
            continue;
        }
        let free = case.together(before, p, case.main) == Some(false);
        // As long as it was when it came free, or shorter since.
        let lengths: Vec<f64> = (0..=before)
            .filter(|k| case.together(*k, p, case.main) != Some(true))
            .filter_map(|k| case.narrow.piece(k, p))
            .map(length)
            .collect();
        let all =
            |test: &dyn Fn(f64) -> bool| !lengths.is_empty() && lengths.iter().all(|l| test(*l));
        perhaps |= !all(&|l| l < least - 2.0) && mm > 1.2;
        surely |= free && all(&|l| l > least + 2.0) && mm > 3.0;
    }
    if (surely && !warned) || (warned && !perhaps) {
        case.wrong(tally, format!("the traverse from {from:.1?} to {to:.1?} before cut {cut} passes over a loose piece: {surely}/{perhaps}, told {warned}"));
    }
}
