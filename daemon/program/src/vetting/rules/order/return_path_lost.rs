//! A cut on metal that no longer connects to the ground clamp.

use crate::vetting::rules::page::Page;
use std::collections::BTreeMap;

use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::sheet::pieces::PieceMap;
use crate::sheet::pieces::strand::Tick;
use units::Point;
use crate::geometry::plane::numbers;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "return-path-lost";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "a setup with the clamp, and a kerf (chart row or setup)",
    measured: || "At every moment of every cut: does the metal under the torch still touch the \
              ground clamp?".to_owned(),
    limit: || "It must: else the arc's current has no way back.".to_owned(),
    source: "Common practice, no source.",
};

/// Metal so far beyond the kerf still carries the arc, mm (common practice, no source).
const REACH_MM: f64 = 0.75;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    if sheet.input.setup.is_some_and(|s| s.clamp.is_none()) {
        not_judged::tell(findings, NAME, Lack::Clamp);
        return;
    }
    // By piece: the cuts on it, and where the first of them loses its way.
    let mut lost: BTreeMap<(u32, Option<usize>), (Vec<usize>, Spot)> = BTreeMap::new();
    for (cut, number) in sheet.cuts() {
        let Some((mm, piece, freed_by)) = lost_along(sheet, map, number) else {
            continue;
        };
        let spot = if mm <= 0.0 {
            Spot::torch_on(number, cut).at(sheet.placer.place(cut.pierce))
        } else {
            sheet.spot_at(number, mm)
        };
        if freed_by == Some(number) {
            parts_its_own(sheet, findings, number, map.freed_at_mm(piece), spot);
            continue;
        }
        let entry = lost.entry((piece, freed_by)).or_insert((Vec::new(), spot));
        entry.0.push(number);
    }
    for ((_, freed_by), (cuts, spot)) in lost {
        findings.refuse(NAME, spot, || {
            let who = if cuts.len() == 1 { "Cut" } else { "Cuts" };
            let (is, its) = if cuts.len() == 1 { ("is", "its arc has") } else { ("are", "their arcs have") };
            let why = freed_by.map_or_else(
                || "that lay apart from the clamp from the start".to_owned(),
                |cut| format!("that cut {cut} has parted from the ground clamp"),
            );
            (
                format!("{who} {} {is} on metal {why}: {its} no return path.", numbers(&cuts)),
                match freed_by {
                    Some(cut) => format!("Cut {} before cut {cut}, or move the clamp onto metal that stays joined to them.", numbers(&cuts)),
                    None => "Move the ground clamp onto the metal that is cut.".to_owned(),
                },
            )
        }).of_cuts(cuts.iter().copied());
    }
}

/// A cut that goes on on metal that it has itself parted from the clamp: no order mends that.
fn parts_its_own(
    sheet: &OnSheet<'_>,
    findings: &mut Findings,
    number: usize,
    freed_at_mm: f64,
    spot: Spot,
) {
    let closed = sheet.spot_at(number, freed_at_mm);
    findings.refuse(NAME, spot, || {
        (
            format!(
                "Cut {number} itself parts the metal that it goes on in from the ground clamp, in line {}, and then runs on: its arc has no return path any more.",
                closed.line
            ),
            format!(
                "Usually a torch-off is missing behind line {}: end the cut there, or lead it so that it does not close on itself before its end.",
                closed.line
            ),
        )
    });
}

/// Where a cut (from 1) has no metal near it that connects to the clamp, though it has metal: how
/// far along, on which piece, and which cut has parted it.
fn lost_along(sheet: &OnSheet<'_>, map: &PieceMap, number: usize) -> Option<(f64, u32, Option<usize>)> {
    let line = sheet.flat().line(number - 1);
    let radius = sheet.input.kerf_mm? / 2.0 + REACH_MM;
    let mut before: Option<(f64, u32, Option<usize>)> = None;
    for (tick, strand) in map.strands.of_cut(number - 1) {
        let p = line.at(strand.from_mm);
        let clamped = map.clamped(tick);
        if clamped.is_some() && joins(map, line.direction(strand.from_mm + 1e-9), (p, radius), (tick, clamped)) {
            before = None;
            continue;
        }
        let (mut joined, mut on) = (false, None);
        map.near_as_laid(p, radius, tick, |piece| {
            joined = Some(piece) == clamped;
            on = on.or(Some(piece));
            joined
        });
        let here = match on {
            Some(piece) if !joined => {
                let apart = if map.is_free(piece) { Some(piece) } else { clamped };
                let freed = apart.map_or(0, |id| map.freed(id));
                Some((strand.from_mm, apart.unwrap_or(piece), map.strands.cut_at(freed).map(|c| c + 1)))
            }
            _ => None,
        };
        match (before, here) {
            // The pierce counts by itself; further on two places in a row.
            (_, Some(h)) if strand.from_mm <= 0.0 => return Some(h),
            (Some(b), Some(_)) => return Some(b),
            _ => before = here,
        }
    }
    None
}

