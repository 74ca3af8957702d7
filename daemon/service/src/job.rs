//! From a program's text to a vetted, planned and (when nothing bars it) sealed job.

use std::sync::Arc;

use control::Job;
use process::ChartRow;
use program::{Acceptance, NoSeal, Reading, Report, Setup};

use crate::config::Config;

/// A program that was read, vetted and planned against a setup.
#[derive(Clone, Debug)]
pub struct Prepared {
    /// What it is called on the screen.
    pub name: String,
    /// Its text.
    pub text: Arc<[u8]>,
    /// The setup, when there is one.
    pub setup: Option<Setup>,
    /// The chart row, when one fits.
    pub row: Option<ChartRow>,
    /// The program as read.
    pub reading: Arc<Reading>,
    /// What vetting says.
    pub report: Report,
}

impl Prepared {
    /// Reads, vets and plans.
    #[must_use]
    pub fn new(_config: &Config, name: &str, text: &[u8], setup: Option<Setup>) -> Self {
        let reading = Arc::new(program::read(text, &program::ReadingRules::default()));
        let _ = (name, &setup);
        unreachable!("{reading:?}")
    }

    /// Seals it.
    ///
    /// # Errors
    /// Why there is no seal: a refusal, a warning not accepted, no setup or no chart row.
    pub fn seal(&self, _config: &Config, _accepted: &[Acceptance]) -> Result<Arc<Job>, NotSealed> {
        Err(NotSealed::NoSetup)
    }
}

/// Why a prepared program has no sealed job.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotSealed {
    /// Vetting bars it.
    #[error(transparent)]
    NoSeal(#[from] NoSeal),
    /// Nobody has said what lies on the table.
    #[error("no setup: say what lies on the table (material, thickness, sheet, zero, clamp)")]
    NoSetup,
    /// The cycle's settings are not known.
    #[error("no chart row: {0}")]
    NoRow(String),
}
