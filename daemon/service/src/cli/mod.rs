//! The command line: one file per command that has no other home, arguments as typed and as
//! resolved in `args`.
//!
//! Exit status: 0 done, or clear or warned; 1 refused, or something that was looked at is wrong;
//! 2 usage, a file that cannot be opened, a setup or configuration that is wrong.

mod args;
mod check;
mod faults;
mod lines;
mod log;
mod replay;
#[cfg(test)]
mod tests;
mod vet;

use std::io::{IsTerminal as _, Write as _};
use std::process::ExitCode;

use clap::Parser as _;
use tracing_subscriber::EnvFilter;

pub use args::{
    CheckArgs, DEFAULT_LISTEN, Format, LogArgs, LogFormat, PracticeArgs, ReplayArgs, RunChoice,
    ServeArgs, TableArgs, VetArgs, VetFormat,
};

use args::{Cli, Command};
use lines::Lines;

/// Usage, a file that cannot be opened, a setup or configuration that is wrong.
const USAGE: u8 = 2;

/// Reads the command line of this process and carries it out.
#[must_use]
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(said) => {
            // Help and version are asked for and end well; the rest is a usage error. If even
            // this cannot be printed there is nobody to tell.
            let _ = said.print();
            return u8::try_from(said.exit_code()).map_or(ExitCode::FAILURE, ExitCode::from);
        }
    };
    let log = start_tracing(matches!(cli.command, Command::Serve(_)));
    let code = carry_out(cli.command);
    log.settle();
    code
}

fn carry_out(command: Command) -> ExitCode {
    match command {
        Command::Serve(args) => crate::serve::run(&args),
        Command::Practice(typed) => match PracticeArgs::resolve(typed) {
            Ok(args) => crate::practice::run(&args),
            Err(says) => fail("practice", &says, USAGE),
        },
        Command::Table(args) => crate::practice::run_table(&args),
        Command::Vet(args) => vet::run(&args),
        Command::Log(args) => log::run(&args),
        Command::Replay(args) => replay::run(&args),
        Command::Check(args) => check::run(&args),
    }
}

/// Messages for whoever runs the panel go to stderr; how many is said by `STANDCLEAR_LOG`.
fn start_tracing(serving: bool) -> Lines {
    let default = if serving { "info" } else { "warn" };
    let filter = EnvFilter::try_from_env("STANDCLEAR_LOG").unwrap_or_else(|_| default.into());
    let lines = Lines::to(std::io::stderr());
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(lines.clone())
        .with_ansi(std::io::stderr().is_terminal() && colour_wanted())
        .with_target(false)
        .init();
    lines
}

/// NO_COLOR set to anything but nothing turns colour off.
fn colour_wanted() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// Whether what goes to stdout may be coloured.
fn colour_on_stdout() -> bool {
    std::io::stdout().is_terminal() && colour_wanted()
}

/// Tells on stderr what went wrong.
fn fail(command: &str, says: &str, exit: u8) -> ExitCode {
    complain(&format!("standclear {command}: {says}"));
    ExitCode::from(exit)
}

/// Prints to stdout. A reader that has gone away (`| head`) has read what it wanted.
fn print(command: &str, text: &str, exit: u8) -> ExitCode {
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
