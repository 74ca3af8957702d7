//! Cut charts: rows of settings by material, thickness and current.

mod judged;

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

pub use judged::{Judged, Origin, Plausible, RowSource};

/// Rows whose thickness differs by no more than this are for the same sheet, mm.
const SAME_THICKNESS_MM: f64 = 0.05;

/// One row of a cut chart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChartRow {
    /// How a setup names it.
    pub name: String,
    /// Material, as setups write it.
    pub material: String,
    /// Current, A.
    pub amps: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Feed along the cut, mm/min as the trade writes it; see [`ChartRow::feed_mm_s`].
    pub feed_mm_min: f64,
    /// Height of the tip above the sheet at the pierce, mm.
    pub pierce_height_mm: f64,
    /// Height of the tip above the sheet along the cut, mm.
    pub cut_height_mm: f64,
    /// From arc OK to the start of the path, s.
    pub pierce_delay_s: f64,
    /// Arc voltage at cut height, V.
    pub volts: f64,
    /// Width of the slot, mm.
    pub kerf_mm: f64,
}

impl ChartRow {
    /// Feed along the cut, mm/s.
    #[must_use]
    pub fn feed_mm_s(&self) -> f64 {
        self.feed_mm_min / 60.0
    }
}

/// What is wrong with a chart.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{at}: {says}; {remedy}")]
pub struct ChartError {
    /// Line and column, or row and key.
    pub at: String,
    /// What is wrong.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

/// A cut chart: rows that were checked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chart {
    rows: Vec<ChartRow>,
    /// Where each row comes from.
    origins: Vec<Origin>,
}

/// Which row a setup means.
#[derive(Clone, Debug, PartialEq)]
pub enum Choice {
    /// This one.
    One(ChartRow),
    /// Several fit; none is assumed. Their names.
    Several(Vec<String>),
    /// None fits, or none has the name that was given.
    None,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    row: Vec<FileRow>,
}

/// A row as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileRow {
    name: String,
    material: String,
    amps: f64,
    thickness_mm: f64,
    feed_mm_min: f64,
    pierce_height_mm: f64,
    cut_height_mm: f64,
    pierce_delay_s: f64,
    volts: f64,
    kerf_mm: f64,
    source: Option<RowSource>,
    date: Option<String>,
}

impl FileRow {
    fn parted(self) -> (ChartRow, Origin) {
        let row = ChartRow {
            name: self.name,
            material: self.material,
            amps: self.amps,
            thickness_mm: self.thickness_mm,
            feed_mm_min: self.feed_mm_min,
            pierce_height_mm: self.pierce_height_mm,
            cut_height_mm: self.cut_height_mm,
            pierce_delay_s: self.pierce_delay_s,
            volts: self.volts,
            kerf_mm: self.kerf_mm,
        };
        let origin = Origin {
            source: self.source,
            date: self.date,
        };
        (row, origin)
    }
}

impl Chart {
    /// Reads and checks a chart: `[[row]]` tables with the keys of [`ChartRow`], and where each comes from
    /// ([`Origin`]).
    ///
    /// # Errors
    /// Where, what is wrong, and what to do.
    pub fn from_toml(text: &str) -> Result<Self, ChartError> {
        let file: File = toml::from_str(text).map_err(|e| {
            let before = e
                .span()
                .and_then(|s| text.get(..s.start))
                .unwrap_or_default();
            let line = before.matches('\n').count() + 1;
            let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
            ChartError {
                at: format!("line {line}, column {column}"),
                says: e.message().to_owned(),
                remedy: "give each [[row]] the keys name, material, amps, thickness_mm, \
                         feed_mm_min, pierce_height_mm, cut_height_mm, pierce_delay_s, volts and \
                         kerf_mm, where you like source (own-test, makers-book or invented) and date, and \
                         no other"
                    .into(),
            }
        })?;
        let (rows, origins) = file.row.into_iter().map(FileRow::parted).unzip();
        let chart = Self { rows, origins };
        check_rows(&chart.rows)?;
        chart.check_days()?;
        Ok(chart)
    }

