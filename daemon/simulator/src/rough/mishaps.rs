//! What has happened by chance, counted by its name.

use std::collections::BTreeMap;

/// Counts by name.
#[derive(Clone, Debug, Default)]
pub(crate) struct Mishaps(BTreeMap<String, u32>);

impl Mishaps {
    /// Once more.
    pub(crate) fn count(&mut self, name: &str) {
        self.times(name, 1);
    }

    /// So many times more.
    pub(crate) fn times(&mut self, name: &str, times: u32) {
        if times > 0 {
            *self.0.entry(name.to_owned()).or_default() += times;
        }
    }

    pub(crate) fn told(&self) -> BTreeMap<String, u32> {
        self.0.clone()
    }
}
