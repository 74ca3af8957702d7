//! What lies on the table: the setup file.

use serde::{Deserialize, Serialize};
use units::Point;

/// A setup. Its keys in TOML are a contract.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// `mild-steel`, `stainless`, `aluminium`, ...
    pub material: String,
    /// Thickness, mm.
    pub thickness: f64,
    /// Sheet size, mm.
    pub sheet: Point,
    /// Where the program's zero lies on the sheet, mm.
    pub origin: Point,
    /// Turned anticlockwise about that zero, degrees.
    #[serde(default)]
    pub rotation: f64,
    /// Where the ground clamp bites, sheet mm.
    #[serde(default)]
    pub clamp: Option<Point>,
    /// Name of the chart row.
    #[serde(default)]
    pub chart: Option<String>,
    /// Kerf in place of the chart's, mm.
    #[serde(default)]
    pub kerf: Option<f64>,
    /// Outlines of areas already cut away, sheet mm.
    #[serde(default)]
    pub used: Vec<Vec<Point>>,
    /// Tabs, sheet mm.
    #[serde(default)]
    pub tabs: Vec<Point>,
    /// Things that stand on the sheet.
    #[serde(default)]
    pub keepouts: Vec<Keepout>,
    /// Coating, such as `galvanised`.
    #[serde(default)]
    pub coating: Option<String>,
    /// The table is a water table.
    #[serde(default)]
    pub water_table: bool,
}

/// A thing that stands on the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Keepout {
    /// Its middle, sheet mm.
    pub at: Point,
    /// Its size, mm.
    pub size: Point,
    /// Its height above the sheet, mm.
    pub height: f64,
}

/// What is wrong with a setup file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}{says} {remedy}", place(.line, .key))]
pub struct SetupError {
    /// The key, where one is to blame.
    pub key: Option<String>,
    /// Line of the file, from 1.
    pub line: Option<u32>,
    /// What is wrong.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

fn place(line: &Option<u32>, key: &Option<String>) -> String {
    match (line, key) {
        (Some(line), Some(key)) => format!("line {line}, {key}: "),
        (Some(line), None) => format!("line {line}: "),
        (None, Some(key)) => format!("{key}: "),
        (None, None) => String::new(),
    }
}

/// Nothing on a table is larger, mm.
const LARGEST_MM: f64 = 20_000.0;
/// No air plasma source cuts thicker, mm.
const THICKEST_MM: f64 = 160.0;
/// No kerf is wider, mm.
const WIDEST_KERF_MM: f64 = 20.0;

impl Setup {
    /// Reads a setup.
    ///
    /// # Errors
    /// The first thing that is wrong: its key, its line, what it is and what to do.
    pub fn from_toml(text: &str) -> Result<Self, SetupError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let setup: Self = toml::from_str(text).map_err(|e| unreadable(text, &e))?;
        match setup.wrong() {
            None => Ok(setup),
            Some((key, says, remedy)) => Err(SetupError {
                line: line_of_key(text, key),
                key: Some(key.to_owned()),
                says,
                remedy: remedy.to_owned(),
            }),
        }
    }

    /// The first value out of range: key, what, remedy.
    fn wrong(&self) -> Option<(&'static str, String, &'static str)> {
        let name = |s: &str| {
            !s.is_empty()
                && s.chars()
                    .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
        };
        if !name(&self.material) {
            return Some((
                "material",
                format!("\"{}\" is no name of a material.", self.material),
                "Write it in small letters with hyphens, such as \"mild-steel\".",
            ));
        }
        let in_range = |v: f64, most: f64| v.is_finite() && v > 0.0 && v <= most;
        if !in_range(self.thickness, THICKEST_MM) {
            return Some((
                "thickness",
                format!(
                    "{} mm is no thickness that can be cut (above 0, up to {THICKEST_MM} mm).",
                    self.thickness
                ),
                "Write the thickness of the sheet in mm.",
            ));
        }
        if !in_range(self.sheet.x, LARGEST_MM) || !in_range(self.sheet.y, LARGEST_MM) {
            return Some((
                "sheet",
                format!(
                    "{} x {} mm is no size of a sheet (above 0, up to {LARGEST_MM} mm).",
                    self.sheet.x, self.sheet.y
                ),
                "Write sheet = [width, height] in mm.",
            ));
        }
        let near = |p: Point| p.x.abs() <= LARGEST_MM && p.y.abs() <= LARGEST_MM;
        if !near(self.origin) {
            return Some((
                "origin",
                format!(
                    "The program's zero at ({}, {}) is nowhere near the sheet.",
                    self.origin.x, self.origin.y
                ),
                "Write origin = [x, y] in mm from the sheet's lower left corner.",
            ));
        }
        if !self.rotation.is_finite() || self.rotation.abs() > 360.0 {
            return Some((
                "rotation",
                format!("{} is no angle (-360 to 360 degrees).", self.rotation),
                "Write the angle in degrees, anticlockwise.",
            ));
        }
        let on_sheet =
            |p: Point| (0.0..=self.sheet.x).contains(&p.x) && (0.0..=self.sheet.y).contains(&p.y);
        if let Some(clamp) = self.clamp.filter(|c| !on_sheet(*c)) {
            return Some((
                "clamp",
                format!(
                    "The clamp at ({}, {}) is not on the sheet.",
                    clamp.x, clamp.y
                ),
                "Write clamp = [x, y] in mm from the sheet's lower left corner, or leave it out.",
            ));
        }
        if let Some(kerf) = self.kerf.filter(|k| !in_range(*k, WIDEST_KERF_MM)) {
            return Some((
                "kerf",
                format!("{kerf} mm is no kerf (above 0, up to {WIDEST_KERF_MM} mm)."),
                "Write the width of the kerf in mm, or leave it to the chart.",
            ));
        }
        self.wrong_things(near, on_sheet)
    }