    fn check_days(&self) -> Result<(), ChartError> {
        for (i, (row, origin)) in self.rows.iter().zip(&self.origins).enumerate() {
            let day = origin.date.as_deref();
            if let Some(day) = day.filter(|day| !judged::is_day(day)) {
                return Err(ChartError {
                    at: format!("row {} ({}), date", i + 1, row.name),
                    says: format!("{day:?} is no day"),
                    remedy: "write it as year, month, day: 2026-03-14".into(),
                });
            }
        }
        Ok(())
    }

    /// The rows, as they stand in the file.
    #[must_use]
    pub fn rows(&self) -> &[ChartRow] {
        &self.rows
    }

    /// The rows, for whoever keeps them.
    #[must_use]
    pub fn into_rows(self) -> Vec<ChartRow> {
        self.rows
    }

    /// See [`choose`].
    #[must_use]
    pub fn choose(&self, material: &str, thickness_mm: f64, named: Option<&str>) -> Choice {
        choose(&self.rows, material, thickness_mm, named)
    }
}

/// Checks rows that were read elsewhere: names, and numbers within what a small air source can
/// sensibly be set to (ranges invented).
///
/// # Errors
/// The row, the key, what is wrong and what to do.
pub fn check_rows(rows: &[ChartRow]) -> Result<(), ChartError> {
    let mut names = BTreeSet::new();
    for (i, row) in rows.iter().enumerate() {
        let wrong = |key: &str, says: String, remedy: String| {
            let name = if row.name.is_empty() {
                String::new()
            } else {
                format!(" ({})", row.name)
            };
            Err(ChartError {
                at: format!("row {}{name}, {key}", i + 1),
                says,
                remedy,
            })
        };
        for (key, text) in [("name", &row.name), ("material", &row.material)] {
            if text.trim() != text || text.is_empty() {
                return wrong(
                    key,
                    format!("{text:?} is empty or begins or ends with a space"),
                    "write it as setups do".into(),
                );
            }
        }
        if !names.insert(row.name.as_str()) {
            return wrong(
                "name",
                "an earlier row has the same".into(),
                "give each row a name of its own".into(),
            );
        }
        let ranges = [
            ("amps", row.amps, 1.0, 400.0),
            ("thickness_mm", row.thickness_mm, 0.1, 60.0),
            ("feed_mm_min", row.feed_mm_min, 10.0, 30_000.0),
            ("pierce_height_mm", row.pierce_height_mm, 0.5, 15.0),
            ("cut_height_mm", row.cut_height_mm, 0.3, 10.0),
            ("pierce_delay_s", row.pierce_delay_s, 0.0, 5.0),
            ("volts", row.volts, 40.0, 250.0),
            ("kerf_mm", row.kerf_mm, 0.1, 8.0),
        ];
        for (key, n, low, high) in ranges {
            if !(low..=high).contains(&n) {
                return wrong(
                    key,
                    format!("{n} is out of range"),
                    format!("give {low} to {high}"),
                );
            }
        }
        if row.cut_height_mm > row.pierce_height_mm {
            return wrong(
                "pierce_height_mm",
                format!(
                    "{} lies below the cut height {}",
                    row.pierce_height_mm, row.cut_height_mm
                ),
                "pierce at cut height or higher, or the spatter closes the nozzle".into(),
            );
        }
    }
    Ok(())
}

