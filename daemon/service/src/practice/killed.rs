//! A headless practice in which the panel is killed: the table stays here, the panel is a process
//! of its own that is started again after each ordered kill, as a service manager would.

use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};

use rustix::process::{Pid, Signal, kill_process};
use simulator::harness::FaultKind;

use super::table::Table;
use super::{Trouble, unfinished};
use crate::cli::{Format, PracticeArgs};

/// Whether a panel of its own is needed. One that joined a table which runs already is killed like
/// any process, and whoever started it starts it again.
pub fn wanted(args: &PracticeArgs) -> bool {
    args.headless && args.table.is_none() && kills(args) > 0
}

fn kills(args: &PracticeArgs) -> usize {
    let is = |f: &&simulator::harness::FaultSpec| f.kind == FaultKind::PanelKilled;
    args.faults.iter().filter(is).count()
}

/// Runs panels on this table until one ends by itself; prints what that one printed.
pub fn run(args: &PracticeArgs, table: &Table, state: &Path) -> Result<ExitCode, Trouble> {
    let own = std::env::current_exe()
        .map_err(|e| unfinished(format!("the panel's own program is not to be found: {e}")))?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(unfinished)?;
    for _ in 0..=kills(args) {
        let panel = start(&own, args, table, state)
            .map_err(|e| unfinished(format!("the panel could not be started: {e}")))?;
        let pid = Pid::from_child(&panel);
        let output = runtime.block_on(async {
            let mut ended = tokio::task::spawn_blocking(move || panel.wait_with_output());
            tokio::select! {
                ended = &mut ended => ended,
                () = crate::serve::told_to_end() => {
                    // It puts the torch out and ends in order; it is waited for.
                    let _ = kill_process(pid, Signal::TERM);
                    ended.await
                }
            }
        });
        let output = output.map_err(unfinished)?.map_err(unfinished)?;
        if output.status.signal() == Some(Signal::KILL.as_raw()) {
            continue;
        }
        print!("{}", String::from_utf8_lossy(&output.stdout));
        let code = output.status.code().and_then(|c| u8::try_from(c).ok());
        return Ok(code.map_or(ExitCode::FAILURE, ExitCode::from));
    }
    Err(unfinished(
        "the panel was killed more often than was ordered: look what else on this machine ends \
         programs",
    ))
}

fn start(own: &Path, args: &PracticeArgs, table: &Table, state: &Path) -> std::io::Result<Child> {
    let mut command = Command::new(own);
    command.arg("practice").args(&args.program);
    let mut flag = |name: &str, value: Option<&PathBuf>| {
        if let Some(value) = value {
            command.arg(name).arg(value);
        }
    };
    flag("--setup", args.setup.as_ref());
    flag("--config", args.config.as_ref());
    flag("--table", Some(&table.dir().to_path_buf()));
    flag("--state", Some(&state.to_path_buf()));
    let format = match args.format {
        Format::Text => "text",
        Format::Json => "json",
    };
    if args.join {
        command.arg("--join");
    }
    if args.change_parts {
        command.arg("--change-parts");
    }
    command
        .args(["--headless", "--format", format])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::inherit())
        .spawn()
}