    fn wrong_things(
        &self,
        near: impl Fn(Point) -> bool,
        on_sheet: impl Fn(Point) -> bool,
    ) -> Option<(&'static str, String, &'static str)> {
        for (n, outline) in self.used.iter().enumerate() {
            if outline.len() < 3 || !outline.iter().all(|p| near(*p)) {
                return Some((
                    "used",
                    format!(
                        "Area {} of the used areas is no outline of three or more places.",
                        n + 1
                    ),
                    "Write used = [[[x, y], [x, y], [x, y]]] in mm on the sheet.",
                ));
            }
        }
        if let Some(tab) = self.tabs.iter().find(|t| !on_sheet(**t)) {
            return Some((
                "tabs",
                format!("The tab at ({}, {}) is not on the sheet.", tab.x, tab.y),
                "Write tabs = [[x, y]] in mm from the sheet's lower left corner.",
            ));
        }
        for k in &self.keepouts {
            let sized = [k.size.x, k.size.y]
                .iter()
                .all(|v| v.is_finite() && *v > 0.0 && *v <= LARGEST_MM);
            let tall = k.height.is_finite() && (0.0..=1000.0).contains(&k.height);
            if !near(k.at) || !sized || !tall {
                return Some((
                    "keepouts",
                    format!(
                        "The keep-out at ({}, {}) has no sensible place, size or height.",
                        k.at.x, k.at.y
                    ),
                    "Write { at = [x, y], size = [x, y], height = mm } with sizes above 0.",
                ));
            }
        }
        if self.chart.as_ref().is_some_and(|c| c.trim().is_empty()) {
            return Some((
                "chart",
                "The name of the chart row is empty.".to_owned(),
                "Write the row's name, or leave the key out.",
            ));
        }
        None
    }
}

/// Text that is no TOML, a key that is not known or missing, a value of the wrong kind.
fn unreadable(text: &str, error: &toml::de::Error) -> SetupError {
    let message = error.message().trim().replace('\n', " ");
    let span = error.span();
    let line = span
        .as_ref()
        .and_then(|s| text.get(..s.start.min(text.len())))
        .map(|before| before.matches('\n').count() as u32 + 1);
    let quoted = message.split('`').nth(1).map(str::to_owned);
    if message.starts_with("unknown field") {
        let known = message
            .split_once("expected")
            .map_or("", |(_, known)| known.trim());
        return SetupError {
            says: "A setup has no such key.".to_owned(),
            remedy: format!(
                "Correct its spelling or take it out. Known: {}.",
                known.trim_start_matches("one of ").replace('`', "")
            ),
            key: quoted,
            line,
        };
    }
    if message.starts_with("missing field") {
        return SetupError {
            says: "This key is missing.".to_owned(),
            remedy: "Add it; a setup needs material, thickness, sheet and origin.".to_owned(),
            key: quoted,
            line: None,
        };
    }
    let key = line.and_then(|n| key_in_line(text, n));
    SetupError {
        says: format!("This cannot be read: {message}."),
        remedy: match &key {
            Some(key) => format!("Write {key} as in: {}.", example(key)),
            None => "Write a setup in TOML: one key = value a line.".to_owned(),
        },
        key,
        line,
    }
}

