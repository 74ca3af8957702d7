//! Path beyond the machine's travel.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use super::outside_sheet;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "outside-travel";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "a setup; the travel from the machine file",
    measured: || "The path, placed by the zero, against the machine's travel.".to_owned(),
    limit: || "No part of it beyond the travel.".to_owned(),
    source: "The machine file.",
};

/// Numbers are written with three or four decimals; less than this is no difference, mm.
const CRUMB_MM: f64 = 1e-6;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    if sheet.input.setup.is_none() {
        not_judged::tell(findings, NAME, Lack::Setup("where the program's zero lies is not known"));
        return;
    }
    let (corner, travel) = (sheet.input.sheet_corner, sheet.input.travel);
    // By how much a place is beyond, and along which axis.
    let beyond = |low: f64, high: f64, corner: f64, travel: f64| {
        (-(low + corner)).max(high + corner - travel)
    };
    let off = |b: &units::Bounds| {
        [
            ("X", beyond(b.low.x, b.high.x, corner.x, travel.x)),
            ("Y", beyond(b.low.y, b.high.y, corner.y, travel.y)),
        ]
    };
    let remedy = outside_sheet::remedy(sheet);
    for (cut, number) in sheet.cuts() {
        if off(&sheet.bounds(number)).iter().all(|(_, by)| *by <= CRUMB_MM) {
            continue;
        }
        let mut path = sheet.path(cut);
        let first = path
            .find(|(s, _)| off(&s.bounds()).iter().any(|(_, by)| *by > CRUMB_MM));
        let spot = match first {
            Some((s, e)) => Spot::element(number, e).at(s.to()),
            None => Spot::torch_on(number, cut).at(sheet.placer.place(cut.pierce)),
        };
        let worst = off(&sheet.bounds(number));
        findings.refuse(NAME, spot, || {
            let by: Vec<String> = worst
                .iter()
                .filter(|(_, by)| *by > CRUMB_MM)
                .map(|(axis, by)| format!("{} mm along {axis}", mm(*by)))
                .collect();
            (
                format!(
                    "The cut goes beyond the machine's travel of {} x {} mm by {}.",
                    mm(travel.x),
                    mm(travel.y),
                    by.join(" and ")
                ),
                remedy.clone(),
            )
        });
    }
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};

    #[test]
    fn a_path_beyond_the_travel_is_refused_and_one_at_its_end_passes() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        // The outline's right edge lies at 10 + 60 + 100.
        input.travel = Point::new(169.9, 1300.0);
        assert_eq!(
            brief(&report_with(frame::PROGRAM, &input)),
            ["refuse outside-travel 12:1 2"]
        );
        input.travel = Point::new(170.0, 1300.0);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
        // The lead-in begins at y = 60 - 8; the sheet's corner lies below zero.
        input.sheet_corner = Point::new(0.0, -52.1);
        assert_eq!(
            brief(&report_with(frame::PROGRAM, &input)),
            ["refuse outside-travel 9:1 2"]
        );
        input.sheet_corner = Point::new(0.0, -52.0);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
    }
}