/// Whether the clamp's metal lies within `radius` of a place, by a few places about it: nearly everywhere it
/// lies on one of the two sides.
fn joins(map: &PieceMap, (ux, uy): (f64, f64), (p, radius): (Point, f64), (tick, clamped): (Tick, Option<u32>)) -> bool {
    // A place's cell counts by its middle, which lies up to 0.71 of a cell away.
    let off = radius - map.cell_mm();
    let beside = [(-uy, ux), (uy, -ux), (ux, uy)];
    off > 0.0 && beside.iter().any(|(x, y)| map.piece_at(p.moved(off * x, off * y), tick) == clamped)
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame::{Rect, nothing, order};

    const PART: Rect = Rect(40.0, 40.0, 160.0, 140.0);
    const HOLE: Rect = Rect(80.0, 70.0, 110.0, 100.0);
    const FAR: Rect = Rect(200.0, 40.0, 260.0, 100.0);

    #[test]
    fn a_hole_after_its_outline_has_no_return_path_and_the_other_order_has() {
        let wrong = order(&[PART.outline(), HOLE.hole()], |_| ());
        assert!(wrong.contains(&"refuse return-path-lost 2".to_owned()), "{wrong:?}");
        assert!(wrong.contains(&"warn hole-after-outline 2".to_owned()), "{wrong:?}");
        assert_eq!(order(&[HOLE.hole(), PART.outline()], |_| ()), nothing());
    }

    #[test]
    fn a_tab_of_5_mm_keeps_the_return_path_and_one_of_0_3_mm_does_not() {
        // Kerf 1.45: a gap of 6.45 between the kerfs' middles leaves 5 mm.
        let lost = |tab: f64| {
            let all = order(&[PART.tabbed(tab + 1.45), HOLE.hole()], |_| ());
            all.contains(&"refuse return-path-lost 2".to_owned())
        };
        assert!(!lost(5.0));
        assert!(!lost(1.0));
        assert!(lost(0.3));
    }

    #[test]
    fn a_part_from_a_free_slug_is_refused_and_from_a_held_one_is_not() {
        let slug = Rect(60.0, 60.0, 140.0, 130.0);
        let inner = Rect(90.0, 85.0, 115.0, 110.0);
        let free = order(&[slug.hole(), inner.outline(), PART.outline()], |_| ());
        assert!(free.contains(&"refuse return-path-lost 2".to_owned()), "{free:?}");
        let held = format!(
            "G0 X100 Y66\nM3\nG1 Y60 F1100\nG1 X140\nG1 Y130\nG1 X60\nG1 Y60\nG1 X{}\nM5\n",
            100.0 - 6.45
        );
        let held = order(&[held, inner.outline(), PART.outline()], |_| ());
        assert!(!held.iter().any(|f| f.contains("return-path-lost")), "{held:?}");
        let right = order(&[inner.outline(), slug.hole(), PART.outline()], |_| ());
        assert!(right.iter().all(|f| f.starts_with("note")), "{right:?}");
    }

    #[test]
    fn all_cuts_on_one_free_piece_are_told_together() {
        let second = Rect(120.0, 70.0, 150.0, 100.0);
        let all = order(&[PART.outline(), HOLE.hole(), second.hole()], |_| ());
        let lost: Vec<_> = all.iter().filter(|f| f.contains("return-path-lost")).collect();
        assert_eq!(lost, ["refuse return-path-lost 2"]);
    }

    #[test]
    fn a_path_that_runs_from_the_sheet_onto_a_free_part_is_refused_where_it_does() {
        let across = "G0 X20 Y90\nM3\nG1 X120 F1100\nM5\n".to_owned();
        let all = order(&[PART.outline(), across.clone()], |_| ());
        assert!(all.contains(&"refuse return-path-lost 2".to_owned()), "{all:?}");
        assert_eq!(order(&[across, FAR.outline()], |_| ()), nothing());
    }

    #[test]
    fn a_cut_that_parts_its_own_metal_is_told_as_that_and_not_as_an_order() {
        // The hole's torch-off is forgotten, and the next hole is cut without lifting the arc... but
        // the first contour is the part's: what follows lies in the part.
        let outline = PART.outline();
        let on = outline.trim_end_matches("M5\n");
        let text = format!("{on}G1 X100 Y90\nG1 X120\nM5\n");
        let mut setup = crate::vetting::rules::frame::setup();
        setup.origin = Point::new(0.0, 0.0);
        let input = crate::vetting::rules::frame::input(&setup);
        let program = crate::vetting::rules::frame::program(&[text]);
        let report = crate::vetting::rules::frame::report_with(&program, &input);
        let own: Vec<_> = report.findings.iter().filter(|f| f.rule == super::NAME).collect();
        let [finding] = own.as_slice() else {
            panic!("{own:?}")
        };
        assert!(finding.says.starts_with("Cut 1 itself parts the metal"), "{finding:?}");
        // Line 9 closes the part, the torch-off belongs behind it.
        assert!(finding.remedy.contains("torch-off is missing behind line 9"), "{finding:?}");
        assert!(!report.findings.iter().any(|f| f.says.contains("before cut 1") || f.remedy.contains("before cut 1")), "{report:?}");
    }

    #[test]
    fn without_a_clamp_it_is_not_judged() {
        let setup = |s: &mut crate::Setup| s.clamp = None;
        let all = order(&[PART.outline(), HOLE.hole()], setup);
        assert!(!all.iter().any(|f| f.contains("return-path-lost")));
    }

    #[test]
    fn a_clamp_on_a_part_leaves_the_rest_without_a_return_path() {
        let all = order(&[PART.outline(), FAR.outline()], |s| s.clamp = Some(Point::new(100.0, 90.0)));
        assert!(all.contains(&"refuse return-path-lost 2".to_owned()), "{all:?}");
        assert!(all.contains(&"refuse clamp-on-dropout 1".to_owned()), "{all:?}");
    }
}
