//! `standclear vet`: says whether a cutting program may be cut, and why not.

use std::path::Path;
use std::process::ExitCode;

use program::{Setup, Verdict};

use super::{Format, USAGE, VetArgs, colour_on_stdout, fail, print};
use crate::config::Config;
use crate::job::Prepared;

/// No cutting program is longer, bytes: some ten million blocks. A wrong path (a disk image, a
/// device without end) is found before it fills the memory.
const LONGEST: u64 = 256 << 20;

/// Runs the command.
pub fn run(args: &VetArgs) -> ExitCode {
    match vet(args) {
        Ok((text, refused)) => print("vet", &text, u8::from(refused)),
        Err(says) => fail("vet", &says, USAGE),
    }
}

/// The report, and whether it refuses.
fn vet(args: &VetArgs) -> Result<(String, bool), String> {
    let config = match &args.config {
        Some(file) => Config::load(file).map_err(|e| e.to_string())?,
        None => Config::built_in_without_chart(),
    };
    let setup = args.setup.as_deref().map(setup).transpose()?;
    let text = bytes(&args.program, "Name a cutting program that can be read")?;
    let name = args.program.display().to_string();
    let prepared = if args.join {
        Prepared::joining(&config, &name, &text, setup)
    } else {
        Prepared::new(&config, &name, &text, setup)
    };
    if let Some(file) = &args.picture {
        std::fs::write(file, prepared.picture()).map_err(|e| {
            let remedy = "Name a file for the drawing that can be written";
            format!("{}: cannot be written: {e}. {remedy}", file.display())
        })?;
    }
    let report = &prepared.report;
    let told = match args.format {
        Format::Text => program::text::render(report, &name, &text, colour_on_stdout()),
        Format::Json => {
            let mut json = serde_json::to_string(report).map_err(|e| e.to_string())?;
            json.push('\n');
            json
        }
    };
    Ok((told, report.verdict == Verdict::Refused))
}

fn setup(file: &Path) -> Result<Setup, String> {
    let remedy = "Name a setup file that can be read";
    let text = String::from_utf8(bytes(file, remedy)?)
        .map_err(|_| format!("{}: is no text in UTF-8. {remedy}", file.display()))?;
    Setup::from_toml(&text).map_err(|e| format!("{}: {e}", file.display()))
}

fn bytes(file: &Path, remedy: &str) -> Result<Vec<u8>, String> {
    let wrong = |says: String| format!("{}: {says}. {remedy}", file.display());
    crate::files::read(file, LONGEST).map_err(wrong)
}
