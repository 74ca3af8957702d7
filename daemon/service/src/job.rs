//! From a program's text to a vetted, planned and (when nothing bars it) sealed job.

mod aside;
#[cfg(test)]
mod tests;
pub(crate) mod told;

use std::sync::Arc;

use control::{Job, JobCut, JobElement, Stock};
use process::{Between, ChartRow, Choice, CutShape, JobTime, Plan};
use program::{
    Acceptance, CutList, Facts, Joined, NoSeal, Reading, ReadingRules, Report, Setup, Unwatched,
    VetInput, Watch,
};
use units::{Placement, Point, Segment};

use crate::config::Config;
pub(crate) use aside::at_lowest_priority;
use told::{Chosen, PlannedJob, Told};

/// Margin of a sheet that is laid round a program for practice, mm.
const MARGIN_MM: f64 = 40.0;

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
    pub pieces: Option<Arc<program::PieceMap>>,
    /// What is loose in the end.
    pub loose: Vec<program::Loose>,
    /// Where the run is to stand until a supply has recovered.
    pub waits: Vec<control::JobWait>,
    /// What the cycle must know of each cut besides its path.
    beside: Beside,
}

/// What vetting has found of each cut that the cycle must know.
#[derive(Clone, Debug, Default)]
struct Beside {
    /// Where it crosses earlier kerfs, mm along it.
    crossings: Vec<Vec<[f64; 2]>>,
    /// Of the cuts before it the last that frees a piece near its pierce, from 0.
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
    /// Reads, vets and plans.
    #[must_use]
    pub fn new(config: &Config, name: &str, text: &[u8], setup: Option<Setup>) -> Self {
        Self::unwatched(config, name, text, setup, false)
    }

    /// The same with short pieces of path joined into lines and arcs first, for a controller that
    /// the program as written would starve: what is vetted, sealed and cut is the joined path.
    #[must_use]
    pub fn joining(config: &Config, name: &str, text: &[u8], setup: Option<Setup>) -> Self {
        Self::unwatched(config, name, text, setup, true)
    }

    fn unwatched(
        config: &Config,
        name: &str,
        text: &[u8],
        setup: Option<Setup>,
        join: bool,
    ) -> Self {
        match Self::watched(config, name, text, setup, join, &Unwatched) {
            Some(prepared) => prepared,
            None => unreachable!("only who watches may stop it"),
        }
    }

    /// Reads, vets and plans, `join`ing short pieces or not, while somebody waits for it.
    #[must_use]
    pub fn watched(
        config: &Config,
        name: &str,
        text: &[u8],
        setup: Option<Setup>,
        join: bool,
        watch: &dyn Watch,
    ) -> Option<Self> {
        let chosen = choose_row(config, setup.as_ref());
        let row = chosen.row();
        let no_row = no_row(config, setup.as_ref(), &chosen);
        let kerf_mm = setup
            .as_ref()
            .and_then(|s| s.kerf)
            .or(row.map(|r| r.kerf_mm));
        let mut reading = program::compensated(program::read(text, &rules(config)), kerf_mm);
        let joined = join.then(|| joined(&mut reading));
        let mut beside = Beside {
            freed_by: freed_by(config, &reading, setup.as_ref(), kerf_mm, watch),
            ..Beside::default()
        };
        // Placed paths take nearly as much memory as the program itself; they are dropped again
        // before vetting, which does not ask for them.
        let placed = setup.as_ref().zip(row).map(|(s, r)| placed(&reading, s, r));
        let shapes: Vec<CutShape<'_>> = (placed.iter().flatten().enumerate())
            .map(|(i, p)| p.shape(beside.freed_by.get(i).copied().flatten()))
            .collect();
        let planned = setup
            .as_ref()
            .zip(row)
            .map(|(s, r)| plan(config, s, &shapes, r));
        let job = match (&setup, row, &planned) {
            (Some(setup), Some(row), Some(time)) => Some(PlannedJob {
                material: &setup.material,
                thickness_mm: setup.thickness,
                kerf_mm: kerf_mm.unwrap_or(row.kerf_mm),
                row,
                cuts: &shapes,
                time,
                touch_s: process::touch_off_s(row, &config.cycle, &config.motion, &config.source),
            }),
            _ => None,
        };
        let told = Told::new(config, &chosen, job.as_ref());
        drop(shapes);
        drop(placed);
        let input = VetInput {
            setup: setup.as_ref(),
            travel: Point::new(config.travel[0], config.travel[1]),
            sheet_corner: config.sheet_corner,
            kerf_mm,
            chart_feed_mm_s: row.map(ChartRow::feed_mm_s),
            traverse_height_mm: config.cycle.safe_height_mm,
            line_limit: config.link.dialect.line_limit(),
            no_row: no_row.as_deref(),
            facts: Facts {
                joined,
                ..told.facts(config, &chosen)
            },
        };
        let waits = told.planned_stops();
        let program::Vetting {
            mut report,
            pieces,
            loose,
            crossings,
        } = aside::vetted(&reading, &input, watch)?;
        beside.crossings = crossings;
        report.time_s = planned.as_ref().map(|p| p.run_s);
        let row = row.cloned();
        Some(Self {
            name: name.to_owned(),
            text: text.into(),
            setup,
            row,
            no_row,
            reading: Arc::new(reading),
            report,
            planned,
            joined,
            kerf_mm,
            pieces: pieces.map(Arc::new),
            loose,
            waits,
            beside,
        })
    }

