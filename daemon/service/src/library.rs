//! The programs that an operator may choose: what is built in, and what lies in the state folder.
//!
//! A program is chosen by its id, never by a path that somebody sends: ids are looked up in the
//! lists made here. What was seen and what is loaded are held together by a version: a program or
//! setup that was changed in between is refused. A program that vetting refuses has no seal, and
//! without a seal there is nothing to load.

mod bring;
mod drawing;
mod shelf;
mod vets;

use std::collections::VecDeque;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use control::{Answer, Ask};
use planning::{Job, JobPlan, Pauses, Prepared};
use process::Set;
use program::{Acceptance, Report, Severity, Unwatched, Watch};
use serde::{Deserialize, Serialize};
use units::{Placement, Point};

use crate::config::Config;
use crate::job::at_lowest_priority;
use crate::panel::{Gone, Panel};

pub use bring::{BROUGHT_BYTES_MAX, Brought, NotTaken};
pub use drawing::{Drawing, DrawnCut};
pub use shelf::{DemoProgram, Listed, demo};
use shelf::{Shelf, Source};
pub use vets::Wanted;
use vets::{Key, Vets};

/// Longest program that is read, bytes: three times a program of a million blocks.
pub const PROGRAM_BYTES_MAX: u64 = 96 * 1024 * 1024;
/// Longest reason for accepting a warning, characters: it is kept in the seal and the journal.
pub const REASON_CHARS_MAX: usize = 200;
/// Drawings of loaded jobs kept at hand: the one on the table and a few before it.
const KEPT_JOBS: usize = 4;

/// Runs after the panel has taken a job (practice lays its sheet on the table).
pub type OnLoad = Arc<dyn Fn(&Job) + Send + Sync>;

/// Folder of one's own programs below the state folder.
const PROGRAMS: &str = "programs";
/// The id of a program that was named on the command line.
const GIVEN: &str = "given";

/// The library.
pub struct Library {
    config: Arc<Config>,
    /// What the torch parts have been through, as the panel has counted it.
    counted: Mutex<Option<Set>>,
    shelf: Shelf,
    on_load: Option<OnLoad>,
    given: Mutex<Option<Arc<Chosen>>>,
    vets: Arc<Vets>,
    jobs: Mutex<VecDeque<(Arc<LoadedJob>, Arc<Job>)>>,
}

/// A program that was chosen: read, vetted and drawn, and not yet on the table.
#[derive(Debug)]
pub struct Chosen {
    /// Where it lies in the lists.
    pub listed: Listed,
    /// Changes with the program's text and its setup.
    pub version: String,
    /// Reading, report, row and setup.
    pub prepared: Prepared,
    /// What the torch parts had been through when it was vetted.
    counted: Option<Set>,
    /// Its cuts as they lie on the sheet.
    pub drawing: Drawing,
    /// Time, air, source and wear of it.
    pub plan: Option<JobPlan>,
}

/// What a screen must know to draw the job on the table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadedJob {
    /// Its seal.
    pub seal: String,
    /// What it is called.
    pub name: String,
    /// Its numbers and places are invented (a program of the demonstration).
    pub invented: bool,
    /// Material, as setups write it.
    pub material: String,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Current, A.
    pub amps: f64,
    /// Arc voltage at cut height, V.
    pub volts: f64,
    /// From arc OK to the start of the path, s.
    pub pierce_delay_s: f64,
    /// Warnings that were accepted: a start then takes two steps.
    pub accepted: usize,
    /// Predicted time of the whole run, s.
    pub planned_s: f64,
    /// Predicted time of each cut, s.
    pub planned_cuts_s: Vec<f64>,
    /// By so much one step back moves the place where a cut is taken up, mm.
    pub resume_back_mm: f64,
    /// Sheet and cuts.
    pub drawing: Drawing,
}

/// A warning that the operator accepts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Accepted {
    /// Its place in the report's findings, from 0.
    pub finding: usize,
    /// Name of its rule, to be sure that the same finding is meant.
    pub rule: String,
    /// Why it is acceptable.
    pub reason: String,
}

