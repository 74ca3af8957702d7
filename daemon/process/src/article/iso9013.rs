//! Where readings of a thermal cut lie by ISO 9013:2017. The numbers were seen in pages that quote the
//! standard (range 5 of u from memory), not in the standard itself: a statement about readings on one
//! article, never a certificate.

use serde::Serialize;

use super::readings::Article;

/// The edition whose tables stand here; others differ.
pub const EDITION: &str = "ISO 9013:2017";

/// Perpendicularity or angularity tolerance u of ranges 1 to 5: constant (mm) and part of the thickness.
const U: [(f64, f64); 5] = [
    (0.05, 0.003),
    (0.15, 0.007),
    (0.4, 0.01),
    (0.8, 0.02),
    (1.2, 0.035),
];
/// Mean profile height Rz5 of ranges 1 to 4: constant (um) and um per mm of thickness.
const RZ5: [(f64, f64); 4] = [(10.0, 0.6), (40.0, 0.8), (70.0, 1.2), (110.0, 1.8)];

/// Upper ends of the columns of nominal dimensions, mm. On a boundary the column of the tighter limit is
/// taken: how the standard closes its intervals was not seen. The column to 8000 mm is left out: in the copies that
/// were seen its class 1 is wider than its class 2, so one of them is wrong.
const COLUMNS: [f64; 9] = [
    3.0, 10.0, 35.0, 125.0, 315.0, 1000.0, 2000.0, 4000.0, 6000.0,
];
/// There is no limit: the standard's dash, or a place that was not seen.
const NO: f64 = f64::NAN;
type Limits = &'static [(f64, [f64; 9])];
/// Limit deviations of class 1, +- mm: upper end of the thickness (mm), then one for each column.
const CLASS_1: Limits = &[
    (1.0, [0.075, 0.10, 0.10, 0.20, 0.20, 0.30, 0.40, 0.65, 0.90]),
    (3.15, [0.10, 0.15, 0.20, 0.25, 0.25, 0.35, 0.40, 0.65, 1.00]),
    (6.3, [0.20, 0.20, 0.25, 0.25, 0.30, 0.40, 0.45, 0.70, 1.10]),
    (10.0, [NO, 0.25, 0.30, 0.30, 0.35, 0.45, 0.55, 0.75, 1.25]),
    (15.0, [NO, 0.30, 0.35, 0.40, 0.45, 0.55, 0.65, 0.85, 1.50]),
    (20.0, [NO, 0.40, 0.40, 0.45, 0.55, 0.75, 0.85, 1.2, 1.90]),
    (25.0, [NO, 0.45, 0.50, 0.60, 0.70, 0.90, 1.10, 1.60, 2.40]),
    (32.0, [NO, NO, 0.70, 0.70, 0.80, 1.0, 1.6, 2.25, 3.00]),
    (50.0, [NO, NO, 0.7, 0.7, 0.8, 1.0, 1.6, 2.5, 3.8]),
    (100.0, [NO, NO, 1.3, 1.3, 1.4, 1.7, 2.2, 3.1, 4.4]),
    (150.0, [NO, NO, 1.9, 2.0, 2.1, 2.3, 2.9, 3.8, 5.1]),
];
/// Of class 2; nothing was seen beyond 20 mm.
const CLASS_2: Limits = &[
    (1.0, [0.5, 0.6, 0.6, 0.7, 0.7, 0.8, 0.9, 0.9, NO]),
    (3.15, [0.6, 0.6, 0.7, 0.7, 0.8, 0.9, 1.0, 1.1, 1.4]),
    (6.3, [0.7, 0.8, 0.9, 0.9, 1.1, 1.2, 1.3, 1.3, 1.6]),
    (10.0, [NO, 1.0, 1.1, 1.3, 1.4, 1.5, 1.6, 1.7, 1.9]),
    (20.0, [NO, 1.8, 1.8, 1.8, 1.9, 2.3, 3.0, 4.2, 4.3]),
];

/// Largest u of a range (1 to 5) at a thickness, mm.
#[must_use]
pub fn u_limit_mm(range: usize, thickness_mm: f64) -> Option<f64> {
    let (constant, part) = U.get(range.checked_sub(1)?)?;
    Some(constant + part * thickness_mm)
}