    /// How many pieces of path it has: what it weighs.
    #[must_use]
    pub fn pieces_of_path(&self) -> usize {
        self.reading
            .cut_list
            .cuts
            .iter()
            .map(|c| c.path.len())
            .sum()
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

    /// Seals it: binds program text, setup, chart row, machine file, report and acceptances.
    ///
    /// # Errors
    /// Why there is no seal: a refusal, a warning not accepted, no setup or no chart row.
    pub fn seal(&self, config: &Config, accepted: &[Acceptance]) -> Result<Arc<Job>, NotSealed> {
        let setup = self.setup.as_ref().ok_or(NotSealed::NoSetup)?;
        let parts = [
            self.text.as_ref(),
            &told(setup),
            &told(&self.row),
            config.text.as_bytes(),
            if self.joined.is_some() {
                b"joined"
            } else {
                b"as written"
            },
        ];
        let seal = program::seal(&self.report, accepted, &parts)?;
        let row = self.row.clone().ok_or_else(|| {
            let why = self.no_row.clone();
            NotSealed::NoRow(why.unwrap_or_else(|| "no chart is configured".into()))
        })?;
        let cuts = cuts(&self.reading, setup, &row, &self.beside);
        let paths = paths(&cuts);
        let planned = plan(config, setup, &shapes(&cuts, &paths), &row);
        Ok(Arc::new(Job {
            seal,
            name: self.name.clone(),
            sheet: setup.sheet,
            thickness_mm: setup.thickness,
            row,
            cycle: config.cycle,
            cuts,
            planned_s: planned.run_s,
            planned_cuts_s: planned.cuts_s,
            waits: self.waits.clone(),
            stock: Some(Stock {
                setup: setup.clone(),
                kerf_mm: self.kerf_mm,
                travel: Point::new(config.travel[0], config.travel[1]),
                sheet_corner: config.sheet_corner,
                slats: program::Slats {
                    pitch_mm: config.slat_pitch_mm,
                    depth_mm: config.slat_depth_mm,
                },
            }),
        }))
    }
}

/// A plain serialised form for the seal. These types hold only numbers, text and lists: writing
/// them cannot fail, and if it did the seal would bind the reason.
fn told<T: serde::Serialize>(what: &T) -> Vec<u8> {
    serde_json::to_vec(what).unwrap_or_else(|e| e.to_string().into_bytes())
}

/// Joins what can be joined.
fn joined(reading: &mut Reading) -> Joined {
    let pieces = |list: &CutList| list.cuts.iter().map(|c| c.path.len()).sum();
    let from = pieces(&reading.cut_list);
    reading.cut_list = program::join(&reading.cut_list, program::JOIN_MM);
    Joined {
        from,
        to: pieces(&reading.cut_list),
    }
}

fn rules(config: &Config) -> ReadingRules {
    ReadingRules {
        torch_on: config.torch_on.clone(),
        torch_off: config.torch_off.clone(),
    }
}

/// Named rows may be for a sheet so much thinner or thicker, as a part.
const NAMED_OFF: f64 = 0.10;

/// What the chart has for a setup: the row that it names, the one that fits, or what lies between
/// two rows of one current.
fn choose_row(config: &Config, setup: Option<&Setup>) -> Chosen {
    let Some(setup) = setup.filter(|_| !config.chart.is_empty()) else {
        return Chosen::NotGiven;
    };
    let (chart, material, thickness) = (&config.chart, &setup.material, setup.thickness);
    let reckoned = |amps| match process::between(chart, material, thickness, amps) {
        Between::One { row, rows } => Some(Chosen::Row {
            row,
            between: Some(rows),
            for_other: None,
        }),
        Between::Several(names) => Some(Chosen::Several(names)),
        Between::None => None,
    };
    let named = setup.chart.as_deref();
    match process::choose(chart, material, thickness, named) {
        Choice::One(row) => {
            let far = (row.thickness_mm - thickness).abs() > NAMED_OFF * thickness + 1e-9;
            let other = row.material != *material;
            if far
                && !other
                && let Some(reckoned) = reckoned(Some(row.amps))
            {
                return reckoned;
            }
            let for_other = (far || other).then(|| {
                format!(
                    "it is for {} {} mm, the sheet is {material} {thickness} mm",
                    row.material, row.thickness_mm
                )
            });
            Chosen::Row {
                row,
                between: None,
                for_other,
            }
        }
        Choice::Several(names) => Chosen::Several(names),
        Choice::None => match named {
            Some(name) => Chosen::Missing(format!("the chart has no row named {name:?}")),
            None => reckoned(None).unwrap_or_else(|| {
                Chosen::Missing(format!("no row for {material} {thickness} mm"))
            }),
        },
    }
}

/// Why there is no row, in words.
fn no_row(config: &Config, setup: Option<&Setup>, chosen: &Chosen) -> Option<String> {
    match (chosen, setup) {
        (Chosen::NotGiven, Some(_)) if config.chart.is_empty() => {
            Some("no chart is configured".into())
        }
        (Chosen::Missing(why), _) => Some(why.clone()),
        (Chosen::Several(names), Some(setup)) => Some(format!(
            "several rows fit {} {} mm and the setup names none: {}",
            setup.material,
            setup.thickness,
            names.join(", ")
        )),
        _ => None,
    }
}

/// The cuts as they lie on the sheet.
fn cuts(reading: &Reading, setup: &Setup, row: &ChartRow, beside: &Beside) -> Vec<JobCut> {
    let placement = Placement {
        origin: setup.origin,
        rotation_deg: setup.rotation,
    };
    let element = |e: &program::Element| JobElement {
        segment: e.segment.placed(&placement),
        feed_mm_s: e.feed_mm_s.unwrap_or(row.feed_mm_s()),
        line: e.line,
    };
    reading
        .cut_list
        .cuts
        .iter()
        .enumerate()
        .map(|(i, cut)| JobCut {
            pierce: placement.place(cut.pierce),
            path: cut.path.iter().map(element).collect(),
            crossings: beside.crossings.get(i).cloned().unwrap_or_default(),
            freed_by: beside.freed_by.get(i).copied().flatten(),
        })
        .collect()
}

/// For each cut the last before it that frees a piece near its pierce: asked only where touch-offs
/// may be skipped. Where the pieces are not known, every cut may have freed one.
fn freed_by(
    config: &Config,
    reading: &Reading,
    setup: Option<&Setup>,
    kerf_mm: Option<f64>,
    watch: &dyn Watch,
) -> Vec<Option<usize>> {
    let Some(setup) = setup.filter(|_| config.cycle.skip_touch_mm > 0.0) else {
        return Vec::new();
    };
    let map = program::piece_map(
        reading,
        &VetInput {
            setup: Some(setup),
            travel: Point::new(config.travel[0], config.travel[1]),
            sheet_corner: config.sheet_corner,
            kerf_mm,
            chart_feed_mm_s: None,
            traverse_height_mm: config.cycle.safe_height_mm,
            line_limit: config.link.dialect.line_limit(),
            no_row: None,
            facts: Facts::default(),
        },
        watch,
    );
    let freed = map.as_ref().map(program::FreedNear::new);
    let placement = Placement {
        origin: setup.origin,
        rotation_deg: setup.rotation,
    };
    let last_near = |i: usize, pierce: Point| match &freed {
        None => i.checked_sub(1),
        Some(freed) => freed.last_before(i, pierce, process::FREED_NEAR_MM),
    };
    let cuts = reading.cut_list.cuts.iter().enumerate();
    cuts.map(|(i, cut)| last_near(i, placement.place(cut.pierce)))
        .collect()
}

/// A cut as it lies on the sheet, as far as times and heat depend on it.
struct Placed {
    pierce: Point,
    /// Pieces with their feeds, mm/s.
    path: Vec<(Segment, f64)>,
}

impl Placed {
    fn shape(&self, freed_by: Option<usize>) -> CutShape<'_> {
        CutShape {
            pierce: self.pierce,
            path: &self.path,
            freed_by,
        }
    }
}

