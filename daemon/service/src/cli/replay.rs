//! `standclear replay`: feeds a recorded run through the panel's decisions again and compares.

use std::path::PathBuf;
use std::process::ExitCode;

use tempfile::TempDir;

use super::args::state_dir;
use super::{Format, ReplayArgs, RunChoice, USAGE, fail, print};
use crate::journal::{self, Story, Which};
use crate::recording::{self, Fault};
use crate::review::bundle;

/// Runs the command. 0: all equal; 1: different, or not wholly there; 2: no such run.
pub fn run(args: &ReplayArgs) -> ExitCode {
    let (dir, story, _work) = match found(args) {
        Ok(found) => found,
        Err(says) => return fail("replay", &says, USAGE),
    };
    let run = story.run.unwrap_or_default();
    let outcome = recording::replay(&dir, &story);
    match (args.format, outcome) {
        (Format::Text, Ok(equal)) => {
            let text = format!(
                "Run {run}: {} inputs, {} effects, all equal; {} of the panel, {} events as in \
                 the journal.\n",
                equal.inputs,
                equal.effects,
                if equal.starts == 1 {
                    "one start".into()
                } else {
                    format!("{} starts", equal.starts)
                },
                equal.events,
            );
            print("replay", &text, 0)
        }
        (Format::Text, Err(fault)) => fail("replay", &format!("run {run}: {fault}"), 1),
        (Format::Json, outcome) => json(run, outcome),
    }
}

/// The folder of the recordings, what the journal tells of the run, and a folder that is to be kept meanwhile.
fn found(args: &ReplayArgs) -> Result<(PathBuf, Story, Option<TempDir>), String> {
    if let Some(file) = &args.from {
        let work = tempfile::tempdir().map_err(|e| format!("no temporary folder: {e}"))?;
        let (manifest, story) = bundle::read(file, work.path())?;
        return match args.run {
            RunChoice::Id(run) if run != manifest.run => Err(format!(
                "{}: is of run {}. Name that, or `last`",
                file.display(),
                manifest.run
            )),
            _ => Ok((work.path().to_path_buf(), story, Some(work))),
        };
    }
    let dir = state_dir(args.state.as_deref(), &|name| std::env::var_os(name))?;
    let which = match args.run {
        RunChoice::Id(run) => Which::Run(run),
        RunChoice::Last => Which::Last,
    };
    let story = journal::read(&dir, which).map_err(|e| e.to_string())?;
    Ok((dir, story, None))
}

fn json(run: u64, outcome: Result<recording::Equal, Fault>) -> ExitCode {
    let exit = u8::from(outcome.is_err());
    let told = match outcome {
        Ok(equal) => serde_json::json!({
            "run": run, "equal": true, "inputs": equal.inputs, "effects": equal.effects,
            "starts": equal.starts, "events": equal.events,
        }),
        Err(Fault::Differs(d)) => serde_json::json!({
            "run": run, "equal": false, "file": d.file, "line": d.line, "step": d.step,
            "at_s": d.at.as_s(), "input": d.input, "effect": d.effect, "expected": d.expected,
            "found": d.found,
        }),
        Err(fault) => serde_json::json!({
            "run": run, "equal": false, "says": fault.to_string(),
        }),
    };
    print("replay", &format!("{told}\n"), exit)
}
