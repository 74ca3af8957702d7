//! Settings between two rows of a chart: same material, same current.

use crate::chart::ChartRow;

/// Rows whose thickness differs by no more than this are for the same sheet, mm.
const SAME_THICKNESS_MM: f64 = 0.05;
/// So far beyond the end rows, as a part of their thickness (common practice; the number invented).
const BEYOND: f64 = 0.10;

/// What lies between the rows of a chart.
#[derive(Clone, Debug, PartialEq)]
pub enum Between {
    /// Reckoned from these two rows.
    One {
        /// The settings.
        row: ChartRow,
        /// The names of the two rows.
        rows: [String; 2],
    },
    /// Rows of several currents lie on both sides; none is assumed. The names of the rows below.
    Several(Vec<String>),
    /// The thickness lies beyond the chart's ends.
    None,
}

/// The settings for a thickness that no row is for: feed by a power law, the rest linear, from the
/// two nearest rows of one material and one current. `amps` picks the current; without it there
/// must be one current alone that has rows for this thickness.
#[must_use]
pub fn between(rows: &[ChartRow], material: &str, thickness_mm: f64, amps: Option<f64>) -> Between {
    let same = |a: f64, b: f64| (a - b).abs() < 1e-9;
    let mut currents: Vec<f64> = Vec::new();
    for row in rows.iter().filter(|r| r.material == material) {
        let wanted = amps.is_none_or(|a| same(a, row.amps));
        if wanted && !currents.iter().any(|a| same(*a, row.amps)) {
            currents.push(row.amps);
        }
    }
    let mut found = Vec::new();
    for amps in currents {
        let mut group: Vec<&ChartRow> = rows
            .iter()
            .filter(|r| r.material == material && same(r.amps, amps))
            .collect();
        group.sort_by(|a, b| a.thickness_mm.total_cmp(&b.thickness_mm));
        let twice =
            |two: &[&ChartRow]| two[1].thickness_mm - two[0].thickness_mm <= SAME_THICKNESS_MM;
        // Two rows for one sheet stand for two nozzles: there is no telling which is meant.
        if group.windows(2).any(twice) {
            continue;
        }
        if let Some((a, b)) = pair(&group, thickness_mm) {
            found.push((a, b));
        }
    }
    match found.as_slice() {
        [] => Between::None,
        [(a, b)] => Between::One {
            row: mix(a, b, thickness_mm),
            rows: [a.name.clone(), b.name.clone()],
        },
        several => Between::Several(several.iter().map(|(a, _)| a.name.clone()).collect()),
    }
}

/// The two rows that a thickness lies between, or is at most a tenth beyond.
fn pair<'a>(group: &[&'a ChartRow], t: f64) -> Option<(&'a ChartRow, &'a ChartRow)> {
    let (first, last) = (group.first()?, group.last()?);
    let low = first.thickness_mm * (1.0 - BEYOND) - 1e-9;
    let high = last.thickness_mm * (1.0 + BEYOND) + 1e-9;
    if !(low..=high).contains(&t) {
        return None;
    }
    let above = group.iter().position(|r| r.thickness_mm >= t);
    let upper = above.unwrap_or(group.len() - 1).max(1);
    Some((group.get(upper - 1)?, group.get(upper)?))
}