/// Why the library did not do what was asked.
#[derive(Clone, Debug, thiserror::Error)]
pub enum LibraryError {
    /// There is no such program.
    #[error("there is no program `{0}` in the library")]
    NoSuchProgram(String),
    /// Its file cannot be read.
    #[error("{file}: {why}")]
    Unreadable {
        /// Which file.
        file: String,
        /// In the system's words, or what is wrong with the setup.
        why: String,
    },
    /// It was changed since it was shown.
    #[error("`{0}` was changed since it was read")]
    Changed(String),
    /// An acceptance does not fit the report.
    #[error("acceptance {place}: {why}")]
    BadAcceptance {
        /// Its place in the list of acceptances, from 1.
        place: usize,
        /// What is wrong with it.
        why: String,
    },
    /// No seal, so there is nothing to load.
    #[error(transparent)]
    NotSealed(#[from] planning::NotSealed),
    /// Others are vetted.
    #[error("other programs are being vetted, and more wait for it")]
    Busy,
    /// Nobody waits for its report any more.
    #[error("its vetting was given up: nobody waited for it")]
    Stopped,
    /// The service is shutting down.
    #[error(transparent)]
    Gone(#[from] Gone),
}

impl LibraryError {
    /// What to do about it.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::NoSuchProgram(_) => "Choose one from the list.",
            Self::Unreadable { .. } => "Put the file right, then choose it again.",
            Self::Changed(_) => "Read its report again.",
            Self::BadAcceptance { .. } => "Accept each warning by itself, with a reason.",
            Self::NotSealed(_) => "Read the report: it names what bars the job, and the remedy.",
            Self::Busy => "Wait a moment, then choose it again.",
            Self::Stopped => "Choose it again.",
            Self::Gone(_) => "Wait until the panel is up again.",
        }
    }
}

impl Library {
    /// A library of the built-in programs and of those in the folder `programs` of the state
    /// folder (it need not exist). `given`: one that was named on the command line; the console
    /// opens on it.
    #[must_use]
    pub fn new(
        config: Arc<Config>,
        state: &Path,
        on_load: Option<OnLoad>,
        given: Option<Arc<Prepared>>,
    ) -> Self {
        let counted = config.counted;
        let given = given.map(|prepared| {
            let listed = shelf::same_demo(&prepared.text).unwrap_or_else(|| Listed {
                id: GIVEN.to_owned(),
                name: prepared.name.clone(),
                file: prepared.name.clone(),
                invented: false,
            });
            let setup = serde_json::to_vec(&prepared.setup).unwrap_or_default();
            Arc::new(Chosen {
                listed,
                version: shelf::version(&prepared.text, &setup),
                drawing: drawing_of(&prepared, &config),
                plan: planning::plan(&prepared, &config.table()),
                prepared: (*prepared).clone(),
                counted: config.counted,
            })
        });
        Self {
            config,
            counted: Mutex::new(counted),
            shelf: Shelf::new(state.join(PROGRAMS)),
            on_load,
            given: Mutex::new(given),
            vets: Arc::default(),
            jobs: Mutex::default(),
        }
    }

    /// Every program that may be chosen: the one of the command line, own ones, those of the
    /// demonstration.
    #[must_use]
    pub fn list(&self) -> Vec<Listed> {
        let listed = self.shelf.list();
        match &*lock(&self.given) {
            Some(given) if listed.iter().all(|l| l.id != given.listed.id) => {
                [vec![given.listed.clone()], listed].concat()
            }
            _ => listed,
        }
    }

    /// The id of the program that the console opens on.
    #[must_use]
    pub fn opens_on(&self) -> Option<String> {
        lock(&self.given).as_ref().map(|g| g.listed.id.clone())
    }

