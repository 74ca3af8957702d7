//! What to change after a first article, and by how much. Limits: common practice, no source.

use serde::Serialize;

use super::model::Fitted;
use super::readings::Article;
use crate::chart::ChartRow;

/// A change is proposed only beyond so many standard errors.
const ERRORS: f64 = 2.0;
/// And only if it makes more than this over the largest part that was measured, mm.
const WORTH_MM: f64 = 0.1;

/// What a proposal is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum About {
    /// Kerf that outsides are offset by.
    KerfOutside,
    /// Kerf that holes are offset by.
    KerfHoles,
    /// Axes that do not stand square.
    Square,
    /// Scale of X: never changed from a plate.
    ScaleX,
    /// Scale of Y: never changed from a plate.
    ScaleY,
}

/// One thing to do.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Proposal {
    /// What it is about.
    pub about: About,
    /// Chart row whose kerf is to be set, if one is known. A row holds one kerf, that of outsides; the kerf of
    /// holes is for whoever draws the program.
    pub row: Option<String>,
    /// Change of the kerf, mm; `None` where nothing is to be set by number.
    pub change_mm: Option<f64>,
    /// The chart row's kerf now, mm.
    pub from_mm: Option<f64>,
    /// The kerf that is proposed, mm.
    pub to_mm: Option<f64>,
    /// In words.
    pub says: String,
}

/// What the chosen model's values ask for, in the order in which it is done. None from a model that the
/// readings reject.
pub(super) fn proposals(
    article: &Article,
    fitted: &Fitted,
    row: Option<&ChartRow>,
) -> Vec<Proposal> {
    if fitted.rejected {
        return Vec::new();
    }
    // Where the readings scatter more than was stated, the scatter counts.
    let scatter = (fitted.chi2 / fitted.freedoms.max(1) as f64)
        .sqrt()
        .max(1.0);
    let found = |of: &str, makes: f64| {
        let (value, error) = fitted.value(of)?;
        let sure = value.abs() > ERRORS * error * scatter;
        (sure && (value * makes).abs() > WORTH_MM).then_some(value)
    };
    let mut all = Vec::new();
    // Two edges to a length.
    let (outside, holes) = match fitted.model {
        "A" => (found("do", 2.0), found("dh", 2.0)),
        "B" => (found("do = dh", 2.0), found("do = dh", 2.0)),
        // The others know no edge error: it is mixed with the mean lost motion.
        _ => (None, None),
    };
    let half = article.plates() < 2;
    all.extend(outside.map(|d| kerf(About::KerfOutside, 2.0 * d, half, row)));
    all.extend(holes.map(|d| kerf(About::KerfHoles, 2.0 * d, half, row)));
    let largest = article.largest_mm();
    if let Some(g) = found("g", largest) {
        all.push(words(About::Square, format!(
            "X moves {:+.2} mm per metre of Y: out of square. Set the gantry square with a spanner; a shear in \
             software only as a stop-gap.", g * 1000.0
        )));
    }
    for (about, of, axis) in [(About::ScaleX, "sx", "X"), (About::ScaleY, "sy", "Y")] {
        if let Some(s) = found(of, largest) {
            all.push(words(about, format!(
                "{axis} seems {:+.2} mm per metre. Do not change steps per mm: a plate that was cut hot and has \
                 shrunk looks the same (60 K: -0.7 mm per metre in steel, -1.4 in aluminium). Confirm on a pen \
                 trace longer than 500 mm.", s * 1000.0
            )));
        }
    }
    all
}

fn words(about: About, says: String) -> Proposal {
    Proposal {
        about,
        row: None,
        change_mm: None,
        from_mm: None,
        to_mm: None,
        says,
    }
}

fn kerf(about: About, whole_mm: f64, half: bool, row: Option<&ChartRow>) -> Proposal {
    let change_mm = if half { whole_mm / 2.0 } else { whole_mm };
    let part = if half {
        format!("half of {whole_mm:+.3} mm, because one plate alone was measured")
    } else {
        "the whole of what was found".to_owned()
    };
    let from_mm = row.map(|r| r.kerf_mm);
    let to_mm = from_mm.map(|k| k + change_mm);
    let set = match (about, row, to_mm) {
        (About::KerfHoles, Some(row), Some(to)) => format!(
            "draw holes with {to:.3} mm: chart row \"{}\" holds one kerf, that of outsides",
            row.name
        ),
        (_, Some(row), Some(to)) => format!(
            "in chart row \"{}\" {:.3} becomes {to:.3} mm",
            row.name, row.kerf_mm
        ),
        _ => "no chart row is known: add it to the kerf that was used".to_owned(),
    };
    let (what, kept) = match about {
        About::KerfHoles => ("holes", None),
        _ => ("outsides", row),
    };
    Proposal {
        about,
        row: kept.map(|r| r.name.clone()),
        change_mm: Some(change_mm),
        from_mm,
        to_mm,
        says: format!("Kerf for {what} {change_mm:+.3} mm ({part}); {set}."),
    }
}
