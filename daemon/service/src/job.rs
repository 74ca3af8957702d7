//! From a program's text to a prepared one, with the threads that planning leaves to its caller.

mod aside;
#[cfg(test)]
mod tests;

use std::sync::Arc;

use planning::{Draft, Prepared};
use program::{Setup, Unwatched, Watch};

use crate::config::Config;
pub(crate) use aside::at_lowest_priority;

/// Reads, vets and plans a program.
#[must_use]
pub fn prepare(config: &Config, name: &str, text: &[u8], setup: Option<Setup>) -> Prepared {
    unwatched(config, name, text.into(), setup, false)
}

/// The same; `join`: short pieces of path are joined into lines and arcs first.
#[must_use]
pub fn unwatched(
    config: &Config,
    name: &str,
    text: Arc<[u8]>,
    setup: Option<Setup>,
    join: bool,
) -> Prepared {
    match watched(config, name, text, setup, join, &Unwatched) {
        Some(prepared) => prepared,
        None => unreachable!("only who watches may stop it"),
    }
}

/// The same, while somebody waits for it; `None`: nobody does any more.
pub(crate) fn watched(
    config: &Config,
    name: &str,
    text: Arc<[u8]>,
    setup: Option<Setup>,
    join: bool,
    watch: &dyn Watch,
) -> Option<Prepared> {
    let table = config.table();
    let reading = aside::read(&text, &table.words);
    let draft = Draft::new(&table, reading, setup, join);
    let (vetting, predicted) = aside::vetted(&draft, watch)?;
    Some(Prepared::new(draft, name, text, vetting, predicted))
}
