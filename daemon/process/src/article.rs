//! First-article sums: from readings of a finished part to kerf, scale and squareness with their errors,
//! what the readings cannot tell apart, what to change, and where they lie by ISO 9013.
//!
//! One outside length mixes kerf, scale, lost motion and shrinkage: correcting by it alone goes wrong. So
//! all readings are fitted at once, and an unknown that they do not determine gets no number.

mod approaches;
mod fit;
mod iso9013;
mod model;
mod page;
mod proposals;
mod readings;
#[cfg(test)]
mod tests;

use serde::Serialize;

use crate::chart::{ChartRow, Choice, choose};
pub use approaches::{Approaches, Repeatability};
pub use iso9013::{EDITION, Statement, rz5_limit_um, size_limit_mm, u_limit_mm};
pub use model::{Fitted, Value};
use model::{Which, fitted};
pub use page::page;
pub use proposals::{About, Proposal};
pub use readings::{Article, ArticleError, Assume, Feature, Reading};

/// Thicknesses of chart row and article that differ by no more than this are one, mm.
const SAME_THICKNESS_MM: f64 = 0.05;

/// What a first article shows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// What was measured.
    pub article: Article,
    /// The chart row that it was cut with, if it is known.
    pub row: Option<ChartRow>,
    /// How many plates were measured.
    pub plates: usize,
    /// The model that the proposals come from.
    pub chosen: Fitted,
    /// Other models of the same readings, to compare.
    pub others: Vec<Fitted>,
    /// What the readings cannot tell, in words.
    pub cannot_tell: Vec<String>,
    /// What to change, in this order.
    pub proposals: Vec<Proposal>,
    /// Why nothing is proposed, where nothing is.
    pub nothing: String,
    /// Where the readings lie by ISO 9013.
    pub iso_9013: Statement,
}

/// The sums.
///
/// # Errors
/// A chart row that is not there or is for another sheet, or numbers that no fit can be made of.
pub fn sums(article: Article, chart: &[ChartRow]) -> Result<Report, ArticleError> {
    let row = row(&article, chart)?;
    let fit = |which| {
        fitted(which, &article.readings).ok_or_else(|| ArticleError {
            at: "reading".into(),
            says: "no fit can be made of these numbers".into(),
            remedy: "look through nominal, measured and sigma for a slip".into(),
        })
    };
    let which = match (article.lost_motion_mm, article.assume) {
        (Some((x, y)), _) => Which::Known(x, y),
        (None, Assume::SameEdge) => Which::SameEdge,
        (None, Assume::Nothing) => Which::Difference,
    };
    let chosen = fit(which)?;
    let compared = [
        Which::Ignored,
        Which::SameEdge,
        Which::Difference,
        Which::KerfOnly,
    ];
    let others = compared.into_iter().filter(|other| *other != which);
    let others = others.map(fit).collect::<Result<Vec<_>, _>>()?;
    let mut cannot_tell = chosen.cannot_tell.clone();
    if article.lost_motion_mm.is_none() {
        // Choosing another model does not make the readings tell more.
        let all = fit(Which::All)?.cannot_tell.into_iter();
        cannot_tell.extend(all.map(|says| format!("by these readings alone, {says}")));
    }
    let proposals = proposals::proposals(&article, &chosen, row.as_ref());
    let nothing = match (proposals.is_empty(), chosen.rejected, which) {
        (false, _, _) => "",
        (true, true, _) => {
            "Nothing: the readings do not fit the model. Look for a slip among the largest left over, and \
             measure again."
        }
        (true, false, Which::Difference) => {
            "Nothing: without lost motion from commissioning the kerf cannot be told. Measure it (approach \
             targets from both sides) and give it in [lost_motion]."
        }
        (true, false, _) => {
            "Nothing: no error is beyond two standard errors and more than 0.1 mm over the largest part."
        }
    };
    Ok(Report {
        plates: article.plates(),
        iso_9013: iso9013::statement(&article),
        row,
        chosen,
        others,
        cannot_tell,
        proposals,
        nothing: nothing.into(),
        article,
    })
}

fn row(article: &Article, chart: &[ChartRow]) -> Result<Option<ChartRow>, ArticleError> {
    let wrong = |says: String, remedy: &str| ArticleError {
        at: "row".into(),
        says,
        remedy: remedy.into(),
    };
    if chart.is_empty() {
        return Ok(None);
    }
    match choose(
        chart,
        &article.material,
        article.thickness_mm,
        article.row.as_deref(),
    ) {
        Choice::One(row) => {
            let other = row.material != article.material
                || (row.thickness_mm - article.thickness_mm).abs() > SAME_THICKNESS_MM + 1e-9;
            if !other {
                return Ok(Some(row));
            }
            let says = format!(
                "{:?} is for {} {} mm",
                row.name, row.material, row.thickness_mm
            );
            Err(wrong(says, "name the row that the article was cut with"))
        }
        Choice::Several(names) => {
            let says = format!("several chart rows fit: {}", names.join(", "));
            Err(wrong(
                says,
                "name the one that the article was cut with: row = \"...\"",
            ))
        }
        Choice::None => match &article.row {
            Some(name) => {
                let says = format!("the chart has no row {name:?}");
                Err(wrong(says, "name a row of the chart, or leave it out"))
            }
            None => Ok(None),
        },
    }
}
