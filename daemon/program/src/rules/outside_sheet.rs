//! Kerf beyond the sheet's edge.

use super::not_judged;
use crate::findings::{Findings, Spot};
use crate::shape::mm;
use crate::vet::OnSheet;

pub(crate) const NAME: &str = "outside-sheet";

const CRUMB_MM: f64 = 1e-6;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(
            findings,
            NAME,
            "the sheet is not known",
            "Give a setup (--setup).",
        );
        return;
    };
    if sheet.input.kerf_mm.is_none() {
        not_judged::tell(
            findings,
            NAME,
            "the kerf is not known, so the middle of the kerf alone was compared",
            "Choose a chart row, or write the kerf into the setup.",
        );
    }
    let half = sheet.input.kerf_mm.unwrap_or(0.0) / 2.0;
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
                "Move the program's zero in the setup, turn it, or take a larger sheet.".to_owned(),
            )
        });
    }
}

/// How far a rectangle stays from the sheet's edge, mm; negative beyond it.
pub(crate) fn room(b: &units::Bounds, sheet: units::Point) -> f64 {
    b.low
        .x
        .min(b.low.y)
        .min(sheet.x - b.high.x)
        .min(sheet.y - b.high.y)
}

/// The first place of a piece whose kerf is beyond the edge.
fn leaving(s: &units::Segment, half: f64, sheet: units::Point) -> units::Point {
    let off = |p: units::Point| half - room(&units::Bounds::of(p), sheet) > CRUMB_MM;
    let mut from = s.from();
    for (a, b) in crate::shape::chords(s) {
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

    use super::super::frame::{PROGRAM, placed, setup, input, report_with};

    #[test]
    fn a_kerf_beyond_the_edge_is_refused_where_it_leaves_the_sheet() {
        // The outline reaches x = 100; with half a kerf the edge is met at a zero of 199.275.
        let off = placed(PROGRAM, |s| s.origin = Point::new(199.3, 60.0));
        assert_eq!(off, ["refuse outside-sheet 12:1 2"]);
        let near = placed(PROGRAM, |s| s.origin = Point::new(199.275, 60.0));
        assert_eq!(near, ["warn near-edge 12:1 2"]);
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