    /// Reads, vets and draws a program; what was read before is not read again.
    ///
    /// # Errors
    /// [`LibraryError::NoSuchProgram`] and [`LibraryError::Unreadable`]. A program that may not be
    /// cut is no error: its report says so.
    pub fn choose(&self, id: &str) -> Result<Arc<Chosen>, LibraryError> {
        let counted = *lock(&self.counted);
        let given = lock(&self.given).clone().filter(|g| g.listed.id == id);
        if let Some(given) = given {
            if given.counted == counted {
                return Ok(given);
            }
            return self.vetted_again(&given, counted, &Unwatched);
        }
        let source = self.shelf.open(id)?;
        let version = source.version();
        let key = key(id, &version, counted);
        if let Some(kept) = self.vets.kept(&key) {
            return Ok(kept);
        }
        let chosen = Arc::new(self.prepare(source, version, counted, &Wanted::default())?);
        self.vets.keep(key, &chosen);
        Ok(chosen)
    }

    /// The same for many who ask at a time: one vetting for all of them, given up when all have gone.
    ///
    /// # Errors
    /// Those of [`Library::choose`], [`LibraryError::Busy`] and [`LibraryError::Stopped`].
    pub async fn chosen(self: &Arc<Self>, id: &str) -> Result<Arc<Chosen>, LibraryError> {
        let counted = *lock(&self.counted);
        let given = lock(&self.given).clone().filter(|g| g.listed.id == id);
        if let Some(given) = given {
            if given.counted == counted {
                return Ok(given);
            }
            let (library, key) = (Arc::clone(self), key(id, &given.version, counted));
            let vet = move |wanted: &Wanted| library.vetted_again(&given, counted, wanted);
            return self.vets.shared(key, vet).await;
        }
        let source: Result<(Source, String), LibraryError> = {
            let _turn = self.vets.reading.acquire().await;
            let (library, id) = (Arc::clone(self), id.to_owned());
            let open = move || {
                let source = library.shelf.open(&id)?;
                let version = source.version();
                Ok((source, version))
            };
            let opened = tokio::task::spawn_blocking(open).await;
            opened.map_err(|_| Gone)?
        };
        let (source, version) = source?;
        let key = key(id, &version, counted);
        let library = Arc::clone(self);
        let vet = move |wanted: &Wanted| {
            library
                .prepare(source, version, counted, wanted)
                .map(Arc::new)
        };
        self.vets.shared(key, vet).await
    }

    /// Keeps a program that a screen sends. It is listed from then on.
    ///
    /// # Errors
    /// Nothing of it is kept: its name, length or setup is wrong, it would write over what the sender does not
    /// know, or the disk takes no more.
    pub fn bring(&self, brought: &Brought) -> Result<Listed, NotTaken> {
        self.shelf.keep(brought)
    }

    /// What the torch parts have been through by now: programs are vetted with it from here on.
    pub fn reckon_with(&self, counted: Option<Set>) {
        *lock(&self.counted) = counted;
    }

    fn config_with(&self, counted: Option<Set>) -> Config {
        Config {
            counted,
            ..(*self.config).clone()
        }
    }

    /// The program of the command line, vetted with what the torch parts have been through by now. It is
    /// what the console opens on from here on, unless the parts have changed once more meanwhile: of two
    /// vettings the one that ends last may be the older one.
    fn vetted_again(
        &self,
        given: &Chosen,
        counted: Option<Set>,
        watch: &dyn Watch,
    ) -> Result<Arc<Chosen>, LibraryError> {
        let p = &given.prepared;
        let (config, join) = (self.config_with(counted), p.joined.is_some());
        let (text, setup) = (Arc::clone(&p.text), p.setup.clone());
        let make = || crate::job::watched(&config, &p.name, text, setup, join, watch);
        let prepared = at_lowest_priority(make).ok_or(LibraryError::Stopped)?;
        let again = Arc::new(Chosen {
            listed: given.listed.clone(),
            version: given.version.clone(),
            drawing: drawing_of(&prepared, &self.config),
            plan: planning::plan(&prepared, &config.table()),
            prepared,
            counted,
        });
        // Held until it is put down: the count must not change between the two.
        let now = lock(&self.counted);
        if *now == counted {
            *lock(&self.given) = Some(Arc::clone(&again));
        }
        drop(now);
        Ok(again)
    }

