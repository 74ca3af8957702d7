//! From the command line to what carries it out.

use std::io::IsTerminal as _;
use std::process::ExitCode;

use clap::Parser as _;
use tracing_subscriber::EnvFilter;

use crate::cli::{
    Cli, Command, Lines, PracticeArgs, USAGE, article, backup, chart, check, colour_wanted,
    dialect, fail, log, make, pages, plan, replay, vet,
};

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
        Command::Chart(args) => chart::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Make(args) => make::run(&args),
        Command::Log(args) => log::run(&args),
        Command::Replay(args) => replay::run(&args),
        Command::Check(args) => check::run(&args),
        Command::Dialect(args) => dialect::run(&args),
        Command::Backup(args) => backup::make(&args),
        Command::Restore(args) => backup::restore(&args),
        Command::Commission(args) => crate::commission::run(&args),
        Command::Pages(args) => pages::run(&args),
        Command::Article(args) => article::run(&args),
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
