//! A pierce or path over an area marked as already cut away.

use std::collections::BTreeSet;

use units::{Bounds, Point};

use super::not_judged;
use crate::edges::Edges;
use crate::findings::{Findings, Spot};
use crate::report::Severity;
use crate::shape::{apart, bounds, chords, mm};
use crate::tree::{Tree, grown};
use crate::vet::OnSheet;

pub(crate) const NAME: &str = "over-used";

/// Crossings are reckoned with rounding: areas this near are asked, mm.
const CRUMB_MM: f64 = 1e-6;
/// So many areas are gathered for one cut.
const MOST_AREAS: usize = 20_000;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(findings, NAME, "the sheet is not known", "Give a setup (--setup).");
        return;
    };
    let areas: Vec<Area<'_>> = setup.used.iter().filter_map(|o| Area::new(o)).collect();
    let tree = Tree::new(areas.iter().map(|a| a.bounds));
    // Asked cut by cut, told area by area.
    let mut found: Vec<(u32, usize, Crossed)> = Vec::new();
    for (cut, number) in sheet.cuts() {
        let mut told = 0;
        for area in near(sheet, cut, number, &tree) {
            if let Some(crossed) = one(sheet, cut, number, &areas[area as usize]) {
                found.push((area, number, crossed));
                told += 1;
                if told >= AREAS_A_CUT {
                    break;
                }
            }
        }
    }
    found.sort_by_key(|(area, number, _)| (*area, *number));
    for (_, _, crossed) in found {
        findings.tell(NAME, crossed.severity, crossed.spot, || {
            (
                format!(
                    "The cut {} an area marked as already cut away, for {} mm of its path: there is no metal for the arc.",
                    crossed.what,
                    mm(crossed.length_mm)
                ),
                "Move the program's zero, or mend the used areas in the setup.".to_owned(),
            )
        });
    }
}

/// A cut is told of no more used areas than this; those in which it begins or ends come first.
const AREAS_A_CUT: usize = 64;

/// The areas that a cut may meet: those round its ends first.
fn near(sheet: &OnSheet<'_>, cut: &crate::Cut, number: usize, tree: &Tree) -> Vec<u32> {
    let mut any = false;
    tree.within(&sheet.bounds(number), u32::MAX, |_| {
        any = true;
        any
    });
    let (mut ends, mut others) = (BTreeSet::new(), BTreeSet::new());
    if any {
        for p in [cut.pierce, cut.end()] {
            let window = Bounds::of(sheet.placer.place(p));
            tree.within(&window, u32::MAX, |area| {
                ends.insert(area);
                ends.len() > MOST_AREAS
            });
        }
        for (s, _) in sheet.path(cut) {
            tree.within(&grown(&bounds(&s), CRUMB_MM), u32::MAX, |area| {
                others.insert(area);
                others.len() > MOST_AREAS
            });
        }
    }
    let more: Vec<u32> = others.difference(&ends).copied().collect();
    ends.into_iter().chain(more).collect()
}

/// What is known of a cut that meets a used area.
struct Crossed {
    severity: Severity,
    what: &'static str,
    spot: Spot,
    length_mm: f64,
}

/// A used area.
struct Area<'a> {
    outline: &'a [Point],
    edges: Edges,
    bounds: Bounds,
}

impl<'a> Area<'a> {
    fn new(outline: &'a [Point]) -> Option<Self> {
        let mut bounds = Bounds::of(*outline.first()?);
        outline.iter().for_each(|p| bounds.add(*p));
        Some(Self {
            outline,
            edges: Edges::new(outline),
            bounds,
        })
    }

    fn contains(&self, p: Point) -> bool {
        self.edges.contains(self.outline, p)
    }
}

fn one(
    sheet: &OnSheet<'_>,
    cut: &crate::Cut,
    number: usize,
    area: &Area<'_>,
) -> Option<Crossed> {
    let pierce = sheet.placer.place(cut.pierce);
    let end = sheet.placer.place(cut.end());
    let pierced = area.contains(pierce);
    let mut over = Over::default();
    for (s, e) in sheet.path(cut) {
        if apart(&bounds(&s), &area.bounds, CRUMB_MM) {
            continue;
        }
        let spot = Spot::element(number, e);
        for (a, b) in chords(&s) {
            over.piece(a, b, spot, area);
        }
    }
    let (severity, what, spot) = match over.first {
        _ if pierced => {
            let spot = Spot::torch_on(number, cut).at(pierce);
            (Severity::Refuse, "is pierced in", spot)
        }
        Some(spot) if area.contains(end) => (Severity::Refuse, "runs into and ends in", spot),
        Some(spot) => (Severity::Warn, "crosses", spot),
        None => return None,
    };
    Some(Crossed {
        severity,
        what,
        spot,
        length_mm: over.length,
    })
}

#[derive(Default)]
struct Over {
    first: Option<Spot>,
    length: f64,
}

impl Over {
    /// Adds what of a straight piece lies inside the outline.
    fn piece(&mut self, a: Point, b: Point, spot: Spot, area: &Area<'_>) {
        let mut reach = Bounds::of(a);
        reach.add(b);
        if apart(&reach, &area.bounds, CRUMB_MM) {
            return;
        }
        let mut cuts = vec![0.0, 1.0];
        area.edges.crossings(area.outline, a, b, &mut cuts);
        cuts.sort_by(f64::total_cmp);
        for pair in cuts.windows(2) {
            let middle = a.toward(b, f64::midpoint(pair[0], pair[1]));
            let length = a.distance(b) * (pair[1] - pair[0]);
            if length > 1e-6 && area.contains(middle) {
                self.length += length;
                self.first.get_or_insert(spot.at(a.toward(b, pair[0])));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use units::Point;

    use super::super::frame::{PROGRAM, nothing, placed};

    fn used(x0: f64, y0: f64, x1: f64, y1: f64) -> Vec<String> {
        placed(PROGRAM, |s| {
            s.used = vec![vec![
                Point::new(x0, y0),
                Point::new(x1, y0),
                Point::new(x1, y1),
                Point::new(x0, y1),
            ]];
        })
    }

    #[test]
    fn a_pierce_in_a_used_area_is_refused() {
        // The hole is pierced at (105, 100).
        assert_eq!(used(104.0, 99.0, 106.0, 101.0), ["refuse over-used 3:1 1", "refuse pierce-in-void 3:1 1"]);
        assert_eq!(used(104.0, 103.2, 106.0, 104.0), nothing());
    }

    #[test]
    fn a_path_that_crosses_is_warned_and_one_that_ends_inside_refused() {
        // The outline's left edge lies at x = 60, from y = 60 to 140; it ends at (108, 60).
        assert_eq!(used(50.0, 90.0, 70.0, 95.0), ["warn over-used 11:1 2", "warn path-in-void 11:1 2"]);
        assert_eq!(used(107.0, 59.0, 109.0, 61.0), ["refuse over-used 10:1 2"]);
        assert_eq!(used(50.0, 90.0, 59.9, 95.0), nothing());
    }
}
