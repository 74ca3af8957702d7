//! Which chart row a job is cut with.

use process::{Between, ChartRow, Choice};
use program::Setup;

/// What the chart has for a setup.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) enum Chosen {
    /// No setup or no chart.
    #[default]
    NotGiven,
    /// No row: why.
    Missing(String),
    /// Several rows: their names.
    Several(Vec<String>),
    /// A row.
    Row {
        row: ChartRow,
        /// Reckoned from these two.
        between: Option<[String; 2]>,
        /// Named, and for another sheet: which.
        for_other: Option<String>,
    },
}

impl Chosen {
    pub fn row(&self) -> Option<&ChartRow> {
        match self {
            Self::Row { row, .. } => Some(row),
            Self::NotGiven | Self::Missing(_) | Self::Several(_) => None,
        }
    }
}

/// Named rows may be for a sheet so much thinner or thicker, as a part.
const NAMED_OFF: f64 = 0.10;

/// What the chart has for a setup: the row that it names, the one that fits, or what lies between
/// two rows of one current.
pub(crate) fn choose(chart: &[ChartRow], setup: Option<&Setup>) -> Chosen {
    let Some(setup) = setup.filter(|_| !chart.is_empty()) else {
        return Chosen::NotGiven;
    };
    let (material, thickness) = (&setup.material, setup.thickness);
    let reckoned = |amps| match process::between(chart, material, thickness, amps) {
        Between::One { row, rows } => Some(Chosen::Row {
            row,
            between: Some(rows),
            for_other: None,
        }),
        Between::Several(names) => Some(Chosen::Several(names)),
        Between::None => None,
    };
    let named = setup.chart.as_deref();
    match process::choose(chart, material, thickness, named) {
        Choice::One(row) => {
            let far = (row.thickness_mm - thickness).abs() > NAMED_OFF * thickness + 1e-9;
            let other = row.material != *material;
            if far
                && !other
                && let Some(reckoned) = reckoned(Some(row.amps))
            {
                return reckoned;
            }
            let for_other = (far || other).then(|| {
                format!(
                    "it is for {} {} mm, the sheet is {material} {thickness} mm",
                    row.material, row.thickness_mm
                )
            });
            Chosen::Row {
                row,
                between: None,
                for_other,
            }
        }
        Choice::Several(names) => Chosen::Several(names),
        Choice::None => match named {
            Some(name) => Chosen::Missing(format!("the chart has no row named {name:?}")),
            None => reckoned(None).unwrap_or_else(|| {
                Chosen::Missing(format!("no row for {material} {thickness} mm"))
            }),
        },
    }
}

/// Why there is no row, in words.
pub(crate) fn why_none(
    chart: &[ChartRow],
    setup: Option<&Setup>,
    chosen: &Chosen,
) -> Option<String> {
    match (chosen, setup) {
        (Chosen::NotGiven, Some(_)) if chart.is_empty() => Some("no chart is configured".into()),
        (Chosen::Missing(why), _) => Some(why.clone()),
        (Chosen::Several(names), Some(setup)) => Some(format!(
            "several rows fit {} {} mm and the setup names none: {}",
            setup.material,
            setup.thickness,
            names.join(", ")
        )),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(thickness_mm: f64, amps: f64) -> ChartRow {
        ChartRow {
            name: format!("mild-steel {thickness_mm} mm {amps} A"),
            material: "mild-steel".into(),
            amps,
            thickness_mm,
            feed_mm_min: 4000.0 / thickness_mm,
            pierce_height_mm: 3.5,
            cut_height_mm: 1.5,
            pierce_delay_s: 0.4,
            volts: 113.0,
            kerf_mm: 1.45,
        }
    }

    fn setup(thickness_mm: f64, chart: &str) -> Setup {
        let text = format!(
            "material = \"mild-steel\"\nthickness = {thickness_mm}\nsheet = [100, 100]\norigin = [0, 0]\n{chart}"
        );
        Setup::from_toml(&text).expect("a right setup")
    }

    #[test]
    fn the_one_row_that_fits_is_taken_and_of_several_none() {
        let chart = [row(5.0, 40.0), row(8.0, 40.0)];
        let chosen = choose(&chart, Some(&setup(5.0, "")));
        assert_eq!(chosen.row(), Some(&chart[0]));
        let both = [row(5.0, 40.0), row(5.0, 60.0)];
        let setup = setup(5.0, "");
        let chosen = choose(&both, Some(&setup));
        assert_eq!(chosen.row(), None);
        let why = why_none(&both, Some(&setup), &chosen).expect("a reason");
        assert!(
            why.ends_with("mild-steel 5 mm 40 A, mild-steel 5 mm 60 A"),
            "{why}"
        );
    }

    #[test]
    fn between_two_rows_of_one_current_a_row_is_reckoned_and_beyond_them_none() {
        let chart = [row(5.0, 40.0), row(8.0, 40.0)];
        let chosen = choose(&chart, Some(&setup(6.0, "")));
        let Chosen::Row { row, between, .. } = &chosen else {
            panic!("a row: {chosen:?}");
        };
        assert_eq!(row.thickness_mm, 6.0);
        let names = between.clone().expect("reckoned");
        assert_eq!(names, [chart[0].name.clone(), chart[1].name.clone()]);
        let thick = setup(12.0, "");
        let chosen = choose(&chart, Some(&thick));
        let why = why_none(&chart, Some(&thick), &chosen);
        assert_eq!(why.as_deref(), Some("no row for mild-steel 12 mm"));
    }

    #[test]
    fn a_row_named_for_another_sheet_says_so_and_one_that_is_missing_is_told_by_name() {
        let chart = [row(5.0, 40.0)];
        let named = setup(8.0, "chart = \"mild-steel 5 mm 40 A\"");
        let Chosen::Row { for_other, .. } = choose(&chart, Some(&named)) else {
            panic!("the named row");
        };
        assert_eq!(
            for_other.as_deref(),
            Some("it is for mild-steel 5 mm, the sheet is mild-steel 8 mm")
        );
        let missing = setup(5.0, "chart = \"x\"");
        let chosen = choose(&chart, Some(&missing));
        let why = why_none(&chart, Some(&missing), &chosen).expect("a reason");
        assert_eq!(why, "the chart has no row named \"x\"");
    }
}