    fn prepare(
        &self,
        source: Source,
        version: String,
        counted: Option<Set>,
        wanted: &Wanted,
    ) -> Result<Chosen, LibraryError> {
        let setup = source.setup()?;
        let config = self.config_with(counted);
        let (name, text) = (&source.listed.name, &source.text);
        let text = text.as_slice().into();
        let make = || crate::job::watched(&config, name, text, setup, false, wanted);
        let Some(prepared) = at_lowest_priority(make) else {
            return Err(LibraryError::Stopped);
        };
        Ok(Chosen {
            listed: source.listed,
            version,
            drawing: drawing_of(&prepared, &self.config),
            plan: planning::plan(&prepared, &config.table()),
            prepared,
            counted,
        })
    }

    /// Seals a chosen program with the warnings that were accepted, and with the pauses of its plan.
    ///
    /// # Errors
    /// Why there is no sealed job: changed since it was read, an acceptance that does not fit, a
    /// warning not accepted, a refusal.
    pub fn seal(
        &self,
        id: &str,
        version: &str,
        accepted: &[Accepted],
    ) -> Result<Arc<Job>, LibraryError> {
        self.seal_chosen(&*self.choose(id)?, version, accepted, Pauses::Accepted)
    }

    /// The same of one that is at hand.
    ///
    /// # Errors
    /// As [`Library::seal`].
    pub fn seal_chosen(
        &self,
        chosen: &Chosen,
        version: &str,
        accepted: &[Accepted],
        pauses: Pauses,
    ) -> Result<Arc<Job>, LibraryError> {
        if chosen.version != version {
            return Err(LibraryError::Changed(chosen.listed.name.clone()));
        }
        let acceptances = acceptances(&chosen.prepared.report, accepted)?;
        let table = self.config.table();
        let job = (chosen.prepared).seal_with(&table, &acceptances, pauses)?;
        let mut loaded = LoadedJob::new(&job, self.config.sheet_corner);
        loaded.accepted = acceptances.len();
        loaded.invented = chosen.listed.invented;
        if let Some(setup) = &chosen.prepared.setup {
            loaded.drawing.lay(setup);
        }
        self.keep(loaded, Arc::clone(&job));
        Ok(job)
    }

    /// Seals a chosen program and asks the panel to take it.
    ///
    /// # Errors
    /// As [`Library::seal`], and when the service is shutting down. A panel that does not take it
    /// is no error: its answer says why.
    pub async fn load(
        &self,
        panel: &Panel,
        generation: u64,
        job: Arc<Job>,
    ) -> Result<Answer, LibraryError> {
        let answer = panel
            .ask(generation, Ask::Load { job: job.clone() })
            .await?;
        if matches!(answer, Answer::Accepted | Answer::AlreadySo)
            && let Some(on_load) = &self.on_load
        {
            on_load(&job);
        }
        Ok(answer)
    }

    /// Lets screens draw a job that came from elsewhere: the command line, or a journal.
    /// `invented`: its numbers and places are of the demonstration.
    pub fn remember(&self, job: &Arc<Job>, invented: bool) {
        let mut loaded = LoadedJob::new(job, self.config.sheet_corner);
        loaded.invented = invented;
        self.keep(loaded, Arc::clone(job));
    }

    fn keep(&self, loaded: LoadedJob, job: Arc<Job>) {
        let mut jobs = lock(&self.jobs);
        jobs.retain(|(j, _)| j.seal != loaded.seal);
        jobs.push_front((Arc::new(loaded), job));
        jobs.truncate(KEPT_JOBS);
    }

    /// The drawing of a job by its seal; `None`: not sealed here since the service started.
    #[must_use]
    pub fn job(&self, seal: &str) -> Option<Arc<LoadedJob>> {
        let jobs = lock(&self.jobs);
        jobs.iter()
            .find(|(j, _)| j.seal == seal)
            .map(|(j, _)| Arc::clone(j))
    }

