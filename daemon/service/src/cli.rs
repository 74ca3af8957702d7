//! The command line: one file per command that has no other home, arguments as typed and as
//! resolved in `args`. Which command is carried out by whom: `command`, above this.
//!
//! Exit status: 0 done, or clear or warned; 1 refused, or something that was looked at is wrong;
//! 2 usage, a file that cannot be opened, a setup or configuration that is wrong.

mod args;
pub(crate) mod article;
pub(crate) mod backup;
pub(crate) mod chart;
pub(crate) mod check;
pub(crate) mod dialect;
mod dialect_args;
mod faults;
mod format;
mod lines;
pub(crate) mod log;
pub(crate) mod make;
mod make_args;
pub(crate) mod pages;
pub(crate) mod plan;
pub(crate) mod replay;
#[cfg(test)]
mod tests;
pub(crate) mod vet;

use std::io::{IsTerminal as _, Write as _};
use std::process::ExitCode;

pub use args::{
    ArticleArgs, BackupArgs, ChartArgs, CheckArgs, CommissionArgs, CompressorAt, DEFAULT_PORT,
    Format, LogArgs, LogFormat, PagesArgs, PlanArgs, PracticeArgs, ReplayArgs, RestoreArgs,
    RunChoice, ServeArgs, TableArgs, VetArgs, VetFormat,
};

pub(crate) use args::{Cli, Command};
pub(crate) use lines::Lines;

/// Usage, a file that cannot be opened, a setup or configuration that is wrong.
pub(crate) const USAGE: u8 = 2;

/// NO_COLOR set to anything but nothing turns colour off.
pub(crate) fn colour_wanted() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// Whether what goes to stdout may be coloured.
fn colour_on_stdout() -> bool {
    std::io::stdout().is_terminal() && colour_wanted()
}

/// Tells on stderr what went wrong.
pub(crate) fn fail(command: &str, says: &str, exit: u8) -> ExitCode {
    complain(&format!("standclear {command}: {says}"));
    ExitCode::from(exit)
}

/// Prints to stdout. A reader that has gone away (`| head`) has read what it wanted.
pub(crate) fn print(command: &str, text: &str, exit: u8) -> ExitCode {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => ExitCode::from(exit),
        Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::from(exit),
        Err(e) => fail(command, &format!("stdout: {e}"), 1),
    }
}

/// A line on stderr. One that cannot be written (a full disk) must not change how a command ends.
pub fn complain(line: &str) {
    let _ = writeln!(std::io::stderr(), "{line}");
}
