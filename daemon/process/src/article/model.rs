//! Models of table and edges, and what each makes of the readings.
//!
//! x' = (1 + sx) x + g y, y' = (1 + sy) y; an edge lies `do` or `dh` inside the part's metal; a closed path
//! is smaller by the axis's lost motion. See process handbook 5.2.

use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF as _, StudentsT};

use super::fit::{Equation, Fit, fit};
use super::readings::{Feature, Reading};

/// How much of each unknown is in a reading, in the order of [`NAMES`].
type Weights = [f64; 7];
/// All that a reading may depend on.
const NAMES: [&str; 7] = ["sx", "sy", "g", "do", "dh", "bx", "by"];
/// Chance below which readings are not what a model makes of them (invented).
const REJECTED: f64 = 0.01;

/// What a reading's measured less nominal is made of.
pub(super) fn weights(r: &Reading) -> Weights {
    let n = r.nominal_mm;
    match r.feature {
        Feature::OutsideX => [n, 0.0, 0.0, -2.0, 0.0, -1.0, 0.0],
        Feature::OutsideY => [0.0, n, 0.0, -2.0, 0.0, 0.0, -1.0],
        Feature::HoleX => [n, 0.0, 0.0, 0.0, 2.0, -1.0, 0.0],
        Feature::HoleY => [0.0, n, 0.0, 0.0, 2.0, 0.0, -1.0],
        Feature::Centres { dx, dy } => {
            let d = dx.hypot(dy);
            [dx * dx / d, dy * dy / d, dx * dy / d, 0.0, 0.0, 0.0, 0.0]
        }
    }
}

/// Unknowns that are asked for, each a combination of the seven, and what is known of the rest.
struct Model {
    name: &'static str,
    says: &'static str,
    columns: Vec<(&'static str, Weights)>,
    known: Weights,
}

/// Which model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Which {
    Ignored,
    Known(f64, f64),
    SameEdge,
    Difference,
    KerfOnly,
    /// All seven unknowns: never determined, asked only for what cannot be told apart.
    All,
}

fn unit(which: &[usize]) -> Weights {
    let mut w = [0.0; 7];
    for k in which {
        w[*k] = 1.0;
    }
    w
}

fn model(which: Which) -> Model {
    let plain = |upto: usize| {
        (0..upto)
            .map(|k| (NAMES[k], unit(&[k])))
            .collect::<Vec<_>>()
    };
    let mut known = [0.0; 7];
    let (name, says, columns) = match which {
        Which::Ignored => ("lost motion ignored", "as if there were none", plain(5)),
        Which::Known(x, y) => {
            (known[5], known[6]) = (x, y);
            ("A", "lost motion is known from commissioning", plain(5))
        }
        Which::SameEdge => {
            let mut columns = plain(3);
            columns.push(("do = dh", unit(&[3, 4])));
            columns.extend([("bx", unit(&[5])), ("by", unit(&[6]))]);
            (
                "B",
                "outsides and holes are assumed to have one edge error",
                columns,
            )
        }
        Which::Difference => {
            let mut columns = plain(5);
            columns.push(("bx - by", [0.0, 0.0, 0.0, 0.0, 0.0, 0.5, -0.5]));
            let says = "of lost motion only the difference; do and dh are as if its mean were zero";
            ("C", says, columns)
        }
        Which::KerfOnly => {
            let columns = plain(5).split_off(3);
            ("kerf only", "the table is taken as perfect", columns)
        }
        Which::All => ("all", "all seven unknowns", plain(7)),
    };
    Model {
        name,
        says,
        columns,
        known,
    }
}

