//! What vetting says.

use serde::{Deserialize, Serialize};
use units::{Bounds, Point};

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Informs.
    Note,
    /// Must be accepted by a person.
    Warn,
    /// Bars a seal.
    Refuse,
}

/// The worst severity in one word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// No finding, or notes alone.
    Clear,
    /// Warnings to accept.
    Warned,
    /// May not be cut.
    Refused,
}

/// One thing found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Name of the rule: a contract.
    pub rule: String,
    /// How bad.
    pub severity: Severity,
    /// Line of the program, from 1.
    pub line: Option<u32>,
    /// Column in that line, from 1, counted in characters.
    pub column: Option<u32>,
    /// Which cut, from 1.
    pub cut: Option<usize>,
    /// Where on the sheet, mm.
    pub at: Option<Point>,
    /// What is wrong, with its measured value and limit.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

/// The whole report. Serialised it is the JSON contract of `vet`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Report {
    /// The worst severity.
    pub verdict: Verdict,
    /// Cuts in the program.
    pub cuts: usize,
    /// Pierces in the program.
    pub pierces: usize,
    /// Path cut, mm.
    pub cut_mm: f64,
    /// Path between cuts, mm.
    pub rapid_mm: f64,
    /// Predicted time, s; `None` until the plan was made.
    pub time_s: Option<f64>,
    /// [x0, y0, x1, y1] of the cuts, sheet mm; `None` without a cut.
    #[serde(with = "bounds_as_list")]
    pub bounds: Option<Bounds>,
    /// Worst first, then in order of line.
    pub findings: Vec<Finding>,
}

mod bounds_as_list {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};
    use units::{Bounds, Point};

    pub fn serialize<S: Serializer>(b: &Option<Bounds>, s: S) -> Result<S::Ok, S::Error> {
        b.map(|b| [b.low.x, b.low.y, b.high.x, b.high.y])
            .serialize(s)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<Option<Bounds>, D::Error> {
        let list: Option<[f64; 4]> = Option::deserialize(d)?;
        Ok(list.map(|[x0, y0, x1, y1]| Bounds {
            low: Point::new(x0, y0),
            high: Point::new(x1, y1),
        }))
    }
}

/// A warning that a person has accepted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acceptance {
    /// Name of the rule.
    pub rule: String,
    /// Its place in the report's findings, from 0.
    pub finding: usize,
    /// Why it is acceptable.
    pub reason: String,
}
