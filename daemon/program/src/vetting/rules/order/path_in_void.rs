//! The arc led to where there is no metal.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use units::Point;

use crate::report::findings::Findings;
use crate::sheet::pieces::{PieceMap, Under};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "path-in-void";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse or warn",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || format!("Metal in the half disc of {AHEAD_MM} mm in front of the torch, along every path."),
    limit: || format!("Refused where there is none for over {KERFS} kerfs of path, a warning from \
              {LEAST_KERFS} kerf on."),
    source: "Common practice; the number is invented.",
};

/// Metal is looked for so far ahead, mm; in a wide kerf so far beyond its wall.
const AHEAD_MM: f64 = 1.5;
const WALL_MM: f64 = 0.75;
/// Without metal for more than so many kerfs of path the arc is lost.
const KERFS: f64 = 3.0;
/// Shorter than this nothing is said: crumbs of the grid, in kerfs.
const LEAST_KERFS: f64 = 0.5;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let Some(kerf) = sheet.input.kerf_mm else {
        return;
    };
    let reach = AHEAD_MM.max(kerf / 2.0 + WALL_MM);
    let about = half_disc(reach);
    for (_, number) in sheet.cuts() {
        // The longest stretch without metal.
        let mut worst: Option<(f64, f64)> = None;
        for (from, to) in voids(sheet, map, number, (kerf, (reach, &about))) {
            if worst.is_none_or(|(a, b)| to - from > b - a) {
                worst = Some((from, to));
            }
        }
        let Some((from, to)) = worst.filter(|(a, b)| b - a > LEAST_KERFS * kerf) else {
            continue;
        };
        let long = to - from > KERFS * kerf;
        let severity = if long { crate::Severity::Refuse } else { crate::Severity::Warn };
        findings.tell(NAME, severity, sheet.spot_at(number, from), || {
            (
                format!(
                    "For {} mm of path, from {} mm along the cut, there is no metal before the torch: the arc {} there ({} kerfs are {} mm).",
                    mm(to - from),
                    mm(from),
                    if long { "will be lost" } else { "may be lost" },
                    KERFS,
                    mm(KERFS * kerf)
                ),
                "End the cut where the metal ends, or cut this before what takes the metal away.".to_owned(),
            )
        });
    }
}

/// Stretches of a cut (from 1) without metal ahead, mm along it.
fn voids(sheet: &OnSheet<'_>, map: &PieceMap, number: usize, (kerf, ahead): (f64, (f64, &[Point]))) -> Vec<(f64, f64)> {
    let line = sheet.flat().line(number - 1);
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut open: Option<f64> = None;
    let mut walk = line.walk();
    for (tick, strand) in map.strands.of_cut(number - 1) {
        let n = ((strand.to_mm - strand.from_mm) / (kerf / 2.0)).ceil().clamp(1.0, 1e4) as u32;
        for k in 0..n {
            let s = strand.from_mm + (strand.to_mm - strand.from_mm) * f64::from(k) / f64::from(n);
            let (at, direction) = (walk.at(s), walk.direction(s + 1e-9));
            let metal = metal_ahead(map, at, direction, ahead, tick);
            match (metal, open) {
                (false, None) => open = Some(s),
                (true, Some(from)) => {
                    found.push((from, s));
                    open = None;
                }
                _ => {}
            }
        }
    }
    if let Some(from) = open {
        found.push((from, line.length()));
    }
    found
}

/// Whether there is metal in the half disc before the torch.
fn metal_ahead(map: &PieceMap, p: Point, (ux, uy): (f64, f64), (reach, about): (f64, &[Point]), tick: u32) -> bool {
    let at = |ahead: f64, side: f64| p.moved(ux * ahead - uy * side, uy * ahead + ux * side);
    let metal = |q: Point| map.under(q, tick) != Under::Nothing;
    // Straight ahead nearly always is.
    if metal(at(0.7 * reach, 0.0)) {
        return true;
    }
    about.iter().any(|d| metal(at(d.x, d.y)))
}

/// Places spread over the half disc before the torch (X ahead, Y to the side); those first that lie farthest to
/// the sides: in a kerf they are the first to be metal.
fn half_disc(reach: f64) -> Vec<Point> {
    let ring = |part: f64| {
        [-88.0_f64, 88.0, -60.0, 60.0, -30.0, 30.0, 0.0].map(|degrees| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            Point::new(reach * part * cos, reach * part * sin)
        })
    };
    [0.95, 0.65, 0.35].into_iter().flat_map(ring).collect()
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{Rect, nothing, order};

    const PART: Rect = Rect(40.0, 40.0, 160.0, 140.0);
    const HOLE: Rect = Rect(80.0, 70.0, 110.0, 100.0);
    const FAR: Rect = Rect(200.0, 40.0, 260.0, 100.0);

    /// A straight cut from the sheet over a used gap of the given width.
    fn over_gap(width: f64) -> Vec<String> {
        let cut = "G0 X20 Y100\nM3\nG1 X250 F1100\nM5\n".to_owned();
        order(&[cut], |s| {
            s.used = vec![vec![
                Point::new(100.0, 60.0),
                Point::new(100.0 + width, 60.0),
                Point::new(100.0 + width, 140.0),
                Point::new(100.0, 140.0),
            ]];
        })
    }

    #[test]
    fn more_than_three_kerfs_without_metal_ahead_are_refused_and_less_is_warned() {
        // The half disc of 1.5 mm reaches over its far side: the void is shorter by that.
        assert_eq!(over_gap(12.0), ["refuse path-in-void 1"]);
        assert_eq!(over_gap(4.0), ["warn path-in-void 1"]);
        assert_eq!(over_gap(1.0), nothing());
    }

    #[test]
    fn a_path_that_runs_off_the_sheet_loses_its_arc() {
        let off = "G0 X20 Y100\nM3\nG1 X-20 F1100\nM5\n".to_owned();
        assert_eq!(order(&[off], |_| ()), ["refuse path-in-void 1"]);
    }

    #[test]
    fn over_burn_and_a_crossing_of_one_kerf_have_metal_beside_them() {
        let across = "G0 X20 Y150\nM3\nG1 X150 Y10 F1100\nM5\n".to_owned();
        let line = "G0 X170 Y20\nM3\nG1 X20 Y20 F1100\nM5\n".to_owned();
        assert_eq!(order(&[line, across, FAR.outline()], |_| ()), ["note kerf-crossing 2"]);
        assert_eq!(order(&[HOLE.hole(), PART.outline()], |_| ()), nothing());
    }
}