fn example(key: &str) -> &'static str {
    match key {
        "material" => "material = \"mild-steel\"",
        "thickness" => "thickness = 5",
        "sheet" => "sheet = [600, 400]",
        "origin" => "origin = [20, 30]",
        "rotation" => "rotation = 90",
        "clamp" => "clamp = [590, 390]",
        "kerf" => "kerf = 1.45",
        "used" => "used = [[[10, 10], [60, 10], [60, 40]]]",
        "tabs" => "tabs = [[100, 50]]",
        "keepouts" => "keepouts = [{ at = [10, 10], size = [20, 20], height = 15 }]",
        "water_table" => "water_table = true",
        _ => "key = value",
    }
}

fn key_in_line(text: &str, line: u32) -> Option<String> {
    let line = text.lines().nth(line.checked_sub(1)? as usize)?;
    let (key, _) = line.split_once('=')?;
    let key = key.trim();
    (!key.is_empty() && key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_'))
        .then(|| key.to_owned())
}

fn line_of_key(text: &str, key: &str) -> Option<u32> {
    let header = format!("[[{key}]]");
    text.lines()
        .zip(1..)
        .find(|(line, _)| {
            let line = line.trim_start();
            line.starts_with(&header)
                || line
                    .strip_prefix(key)
                    .is_some_and(|rest| rest.trim_start().starts_with('='))
        })
        .map(|(_, n)| n)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RIGHT: &str = "\
material = \"mild-steel\"
thickness = 5
sheet = [600, 400]
origin = [20.5, 30]
rotation = 90
clamp = [590, 390]
kerf = 1.45
used = [[[10, 10], [60, 10], [60, 40]]]
tabs = [[100, 50]]
keepouts = [{ at = [10, 10], size = [20, 20], height = 15 }]
coating = \"galvanised\"
water_table = true
";

    #[test]
    fn a_full_setup_is_read() {
        let setup = Setup::from_toml(RIGHT).expect("right");
        assert_eq!(setup.origin, Point::new(20.5, 30.0));
        assert_eq!(setup.used[0].len(), 3);
        assert_eq!(Setup::from_toml(&format!("\u{feff}{RIGHT}")), Ok(setup));
    }

    #[test]
    fn every_wrong_value_is_named_with_its_line() {
        for (key, line, wrong) in [
            ("material", 1, "material = \"Mild steel\""),
            ("thickness", 2, "thickness = 0"),
            ("thickness", 2, "thickness = nan"),
            ("thickness", 2, "thickness = -5"),
            ("thickness", 2, "thickness = \"5\""),
            ("sheet", 3, "sheet = [600, -400]"),
            ("sheet", 3, "sheet = [600]"),
            ("sheet", 3, "sheet = [inf, 400]"),
            ("origin", 4, "origin = [1e9, 0]"),
            ("rotation", 5, "rotation = 400"),
            ("clamp", 6, "clamp = [601, 10]"),
            ("kerf", 7, "kerf = 0"),
            ("used", 8, "used = [[[10, 10], [60, 10]]]"),
            ("tabs", 9, "tabs = [[-1, 0]]"),
            (
                "keepouts",
                10,
                "keepouts = [{ at = [10, 10], size = [0, 20], height = 15 }]",
            ),
            ("water_table", 12, "water_table = \"yes\""),
        ] {
            let text: String = RIGHT
                .lines()
                .zip(1..)
                .map(|(l, n)| if n == line { wrong } else { l })
                .collect::<Vec<_>>()
                .join("\n");
            let e = Setup::from_toml(&text).expect_err(wrong);
            assert_eq!(
                (e.key.as_deref(), e.line),
                (Some(key), Some(line as u32)),
                "{wrong}: {e}"
            );
            assert!(!e.says.is_empty() && !e.remedy.is_empty());
        }
    }

    #[test]
    fn unknown_and_missing_keys_are_named() {
        let e = Setup::from_toml(&RIGHT.replace("clamp", "clmap")).expect_err("unknown");
        assert_eq!((e.key.as_deref(), e.line), (Some("clmap"), Some(6)));
        assert!(e.remedy.contains("keepouts"), "{e}");
        let e = Setup::from_toml(&RIGHT.replace("thickness = 5\n", "")).expect_err("missing");
        assert_eq!(e.key.as_deref(), Some("thickness"));
        let e = Setup::from_toml("material = \n").expect_err("no value");
        assert_eq!(e.line, Some(1));
        assert!(Setup::from_toml("G0 X5").is_err());
    }
}
