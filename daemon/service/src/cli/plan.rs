//! `standclear plan`: how long a job takes, whether air, source and torch parts last, and the pauses that
//! make them last.

use std::process::ExitCode;

use planning::{JobPlan, plan, plan_page};
use process::Compressor;

use super::{Format, PlanArgs, USAGE, fail, print, vet};
use crate::config::{Config, Found};

/// Runs the command.
pub fn run(args: &PlanArgs) -> ExitCode {
    match planned(args) {
        Ok((text, hopeless)) => print("plan", &text, u8::from(hopeless)),
        Err(says) => fail("plan", &says, USAGE),
    }
}

/// The plan as text, and whether something is wanted that no pause gives.
fn planned(args: &PlanArgs) -> Result<(String, bool), String> {
    let file = Found::look(args.config.as_deref(), &|name| std::env::var_os(name));
    let mut config = match file.path() {
        Some(path) => Config::load(path).map_err(|e| format!("{}{e}", file.why()))?,
        None => Config::built_in(),
    };
    if let Some(compressor) = args.compressor {
        config.air.compressor = match compressor {
            super::CompressorAt::Running => Compressor::Running,
            super::CompressorAt::Resting => Compressor::Resting,
            super::CompressorAt::Off => Compressor::Off,
        };
    }
    let setup = vet::setup(&args.setup)?;
    let text = vet::program(&args.program)?;
    let name = args.program.display().to_string();
    let prepared = crate::job::unwatched(&config, &name, text, Some(setup), args.join);
    let made = plan(&prepared, &config.table()).ok_or_else(|| {
        let why = prepared.no_row.as_deref().unwrap_or("it has no cuts");
        format!("{name}: no plan can be made: {why}. Look at what `standclear vet` says of it")
    })?;
    let hopeless = !made.hopeless.is_empty();
    let text = match args.format {
        Format::Text => format!("{name}\n{}{}\n", plan_page(&made), told(&file)),
        Format::Json => json(&made, &file)?,
    };
    Ok((text, hopeless))
}

/// Which machine file it was.
fn told(file: &Found) -> String {
    match file.path() {
        Some(_) => file.told(),
        None => "Machine file: the built-in one of practice, its chart invented.".into(),
    }
}

fn json(made: &JobPlan, file: &Found) -> Result<String, String> {
    if !matches!(file, Found::Named(_)) {
        super::complain(&format!("standclear plan: {}", told(file)));
    }
    let mut json = serde_json::to_string(made).map_err(|e| e.to_string())?;
    json.push('\n');
    Ok(json)
}
