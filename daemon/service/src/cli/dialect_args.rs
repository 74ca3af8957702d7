//! `standclear dialect`: its flags, as typed.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::format::Format;

/// `standclear dialect`.
#[derive(Clone, Debug, Args)]
pub struct DialectArgs {
    /// What to do.
    #[command(subcommand)]
    pub command: DialectCommand,
}

/// What to do with a dialect.
#[derive(Clone, Debug, Subcommand)]
pub enum DialectCommand {
    /// A commented skeleton, to be filled in from the controller's manual
    New {
        /// The file to make; it must not be there yet [default: to stdout]
        file: Option<PathBuf>,
    },
    /// Read a dialect, and try it on a controller that stands still
    Try(TryArgs),
}

/// `standclear dialect try`.
#[derive(Clone, Debug, Args)]
pub struct TryArgs {
    /// The dialect
    pub file: PathBuf,
    /// The controller's port, best by its name in /dev/serial/by-id; left out: the file alone is read
    #[arg(long, value_name = "PORT")]
    pub port: Option<PathBuf>,
    /// Bits a second on the line
    #[arg(long, value_name = "N", default_value_t = 115_200, value_parser = clap::value_parser!(u32).range(300..=4_000_000))]
    pub baud: u32,
    /// Move the torch by 10 mm along X and back, and hold it on the way: clear the table, drives on, torch
    /// unplugged
    #[arg(long = "move", requires = "port")]
    pub moves: bool,
    /// How to print what was found
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: Format,
}
