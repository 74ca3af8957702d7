//! The file of readings: what was measured on a finished part, with what, and what is known of the table.

use serde::{Deserialize, Serialize};
use toml::Spanned;

use super::approaches::Approaches;

/// More readings than a day of measuring gives.
const MOST_READINGS: usize = 2000;
/// What a caliper reads to on a cut edge, one standard deviation, mm.
const CALIPER_MM: f64 = 0.05;
/// What a tape measure reads to, mm.
const TAPE_MM: f64 = 0.5;
/// A reading that differs from its nominal by more than this is a slip of the pen, mm (invented).
const SLIP_MM: f64 = 10.0;

/// What is wrong with a file of readings.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{at}: {says}; {remedy}")]
pub struct ArticleError {
    /// Line, reading and key.
    pub at: String,
    /// What is wrong.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Feature {
    /// An outside length along X.
    OutsideX,
    /// An outside length along Y.
    OutsideY,
    /// A hole's width along X.
    HoleX,
    /// A hole's width along Y.
    HoleY,
    /// From hole centre to hole centre: half the sum of inner and outer gap.
    Centres {
        /// Along X, mm; its sign against `dy`'s says which diagonal.
        dx: f64,
        /// Along Y, mm.
        dy: f64,
    },
}

/// One reading, checked.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reading {
    /// How the page names it.
    pub name: String,
    /// What was measured.
    pub feature: Feature,
    /// As drawn, mm.
    pub nominal_mm: f64,
    /// As read, mm.
    pub measured_mm: f64,
    /// Standard deviation of the reading, mm.
    pub sigma_mm: f64,
    /// Number of the plate that it was read from.
    pub plate: u32,
}

/// How the table and the edges are modelled where lost motion is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Assume {
    /// Outsides and holes have one edge error.
    SameEdge,
    /// Nothing: of lost motion only the difference of X and Y is asked for.
    Nothing,
}

/// A finished part, or several of one kind, and its readings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Article {
    /// How the page is headed.
    pub name: String,
    /// Material, as setups write it.
    pub material: String,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Chart row that it was cut with; left out: the one that fits.
    pub row: Option<String>,
    /// Lost motion of X and Y that commissioning found, mm.
    pub lost_motion_mm: Option<(f64, f64)>,
    /// What is assumed without it.
    pub assume: Assume,
    /// Perpendicularity or angularity deviation of the edge, mm.
    pub u_mm: Option<f64>,
    /// Mean profile height of the edge, um.
    pub rz5_um: Option<f64>,
    /// What the edge looks like.
    pub edge: Option<String>,
    /// Temperature of the plate when it was measured, degrees Celsius.
    pub temperature_c: Option<f64>,
    /// Pierces that the nozzle had been through.
    pub set_pierces: Option<u32>,
    /// What was measured.
    pub readings: Vec<Reading>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    article: String,
    material: String,
    thickness_mm: f64,
    row: Option<String>,
    assume: Option<Assume>,
    u_mm: Option<f64>,
    rz5_um: Option<f64>,
    edge: Option<String>,
    temperature_c: Option<f64>,
    set_pierces: Option<u32>,
    lost_motion: Option<Spanned<LostMotion>>,
    #[serde(default)]
    reading: Vec<Spanned<Line>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LostMotion {
    x_mm: Option<f64>,
    y_mm: Option<f64>,
    x_up_mm: Option<Vec<f64>>,
    x_down_mm: Option<Vec<f64>>,
    y_up_mm: Option<Vec<f64>>,
    y_down_mm: Option<Vec<f64>>,
}

#[derive(Clone, Copy, Deserialize, PartialEq)]
#[serde(rename_all = "kebab-case")]
enum Kind {
    Outside,
    Hole,
    Centres,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Axis {
    X,
    Y,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Instrument {
    Caliper,
    Tape,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    name: Option<String>,
    feature: Kind,
    direction: Option<Axis>,
    dx_mm: Option<f64>,
    dy_mm: Option<f64>,
    nominal_mm: Option<f64>,
    measured_mm: f64,
    instrument: Option<Instrument>,
    sigma_mm: Option<f64>,
    plate: Option<u32>,
}

/// Where something stands in the file.
struct Place<'a> {
    text: &'a str,
    start: usize,
    what: String,
}

impl Place<'_> {
    fn wrong(&self, key: &str, says: String, remedy: &str) -> ArticleError {
        let from = self.text.get(..self.start).unwrap_or_default();
        let first = from.matches('\n').count() + 1;
        let rest = self.text.get(self.start..).unwrap_or_default();
        let is_key = |line: &str| {
            let after = line.trim_start().strip_prefix(key);
            after.is_some_and(|rest| rest.trim_start().starts_with('='))
        };
        // The table ends where the next one begins; its own head may stand in the first line.
        let own = rest.lines().enumerate();
        let mut own = own.take_while(|(i, line)| *i == 0 || !line.trim_start().starts_with('['));
        let line = first + own.find(|(_, line)| is_key(line)).map_or(0, |(i, _)| i);
        ArticleError {
            at: format!("line {line}, {}{key}", self.what),
            says,
            remedy: remedy.to_owned(),
        }
    }