/// Which row is meant: the one that is named, whatever it is for; without a name the one row that
/// fits material and thickness (within 0.05 mm). Where several fit, none is assumed.
#[must_use]
pub fn choose(rows: &[ChartRow], material: &str, thickness_mm: f64, named: Option<&str>) -> Choice {
    if let Some(name) = named {
        return rows
            .iter()
            .find(|r| r.name == name)
            .map_or(Choice::None, |r| Choice::One(r.clone()));
    }
    // The last digit of the file's decimals must not decide.
    let fits = |r: &&ChartRow| {
        r.material == material && (r.thickness_mm - thickness_mm).abs() <= SAME_THICKNESS_MM + 1e-9
    };
    let fitting: Vec<&ChartRow> = rows.iter().filter(fits).collect();
    match fitting.as_slice() {
        [] => Choice::None,
        [one] => Choice::One((*one).clone()),
        several => Choice::Several(several.iter().map(|r| r.name.clone()).collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INVENTED: &str = include_str!("../../../config/charts/invented.toml");

    fn invented() -> Chart {
        Chart::from_toml(INVENTED).expect("the invented chart is a chart")
    }

    fn with(key: &str, value: &str) -> ChartError {
        let good = "[[row]]\nname = \"a\"\nmaterial = \"mild-steel\"\namps = 40\nthickness_mm = 5\n\
                    feed_mm_min = 1100\npierce_height_mm = 3.5\ncut_height_mm = 1.5\n\
                    pierce_delay_s = 0.4\nvolts = 113\nkerf_mm = 1.45\n";
        Chart::from_toml(good).expect("the example is good");
        let bad: String = good
            .lines()
            .map(|l| {
                if l.starts_with(key) {
                    format!("{key} = {value}\n")
                } else {
                    format!("{l}\n")
                }
            })
            .collect();
        Chart::from_toml(&bad).expect_err("it was spoilt")
    }

    #[test]
    fn the_invented_chart_has_every_row_and_says_what_it_is() {
        let chart = invented();
        // 12 of mild steel, 10 of stainless, 9 of aluminium.
        assert_eq!(chart.rows().len(), 31);
        assert!(INVENTED.starts_with("# INVENTED DATA - not for cutting metal."));
    }

    #[test]
    fn a_named_row_is_taken_whatever_the_setup_says() {
        let Choice::One(row) = invented().choose("stainless", 1.0, Some("mild-steel 5 mm 40 A"))
        else {
            panic!("it is there");
        };
        assert_eq!(
            (row.feed_mm_min, row.kerf_mm, row.volts),
            (1100.0, 1.45, 113.0)
        );
        assert_eq!(
            invented().choose("mild-steel", 5.0, Some("five")),
            Choice::None
        );
    }

    #[test]
    fn without_a_name_the_one_row_that_fits_is_taken_and_of_several_none() {
        let chart = invented();
        assert!(matches!(
            chart.choose("mild-steel", 8.0, None),
            Choice::One(row) if row.name == "mild-steel 8 mm 55 A"
        ));
        assert_eq!(
            chart.choose("mild-steel", 5.0, None),
            Choice::Several(vec![
                "mild-steel 5 mm 40 A".into(),
                "mild-steel 5 mm 55 A".into()
            ])
        );
        assert_eq!(chart.choose("brass", 5.0, None), Choice::None);
    }

    #[test]
    fn thickness_fits_within_a_twentieth_and_not_one_step_beyond() {
        let chart = invented();
        for (thickness, fits) in [(8.05, true), (7.95, true), (8.06, false), (7.94, false)] {
            let one = matches!(chart.choose("mild-steel", thickness, None), Choice::One(_));
            assert_eq!(one, fits, "{thickness} mm");
        }
    }

    #[test]
    fn what_is_wrong_is_named_with_row_key_and_remedy() {
        let errors = [
            with("feed_mm_min", "0"),
            with("amps", "nan"),
            with("name", "\"\""),
            with("cut_height_mm", "4"),
            with("kerf_mm", "\"wide\""),
            with("kerf_mm", "1.45\nkerf = 2"),
            Chart::from_toml("[[row]]\nname = \"a\"\n").expect_err("keys are missing"),
            Chart::from_toml(&INVENTED.replace("2 mm 25 A", "3 mm 25 A")).expect_err("two alike"),
        ];
        let lines: String = errors.iter().map(|e| format!("{e}\n")).collect();
        insta::assert_snapshot!(lines);
    }
}
