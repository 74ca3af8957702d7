//! A program that was read, with what was chosen for it: what vetting and prediction work on.

use program::{Facts, Joined, Judging, Reading, Setup, VetInput, Watch};

use crate::row::{self, Chosen};
use crate::table::Table;

/// A program that was read, its kerf compensation carried out, with setup, chart row and kerf.
pub struct Draft<'a> {
    pub(crate) table: &'a Table<'a>,
    pub(crate) setup: Option<Setup>,
    pub(crate) chosen: Chosen,
    pub(crate) no_row: Option<String>,
    pub(crate) kerf_mm: Option<f64>,
    pub(crate) reading: Reading,
    pub(crate) joined: Option<Joined>,
}

impl<'a> Draft<'a> {
    /// Of a program as read by the table's words (`table.words`), before kerf compensation. `join`: short pieces of path are joined into lines and arcs first, for a
    /// controller that the program as written would starve; what is vetted, sealed and cut is the
    /// joined path.
    #[must_use]
    pub fn new(table: &'a Table<'a>, reading: Reading, setup: Option<Setup>, join: bool) -> Self {
        let chosen = row::choose(table.chart, setup.as_ref());
        let own_kerf = setup.as_ref().and_then(|s| s.kerf);
        let kerf_mm = own_kerf.or(chosen.row().map(|r| r.kerf_mm));
        let mut reading = program::compensated(reading, kerf_mm);
        let joined = join.then(|| joined(&mut reading));
        Self {
            table,
            no_row: row::why_none(table.chart, setup.as_ref(), &chosen),
            setup,
            chosen,
            kerf_mm,
            reading,
            joined,
        }
    }

    /// Begins to vet it; the rules are to be told what is predicted ([`Judging::tell`]) before those
    /// judge that wait for it.
    #[must_use]
    pub fn judging<'b>(&'b self, watch: &'b dyn Watch) -> Judging<'b> {
        let table = self.table;
        let input = VetInput {
            setup: self.setup.as_ref(),
            travel: table.travel_xy(),
            sheet_corner: table.sheet_corner,
            kerf_mm: self.kerf_mm,
            chart_feed_mm_s: self.chosen.row().map(process::ChartRow::feed_mm_s),
            traverse_height_mm: table.cycle.safe_height_mm,
            line_limit: table.line_limit,
            no_row: self.no_row.as_deref(),
            facts: Facts {
                slats: table.slats,
                ..Facts::default()
            },
        };
        Judging::new(&self.reading, &input, watch)
    }
}

/// Joins what can be joined.
fn joined(reading: &mut Reading) -> Joined {
    let pieces = |list: &program::CutList| list.cuts.iter().map(|c| c.path.len()).sum();
    let from = pieces(&reading.cut_list);
    reading.cut_list = program::join(&reading.cut_list, program::JOIN_MM);
    Joined {
        from,
        to: pieces(&reading.cut_list),
    }
}
