//! `standclear vet`: says whether a cutting program may be cut, and why not.

use std::path::Path;
use std::process::ExitCode;

use program::{Setup, Verdict};

use super::{USAGE, VetArgs, VetFormat, colour_on_stdout, fail, print};
use crate::config::{Config, Found};
use std::sync::Arc;

/// No cutting program is longer, bytes: some ten million blocks. A wrong path (a disk image, a
/// device without end) is found before it fills the memory.
const LONGEST: u64 = 256 << 20;

/// Runs the command.
pub fn run(args: &VetArgs) -> ExitCode {
    if let Some(rule) = &args.explain {
        return match explained(rule) {
            Ok(page) => print("vet", &page, 0),
            Err(says) => fail("vet", &says, USAGE),
        };
    }
    match vet(args) {
        Ok((text, refused)) => print("vet", &text, u8::from(refused)),
        Err(says) => fail("vet", &says, USAGE),
    }
}

/// The page of a rule, or of all.
fn explained(rule: &str) -> Result<String, String> {
    if rule == "all" {
        return Ok(program::explain::all());
    }
    program::explain::page(rule).ok_or_else(|| {
        format!(
            "--explain {rule}: there is no such rule. Name one of these, or all: {}",
            program::explain::names()
        )
    })
}

/// The report, and whether it refuses.
fn vet(args: &VetArgs) -> Result<(String, bool), String> {
    let file = Found::look(args.config.as_deref(), &|name| std::env::var_os(name));
    let config = match file.path() {
        Some(path) => Config::load(path).map_err(|e| format!("{}{e}", file.why()))?,
        None => Config::built_in_without_chart(),
    };
    let setup = args.setup.as_deref().map(setup).transpose()?;
    // The command line asks for a program wherever it does not ask for a page.
    let path = args.program.as_deref().ok_or("name a cutting program")?;
    let text = program(path)?;
    let name = path.display().to_string();
    let prepared = crate::job::unwatched(&config, &name, Arc::clone(&text), setup, args.join);
    if let Some(file) = &args.picture {
        std::fs::write(file, prepared.picture()).map_err(|e| {
            let remedy = "Name a file for the drawing that can be written";
            format!("{}: cannot be written: {e}. {remedy}", file.display())
        })?;
    }
    let report = &prepared.report;
    let told = match args.format {
        VetFormat::Text => {
            program::text::render_with(report, &name, &text, colour_on_stdout(), &file.told())
        }
        VetFormat::Json => json(report, &file)?,
        VetFormat::Sarif => {
            let log = program::sarif::log(report, &name, env!("CARGO_PKG_VERSION"));
            json(&log, &file)?
        }
    };
    Ok((told, report.verdict == Verdict::Refused))
}

/// One object in a line. Which machine file was taken goes to stderr where nobody named one.
fn json(what: &impl serde::Serialize, file: &Found) -> Result<String, String> {
    if !matches!(file, Found::Named(_)) {
        eprintln!("standclear vet: {}", file.told());
    }
    let mut json = serde_json::to_string(what).map_err(|e| e.to_string())?;
    json.push('\n');
    Ok(json)
}

/// Reads a cutting program.
pub(super) fn program(file: &Path) -> Result<Arc<[u8]>, String> {
    Ok(bytes(file, "Name a cutting program that can be read")?.into())
}

/// Reads a setup file.
pub(super) fn setup(file: &Path) -> Result<Setup, String> {
    let remedy = "Name a setup file that can be read";
    let text = String::from_utf8(bytes(file, remedy)?)
        .map_err(|_| format!("{}: is no text in UTF-8. {remedy}", file.display()))?;
    Setup::from_toml(&text).map_err(|e| format!("{}: {e}", file.display()))
}

fn bytes(file: &Path, remedy: &str) -> Result<Vec<u8>, String> {
    let wrong = |says: String| format!("{}: {says}. {remedy}", file.display());
    crate::files::read(file, LONGEST).map_err(wrong)
}
