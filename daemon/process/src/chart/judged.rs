//! What a chart's rows say of themselves: where each comes from, and whether the arc's power can do it.

use serde::{Deserialize, Serialize};

use super::{Chart, ChartRow};
use crate::energy::{Balance, Metal};

/// Where a row comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RowSource {
    /// Cut and measured on this table.
    OwnTest,
    /// Of the power source's book.
    MakersBook,
    /// Neither: not for cutting metal.
    Invented,
}

/// Where a row comes from, and since when.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Origin {
    /// `None`: the file does not say.
    pub source: Option<RowSource>,
    /// Year, month and day, as 2026-03-14; `None`: the file does not say.
    pub date: Option<String>,
}

/// More of the arc's power than this cannot go into melting the kerf, and less than the first cannot be a cut
/// (process handbook 4.2, invented there).
const MELTS: [f64; 2] = [0.05, 0.65];
/// More than this in all the arc cannot give (process handbook 4.2, invented there).
const GIVES: f64 = 0.75;

/// How a row stands to the power of its arc.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Plausible {
    /// As settings usually are.
    Usual,
    /// Possible, and not usual.
    Odd,
    /// It cannot be true.
    Impossible,
    /// The metal is none that a balance is known of.
    NotJudged,
}

/// A row with what is found of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    /// The row.
    pub row: ChartRow,
    /// Where it comes from.
    pub origin: Origin,
    /// The part of the arc's power that melts the kerf, and that the cut needs in all; `None`: not judged.
    pub shares: Option<[f64; 2]>,
    /// What that says.
    pub plausible: Plausible,
}

impl Chart {
    /// Each row, in the order of the file.
    #[must_use]
    pub fn judged(&self) -> Vec<Judged> {
        let rows = self.rows.iter().zip(&self.origins);
        rows.map(|(row, origin)| {
            let shares = shares(row);
            Judged {
                row: row.clone(),
                origin: origin.clone(),
                shares,
                plausible: plausible(row, shares),
            }
        })
        .collect()
    }
}

fn shares(row: &ChartRow) -> Option<[f64; 2]> {
    let metal = Metal::named(&row.material)?;
    let b = Balance::new(metal, row.amps, row.volts, row.kerf_mm, row.thickness_mm);
    let v = row.feed_mm_s();
    Some([b.em(v), b.en(v)])
}

fn plausible(row: &ChartRow, shares: Option<[f64; 2]>) -> Plausible {
    let (Some([em, en]), Some(metal)) = (shares, Metal::named(&row.material)) else {
        return Plausible::NotJudged;
    };
    let [low, high] = metal.melting_share();
    if !(MELTS[0]..=MELTS[1]).contains(&em) || en > GIVES {
        Plausible::Impossible
    } else if !(low..=high).contains(&em) {
        Plausible::Odd
    } else {
        Plausible::Usual
    }
}

/// Whether it is a day of the calendar, as 2026-03-14.
pub(super) fn is_day(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let [y, m, d] = parts.as_slice() else {
        return false;
    };
    let number = |text: &str, digits: usize| {
        let all = text.len() == digits && text.bytes().all(|b| b.is_ascii_digit());
        all.then(|| text.parse::<u32>().ok()).flatten()
    };
    let (Some(y), Some(m), Some(d)) = (number(y, 4), number(m, 2), number(d, 2)) else {
        return false;
    };
    let leap = y.is_multiple_of(4) && (!y.is_multiple_of(100) || y.is_multiple_of(400));
    let days = match m {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return false,
    };
    (1..=days).contains(&d)
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "[[row]]\nname = \"a\"\nmaterial = \"mild-steel\"\namps = 40\nthickness_mm = 5\n\
        feed_mm_min = 1100\npierce_height_mm = 3.5\ncut_height_mm = 1.5\npierce_delay_s = 0.4\nvolts = 113\n\
        kerf_mm = 1.45\n";

    fn with_feed(feed: &str) -> Judged {
        let text = GOOD.replace("= 1100", &format!("= {feed}"));
        let chart = Chart::from_toml(&text).expect("a chart");
        chart.judged().remove(0)
    }

    #[test]
    fn a_row_that_cannot_be_true_is_told_from_one_that_is_only_odd() {
        // Process handbook 4.2, calculated there: em 0.31 and en 0.45 at 1100 mm/min, em 7.9 at 27 940 (in/min
        // read as mm/min), 0.012 at 43, em 0.62 and en 0.74 at 2200.
        for (feed, em, plausible) in [
            ("1100", "0.31", Plausible::Usual),
            ("27940", "7.92", Plausible::Impossible),
            ("43", "0.01", Plausible::Impossible),
            ("2200", "0.62", Plausible::Odd),
        ] {
            let found = with_feed(feed);
            assert_eq!(format!("{:.2}", found.shares.expect("steel")[0]), em);
            assert_eq!(found.plausible, plausible, "{feed}");
        }
        let brass = GOOD.replace("mild-steel", "brass");
        let judged = Chart::from_toml(&brass).expect("a chart").judged();
        assert_eq!(judged[0].plausible, Plausible::NotJudged);
    }

    #[test]
    fn each_row_keeps_its_source_and_its_date_or_says_that_they_are_not_known() {
        let told = format!("{GOOD}source = \"own-test\"\ndate = \"2024-02-29\"\n");
        let chart = Chart::from_toml(&told).expect("a chart");
        let origin = &chart.judged()[0].origin;
        assert_eq!(origin.source, Some(RowSource::OwnTest));
        assert_eq!(origin.date.as_deref(), Some("2024-02-29"));
        assert_eq!(
            Chart::from_toml(GOOD).expect("a chart").judged()[0].origin,
            Origin::default()
        );
    }

    #[test]
    fn a_day_that_is_in_no_calendar_and_a_source_of_no_kind_are_refused() {
        for day in [
            "2023-02-29",
            "2024-13-01",
            "2024-00-10",
            "2024-4-1",
            "yesterday",
            "2024-06-31",
        ] {
            let text = format!("{GOOD}date = \"{day}\"\n");
            let error = Chart::from_toml(&text).expect_err(day);
            assert!(error.at.ends_with("date"), "{error}");
        }
        assert!(is_day("2000-02-29") && !is_day("1900-02-29"));
        let text = format!("{GOOD}source = \"hearsay\"\n");
        assert!(Chart::from_toml(&text).is_err());
    }
}