    fn within(&self, key: &str, n: f64, low: f64, high: f64) -> Result<f64, ArticleError> {
        if (low..=high).contains(&n) {
            return Ok(n);
        }
        let remedy = format!("give {low} to {high}");
        Err(self.wrong(key, format!("{n} is out of range"), &remedy))
    }
}

impl Article {
    /// Reads and checks a file of readings: `config/articles/gauge-plate.toml` explains each key.
    ///
    /// # Errors
    /// Where, what is wrong, and what to do.
    pub fn from_toml(text: &str) -> Result<Self, ArticleError> {
        let file: File = toml::from_str(text).map_err(|e| {
            let start = e.span().map_or(0, |s| s.start);
            let line = text.get(..start).unwrap_or_default().matches('\n').count() + 1;
            ArticleError {
                at: format!("line {line}"),
                says: e.message().trim().to_owned(),
                remedy:
                    "write it as config/articles/gauge-plate.toml shows: article, material and \
                         thickness_mm, then a [[reading]] for each reading"
                        .into(),
            }
        })?;
        let top = Place {
            text,
            start: 0,
            what: String::new(),
        };
        for (key, words) in [("article", &file.article), ("material", &file.material)] {
            if words.trim().is_empty() {
                return Err(top.wrong(key, "is empty".into(), "name it"));
            }
        }
        let optional =
            |key, n: Option<f64>, low, high| n.map(|n| top.within(key, n, low, high)).transpose();
        if file.reading.is_empty() || file.reading.len() > MOST_READINGS {
            let says = format!("there are {} readings", file.reading.len());
            let remedy = format!("give 1 to {MOST_READINGS} [[reading]] tables");
            return Err(top.wrong("reading", says, &remedy));
        }
        Ok(Self {
            thickness_mm: top.within("thickness_mm", file.thickness_mm, 0.1, 150.0)?,
            u_mm: optional("u_mm", file.u_mm, 0.0, 20.0)?,
            rz5_um: optional("rz5_um", file.rz5_um, 0.0, 2000.0)?,
            temperature_c: optional("temperature_c", file.temperature_c, -40.0, 600.0)?,
            lost_motion_mm: file.lost_motion.map(|l| lost_motion(text, l)).transpose()?,
            readings: (file.reading.into_iter().enumerate())
                .map(|(i, line)| reading(text, i, line))
                .collect::<Result<_, _>>()?,
            name: file.article,
            material: file.material,
            row: file.row,
            assume: file.assume.unwrap_or(Assume::Nothing),
            edge: file.edge,
            set_pierces: file.set_pierces,
        })
    }

    /// How many plates were measured.
    #[must_use]
    pub fn plates(&self) -> usize {
        let mut plates: Vec<u32> = self.readings.iter().map(|r| r.plate).collect();
        plates.sort_unstable();
        plates.dedup();
        plates.len()
    }

    /// The largest length that was measured, mm.
    #[must_use]
    pub fn largest_mm(&self) -> f64 {
        let lengths = self.readings.iter().map(|r| r.nominal_mm);
        lengths.fold(0.0, f64::max)
    }
}

