//! Kerf beyond the sheet's edge.

use crate::geometry::plane::room;
use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;
use units::Point;

pub(crate) const NAME: &str = "outside-sheet";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "a setup; with a kerf the kerf's edge is compared",
    measured: || "The edge of the kerf against the sheet's edge.".to_owned(),
    limit: || "No part of it beyond the sheet.".to_owned(),
    source: "The setup; beyond the sheet there is no metal for the arc.",
};

const CRUMB_MM: f64 = 1e-6;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(findings, NAME, Lack::Setup("the sheet is not known"));
        return;
    };
    if sheet.input.kerf_mm.is_none() {
        not_judged::tell(findings, NAME, Lack::KerfInPart);
    }
    let half = sheet.input.kerf_mm.unwrap_or(0.0) / 2.0;
    let remedy = remedy(sheet);
    for (cut, number) in sheet.cuts() {
        let worst = half - room(&sheet.bounds(number), setup.sheet);
        if worst <= CRUMB_MM {
            continue;
        }
        let start = sheet.placer.place(cut.pierce);
        let starts_off = half - room(&units::Bounds::of(start), setup.sheet) > CRUMB_MM;
        let leaves = sheet
            .path(cut)
            .find(|(s, _)| half - room(&s.bounds(), setup.sheet) > CRUMB_MM);
        let spot = match leaves {
            Some((s, e)) if !starts_off => {
                Spot::element(number, e).at(leaving(&s, half, setup.sheet))
            }
            _ => Spot::torch_on(number, cut).at(start),
        };
        findings.refuse(NAME, spot, || {
            (
                format!(
                    "The cut {} the sheet of {} x {} mm; its kerf ends {} mm beyond the edge.",
                    if starts_off { "starts off" } else { "starts on and runs off" },
                    mm(setup.sheet.x),
                    mm(setup.sheet.y),
                    mm(worst)
                ),
                remedy.clone(),
            )
        });
    }
}

/// How the cuts can be brought onto the sheet and into the travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Fit {
    /// They lie within both.
    Fits,
    /// They do when the zero is moved by this, mm.
    Move(Point),
    /// They never do: by so much they are too long in X and in Y, mm.
    Never([f64; 2]),
}

/// How the cuts fit as they are turned now; `None`: there is no cut or no setup.
pub(crate) fn fit(sheet: &OnSheet<'_>) -> Option<Fit> {
    let b = sheet.all_bounds()?;
    fit_of(sheet, [b.low.x, b.high.x], [b.low.y, b.high.y])
}

fn fit_of(sheet: &OnSheet<'_>, x: [f64; 2], y: [f64; 2]) -> Option<Fit> {
    let setup = sheet.input.setup?;
    let half = sheet.input.kerf_mm.unwrap_or(0.0) / 2.0;
    let (corner, travel) = (sheet.input.sheet_corner, sheet.input.travel);
    // Where a border as `near-edge` wants it can be left, it is.
    let border = super::near_edge::border_mm(setup.thickness) + half;
    let axis = |[low, high]: [f64; 2], size: f64, corner: f64, travel: f64| {
        let range = |edge: f64| {
            let from = (edge - low).max(-corner - low);
            let to = (size - edge - high).min(travel - corner - high);
            (from, to)
        };
        let ((least, most), (from, to)) = (range(half), range(border));
        if least <= CRUMB_MM && most >= -CRUMB_MM {
            return Ok(0.0);
        }
        if least > most + CRUMB_MM {
            return Err(least - most);
        }
        // Rounded up, but not beyond what there is.
        let by = |from: f64, to: f64| {
            if from > 0.0 { ((from * 10.0).ceil() / 10.0).min(to) } else { ((to * 10.0).floor() / 10.0).max(from) }
        };
        Ok(if from <= to { by(from, to) } else { f64::midpoint(least, most) })
    };
    let by_x = axis(x, setup.sheet.x, corner.x, travel.x);
    let by_y = axis(y, setup.sheet.y, corner.y, travel.y);
    Some(match (by_x, by_y) {
        (Ok(0.0), Ok(0.0)) => Fit::Fits,
        (Ok(x), Ok(y)) => Fit::Move(Point::new(x, y)),
        (x, y) => Fit::Never([x.err().unwrap_or(0.0), y.err().unwrap_or(0.0)]),
    })
}

