//! A pierce where there is no metal.

use units::Point;

use crate::findings::{Findings, Spot};
use crate::pieces::grid::NEVER;
use crate::pieces::{PieceMap, Under};
use crate::shape::mm;
use crate::vet::OnSheet;

pub(crate) const NAME: &str = "pierce-in-void";

/// The metal is looked for within this, mm.
const WITHIN_MM: f64 = 1.0;
/// So much of it must be there.
const LEAST: f64 = 0.9;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = sheet.pieces_or_tell(findings, NAME) else {
        return;
    };
    for (cut, number) in sheet.cuts() {
        let p = sheet.placer.place(cut.pierce);
        let Some(part) = metal_part(sheet, map, number).filter(|m| *m < LEAST) else {
            continue;
        };
        let spot = Spot::torch_on(number, cut).at(p);
        findings.refuse(NAME, spot, || {
            let tick = map.strands.start(number - 1);
            let gone = map.gone_at(p);
            let why = match gone {
                None => "it is beside the sheet".to_owned(),
                Some(NEVER) => "it lies in an area marked as already cut away".to_owned(),
                Some(t) if t < tick => format!("it lies in the kerf of cut {}", cut_of(map, t)),
                Some(_) if map.under(p, tick) == Under::Nothing => {
                    let freed = map.piece_at(p, tick).map_or(0, |id| map.freed(id));
                    format!("what lay there has dropped out with cut {}", cut_of(map, freed))
                }
                Some(_) => "removed metal is too near".to_owned(),
            };
            (
                format!(
                    "No metal to pierce: {why}. Within {WITHIN_MM} mm {} % is metal, {} % are wanted; the touch-off finds no sheet and the arc does not transfer.",
                    (part * 100.0).round(),
                    LEAST * 100.0
                ),
                format!(
                    "Move the pierce at least {} mm from the nearest kerf, or cut in another order.",
                    mm(2.0 * sheet.input.kerf_mm.unwrap_or(1.0) + 2.0)
                ),
            )
        });
    }
}

fn cut_of(map: &PieceMap, tick: u32) -> String {
    map.strands.cut_at(tick).map_or_else(|| "?".to_owned(), |c| (c + 1).to_string())
}

/// How much of the surroundings of a cut's pierce is metal (0 to 1); `None`: all of it.
pub(super) fn metal_part(sheet: &OnSheet<'_>, map: &PieceMap, number: usize) -> Option<f64> {
    let line = sheet.flat().line(number - 1);
    let (p, tick) = (*line.points.first()?, map.strands.start(number - 1));
    let size = sheet.input.setup?.sheet;
    let half = sheet.input.kerf_mm? / 2.0;
    let on_sheet = |q: Point| (0.0..=size.x).contains(&q.x) && (0.0..=size.y).contains(&q.y);
    let reach = WITHIN_MM + half;
    let near = sheet.kerf_within(p, reach, tick - 1);
    let inner = (WITHIN_MM..=size.x - WITHIN_MM).contains(&p.x) && (WITHIN_MM..=size.y - WITHIN_MM).contains(&p.y);
    // What was used before this far away changes nothing within the disc.
    let used = sheet.used_distance(p, WITHIN_MM + 1.0).is_some();
    if inner && !near && !used && map.under(p, tick) != Under::Nothing {
        return None;
    }
    let (mut metal, mut all) = (0.0, 0.0);
    for q in disc(p, WITHIN_MM) {
        all += 1.0;
        let cut = sheet.kerf_within(q, half, tick - 1);
        // The grid knows what has dropped and what was used; kerfs are measured.
        let gone = match map.gone_at(q) {
            None | Some(NEVER) => true,
            Some(t) => t >= tick && map.under(q, tick) == Under::Nothing,
        };
        metal += f64::from(u8::from(on_sheet(q) && !cut && !gone));
    }
    Some(metal / all)
}

/// Places spread evenly over a disc.
fn disc(p: Point, radius: f64) -> impl Iterator<Item = Point> {
    // A sunflower's seeds: each turned by the golden angle.
    let n = 120_u32;
    (0..n).map(move |k| {
        let r = radius * ((f64::from(k) + 0.5) / f64::from(n)).sqrt();
        let (sin, cos) = (f64::from(k) * 2.399_963_229_728_653).sin_cos();
        p.moved(r * cos, r * sin)
    })
}

#[cfg(test)]
mod tests {
    use units::Point;

    use super::super::frame::{Rect, nothing, order};

    const PART: Rect = Rect(40.0, 40.0, 160.0, 140.0);
    const HOLE: Rect = Rect(80.0, 70.0, 110.0, 100.0);
    const FAR: Rect = Rect(200.0, 40.0, 260.0, 100.0);

    fn pierced_at(x: f64) -> Vec<String> {
        // The part's left kerf lies about x = 40, between y = 40 and 140.
        let cut = format!("G0 X{x} Y90\nM3\nG1 X10 F1100\nM5\n");
        order(&[PART.outline(), cut], |_| ())
    }

    #[test]
    fn a_pierce_in_an_old_kerf_is_refused() {
        let all = pierced_at(40.0);
        assert!(all.contains(&"refuse pierce-in-void 2".to_owned()), "{all:?}");
        // 90 % of the disc is metal when the kerf's edge is 0.69 mm away (segment of a circle).
        let near = |off: f64| pierced_at(40.0 - 0.725 - off).contains(&"refuse pierce-in-void 2".to_owned());
        assert!(near(0.6));
        assert!(!near(0.75));
    }

    #[test]
    fn a_pierce_where_a_slug_has_dropped_out_or_off_the_sheet_is_refused() {
        let again = "G0 X95 Y85\nM3\nG1 X99 F1100\nM5\n".to_owned();
        let dropped = Rect(84.0, 74.0, 106.0, 96.0);
        let all = order(&[dropped.hole(), again, PART.outline()], |_| ());
        assert!(all.contains(&"refuse pierce-in-void 2".to_owned()), "{all:?}");
        let off = "G0 X-3 Y90\nM3\nG1 X20 F1100\nM5\n".to_owned();
        let all = order(&[off], |_| ());
        assert!(all.contains(&"refuse pierce-in-void 1".to_owned()), "{all:?}");
    }

    #[test]
    fn a_pierce_in_whole_metal_passes() {
        assert_eq!(order(&[HOLE.hole(), PART.outline(), FAR.outline()], |_| ()), nothing());
        assert_eq!(order(&[FAR.outline()], |s| s.clamp = Some(Point::new(20.0, 20.0))), nothing());
    }
}
