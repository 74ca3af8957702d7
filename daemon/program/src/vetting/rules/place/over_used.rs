//! A pierce or path over an area marked as already cut away.

use std::collections::BTreeSet;

use crate::vetting::rules::page::Page;
use units::{Bounds, Point};

use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::geometry::outline::Edges;
use crate::report::findings::{Findings, Spot};
use crate::report::Severity;
use crate::geometry::plane::{apart, chords, mm};
use crate::geometry::tree::{Tree, grown};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "over-used";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse or warn",
    needs: "a setup with used areas",
    measured: || "Pierces and paths over areas that are marked as already cut away.".to_owned(),
    limit: || "A pierce or an end there is refused, a crossing warned.".to_owned(),
    source: "The setup: there is no metal.",
};

/// Crossings are reckoned with rounding: areas this near are asked, mm.
const CRUMB_MM: f64 = 1e-6;
/// A cut is told of no more used areas than this, those in which it begins or ends first; how many
/// more lie about is told as a number.
const AREAS_A_CUT: usize = 16;
/// The others are counted up to this number.
const MORE_COUNTED: usize = 1000;
/// So often a piece of path is held against a used area in all.
const MOST_COMPARED: usize = 200_000_000;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(findings, NAME, Lack::Setup("the sheet is not known"));
        return;
    };
    let areas: Vec<Area<'_>> = setup.used.iter().filter_map(|o| Area::new(o)).collect();
    let tree = Tree::new(areas.iter().map(|a| a.bounds));
    // Asked cut by cut, told area by area.
    let mut found: Vec<(u32, usize, Crossed)> = Vec::new();
    let mut left = MOST_COMPARED;
    for (cut, number) in sheet.cuts() {
        let own = crossed(sheet, cut, number, (&areas, &tree), &mut left);
        found.extend(own.into_iter().map(|(area, crossed)| (area, number, crossed)));
        if left == 0 {
            findings.refuse(NAME, Spot::torch_on(number, cut), || {
                (
                    "The used areas lie about the path in such number that from this cut on it is not judged where it crosses them.".to_owned(),
                    "Join the used areas in the setup.".to_owned(),
                )
            });
            break;
        }
    }
    found.sort_by_key(|(area, number, _)| (*area, *number));
    for (_, _, crossed) in found {
        let more = match crossed.more {
            0 => String::new(),
            MORE_COUNTED.. => format!(" {MORE_COUNTED} more areas or more reach into the rectangle round it: they are not told one by one."),
            n => format!(" {n} more areas reach into the rectangle round it: they are not told one by one."),
        };
        findings.tell(NAME, crossed.severity, crossed.spot, || {
            (
                format!(
                    "The cut {} an area marked as already cut away, for {} mm of its path: there is no metal for the arc.{more}",
                    crossed.what,
                    mm(crossed.length_mm)
                ),
                "Move the program's zero, or mend the used areas in the setup.".to_owned(),
            )
        });
    }
}

/// The areas that a cut meets, those round its ends first.
fn crossed(
    sheet: &OnSheet<'_>,
    cut: &crate::Cut,
    number: usize,
    (areas, tree): (&[Area<'_>], &Tree),
    left: &mut usize,
) -> Vec<(u32, Crossed)> {
    let about = grown(&sheet.bounds(number), CRUMB_MM);
    let (mut seen, mut found) = (BTreeSet::new(), Vec::new());
    if tree.count(&about, 1) == 0 {
        return found;
    }
    let mut ask = |area: u32| {
        if seen.insert(area) {
            *left = left.saturating_sub(1 + cut.path.len());
            found.extend(one(sheet, cut, number, &areas[area as usize]).map(|c| (area, c)));
        }
        *left == 0 || found.len() >= AREAS_A_CUT
    };
    let ends = [cut.pierce, cut.end()].map(|p| Bounds::of(sheet.placer.place(p)));
    let path = sheet.path(cut).map(|(s, _)| grown(&s.bounds(), CRUMB_MM));
    for window in ends.into_iter().chain(path) {
        let mut enough = false;
        tree.within(&window, u32::MAX, |area| {
            enough = ask(area);
            enough
        });
        if enough {
            break;
        }
    }
    let told = found.len();
    if told >= AREAS_A_CUT
        && let Some((_, last)) = found.last_mut()
    {
        last.more = tree.count(&about, told + MORE_COUNTED).saturating_sub(told);
    }
    found
}

/// What is known of a cut that meets a used area.
struct Crossed {
    severity: Severity,
    what: &'static str,
    spot: Spot,
    length_mm: f64,
    /// So many areas about it are not told.
    more: usize,
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
        if apart(&s.bounds(), &area.bounds, CRUMB_MM) {
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
        more: 0,
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

    use crate::vetting::rules::frame::{PROGRAM, nothing, placed};

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

    #[test]
    fn of_many_areas_on_one_place_some_are_told_and_the_others_counted() {
        let says = |n: usize| -> Vec<String> {
            let mut setup = crate::vetting::rules::frame::setup();
            let area = |k: usize| {
                let x = 100.0 + k as f64 / 100.0;
                vec![Point::new(x, 100.0), Point::new(x + 30.0, 100.0), Point::new(x, 300.0)]
            };
            setup.used = (0..n).map(area).collect();
            let report = crate::vetting::rules::frame::report_with(PROGRAM, &crate::vetting::rules::frame::input(&setup));
            let of = report.findings.into_iter().filter(|f| f.rule == super::NAME && f.cut == Some(2));
            of.map(|f| f.says).collect()
        };
        assert_eq!(says(15).len(), 15);
        assert!(says(15).iter().all(|s| !s.contains("more areas")));
        let told = says(500);
        assert_eq!(told.len(), super::AREAS_A_CUT);
        assert!(told.iter().any(|s| s.contains(" 484 more areas reach into the rectangle")), "{told:?}");
    }
}