fn mix(a: &ChartRow, b: &ChartRow, t: f64) -> ChartRow {
    let (ta, tb) = (a.thickness_mm, b.thickness_mm);
    let part = (t - ta) / (tb - ta);
    let linear = |x: f64, y: f64| x + part * (y - x);
    let power = (b.feed_mm_min / a.feed_mm_min).ln() / (tb / ta).ln();
    let pierce_height_mm = linear(a.pierce_height_mm, b.pierce_height_mm);
    ChartRow {
        name: format!("{} {t} mm {} A, between rows", a.material, a.amps),
        material: a.material.clone(),
        amps: a.amps,
        thickness_mm: t,
        feed_mm_min: a.feed_mm_min * (t / ta).powf(power),
        pierce_height_mm,
        cut_height_mm: linear(a.cut_height_mm, b.cut_height_mm).min(pierce_height_mm),
        pierce_delay_s: linear(a.pierce_delay_s, b.pierce_delay_s).max(0.0),
        volts: linear(a.volts, b.volts),
        kerf_mm: linear(a.kerf_mm, b.kerf_mm).max(0.1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Chart;

    fn invented() -> Vec<ChartRow> {
        Chart::from_toml(include_str!("../../../config/charts/invented.toml"))
            .expect("the invented chart is a chart")
            .into_rows()
    }

    fn one(rows: &[ChartRow], material: &str, t: f64, amps: Option<f64>) -> ChartRow {
        match between(rows, material, t, amps) {
            Between::One { row, .. } => row,
            other => panic!("{t} mm: {other:?}"),
        }
    }

    #[test]
    fn feed_follows_a_power_law_and_the_rest_a_straight_line() {
        // Process handbook 4.1, calculated there from the invented chart: 3.5 mm from 3 and 4 mm.
        let row = one(&invented(), "mild-steel", 3.5, Some(40.0));
        assert_eq!(format!("{:.0}", row.feed_mm_min), "1792");
        assert!((row.kerf_mm - 1.36).abs() < 1e-9 && (row.volts - 111.5).abs() < 1e-9);
        assert!((row.pierce_delay_s - 0.275).abs() < 1e-9);
        // 4 mm from the rows of 3 and 5 mm.
        let without: Vec<ChartRow> = invented()
            .into_iter()
            .filter(|r| r.thickness_mm != 4.0)
            .collect();
        let row = one(&without, "mild-steel", 4.0, None);
        assert_eq!(format!("{:.0}", row.feed_mm_min), "1489");
    }

    #[test]
    fn both_rows_are_named_and_currents_are_never_mixed() {
        assert_eq!(
            between(&invented(), "mild-steel", 7.0, None),
            Between::One {
                row: one(&invented(), "mild-steel", 7.0, Some(55.0)),
                rows: ["mild-steel 6 mm 55 A".into(), "mild-steel 8 mm 55 A".into()],
            }
        );
        assert_eq!(
            between(&invented(), "mild-steel", 5.5, None),
            Between::Several(vec![
                "mild-steel 5 mm 40 A".into(),
                "mild-steel 5 mm 55 A".into()
            ])
        );
        assert_eq!(one(&invented(), "mild-steel", 5.5, Some(40.0)).amps, 40.0);
    }

    #[test]
    fn at_most_a_tenth_beyond_the_end_rows() {
        let rows = invented();
        assert_eq!(one(&rows, "mild-steel", 11.0, None).amps, 55.0);
        assert_eq!(between(&rows, "mild-steel", 11.01, None), Between::None);
        assert_eq!(one(&rows, "aluminium", 1.35, None).amps, 40.0);
        assert_eq!(between(&rows, "aluminium", 1.34, None), Between::None);
        assert_eq!(between(&rows, "brass", 3.0, None), Between::None);
        assert_eq!(between(&rows, "mild-steel", f64::NAN, None), Between::None);
    }

    #[test]
    fn one_row_alone_or_two_for_one_sheet_tell_nothing_of_what_lies_beside() {
        let all = invented();
        let lone: Vec<ChartRow> = all
            .iter()
            .filter(|r| r.thickness_mm == 10.0)
            .cloned()
            .collect();
        assert_eq!(between(&lone, "mild-steel", 10.5, None), Between::None);
        let mut twice = all;
        let mut other = one(&twice, "mild-steel", 8.0, Some(55.0));
        other.thickness_mm = 8.0;
        twice.push(other);
        assert_eq!(between(&twice, "mild-steel", 7.0, None), Between::None);
    }
}
