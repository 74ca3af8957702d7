//! A pierce where there is no metal.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use units::Point;

use crate::report::findings::{Findings, Spot};
use crate::sheet::pieces::strand::NEVER;
use crate::sheet::pieces::{PieceMap, Under};
use crate::geometry::plane::{mm, place};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "pierce-in-void";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || format!("How much of the disc of {WITHIN_MM} mm round each pierce is metal at that moment."),
    limit: || format!("{LEAST} of it."),
    source: "Common practice; the number is invented.",
};

/// The metal is looked for within this, mm.
const WITHIN_MM: f64 = 1.0;
/// So much of it must be there.
const LEAST: f64 = 0.9;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    let mut looked = 0;
    for (cut, number) in sheet.cuts() {
        let p = sheet.placer.place(cut.pierce);
        let Some(part) = metal_part(sheet, map, number).filter(|m| *m < LEAST) else {
            continue;
        };
        let spot = Spot::torch_on(number, cut).at(p);
        looked += 1;
        let better = (looked <= LOOKED_FOR).then(|| nearest_good(sheet, map, number, p)).flatten();
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
                match better {
                    Some(q) => format!(
                        "Move the pierce to {} on the sheet, {} mm from here (the nearest place with whole metal \
                         round it), or cut in another order.",
                        place(q),
                        mm((p.distance(q) * 10.0).round() / 10.0)
                    ),
                    None => format!(
                        "Move the pierce at least {} mm from the nearest kerf, or cut in another order.",
                        mm(want_mm(sheet))
                    ),
                },
            )
        });
    }
}

/// For so many pierces a better place is looked for.
const LOOKED_FOR: usize = 12;
/// It is looked for in rings so far apart, mm...
const RING_MM: f64 = 0.5;
/// ... and so many of them.
const RINGS: u32 = 80;

/// What a pierce keeps from removed metal, as `pierce-near-kerf` offers it, mm.
fn want_mm(sheet: &OnSheet<'_>) -> f64 {
    2.0 * sheet.input.kerf_mm.unwrap_or(1.0) + 2.0
}

/// The nearest place where a cut can be pierced: whole metal round it that is still joined to the
/// clamp, on the scrap's side of its own contour.
fn nearest_good(sheet: &OnSheet<'_>, map: &PieceMap, number: usize, p: Point) -> Option<Point> {
    let tick = map.strands.start(number - 1);
    let size = sheet.input.setup?.sheet;
    let (want, kerf) = (want_mm(sheet), sheet.input.kerf_mm?);
    let own = sheet.contours().and_then(|c| c.of_cut(number - 1));
    let clamped = map.clamped(tick);
    let about: Vec<Point> = disc(Point::default(), want).step_by(4).collect();
    let whole = |d: Point| map.under(d, tick) != Under::Nothing && map.gone_at(d) != Some(NEVER);
    let good = |q: Point| {
        let inner = (want..=size.x - want).contains(&q.x) && (want..=size.y - want).contains(&q.y);
        inner
            && whole(q)
            && about.iter().all(|d| whole(q.moved(d.x, d.y)))
            && !sheet.kerf_within(q, want + kerf / 2.0, tick - 1)
            && (clamped.is_none() || map.piece_at(q, tick) == clamped)
            && own.is_none_or(|c| !c.on_part(q) && c.distance(q) >= kerf)
    };
    (1..=RINGS).find_map(|k| {
        let radius = RING_MM * f64::from(k);
        let n = (8 + 2 * k).min(72);
        (0..n)
            .map(|i| {
                let (sin, cos) = (core::f64::consts::TAU * f64::from(i) / f64::from(n)).sin_cos();
                p.moved(radius * cos, radius * sin)
            })
            .find(|q| good(*q))
    })
}

fn cut_of(map: &PieceMap, tick: u32) -> String {
    map.strands.cut_at(tick).map_or_else(|| "?".to_owned(), |c| (c + 1).to_string())
}

/// So many pieces of path near a pierce are asked one by one.
const NEARBY: usize = 256;
/// Distances are reckoned with rounding, mm.
const CRUMB_MM: f64 = 1e-6;

/// How much of the surroundings of a cut's pierce is metal (0 to 1); `None`: all of it.
pub(super) fn metal_part(sheet: &OnSheet<'_>, map: &PieceMap, number: usize) -> Option<f64> {
    let measure = || {
        let about: Vec<Point> = disc(Point::default(), WITHIN_MM).collect();
        sheet.cuts().map(|(_, n)| measured(sheet, map, n, &about)).collect()
    };
    let all: &Vec<Option<f64>> = sheet.derived.metal.get_or_init(measure);
    all.get(number - 1).copied().flatten()
}

/// `about`: places spread over a disc about (0, 0).
fn measured(sheet: &OnSheet<'_>, map: &PieceMap, number: usize, about: &[Point]) -> Option<f64> {
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
    let nearby = sheet.kerfs_nearby(p, WITHIN_MM + half + CRUMB_MM, (tick - 1, NEARBY));
    for q in about.iter().map(|d| p.moved(d.x, d.y)) {
        all += 1.0;
        let cut = map.may_be_cut(q, tick)
            && match &nearby {
                Some(kerfs) => kerfs.is_near(q, half),
                None => sheet.kerf_within(q, half, tick - 1),
            };
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

    use crate::vetting::rules::frame::{Rect, nothing, order};

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
    fn the_place_that_is_offered_is_good_and_the_nearest() {
        let line = |x: f64, y: f64| format!("G0 X{x} Y{y}\nM3\nG1 X10 F1100\nM5\n");
        let mut setup = crate::vetting::rules::frame::setup();
        setup.origin = Point::new(0.0, 0.0);
        let input = crate::vetting::rules::frame::input(&setup);
        let vetted = |x: f64, y: f64| {
            let program = crate::vetting::rules::frame::program(&[PART.outline(), line(x, y)]);
            crate::vetting::rules::frame::report_with(&program, &input)
        };
        let wrong = vetted(40.0, 90.0);
        let found = wrong.findings.iter().find(|f| f.rule == super::NAME).expect("in the kerf");
        // The kerf's left wall lies 0.725 mm from its middle; 2 w + 2 mm are kept from it.
        assert!(found.remedy.contains("5.5 mm from here") || found.remedy.contains("6 mm from here"), "{}", found.remedy);
        let numbers: Vec<f64> = found.remedy
            .split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
            .filter_map(|n| n.parse().ok())
            .collect();
        let right = vetted(numbers[0], numbers[1]);
        assert!(
            right.findings.iter().all(|f| !f.rule.starts_with("pierce-") || f.rule == "pierce-near-loose"),
            "{:?}", right.findings
        );
    }

    #[test]
    fn a_pierce_in_whole_metal_passes() {
        assert_eq!(order(&[HOLE.hole(), PART.outline(), FAR.outline()], |_| ()), nothing());
        assert_eq!(order(&[FAR.outline()], |s| s.clamp = Some(Point::new(20.0, 20.0))), nothing());
    }
}
