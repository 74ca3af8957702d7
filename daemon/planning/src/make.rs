//! Simple cuts without a program: from a shape with its finished sizes to the text of a program
//! with kerf, lead-ins, order and feeds, which is vetted afterwards like any other.
//!
//! What cannot come out well is refused before: the limits are those of the vetting rules that are
//! named in the refusal (common practice, numbers invented where those say so).

mod path;
mod place;
mod shape;
mod text;

use program::Setup;
use units::Point;

pub use path::MadeCut;
pub use shape::Shape;

use crate::row;
use crate::table::Table;

/// The settings that a simple cut is made with: what the setup and the chart row say.
#[derive(Clone, Debug, PartialEq)]
pub struct MakeSettings {
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Width of the kerf, mm.
    pub kerf_mm: f64,
    /// Feed of the chart row, mm/min.
    pub feed_mm_min: f64,
    /// Name of the chart row.
    pub row: String,
    /// Material.
    pub material: String,
}

/// A simple cut, made into a program.
#[derive(Clone, Debug, PartialEq)]
pub struct Made {
    /// The program, RS-274.
    pub text: String,
    /// Its cuts in order, sheet coordinates, mm.
    pub cuts: Vec<MadeCut>,
    /// Where on the sheet it was put (see [`make`]), mm.
    pub at: Point,
    /// What it was made for.
    pub settings: MakeSettings,
}

/// Why a simple cut was not made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{says} {remedy}")]
pub struct NotMade {
    /// The vetting rule whose limit it is; `None`: something is missing or is no size.
    pub rule: Option<&'static str>,
    /// What, and why.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

impl NotMade {
    pub(crate) fn by(rule: &'static str, says: String, remedy: &str) -> Self {
        Self {
            rule: Some(rule),
            says,
            remedy: remedy.to_owned(),
        }
    }

    pub(crate) fn plain(says: String, remedy: &str) -> Self {
        Self {
            rule: None,
            says,
            remedy: remedy.to_owned(),
        }
    }
}

impl MakeSettings {
    /// What the chart row and the setup say.
    ///
    /// # Errors
    /// No chart row fits.
    pub fn of(table: &Table<'_>, setup: &Setup) -> Result<Self, NotMade> {
        let chosen = row::choose(table.chart, Some(setup));
        let Some(found) = chosen.row() else {
            let why = row::why_none(table.chart, Some(setup), &chosen);
            let why = why.unwrap_or_else(|| "no chart is configured".into());
            return Err(NotMade::by(
                "chart-missing",
                format!("Kerf and feed are not known: {why}."),
                "Name a machine file with a chart (--config FILE), or the chart row in the setup.",
            ));
        };
        Ok(Self {
            thickness_mm: setup.thickness,
            kerf_mm: setup.kerf.unwrap_or(found.kerf_mm),
            feed_mm_min: found.feed_mm_min,
            row: found.name.clone(),
            material: setup.material.clone(),
        })
    }
}

/// Makes a program that cuts a shape. `at`, sheet mm: the middle of a disc, ring, rectangle or slot,
/// the middle of the first hole; `None`: the first free place from the sheet's lower left corner
/// on. A line says itself where it lies.
///
/// # Errors
/// What cannot be cut, or does not go on the sheet: what, why and what to do.
pub fn make(
    table: &Table<'_>,
    setup: &Setup,
    shape: &Shape,
    at: Option<Point>,
) -> Result<Made, NotMade> {
    let settings = MakeSettings::of(table, setup)?;
    shape.check(&settings)?;
    let cuts = shape.cuts(&settings, setup.sheet)?;
    let place = place::Place::new(table, setup, &settings);
    let at = match (shape, at) {
        (Shape::Line { .. }, None) => Point::new(0.0, 0.0),
        (Shape::Line { .. }, Some(_)) => {
            return Err(NotMade::plain(
                "A line says itself where it lies.".into(),
                "Leave --at out.",
            ));
        }
        (_, Some(at)) => at,
        (_, None) => place.free(&cuts)?,
    };
    let cuts: Vec<_> = cuts.iter().map(|c| c.moved(at)).collect();
    place.check(&cuts)?;
    let text = text::write(shape, setup, &settings, &cuts);
    Ok(Made {
        text,
        cuts,
        at,
        settings,
    })
}

#[cfg(test)]
mod tests;