/// One unknown of a model. Lengths in mm; sx, sy, g are mm per mm.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Value {
    /// Its letters.
    pub of: &'static str,
    /// Best value; `None`: the readings do not tell.
    pub value: Option<f64>,
    /// Standard error, from the stated deviations of the readings.
    pub standard_error: Option<f64>,
    /// Lower end of the 95 % interval: Student's t, by the scatter that was found. `None` without
    /// freedoms.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// What a model makes of the readings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fitted {
    /// Its name.
    pub model: &'static str,
    /// What it assumes.
    pub says: &'static str,
    /// Its unknowns.
    pub values: Vec<Value>,
    /// Weighted sum of squares of what is left over.
    pub chi2: f64,
    /// Readings less unknowns that they determine.
    pub freedoms: usize,
    /// Chance of a larger chi2, were the model true; `None` without freedoms.
    pub chance: Option<f64>,
    /// The readings are not what this model makes of them.
    pub rejected: bool,
    /// What these readings do not tell, in words.
    pub cannot_tell: Vec<String>,
    /// Measured less fitted of each reading, mm.
    #[serde(skip)]
    pub left_over_mm: Vec<f64>,
}

impl Fitted {
    /// An unknown with its standard error, if the readings tell it.
    #[must_use]
    pub fn value(&self, of: &str) -> Option<(f64, f64)> {
        let v = self.values.iter().find(|v| v.of == of)?;
        Some((v.value?, v.standard_error?))
    }
}

/// Fits a model. `None`: the numbers are out of all bounds.
pub(super) fn fitted(which: Which, readings: &[Reading]) -> Option<Fitted> {
    let model = model(which);
    let dot = |a: &Weights, b: &Weights| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let equation = |r: &Reading| {
        let w = weights(r);
        Equation {
            coefficients: model.columns.iter().map(|(_, c)| dot(&w, c)).collect(),
            value: r.measured_mm - r.nominal_mm - dot(&w, &model.known),
            sigma: r.sigma_mm,
        }
    };
    let equations: Vec<Equation> = readings.iter().map(equation).collect();
    let fit = fit(model.columns.len(), &equations)?;
    let chance = chance(fit.chi2, fit.freedoms);
    let name = |j: &usize| model.columns.get(*j).map_or("", |c| c.0);
    Some(Fitted {
        model: model.name,
        says: model.says,
        values: (model.columns.iter().enumerate())
            .map(|(j, c)| value(c.0, j, &fit))
            .collect(),
        chi2: fit.chi2,
        freedoms: fit.freedoms,
        chance,
        rejected: chance.is_some_and(|c| c < REJECTED),
        cannot_tell: cannot_tell(&fit, &name),
        left_over_mm: fit.left_over,
    })
}

fn value(of: &'static str, j: usize, fit: &Fit) -> Value {
    let value = fit.values.get(j).copied().flatten();
    let standard_error = fit.errors.get(j).copied().flatten();
    let half = (standard_error.zip(half_width(fit))).map(|(error, times)| error * times);
    let end = |sign: f64| Some(value? + sign * half?);
    Value {
        of,
        value,
        standard_error,
        low: end(-1.0),
        high: end(1.0),
    }
}

/// Half a 95 % interval, in standard errors: Student's t times the scatter found over the one stated.
fn half_width(fit: &Fit) -> Option<f64> {
    if fit.freedoms == 0 {
        return None;
    }
    let freedoms = fit.freedoms as f64;
    let t = StudentsT::new(0.0, 1.0, freedoms).ok()?.inverse_cdf(0.975);
    Some(t * (fit.chi2 / freedoms).sqrt())
}

fn chance(chi2: f64, freedoms: usize) -> Option<f64> {
    Some(ChiSquared::new(freedoms as f64).ok()?.sf(chi2)).filter(|c| c.is_finite())
}

fn cannot_tell(fit: &Fit, name: &dyn Fn(&usize) -> &'static str) -> Vec<String> {
    let list = |of: &[usize]| of.iter().map(name).collect::<Vec<_>>().join(", ");
    let apart = fit.confused.iter().map(|group| {
        let names = list(group);
        format!("{names} cannot be told apart: only combinations of them change these readings")
    });
    let none = fit
        .unmeasured
        .iter()
        .map(|j| format!("{} is in no reading", name(j)));
    apart.chain(none).collect()
}
