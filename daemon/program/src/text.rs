//! The report as a page of text.

use crate::report::Report;

/// Writes the report.
#[must_use]
pub fn render(report: &Report, name: &str, _source: &[u8], _colour: bool) -> String {
    format!("{name}: {:?}\n", report.verdict)
}