fn placed(reading: &Reading, setup: &Setup, row: &ChartRow) -> Vec<Placed> {
    let placement = Placement {
        origin: setup.origin,
        rotation_deg: setup.rotation,
    };
    let feed = |e: &program::Element| e.feed_mm_s.unwrap_or(row.feed_mm_s());
    let cuts = reading.cut_list.cuts.iter();
    cuts.map(|cut| Placed {
        pierce: placement.place(cut.pierce),
        path: cut
            .path
            .iter()
            .map(|e| (e.segment.placed(&placement), feed(e)))
            .collect(),
    })
    .collect()
}

/// The pieces of each cut with their feeds.
fn paths(cuts: &[JobCut]) -> Vec<Vec<(Segment, f64)>> {
    cuts.iter()
        .map(|c| c.path.iter().map(|e| (e.segment, e.feed_mm_s)).collect())
        .collect()
}

fn shapes<'a>(cuts: &[JobCut], paths: &'a [Vec<(Segment, f64)>]) -> Vec<CutShape<'a>> {
    cuts.iter()
        .zip(paths)
        .map(|(cut, path)| CutShape {
            pierce: cut.pierce,
            path,
            freed_by: cut.freed_by,
        })
        .collect()
}

fn plan(config: &Config, setup: &Setup, cuts: &[CutShape<'_>], row: &ChartRow) -> JobTime {
    let parked = config
        .park
        .moved(-config.sheet_corner.x, -config.sheet_corner.y);
    let mut time = process::estimate(&Plan {
        cuts,
        start: parked,
        park: parked,
        thickness_mm: setup.thickness,
        row,
        cycle: &config.cycle,
        motion: &config.motion,
        source: &config.source,
    });
    // A run usually begins where referencing has left the torch: at the top of its travel.
    let traverse_z = config.slat_top_z + setup.thickness + config.cycle.safe_height_mm;
    let (motion, down_mm) = (&config.motion, (config.travel[2] - traverse_z).abs());
    let down_s = process::stretch_s(down_mm, motion.z_rapid_mm_s, 0.0, 0.0, motion.z_accel_mm_s2);
    time.begin_later(down_s);
    time
}

/// A sheet laid round a program that comes without a setup, for practice: the chart's 5 mm row
/// where there is one, else its first.
#[must_use]
pub fn sheet_for(config: &Config, text: &[u8]) -> Option<Setup> {
    let reading = program::read(text, &rules(config));
    let bounds = reading
        .cut_list
        .cuts
        .iter()
        .flat_map(|c| c.path.iter().map(|e| e.segment.bounds()))
        .reduce(|mut all, one| {
            all.join(&one);
            all
        })?;
    let row = config
        .chart
        .iter()
        .find(|r| r.material == "mild-steel" && r.thickness_mm == 5.0)
        .or(config.chart.first());
    let up = |mm: f64| ((mm + 2.0 * MARGIN_MM) / 10.0).ceil() * 10.0;
    Some(Setup {
        material: row.map_or_else(|| "mild-steel".into(), |r| r.material.clone()),
        thickness: row.map_or(5.0, |r| r.thickness_mm),
        sheet: Point::new(up(bounds.width()), up(bounds.height())),
        origin: Point::new(MARGIN_MM - bounds.low.x, MARGIN_MM - bounds.low.y),
        rotation: 0.0,
        clamp: None,
        chart: row.map(|r| r.name.clone()),
        kerf: None,
        used: Vec::new(),
        tabs: Vec::new(),
        keepouts: Vec::new(),
        coating: None,
        water_table: false,
    })
}
