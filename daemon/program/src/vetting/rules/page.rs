//! What each rule's page says: kept beside the rule itself.

/// A rule's page, without its example.
#[derive(Clone, Copy)]
pub struct Page {
    /// How bad its findings are.
    pub severities: &'static str,
    /// What it needs to judge.
    pub needs: &'static str,
    /// What is measured.
    pub measured: fn() -> String,
    /// The limit.
    pub limit: fn() -> String,
    /// Where the limit comes from.
    pub source: &'static str,
}