/// Largest Rz5 of a range (1 to 4) at a thickness, um.
#[must_use]
pub fn rz5_limit_um(range: usize, thickness_mm: f64) -> Option<f64> {
    let (constant, part) = RZ5.get(range.checked_sub(1)?)?;
    Some(constant + part * thickness_mm)
}

/// Limit deviation of a class (1 or 2), +- mm. `None`: there is none, or it was not seen.
#[must_use]
pub fn size_limit_mm(class: usize, thickness_mm: f64, nominal_mm: f64) -> Option<f64> {
    let table = match class {
        1 => CLASS_1,
        2 => CLASS_2,
        _ => return None,
    };
    let (_, row) = table.iter().find(|(to, _)| thickness_mm <= *to)?;
    let column = COLUMNS.iter().position(|to| nominal_mm <= *to)?;
    row.get(column).copied().filter(|v| v.is_finite())
}

/// Smallest range or class within whose limit a value lies.
fn smallest(count: usize, value: f64, limit: impl Fn(usize) -> Option<f64>) -> Option<usize> {
    // The last digit of the file's decimals must not decide.
    (1..=count).find(|k| limit(*k).is_some_and(|most| value <= most + 1e-9))
}

/// What may be said of an article.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Statement {
    /// Whose tables were used.
    pub edition: &'static str,
    /// Range of u, 1 to 5; 0 was not measured; `None`: beyond range 5.
    pub u_range: Option<usize>,
    /// Range of Rz5, 1 to 4; 0 was not measured; `None`: beyond range 4.
    pub rz5_range: Option<usize>,
    /// Tolerance class of all lengths, 1 or 2; `None`: a length lies beyond class 2, or has no limit here.
    pub size_class: Option<usize>,
    /// The designation, where each of its three places can be said.
    pub designation: Option<String>,
    /// In words.
    pub says: String,
}

/// Where the readings lie.
pub(super) fn statement(article: &Article) -> Statement {
    let a = article.thickness_mm;
    let range = |value: Option<f64>, count, limit: &dyn Fn(usize) -> Option<f64>| match value {
        None => Some(0),
        Some(value) => smallest(count, value, limit),
    };
    let u_range = range(article.u_mm, 5, &|k| u_limit_mm(k, a));
    let rz5_range = range(article.rz5_um, 4, &|k| rz5_limit_um(k, a));
    let class = |r: &super::Reading| {
        let off = (r.measured_mm - r.nominal_mm).abs();
        smallest(2, off, |k| size_limit_mm(k, a, r.nominal_mm))
    };
    let size_class = article
        .readings
        .iter()
        .map(class)
        .try_fold(1, |worst, one| Some(worst.max(one?)));
    let scope = (0.5..=150.0).contains(&a);
    let designation = match (u_range, rz5_range, size_class) {
        (Some(u), Some(r), Some(c)) if scope => Some(format!("ISO 9013-{u}{r}{c}")),
        _ => None,
    };
    let place = |found: Option<usize>, what: &str, most: usize| match found {
        Some(0) => format!("{what} not measured"),
        Some(k) => format!("{what} {k}"),
        None => format!("beyond {what} {most}, or without a limit in the tables here"),
    };
    let says = match &designation {
        _ if !scope => format!("{EDITION} is for plasma cuts of 0.5 to 150 mm: nothing is said."),
        Some(d) => format!(
            "Readings on this article lie within {d} by {EDITION}: {}, {}, {}. Flatness is not part of it; \
             start and end of a cut are not judged.",
            place(u_range, "u range", 5),
            place(rz5_range, "Rz5 range", 4),
            place(size_class, "size class", 2)
        ),
        None => format!(
            "No designation of {EDITION} can be said of these readings: {}; {}; {}.",
            place(u_range, "u range", 5),
            place(rz5_range, "Rz5 range", 4),
            place(size_class, "size class", 2)
        ),
    };
    Statement {
        edition: EDITION,
        u_range,
        rz5_range,
        size_class,
        designation,
        says,
    }
}
