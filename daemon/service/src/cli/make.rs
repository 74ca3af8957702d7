//! `standclear make`: a simple program with leads and kerf, vetted.

use std::process::ExitCode;
use std::sync::Arc;

use planning::make::{self, Made, NotMade, Shape};
use program::{Report, Verdict};
use serde::Serialize;
use units::Point;

use super::args::{MakeArgs, MakeShape};
use super::{Format, USAGE, colour_on_stdout, complain, fail, print, vet};
use crate::config::{Config, Found};

/// Runs the command.
pub fn run(args: &MakeArgs) -> ExitCode {
    match made(args) {
        Ok((text, refused)) => print("make", &text, u8::from(refused)),
        Err(says) => fail("make", &says, USAGE),
    }
}

/// What is printed as JSON.
#[derive(Serialize)]
struct Told<'a> {
    /// Made, and not refused by vetting.
    made: bool,
    /// Why it was not made.
    refused: Option<Why<'a>>,
    /// The program, where vetting does not refuse it.
    program: Option<&'a str>,
    at: Option<Point>,
    row: Option<&'a str>,
    kerf_mm: Option<f64>,
    report: Option<&'a Report>,
}

#[derive(Serialize)]
struct Why<'a> {
    rule: Option<&'a str>,
    says: &'a str,
    remedy: &'a str,
}

/// What is printed, and whether it was refused.
fn made(args: &MakeArgs) -> Result<(String, bool), String> {
    let file = Found::look(args.config.as_deref(), &|name| std::env::var_os(name));
    let config = match file.path() {
        Some(path) => Config::load(path).map_err(|e| format!("{}{e}", file.why()))?,
        None => Config::built_in_without_chart(),
    };
    let path = args.setup.as_deref().ok_or(
        "no setup: what lies on the table gives kerf, feed and room. Name it with --setup FILE",
    )?;
    let setup = vet::setup(path)?;
    let shape = shape(&args.shape)?;
    let made = match make::make(&config.table(), &setup, &shape, args.at.map(|at| at.0)) {
        Ok(made) => made,
        Err(why) => return not_made(args, &why),
    };
    let text: Arc<[u8]> = made.text.as_bytes().into();
    let out = args.out.as_deref();
    let name = out.map_or_else(|| "made".to_owned(), |o| o.display().to_string());
    let prepared = crate::job::unwatched(&config, &name, Arc::clone(&text), Some(setup), false);
    if let Some(out) = out {
        std::fs::write(out, &made.text).map_err(|e| {
            let remedy = "Name a file for the program that can be written";
            format!("{}: cannot be written: {e}. {remedy}", out.display())
        })?;
    }
    let report = &prepared.report;
    let refused = report.verdict == Verdict::Refused;
    let told = match args.format {
        Format::Text => {
            let colour = colour_on_stdout() && out.is_some();
            let told = program::text::render_with(report, &name, &text, colour, &file.told());
            match out {
                // The report is what is asked for.
                Some(_) => told,
                // The program is, so that it can be led into a file.
                None => {
                    complain(&told);
                    if refused {
                        String::new()
                    } else {
                        made.text.clone()
                    }
                }
            }
        }
        Format::Json => json(&told(&made, report, refused))?,
    };
    Ok((told, refused))
}

fn told<'a>(made: &'a Made, report: &'a Report, refused: bool) -> Told<'a> {
    Told {
        made: !refused,
        refused: None,
        program: (!refused).then_some(made.text.as_str()),
        at: Some(made.at),
        row: Some(&made.settings.row),
        kerf_mm: Some(made.settings.kerf_mm),
        report: Some(report),
    }
}

/// What cannot be made is refused; no file is written.
fn not_made(args: &MakeArgs, why: &NotMade) -> Result<(String, bool), String> {
    if args.format == Format::Text {
        let rule = why.rule.map_or_else(String::new, |r| format!(" ({r})"));
        complain(&format!("standclear make: refused{rule}: {why}"));
        return Ok((String::new(), true));
    }
    let told = Told {
        made: false,
        refused: Some(Why {
            rule: why.rule,
            says: &why.says,
            remedy: &why.remedy,
        }),
        program: None,
        at: None,
        row: None,
        kerf_mm: None,
        report: None,
    };
    Ok((json(&told)?, true))
}

fn json(told: &Told<'_>) -> Result<String, String> {
    let mut json = serde_json::to_string(told).map_err(|e| e.to_string())?;
    json.push('\n');
    Ok(json)
}

/// The far end of a line from edge to edge: the maker draws it in, mm.
const FAR_MM: f64 = 20_000.0;

fn shape(typed: &MakeShape) -> Result<Shape, String> {
    Ok(match *typed {
        MakeShape::Disc { diameter } => Shape::Disc {
            diameter: diameter.0,
        },
        MakeShape::Ring { outer, inner } => Shape::Ring {
            outer: outer.0,
            inner: inner.0,
        },
        MakeShape::Rectangle {
            width,
            height,
            radius,
        } => Shape::Rectangle {
            width: width.0,
            height: height.0,
            radius: radius.map_or(0.0, |r| r.0),
        },
        MakeShape::Slot {
            length,
            width,
            angle,
        } => Shape::Slot {
            length: length.0,
            width: width.0,
            angle,
        },
        MakeShape::Line {
            from,
            to,
            x,
            y,
            keep,
        } => {
            let (from, to, trim) = match (from, to, x, y) {
                (Some(from), Some(to), None, None) => (from.0, to.0, false),
                (None, None, Some(x), None) => {
                    (Point::new(x.0, 0.0), Point::new(x.0, FAR_MM), true)
                }
                (None, None, None, Some(y)) => {
                    (Point::new(0.0, y.0), Point::new(FAR_MM, y.0), true)
                }
                _ => return Err("line: give --from and --to, or --x, or --y".into()),
            };
            Shape::Line {
                from,
                to,
                keep_left: keep.left(),
                trim,
            }
        }
        MakeShape::Holes {
            count,
            diameter,
            pitch,
            angle,
            rows,
            row_pitch,
        } => Shape::Holes {
            count,
            diameter: diameter.0,
            pitch: pitch.0,
            angle,
            rows,
            row_pitch: row_pitch.unwrap_or(pitch).0,
        },
    })
}