    /// The job itself; `None`: not sealed here since the service started.
    #[must_use]
    pub fn sealed(&self, seal: &str) -> Option<Arc<Job>> {
        let jobs = lock(&self.jobs);
        jobs.iter()
            .find(|(j, _)| j.seal == seal)
            .map(|(_, j)| Arc::clone(j))
    }
}

fn key(id: &str, version: &str, counted: Option<Set>) -> Key {
    let worn = serde_json::to_string(&counted).unwrap_or_default();
    (id.to_owned(), version.to_owned(), worn)
}

impl LoadedJob {
    /// A job of a recording. Whether its numbers are invented is not on record.
    #[must_use]
    pub fn of_recording(job: &Job) -> Self {
        let corner = job
            .stock
            .as_ref()
            .map_or_else(Point::default, |s| s.sheet_corner);
        let mut loaded = Self::new(job, corner);
        if let Some(stock) = &job.stock {
            loaded.drawing.lay(&stock.setup);
        }
        loaded
    }

    fn new(job: &Job, sheet_corner: Point) -> Self {
        let cuts = job.cuts.iter().map(|cut| {
            let path = cut.path.iter().map(|e| e.segment);
            (cut.pierce, path.collect::<Vec<_>>())
        });
        let mut drawing = Drawing::of(cuts, sheet_corner);
        drawing.sheet = Some(job.sheet);
        drawing.kerf_mm = Some(job.row.kerf_mm);
        Self {
            seal: job.seal.hash().to_owned(),
            name: job.name.clone(),
            invented: false,
            material: job.row.material.clone(),
            thickness_mm: job.thickness_mm,
            amps: job.row.amps,
            volts: job.row.volts,
            pierce_delay_s: job.row.pierce_delay_s,
            accepted: 0,
            planned_s: job.planned_s,
            planned_cuts_s: job.planned_cuts_s.clone(),
            resume_back_mm: job.cycle.resume_back_mm,
            drawing,
        }
    }
}

/// A program that was read, as it lies on the sheet.
fn drawing_of(prepared: &Prepared, config: &Config) -> Drawing {
    let setup = prepared.setup.as_ref();
    let placement = setup.map_or_else(Placement::default, |s| Placement {
        origin: s.origin,
        rotation_deg: s.rotation,
    });
    let cuts = prepared.reading.cut_list.cuts.iter().map(|cut| {
        let path = cut.path.iter().map(|e| e.segment.placed(&placement));
        (placement.place(cut.pierce), path.collect::<Vec<_>>())
    });
    let mut drawing = Drawing::of(cuts, config.sheet_corner);
    drawing.kerf_mm = prepared.kerf_mm;
    drawing.loosen(&prepared.loose);
    if let Some(setup) = setup {
        drawing.lay(setup);
    }
    drawing
}

/// Holds what the operator accepts against the report.
fn acceptances(report: &Report, accepted: &[Accepted]) -> Result<Vec<Acceptance>, LibraryError> {
    let mut fitting = Vec::with_capacity(accepted.len());
    for (k, a) in accepted.iter().enumerate() {
        let bad = |why: String| LibraryError::BadAcceptance { place: k + 1, why };
        let Some(finding) = report.findings.get(a.finding) else {
            return Err(bad(format!("the report has no finding {}", a.finding)));
        };
        if finding.rule != a.rule {
            return Err(bad(format!(
                "finding {} is `{}`, not `{}`",
                a.finding, finding.rule, a.rule
            )));
        }
        if finding.severity != Severity::Warn {
            return Err(bad(format!("`{}` is not a warning", a.rule)));
        }
        let reason = a.reason.trim();
        if reason.is_empty() {
            return Err(bad(format!("`{}` has no reason", a.rule)));
        }
        if reason.chars().count() > REASON_CHARS_MAX {
            return Err(bad(format!(
                "the reason for `{}` is longer than {REASON_CHARS_MAX} characters",
                a.rule
            )));
        }
        fitting.push(Acceptance {
            rule: a.rule.clone(),
            finding: a.finding,
            reason: reason.to_owned(),
        });
    }
    Ok(fitting)
}

/// A panic while the lock was held leaves nothing half done here: lists are replaced whole.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests;
