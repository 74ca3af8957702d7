//! A pierce or path over an area marked as already cut away.

use super::page::Page;
use units::Point;

use super::not_judged::{self, Lack};
use crate::findings::{Findings, Spot};
use crate::report::Severity;
use crate::shape::{apart, chords, crossing, inside, mm};
use crate::vet::OnSheet;

pub(crate) const NAME: &str = "over-used";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse or warn",
    needs: "a setup with used areas",
    measured: || "Pierces and paths over areas that are marked as already cut away.".to_owned(),
    limit: || "A pierce or an end there is refused, a crossing warned.".to_owned(),
    source: "The setup: there is no metal.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(findings, NAME, Lack::Setup("the sheet is not known"));
        return;
    };
    for outline in &setup.used {
        let Some(&first) = outline.first() else {
            continue;
        };
        let mut area = units::Bounds::of(first);
        outline.iter().for_each(|p| area.add(*p));
        for (cut, number) in sheet.cuts() {
            if !apart(&sheet.bounds(number), &area, 0.0) {
                one(sheet, findings, cut, number, outline);
            }
        }
    }
}

fn one(
    sheet: &OnSheet<'_>,
    findings: &mut Findings,
    cut: &crate::Cut,
    number: usize,
    outline: &[Point],
) {
    let pierce = sheet.placer.place(cut.pierce);
    let end = sheet.placer.place(cut.end());
    let pierced = inside(pierce, outline);
    let mut over = Over::default();
    for (s, e) in sheet.path(cut) {
        let spot = Spot::element(number, e);
        for (a, b) in chords(&s) {
            over.piece(a, b, spot, outline);
        }
    }
    let (severity, what, spot) = match over.first {
        _ if pierced => {
            let spot = Spot::torch_on(number, cut).at(pierce);
            (Severity::Refuse, "is pierced in", spot)
        }
        Some(spot) if inside(end, outline) => (Severity::Refuse, "runs into and ends in", spot),
        Some(spot) => (Severity::Warn, "crosses", spot),
        None => return,
    };
    findings.tell(NAME, severity, spot, || {
        (
            format!(
                "The cut {what} an area marked as already cut away, for {} mm of its path: there is no metal for the arc.",
                mm(over.length)
            ),
            "Move the program's zero, or mend the used areas in the setup.".to_owned(),
        )
    });
}

#[derive(Default)]
struct Over {
    first: Option<Spot>,
    length: f64,
}

impl Over {
    /// Adds what of a straight piece lies inside the outline.
    fn piece(&mut self, a: Point, b: Point, spot: Spot, outline: &[Point]) {
        let mut cuts = vec![0.0, 1.0];
        let next = outline.iter().cycle().skip(1);
        for (&c, &d) in outline.iter().zip(next) {
            cuts.extend(crossing(a, b, c, d));
        }
        cuts.sort_by(f64::total_cmp);
        for pair in cuts.windows(2) {
            let middle = a.toward(b, f64::midpoint(pair[0], pair[1]));
            let length = a.distance(b) * (pair[1] - pair[0]);
            if length > 1e-6 && inside(middle, outline) {
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