fn lost_motion(text: &str, spanned: Spanned<LostMotion>) -> Result<(f64, f64), ArticleError> {
    let place = Place {
        text,
        start: spanned.span().start,
        what: "lost_motion, ".into(),
    };
    let l = spanned.into_inner();
    let axis = |key: &str, mm: Option<f64>, up: Option<Vec<f64>>, down: Option<Vec<f64>>| {
        let remedy = format!(
            "give {key}_mm, or both {key}_up_mm and {key}_down_mm with two approaches or more each"
        );
        let key_mm = format!("{key}_mm");
        let b = match (mm, up, down) {
            (Some(b), None, None) => b,
            (None, Some(up), Some(down)) => {
                let found = Approaches { up, down }.repeatability();
                let few = || {
                    place.wrong(
                        &format!("{key}_up_mm"),
                        "too few approaches".into(),
                        &remedy,
                    )
                };
                found.ok_or_else(few)?.reversal_mm.abs()
            }
            (None, None, None) => return Err(place.wrong(&key_mm, "is missing".into(), &remedy)),
            _ => {
                return Err(place.wrong(
                    &key_mm,
                    "is given in two ways, or in half of one".into(),
                    &remedy,
                ));
            }
        };
        place.within(&key_mm, b, 0.0, 5.0)
    };
    let x = axis("x", l.x_mm, l.x_up_mm, l.x_down_mm)?;
    let y = axis("y", l.y_mm, l.y_up_mm, l.y_down_mm)?;
    Ok((x, y))
}

fn reading(text: &str, i: usize, spanned: Spanned<Line>) -> Result<Reading, ArticleError> {
    let number = i + 1;
    let place = Place {
        text,
        start: spanned.span().start,
        what: format!("reading {number}, "),
    };
    let line = spanned.into_inner();
    let unfit = |key: &str, says: &str, remedy: &str| Err(place.wrong(key, says.into(), remedy));
    let feature = match (line.feature, line.direction, line.dx_mm, line.dy_mm) {
        (Kind::Outside, Some(Axis::X), None, None) => Feature::OutsideX,
        (Kind::Outside, Some(Axis::Y), None, None) => Feature::OutsideY,
        (Kind::Hole, Some(Axis::X), None, None) => Feature::HoleX,
        (Kind::Hole, Some(Axis::Y), None, None) => Feature::HoleY,
        (Kind::Centres, None, Some(dx), Some(dy)) => Feature::Centres {
            dx: place.within("dx_mm", dx, -8000.0, 8000.0)?,
            dy: place.within("dy_mm", dy, -8000.0, 8000.0)?,
        },
        (Kind::Centres, _, _, _) => {
            let remedy = "give centres dx_mm and dy_mm (one may be 0) and no direction";
            return unfit("feature", "centres lie apart by two numbers", remedy);
        }
        _ => {
            let remedy = "give direction = \"x\" or \"y\", and neither dx_mm nor dy_mm";
            return unfit(
                "feature",
                "an outside or a hole is measured along one axis",
                remedy,
            );
        }
    };
    let nominal_mm = match (feature, line.nominal_mm) {
        (Feature::Centres { dx, dy }, drawn) => {
            let d = dx.hypot(dy);
            if drawn.is_some_and(|n| (n - d).abs() > 0.01) {
                let says = format!("is not the distance {d:.3} of dx_mm and dy_mm");
                return unfit("nominal_mm", &says, "correct it, or leave it out");
            }
            d
        }
        (_, Some(drawn)) => drawn,
        (_, None) => return unfit("nominal_mm", "is missing", "give the length as drawn"),
    };
    place.within("nominal_mm", nominal_mm, 0.5, 8000.0)?;
    place.within("measured_mm", line.measured_mm, 0.0, 8100.0)?;
    if (line.measured_mm - nominal_mm).abs() > SLIP_MM {
        let says = format!(
            "{} is more than {SLIP_MM} mm from {nominal_mm}",
            line.measured_mm
        );
        return unfit("measured_mm", &says, "read it again, in millimetres");
    }
    let sigma_mm = match (line.instrument, line.sigma_mm) {
        (Some(Instrument::Caliper), None) => CALIPER_MM,
        (Some(Instrument::Tape), None) => TAPE_MM,
        (None, Some(sigma)) => place.within("sigma_mm", sigma, 0.001, 5.0)?,
        _ => {
            let remedy = "give instrument = \"caliper\" or \"tape\", or else sigma_mm";
            return unfit(
                "instrument",
                "how well it was read is said twice or not at all",
                remedy,
            );
        }
    };
    Ok(Reading {
        name: line.name.unwrap_or_else(|| format!("reading {number}")),
        feature,
        nominal_mm,
        measured_mm: line.measured_mm,
        sigma_mm,
        plate: line.plate.unwrap_or(1),
    })
}