/// How far to move the zero so that all of the program fits, or that it cannot.
pub(crate) fn remedy(sheet: &OnSheet<'_>) -> String {
    let Some(setup) = sheet.input.setup else {
        return String::new();
    };
    match fit(sheet) {
        Some(Fit::Move(by)) => format!(
            "Move the program's zero by {} mm in X and {} mm in Y (origin = [{}, {}] in the setup): \
             then all of it fits.",
            mm(by.x),
            mm(by.y),
            mm(setup.origin.x + by.x),
            mm(setup.origin.y + by.y)
        ),
        Some(Fit::Never([x, y])) => {
            let axes = [("X", x), ("Y", y)];
            let over: Vec<String> = (axes.iter().filter(|(_, by)| *by > 0.0))
                .map(|(axis, by)| format!("{} mm too long in {axis}", mm(*by)))
                .collect();
            let turned = sheet.all_bounds().is_some_and(|b| {
                let (x, y) = ([b.low.y, b.high.y], [b.low.x, b.high.x]);
                !matches!(fit_of(sheet, x, y), Some(Fit::Never(_)) | None)
            });
            format!(
                "No place of the zero makes it fit: with its kerf it is {}. {}",
                over.join(" and "),
                if turned {
                    "Turned by 90 degrees (rotation in the setup) it fits."
                } else {
                    "Take a larger sheet, or divide the program."
                }
            )
        }
        // It lies within both as a whole: then no cut is outside either.
        Some(Fit::Fits) | None => "Move the program's zero in the setup.".to_owned(),
    }
}

/// The first place of a piece whose kerf is beyond the edge.
fn leaving(s: &units::Segment, half: f64, sheet: units::Point) -> units::Point {
    let off = |p: units::Point| half - room(&units::Bounds::of(p), sheet) > CRUMB_MM;
    let mut from = s.from();
    for (a, b) in crate::geometry::plane::chords(s) {
        if off(b) {
            let (mut on, mut beyond) = (a, b);
            for _ in 0..40 {
                let middle = on.toward(beyond, 0.5);
                if off(middle) { beyond = middle } else { on = middle }
            }
            return beyond;
        }
        from = b;
    }
    from
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{PROGRAM, placed, setup, input, report_with};

    #[test]
    fn a_kerf_beyond_the_edge_is_refused_where_it_leaves_the_sheet() {
        // The outline reaches x = 100; with half a kerf the edge is met at a zero of 199.275.
        let off = placed(PROGRAM, |s| s.origin = Point::new(199.3, 60.0));
        assert_eq!(off, ["refuse outside-sheet 12:1 2"]);
        let near = placed(PROGRAM, |s| s.origin = Point::new(199.275, 60.0));
        assert_eq!(near, ["warn near-edge 12:1 2"]);
    }

    /// The origin that a remedy names.
    fn offered(remedy: &str) -> Option<Point> {
        let inside = remedy.split_once("origin = [")?.1.split_once(']')?.0;
        let (x, y) = inside.split_once(", ")?;
        Some(Point::new(x.parse().ok()?, y.parse().ok()?))
    }

    #[test]
    fn the_zero_that_is_offered_makes_it_fit() {
        for origin in [(250.0, 60.0), (-30.0, 60.0), (60.0, -55.0), (260.0, 190.0), (-500.0, 700.0)] {
            let mut setup = setup();
            setup.origin = Point::new(origin.0, origin.1);
            let report = report_with(PROGRAM, &input(&setup));
            let found = report.findings.iter().find(|f| f.rule == super::NAME).expect("off");
            setup.origin = offered(&found.remedy).unwrap_or_else(|| panic!("{}", found.remedy));
            let moved = report_with(PROGRAM, &input(&setup));
            let place = ["outside-sheet", "outside-travel", "near-edge"];
            assert!(
                moved.findings.iter().all(|f| !place.contains(&f.rule.as_str())),
                "{origin:?} {} {:?}", found.remedy, moved.findings
            );
        }
    }

    #[test]
    fn what_cannot_fit_says_by_how_much_and_whether_it_fits_turned() {
        let mut setup = setup();
        // The cuts measure 100 x 88 mm, with the kerf 101.45 x 89.45 mm.
        setup.sheet = Point::new(95.0, 120.0);
        let says = |setup: &crate::Setup| {
            let report = report_with(PROGRAM, &input(setup));
            let found = report.findings.into_iter().find(|f| f.rule == super::NAME);
            found.map_or_else(String::new, |f| f.remedy)
        };
        let turned = says(&setup);
        assert!(turned.contains("6.45 mm too long in X."), "{turned}");
        assert!(turned.contains("Turned by 90 degrees"), "{turned}");
        setup.sheet = Point::new(95.0, 80.0);
        let never = says(&setup);
        assert!(never.contains("6.45 mm too long in X and 9.45 mm too long in Y"), "{never}");
        assert!(never.contains("larger sheet"), "{never}");
    }

    #[test]
    fn the_place_named_is_where_the_path_leaves() {
        let mut setup = setup();
        setup.origin = Point::new(220.0, 60.0);
        let report = report_with(PROGRAM, &input(&setup));
        let at = report.findings[0].at.expect("a place");
        assert!((at.x - 299.275).abs() < 0.01 && (at.y - 140.0).abs() < 1e-9, "{at:?}");
        assert!(report.findings[0].says.contains("starts on and runs off"));
    }

    #[test]
    fn a_start_off_the_sheet_is_named_at_its_pierce() {
        let off = placed(PROGRAM, |s| s.origin = Point::new(60.0, 7.0));
        assert_eq!(off, ["refuse outside-sheet 8:1 2", "refuse pierce-in-void 8:1 2"]);
    }
}
