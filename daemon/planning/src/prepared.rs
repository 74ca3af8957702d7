//! A program that was read, vetted and planned against a setup, and its seal.

use std::sync::Arc;

use process::{ChartRow, JobTime};
use program::{Acceptance, Hot, Joined, Loose, NoSeal, PieceMap, Reading, Report, Setup, Vetting};

use crate::draft::Draft;
use crate::job::{Job, Stock};
use crate::placed;
use crate::predicted::Predicted;
use crate::stops::{Pauses, PlannedStop};
use crate::table::Table;

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
    /// Why no row fits, in words, when none does.
    pub no_row: Option<String>,
    /// The program as read, its paths those that are cut (kerf compensation carried out).
    pub reading: Arc<Reading>,
    /// What vetting says, with the predicted time where it can be predicted.
    pub report: Report,
    /// The predicted times.
    pub planned: Option<JobTime>,
    /// How many pieces of path became how many, where short ones were joined.
    pub joined: Option<Joined>,
    /// Kerf, mm: the setup's, else the chart row's.
    pub kerf_mm: Option<f64>,
    /// The sheet through all cuts: its pieces, what is loose, what the clamp holds.
    pub pieces: Option<Arc<PieceMap>>,
    /// What is loose in the end.
    pub loose: Vec<Loose>,
    /// Where the run is to stand until a supply has recovered.
    pub waits: Vec<PlannedStop>,
    /// Where a thin sheet gets hottest.
    pub(crate) hottest: Option<Hot>,
    /// Where each cut crosses earlier kerfs, mm along it.
    crossings: Vec<Vec<[f64; 2]>>,
    /// Of the cuts before each the last that frees a piece near its pierce, from 0.
    freed_by: Vec<Option<usize>>,
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

impl Prepared {
    /// The whole, from what vetting and prediction have found. `name` is what it is called on the
    /// screen, `text` its text.
    #[must_use]
    pub fn new(
        draft: Draft<'_>,
        name: &str,
        text: Arc<[u8]>,
        vetting: Vetting,
        predicted: Predicted,
    ) -> Self {
        let mut report = vetting.report;
        report.time_s = predicted.time.as_ref().map(|p| p.run_s);
        Self {
            name: name.to_owned(),
            text,
            row: draft.chosen.row().cloned(),
            setup: draft.setup,
            no_row: draft.no_row,
            reading: Arc::new(draft.reading),
            report,
            joined: draft.joined,
            kerf_mm: draft.kerf_mm,
            pieces: vetting.pieces.map(Arc::new),
            loose: vetting.loose,
            waits: predicted.planned_stops(),
            hottest: predicted.hottest(),
            crossings: vetting.crossings,
            freed_by: predicted.freed_by,
            planned: predicted.time,
        }
    }

    /// How many pieces of path it has: what it weighs.
    #[must_use]
    pub fn pieces_of_path(&self) -> usize {
        let cuts = self.reading.cut_list.cuts.iter();
        cuts.map(|c| c.path.len()).sum()
    }

    /// The report as a drawing, SVG.
    #[must_use]
    pub fn picture(&self) -> String {
        program::picture::draw(&program::picture::Picture {
            name: &self.name,
            reading: &self.reading,
            setup: self.setup.as_ref(),
            kerf_mm: self.kerf_mm,
            report: &self.report,
            loose: &self.loose,
        })
    }

    /// Seals it with the pauses that its plan proposes: binds program text, setup, chart row, machine
    /// file, report, acceptances and pauses. `table` is the one that it was prepared for.
    ///
    /// # Errors
    /// Why there is no seal: a refusal, a warning not accepted, no setup or no chart row.
    pub fn seal(&self, table: &Table<'_>, accepted: &[Acceptance]) -> Result<Arc<Job>, NotSealed> {
        self.seal_with(table, accepted, Pauses::Accepted)
    }

    /// The same, with the pauses or without them.
    ///
    /// # Errors
    /// As [`Prepared::seal`].
    pub fn seal_with(
        &self,
        table: &Table<'_>,
        accepted: &[Acceptance],
        pauses: Pauses,
    ) -> Result<Arc<Job>, NotSealed> {
        let waits = match pauses {
            Pauses::Accepted => self.waits.clone(),
            Pauses::Declined => Vec::new(),
        };
        let setup = self.setup.as_ref().ok_or(NotSealed::NoSetup)?;
        let parts = [
            self.text.as_ref(),
            &bound(setup),
            &bound(&self.row),
            table.text.as_bytes(),
            if self.joined.is_some() {
                b"joined"
            } else {
                b"as written"
            },
            &bound(&waits),
        ];
        let seal = program::seal(&self.report, accepted, &parts)?;
        let (Some(row), Some(time)) = (&self.row, &self.planned) else {
            let why = self.no_row.clone();
            return Err(NotSealed::NoRow(
                why.unwrap_or_else(|| "no chart is configured".into()),
            ));
        };
        Ok(Arc::new(Job {
            seal,
            name: self.name.clone(),
            sheet: setup.sheet,
            thickness_mm: setup.thickness,
            row: row.clone(),
            cycle: *table.cycle,
            cuts: placed::cuts(&self.reading, setup, row, &self.crossings, &self.freed_by),
            planned_s: time.run_s,
            planned_cuts_s: time.cuts_s.clone(),
            waits,
            stock: Some(Stock {
                setup: setup.clone(),
                kerf_mm: self.kerf_mm,
                travel: table.travel_xy(),
                sheet_corner: table.sheet_corner,
                slats: table.slats,
            }),
        }))
    }
}

/// A plain serialised form for the seal. These types hold only numbers, text and lists: writing
/// them cannot fail, and if it did the seal would bind the reason.
fn bound<T: serde::Serialize>(what: &T) -> Vec<u8> {
    serde_json::to_vec(what).unwrap_or_else(|e| e.to_string().into_bytes())
}
