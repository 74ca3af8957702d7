//! A contour that almost closes: the part stays attached, or its end is wrong.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::findings::{Findings, Spot};
use crate::report::Severity;
use units::{Bounds, Point};

use crate::cuts::polylines::Polyline;
use crate::geometry::plane::nearest_part;
use crate::vetting::lead::joint;
use crate::geometry::plane::mm;
use crate::geometry::tree::{Tree, grown};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "open-contour";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn or note",
    needs: "a kerf (chart row or setup)",
    measured: || "The gap between the end of a contour and its start.".to_owned(),
    limit: || format!("From one kerf up to {GAP_MM} mm; a gap with a marked tab within {MARKED_MM} mm is \
              a note."),
    source: "The number is invented.",
};

/// From one kerf up to this the end is an oversight rather than a tab, mm; number invented.
const GAP_MM: f64 = 3.0;
/// A tab is marked this near to its gap, mm.
const MARKED_MM: f64 = 5.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(contours) = not_judged::contours(sheet, findings, NAME) else {
        return;
    };
    let tabs = sheet.input.setup.map_or(&[][..], |s| &s.tabs);
    let near_tabs = Tree::new(tabs.iter().map(|t| Bounds::of(*t)));
    let Some(kerf) = sheet.input.kerf_mm else {
        return;
    };
    for (cut, number) in sheet.cuts() {
        let line = sheet.flat().line(number - 1);
        let (Some(&end), Some(last)) = (line.points.last(), cut.path.last()) else {
            continue;
        };
        // An end within one kerf of the lead-in is closed by it; what it leaves of the contour
        // itself is a gap all the same.
        let short = contours.of_cut(number - 1).map(|c| joint(sheet, c));
        let (gap, start) = match (short, contours.gap_mm(number - 1)) {
            (Some(j), _) if j.overlap_mm < -kerf => (-j.overlap_mm, line.at(j.at_mm)),
            (_, Some(gap)) => match start(line, end, gap) {
                Some(start) => (gap, start),
                None => continue,
            },
            _ => continue,
        };
        if gap > GAP_MM + 1e-6 {
            continue;
        }
        let mut gap_box = Bounds::of(start);
        gap_box.add(end);
        let mut marked = false;
        near_tabs.within(&grown(&gap_box, MARKED_MM + 1e-6), u32::MAX, |k| {
            let tab = tabs[k as usize];
            let nearest = start.toward(end, nearest_part(start, end, tab));
            marked = nearest.distance(tab) <= MARKED_MM;
            marked
        });
        let spot = Spot::element(number, last).at(end);
        let severity = if marked { Severity::Note } else { Severity::Warn };
        findings.tell(NAME, severity, spot, || {
            let short = format!("The contour stops {} mm short of its start", mm(gap));
            if marked {
                (
                    format!("{short}, at a marked tab: the part stays held."),
                    "Cut the tab by hand when the sheet has cooled.".to_owned(),
                )
            } else {
                (
                    format!(
                        "{short}: from one kerf up to {} mm the part stays attached.",
                        mm(GAP_MM)
                    ),
                    "Lead the end up to the start, or mark the gap as a tab in the setup."
                        .to_owned(),
                )
            }
        });
    }
}

/// What an open path's end is nearest to, if it lies in the path's first half: going back and forth
/// is no contour.
fn start(line: Polyline<'_>, end: Point, gap: f64) -> Option<Point> {
    let half = line.length() / 2.0;
    let first = line.chords().take_while(|c| c.s <= half);
    let (s, apart) = first.fold((0.0, f64::INFINITY), |best, chord| {
        let next = chord.nearest(end);
        if next.1 < best.1 { next } else { best }
    });
    (apart <= gap + 0.05).then(|| line.at(s))
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing, placed};

    #[test]
    fn a_gap_between_one_kerf_and_3_mm_is_warned() {
        assert_eq!(changed("G1 X48", "G1 X52"), ["warn open-contour 14:1 2"]);
        assert_eq!(changed("G1 X48", "G1 X53"), ["warn open-contour 14:1 2"]);
        assert_eq!(changed("G1 X48", "G1 X53.1"), nothing());
        // Within one kerf it is closed, though short.
        assert_eq!(changed("G1 X48", "G1 X51.4"), ["note overlap-at-close 14:1 2"]);
        assert_eq!(changed("G1 X48", "G1 X50"), nothing());
    }

    #[test]
    fn a_hole_may_stay_open_too() {
        // 13 degrees of a circle of 10 mm: 2.26 mm.
        let open = changed("G3 X50 Y40 I-10 J0", "G3 X49.7435 Y37.7504 I-10 J0");
        assert_eq!(open, ["warn open-contour 5:1 1"]);
    }

    #[test]
    fn a_gap_that_is_marked_as_a_tab_is_noted() {
        let open = PROGRAM.replace("G1 X48", "G1 X52");
        // The program's zero lies at 60, 60.
        let tab = |x: f64| placed(&open, |s| s.tabs = vec![Point::new(x, 60.0)]);
        assert_eq!(tab(111.0), ["note open-contour 14:1 2"]);
        assert_eq!(tab(116.9), ["note open-contour 14:1 2"]);
        assert_eq!(tab(117.1), ["warn open-contour 14:1 2"]);
    }

    #[test]
    fn a_path_to_and_fro_is_no_contour() {
        let comb = PROGRAM.replace(
            "G1 X50 F660\nG3 X50 Y40 I-10 J0",
            "G1 X45 Y60 F1100\nG1 X41\nG1 Y40\nG1 X37\nG1 Y60\nG1 X29\nG1 Y40\nG1 X27\nG1 Y60",
        );
        let all = found(&comb);
        assert!(!all.iter().any(|f| f.contains(super::NAME)), "{all:?}");
    }
}
