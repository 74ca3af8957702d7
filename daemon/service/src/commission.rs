//! `standclear commission`: steps of commissioning in a terminal, against the panel's own pins and port,
//! and the page of what is on record.
//!
//! The panel is put together as `serve` does it, without its console: nothing here decides anything, it
//! asks the machine as a screen does and types what that says.

pub mod page;
pub mod session;

use std::path::Path;
use std::process::ExitCode;

use control::commissioning::Step;

use crate::assemble::{FarEnds, assemble};
use crate::cli::{CommissionArgs, USAGE, fail, print};
use crate::config::{Config, Found};
use session::Terminal;

/// Runs the command.
#[must_use]
pub fn run(args: &CommissionArgs) -> ExitCode {
    let done = open(args).and_then(|(config, state)| {
        if args.record {
            return page::text(&config, &state).map(|text| (text, 0));
        }
        let steps = wanted(args.step.as_deref())?;
        let passed = made(&config, &state, &steps)?;
        page::text(&config, &state).map(|text| (text, u8::from(!passed)))
    });
    match done {
        Ok((text, exit)) => print("commission", &text, exit),
        Err(says) => fail("commission", &says, USAGE),
    }
}

fn open(args: &CommissionArgs) -> Result<(Config, std::path::PathBuf), String> {
    let file = Found::look(args.config.as_deref(), &|name| std::env::var_os(name));
    Ok((file.load()?, args.state_dir()?))
}

/// The steps that are asked for: the one that is named, or those that guard a person.
///
/// # Errors
/// There is no such step: the words say which there are.
pub fn wanted(named: Option<&str>) -> Result<Vec<Step>, String> {
    let Some(named) = named else {
        return Ok(Step::guarding().collect());
    };
    match Step::named(named) {
        Some(step) => Ok(vec![step]),
        None => {
            let all = Step::ALL.map(|s| format!("{} {}", s.number(), s.facts().key));
            Err(format!(
                "there is no step {named:?}. The steps are: {}",
                all.join(", ")
            ))
        }
    }
}

/// Makes the steps; whether all have passed.
fn made(config: &Config, state: &Path, steps: &[Step]) -> Result<bool, String> {
    let pins = crate::board::open(&config.pins).map_err(|e| {
        format!("{e}. A panel that runs has the pins: end it first (systemctl stop standclear)")
    })?;
    let volts = match &config.volts {
        Some(volts) => {
            Some(crate::arc_volts::open(volts, config.power.divider).map_err(|e| e.to_string())?)
        }
        None => None,
    };
    let ends = FarEnds {
        pins,
        volts,
        port: config.link.port.clone(),
        turn_end: None,
        outputs: crate::board::outputs(&config.pins)?,
        automatic: None,
        disk: None,
    };
    let runtime = crate::serve::runtime().map_err(|e| e.to_string())?;
    let passed = runtime.block_on(async {
        let told_to_end = crate::serve::told_to_end_in_time();
        let (runner, panel) = assemble(config, state, ends).map_err(|e| e.to_string())?;
        let (end, ended) = tokio::sync::oneshot::channel::<()>();
        let task = tokio::spawn(runner.run(async {
            // Either way it is time to end.
            let _ = ended.await;
        }));
        let passed = tokio::select! {
            passed = session::run(&panel, steps, Terminal::here(None)) => passed,
            () = told_to_end => Err("ended: what was open is not on record".to_owned()),
        };
        // The torch goes off and the records are kept before anything is told.
        drop(end);
        task.await.map_err(|e| e.to_string())?;
        passed
    });
    runtime.shutdown_background();
    passed
}
