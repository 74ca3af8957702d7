//! `standclear chart`: the rows of a cut chart, where each comes from, and which cannot be true; what lies
//! between two of them.

use core::fmt::Write as _;
use std::path::Path;
use std::process::ExitCode;

use process::{Between, Chart, ChartRow, Judged, Plausible, RowSource, between};
use serde::Serialize;

use super::{ChartArgs, Format, USAGE, fail, print};

/// No chart is longer, bytes.
const LONGEST: u64 = 4 << 20;

/// Runs the command.
pub fn run(args: &ChartArgs) -> ExitCode {
    match told(args) {
        Ok((text, wrong)) => print("chart", &text, u8::from(wrong)),
        Err(says) => fail("chart", &says, USAGE),
    }
}

/// What is told as an object.
#[derive(Serialize)]
struct Told {
    rows: Vec<Judged>,
    between: Option<ChartRow>,
}

/// The rows as text, and whether one cannot be true.
fn told(args: &ChartArgs) -> Result<(String, bool), String> {
    let chart = read(&args.chart)?;
    let rows = chart.judged();
    let wrong = rows.iter().any(|r| r.plausible == Plausible::Impossible);
    let asked = args.material.as_deref().zip(args.thickness);
    let found = asked
        .map(|(material, mm)| row_for(&chart, material, mm, args.amps))
        .transpose()?;
    let text = match args.format {
        Format::Text => {
            let mut text: String = rows.iter().map(line).collect();
            if let Some(row) = &found {
                // Writing to a text does not fail.
                let _ = writeln!(text, "between {}", settings(row));
            }
            text
        }
        Format::Json => {
            let told = Told {
                rows,
                between: found,
            };
            let json = serde_json::to_string(&told).map_err(|e| e.to_string())?;
            format!("{json}\n")
        }
    };
    Ok((text, wrong))
}

/// The settings for a thickness: a row that fits, or what lies between two.
fn row_for(chart: &Chart, material: &str, mm: f64, amps: Option<f64>) -> Result<ChartRow, String> {
    let rows = chart.rows();
    let same = |row: &&ChartRow| {
        let current = amps.is_none_or(|a| (a - row.amps).abs() < 1e-9);
        row.material == material && (row.thickness_mm - mm).abs() < 1e-9 && current
    };
    let mut fitting = rows.iter().filter(same);
    if let (Some(row), None) = (fitting.next(), fitting.next()) {
        return Ok(row.clone());
    }
    match between(rows, material, mm, amps) {
        Between::One { row, .. } => Ok(row),
        Between::Several(names) => Err(format!(
            "several currents fit {material} {mm} mm (rows {}): name one with --amps",
            names.join(", ")
        )),
        Between::None => Err(format!(
            "{material} {mm} mm lies beyond the rows of the chart: cut a test and write a row"
        )),
    }
}

/// A row in a line.
fn line(judged: &Judged) -> String {
    let source = match judged.origin.source {
        Some(RowSource::OwnTest) => "own test",
        Some(RowSource::MakersBook) => "maker's book",
        Some(RowSource::Invented) => "invented",
        None => "source not said",
    };
    let date = judged.origin.date.as_deref().unwrap_or("no date");
    let power = match judged.shares {
        Some([em, _]) => format!("melting takes {:.0} % of the arc", 100.0 * em),
        None => "power not judged".into(),
    };
    let says = match judged.plausible {
        Plausible::Usual | Plausible::NotJudged => "",
        Plausible::Odd => " ! not usual",
        Plausible::Impossible => " ! cannot be true",
    };
    format!(
        "{}, {source}, {date}, {power}{says}\n",
        settings(&judged.row)
    )
}

/// The settings of a row.
fn settings(row: &ChartRow) -> String {
    format!(
        "{}: {:.0} A, {:.0} mm/min, {:.0} V, kerf {:.2} mm, heights {:.1} and {:.1} mm, {:.2} s",
        row.name,
        row.amps,
        row.feed_mm_min,
        row.volts,
        row.kerf_mm,
        row.pierce_height_mm,
        row.cut_height_mm,
        row.pierce_delay_s
    )
}

fn read(file: &Path) -> Result<Chart, String> {
    let remedy = "Name a chart that can be read; config/charts/invented.toml is an example";
    let wrong = |says: String| format!("{}: {says}. {remedy}", file.display());
    let bytes = crate::files::read(file, LONGEST).map_err(wrong)?;
    let text = String::from_utf8(bytes).map_err(|_| wrong("is no text in UTF-8".into()))?;
    Chart::from_toml(&text).map_err(|e| format!("{}: {e}", file.display()))
}
