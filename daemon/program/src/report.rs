//! What vetting says.

pub mod explain;
pub(crate) mod findings;
pub(crate) mod lack;
pub mod picture;
pub(crate) mod said;
pub mod sarif;
pub(crate) mod seal;
pub mod text;

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
    /// Every cut concerned, from 1, in order.
    #[serde(default)]
    pub cuts: Vec<usize>,
    /// Where on the sheet, mm.
    pub at: Option<Point>,
    /// What is wrong, with its measured value and limit.
    pub says: String,
    /// What to do.
    pub remedy: String,
    /// The place in the report's findings, from 0, of the finding that explains this one.
    #[serde(default)]
    pub under: Option<usize>,
    /// So many further findings of the same rule stand behind this one and are not listed.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub more: usize,
}

fn is_zero(n: &usize) -> bool {
    *n == 0
}

impl Finding {
    /// How many findings it stands for.
    #[must_use]
    pub fn times(&self) -> usize {
        1 + self.more
    }
}

/// What would have to be given to judge what was not judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Want {
    /// A machine file with a chart.
    Chart,
    /// A setup.
    Sheet,
    /// A machine file.
    Machine,
    /// A chart row that fits.
    Row,
    /// The place of the ground clamp.
    Clamp,
    /// What the metal does with heat.
    Metal,
    /// What is fitted to the torch.
    Supplies,
    /// A measured first article.
    Article,
    /// No more path than a sheet takes.
    LessPath,
    /// A path that can be read.
    Path,
}

impl Want {
    /// `a chart`: what is lacking.
    #[must_use]
    pub fn noun(self) -> &'static str {
        match self {
            Self::Chart => "a chart",
            Self::Sheet => "a sheet",
            Self::Machine => "a machine file",
            Self::Row => "a chart row that fits",
            Self::Clamp => "the clamp's place",
            Self::Metal => "figures of the metal",
            Self::Supplies => "the fitted set",
            Self::Article => "a measured first article",
            Self::LessPath => "a path that one sheet can take",
            Self::Path => "a path that can be read",
        }
    }
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
    /// Names of the rules that had nothing to judge by, or only a part of it.
    #[serde(default)]
    pub not_judged: Vec<String>,
    /// The worst first, then in order of line; what one finding explains stands behind it, and
    /// together they stand where the worst of them would.
    pub findings: Vec<Finding>,
    /// What the rules that were not judged lack.
    #[serde(skip)]
    pub lacks: Vec<Want>,
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

impl Verdict {
    /// What these findings come to.
    #[must_use]
    pub fn of(findings: &[Finding]) -> Self {
        match findings.iter().map(|f| f.severity).max() {
            Some(Severity::Refuse) => Self::Refused,
            Some(Severity::Warn) => Self::Warned,
            Some(Severity::Note) | None => Self::Clear,
        }
    }
}

impl Report {
    /// Every warning accepted, all for one reason.
    #[must_use]
    pub fn accepted_for(&self, reason: &str) -> Vec<Acceptance> {
        self.findings
            .iter()
            .enumerate()
            .filter(|(_, f)| f.severity == Severity::Warn)
            .map(|(finding, f)| Acceptance {
                rule: f.rule.clone(),
                finding,
                reason: reason.into(),
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_json_has_the_keys_that_others_rely_on() {
        let report = Report {
            verdict: Verdict::Warned,
            cuts: 2,
            pierces: 2,
            cut_mm: 437.5,
            rapid_mm: 48.0,
            time_s: None,
            bounds: Some(Bounds {
                low: Point::new(60.0, 52.0),
                high: Point::new(160.0, 140.0),
            }),
            not_judged: vec!["air-short".to_owned()],
            lacks: Vec::new(),
            findings: vec![
                Finding {
                    rule: "end-missing".to_owned(),
                    severity: Severity::Warn,
                    line: Some(15),
                    column: None,
                    cut: None,
                    cuts: vec![1, 2],
                    at: None,
                    says: "a".to_owned(),
                    remedy: "b".to_owned(),
                    under: None,
                    more: 0,
                },
                Finding {
                    rule: "replaced".to_owned(),
                    severity: Severity::Note,
                    line: Some(4),
                    column: Some(1),
                    cut: Some(1),
                    cuts: vec![1],
                    at: Some(Point::new(1.5, 2.0)),
                    says: "c".to_owned(),
                    remedy: "d".to_owned(),
                    under: Some(0),
                    more: 0,
                },
            ],
        };
        let json = serde_json::to_string(&report).expect("it can be written");
        assert_eq!(
            json,
            concat!(
                r#"{"verdict":"warned","cuts":2,"pierces":2,"cut_mm":437.5,"rapid_mm":48.0,"time_s":null,"#,
                r#""bounds":[60.0,52.0,160.0,140.0],"not_judged":["air-short"],"findings":["#,
                r#"{"rule":"end-missing","severity":"warn","line":15,"column":null,"cut":null,"cuts":[1,2],"at":null,"says":"a","remedy":"b","under":null},"#,
                r#"{"rule":"replaced","severity":"note","line":4,"column":1,"cut":1,"cuts":[1],"at":[1.5,2.0],"says":"c","remedy":"d","under":0}]}"#
            )
        );
        let back: Report = serde_json::from_str(&json).expect("it can be read");
        assert_eq!(back, report);
        for (severity, word) in [(Severity::Refuse, "refuse"), (Severity::Note, "note")] {
            assert_eq!(serde_json::to_value(severity).ok(), Some(word.into()));
        }
        for (verdict, word) in [(Verdict::Clear, "clear"), (Verdict::Refused, "refused")] {
            assert_eq!(serde_json::to_value(verdict).ok(), Some(word.into()));
        }
    }
}
