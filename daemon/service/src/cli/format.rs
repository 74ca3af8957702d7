//! How a command prints, where it can do so in two ways.

use clap::ValueEnum;

/// How to print.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people.
    #[default]
    Text,
    /// One JSON object.
    Json,
}
