//! `standclear replay`: feeds a recorded run through the panel's decisions again and compares.

use std::process::ExitCode;

use super::args::state_dir;
use super::{Format, ReplayArgs, RunChoice, USAGE, fail, print};
use crate::journal::{self, Which};
use crate::recording::{self, Fault};

/// Runs the command. 0: all equal; 1: different, or not wholly there; 2: no such run.
pub fn run(args: &ReplayArgs) -> ExitCode {
    let story = state_dir(args.state.as_deref(), &|name| std::env::var_os(name)).and_then(|dir| {
        let which = match args.run {
            RunChoice::Id(run) => Which::Run(run),
            RunChoice::Last => Which::Last,
        };
        let story = journal::read(&dir, which).map_err(|e| e.to_string())?;
        Ok((dir, story))
    });
    let (dir, story) = match story {
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
