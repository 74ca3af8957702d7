//! The cuts as they lie on the sheet, and a sheet for a program that comes without one.

use process::ChartRow;
use program::{Facts, Reading, Setup, VetInput, Watch};
use units::{Placement, Point, Segment};

use crate::job::{JobCut, JobElement};
use crate::table::Table;

/// Margin of a sheet that is laid round a program for practice, mm.
const MARGIN_MM: f64 = 40.0;

/// Where a program's zero lies.
pub(crate) fn placement(setup: &Setup) -> Placement {
    Placement {
        origin: setup.origin,
        rotation_deg: setup.rotation,
    }
}

/// The pieces of a cut's path as they lie on the sheet, with their feeds, mm/s.
pub(crate) fn pieces<'a>(
    cut: &'a program::Cut,
    placement: Placement,
    chart_feed_mm_s: f64,
) -> impl Iterator<Item = (Segment, f64)> + 'a {
    let feed = move |e: &program::Element| e.feed_mm_s.unwrap_or(chart_feed_mm_s);
    cut.path
        .iter()
        .map(move |e| (e.segment.placed(&placement), feed(e)))
}

/// The cuts as they lie on the sheet.
pub(crate) fn cuts(
    reading: &Reading,
    setup: &Setup,
    row: &ChartRow,
    crossings: &[Vec<[f64; 2]>],
    freed_by: &[Option<usize>],
) -> Vec<JobCut> {
    let placement = placement(setup);
    let element = |e: &program::Element| JobElement {
        segment: e.segment.placed(&placement),
        feed_mm_s: e.feed_mm_s.unwrap_or(row.feed_mm_s()),
        line: e.line,
    };
    reading
        .cut_list
        .cuts
        .iter()
        .enumerate()
        .map(|(i, cut)| JobCut {
            pierce: placement.place(cut.pierce),
            path: cut.path.iter().map(element).collect(),
            crossings: crossings.get(i).cloned().unwrap_or_default(),
            freed_by: freed_by.get(i).copied().flatten(),
        })
        .collect()
}

/// For each cut the last before it that frees a piece near its pierce: asked only where touch-offs
/// may be skipped. Where the pieces are not known, every cut may have freed one.
pub(crate) fn freed_by(
    table: &Table<'_>,
    reading: &Reading,
    setup: Option<&Setup>,
    kerf_mm: Option<f64>,
    watch: &dyn Watch,
) -> Vec<Option<usize>> {
    let Some(setup) = setup.filter(|_| table.cycle.skip_touch_mm > 0.0) else {
        return Vec::new();
    };
    let map = program::piece_map(
        reading,
        &VetInput {
            setup: Some(setup),
            travel: table.travel_xy(),
            sheet_corner: table.sheet_corner,
            kerf_mm,
            chart_feed_mm_s: None,
            traverse_height_mm: table.cycle.safe_height_mm,
            line_limit: table.line_limit,
            no_row: None,
            facts: Facts::default(),
        },
        watch,
    );
    let freed = map.as_ref().map(program::FreedNear::new);
    let placement = placement(setup);
    let last_near = |i: usize, pierce: Point| match &freed {
        None => i.checked_sub(1),
        Some(freed) => freed.last_before(i, pierce, process::FREED_NEAR_MM),
    };
    let cuts = reading.cut_list.cuts.iter().enumerate();
    cuts.map(|(i, cut)| last_near(i, placement.place(cut.pierce)))
        .collect()
}

/// A sheet laid round a program that comes without a setup, for practice: the chart's 5 mm row
/// where there is one, else its first.
#[must_use]
pub fn sheet_for(table: &Table<'_>, text: &[u8]) -> Option<Setup> {
    let reading = program::read(text, &table.words);
    let bounds = reading
        .cut_list
        .cuts
        .iter()
        .flat_map(|c| c.path.iter().map(|e| e.segment.bounds()))
        .reduce(|mut all, one| {
            all.join(&one);
            all
        })?;
    let row = table
        .chart
        .iter()
        .find(|r| r.material == "mild-steel" && r.thickness_mm == 5.0)
        .or(table.chart.first());
    let up = |mm: f64| ((mm + 2.0 * MARGIN_MM) / 10.0).ceil() * 10.0;
    Some(Setup {
        material: row.map_or_else(|| "mild-steel".into(), |r| r.material.clone()),
        thickness: row.map_or(5.0, |r| r.thickness_mm),
        sheet: Point::new(up(bounds.width()), up(bounds.height())),
        origin: Point::new(MARGIN_MM - bounds.low.x, MARGIN_MM - bounds.low.y),
        rotation: 0.0,
        clamp: None,
        chart: row.map(|r| r.name.clone()),
        kerf: None,
        used: Vec::new(),
        tabs: Vec::new(),
        keepouts: Vec::new(),
        coating: None,
        water_table: false,
    })
}
