//! The closed catalogue of what the journal can hold.

use serde::{Deserialize, Serialize};

/// Something that happened. Variants are never reused for another meaning.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "event")]
pub enum Event {
    /// The service started.
    PanelStarted,
}

/// How much an event matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "plain words")]
pub enum Severity {
    Trace,
    Normal,
    Notice,
    Stop,
    Danger,
}

impl Event {
    /// Its stable number in the catalogue.
    #[must_use]
    pub fn id(&self) -> u16 {
        1
    }
    /// Its stable name, kebab case.
    #[must_use]
    pub fn name(&self) -> &'static str {
        "panel-started"
    }
    /// How much it matters.
    #[must_use]
    pub fn severity(&self) -> Severity {
        Severity::Normal
    }
    /// The run it belongs to.
    #[must_use]
    pub fn run(&self) -> Option<u64> {
        None
    }
    /// What happened, in words.
    #[must_use]
    pub fn says(&self) -> String {
        String::new()
    }
    /// What to do about it.
    #[must_use]
    pub fn advice(&self) -> Option<&'static str> {
        None
    }
}

/// What a new service learns from the journal of those before it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Restored {}

impl Restored {
    /// Folds everything that was recorded, oldest first.
    #[must_use]
    pub fn from_events(_events: impl IntoIterator<Item = Event>) -> Self {
        Self::default()
    }
    /// The journal could not be read: everything that can be doubted is.
    #[must_use]
    pub fn unreadable() -> Self {
        Self::default()
    }
}
