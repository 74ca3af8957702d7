//! The simulated table of a practice run: started here as a thread, or joined where it runs as a
//! process of its own.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use control::commissioning::{Hand, Wire};
use planning::Job;
use simulator::harness::{FaultKind, FaultSpec, HandAct, Hands, Input, Plan, Truth, WireFault};
use simulator::{TableSettings, Tongue, shell};
use units::{Placement, Point};

use crate::config::Config;
use crate::practice::operator;

/// A table must have laid out its wires by then.
const READY_WITHIN: Duration = Duration::from_secs(10);

/// Why there is no table.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    /// Its folder could not be made.
    #[error("no folder for the simulated table: {0}")]
    Folder(std::io::Error),
    /// Nobody answers.
    #[error(
        "the simulated table in {0} does not answer: {1}. Start it with `standclear table --dir DIR`"
    )]
    Silent(PathBuf, String),
}

/// A table and a pair of hands beside it.
pub struct Table {
    dir: PathBuf,
    hands: SharedHands,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
    _folder: Option<tempfile::TempDir>,
}

/// Hands that several may use in turn.
#[derive(Clone)]
pub struct SharedHands(Arc<Mutex<Hands>>);

impl SharedHands {
    fn with<T>(&self, act: impl FnOnce(&mut Hands) -> Result<T, String>) -> Result<T, String> {
        let mut hands = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        act(&mut hands)
    }

    /// Lays the sheet of this job on the table.
    ///
    /// # Errors
    /// In the table's words.
    pub fn lay(&self, job: &Job, corner: Point) -> Result<(), String> {
        let plan = plan(job, corner);
        self.with(|h| h.lay(plan).map_err(|e| e.to_string()))
    }

    /// The same, but leaves the sheet alone that an earlier panel has begun to cut.
    ///
    /// # Errors
    /// In the table's words.
    pub fn lay_unless_there(&self, job: &Job, corner: Point) -> Result<(), String> {
        let path_mm: f64 = job.cuts.iter().map(planning::JobCut::length_mm).sum();
        if (self.truth()?.plan_mm - path_mm).abs() < 0.001 {
            return Ok(());
        }
        self.lay(job, corner)
    }

    /// Lets something go wrong.
    ///
    /// # Errors
    /// The place does not exist.
    pub fn inject(&self, fault: FaultSpec) -> Result<(), String> {
        self.with(|h| h.inject(fault).map_err(|e| e.to_string()))
    }

    /// Does at the table what clears a fault; `None`: whatever is wrong.
    ///
    /// # Errors
    /// In the table's words.
    pub fn remedy(&self, fault: Option<FaultKind>) -> Result<(), String> {
        self.with(|h| h.remedy(fault).map_err(|e| e.to_string()))
    }

    /// From now on something is wrong with the wires.
    ///
    /// # Errors
    /// In the table's words.
    pub fn wire(&self, fault: WireFault) -> Result<(), String> {
        self.with(|h| h.wire(fault).map_err(|e| e.to_string()))
    }

    /// New torch parts are in.
    ///
    /// # Errors
    /// In the table's words.
    pub fn new_parts(&self) -> Result<(), String> {
        self.with(|h| h.new_parts().map_err(|e| e.to_string()))
    }

    /// Presses hold button and emergency stop, and releases them.
    ///
    /// # Errors
    /// In the table's words.
    pub fn try_buttons(&self) -> Result<(), String> {
        self.with(|h| h.try_buttons().map_err(|e| e.to_string()))
    }

    /// Works one of the panel's inputs.
    ///
    /// # Errors
    /// In the table's words.
    pub fn work_input(&self, wire: Wire, how: Hand) -> Result<(), String> {
        let Some(input) = Input::named(wire.name()) else {
            return Err(format!("the simulated table has no {}", wire.name()));
        };
        self.with(|h| h.work(input, hand_act(how)).map_err(|e| e.to_string()))
    }

    /// The ledger.
    ///
    /// # Errors
    /// In the table's words.
    pub fn truth(&self) -> Result<Truth, String> {
        self.with(|h| h.truth().map_err(|e| e.to_string()))
    }
}

/// What a hand does, in the table's words.
#[must_use]
pub fn hand_act(how: Hand) -> HandAct {
    match how {
        Hand::Work => HandAct::Work,
        Hand::LetGo => HandAct::LetGo,
        Hand::WireOff => HandAct::WireOff,
        Hand::WireOn => HandAct::WireOn,
    }
}

impl operator::Hands for SharedHands {
    fn set_right(&mut self) {
        if let Err(error) = self.remedy(None) {
            tracing::warn!(error, "the table does not answer its operator");
        }
    }

    fn try_buttons(&mut self) {
        if let Err(error) = SharedHands::try_buttons(self) {
            tracing::warn!(error, "the table does not answer its operator");
        }
    }

    fn new_parts(&mut self) {
        if let Err(error) = SharedHands::new_parts(self) {
            tracing::warn!(error, "the table does not answer its operator");
        }
    }

    fn work(&mut self, wire: Wire, how: Hand) {
        if let Err(error) = self.work_input(wire, how) {
            tracing::warn!(error, "the table does not answer its operator");
        }
    }

    fn torch_on_sheet(&mut self) -> Option<Point> {
        self.truth().ok().map(|t| t.torch_on_sheet)
    }

    fn switch_source_off_and_on(&mut self) {
        if let Err(error) = self.remedy(Some(FaultKind::ArcStuck)) {
            tracing::warn!(error, "the table does not answer its operator");
        }
    }
}

impl Table {
    /// Starts a table in a folder of its own.
    ///
    /// # Errors
    /// The folder or the table could not be had.
    pub fn start(settings: TableSettings, speed: f64) -> Result<Self, TableError> {
        let folder = tempfile::Builder::new()
            .prefix("standclear-table-")
            .tempdir()
            .map_err(TableError::Folder)?;
        let dir = folder.path().to_path_buf();
        let stop = Arc::new(AtomicBool::new(false));
        let thread = {
            let (dir, stop) = (dir.clone(), Arc::clone(&stop));
            std::thread::Builder::new()
                .name("table".into())
                .spawn(move || {
                    if let Err(error) = shell::serve(&dir, settings, speed, stop) {
                        tracing::error!(%error, "the simulated table has ended");
                    }
                })
                .map_err(TableError::Folder)?
        };
        let hands = reach(&dir)?;
        Ok(Self {
            dir,
            hands,
            stop,
            thread: Some(thread),
            _folder: Some(folder),
        })
    }

    /// Joins a table that runs as a process of its own.
    ///
    /// # Errors
    /// Nobody answers there.
    pub fn join(dir: &Path) -> Result<Self, TableError> {
        Ok(Self {
            dir: dir.to_path_buf(),
            hands: reach(dir)?,
            stop: Arc::default(),
            thread: None,
            _folder: None,
        })
    }

    /// Where its wires come out.
    #[must_use]
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Hands beside it.
    #[must_use]
    pub fn hands(&self) -> SharedHands {
        self.hands.clone()
    }
}

impl Drop for Table {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the simulated table ended by a panic");
        }
    }
}

/// Waits until the table listens.
fn reach(dir: &Path) -> Result<SharedHands, TableError> {
    let until = Instant::now() + READY_WITHIN;
    loop {
        match Hands::connect(dir) {
            Ok(hands) => return Ok(SharedHands(Arc::new(Mutex::new(hands)))),
            Err(error) if Instant::now() >= until => {
                return Err(TableError::Silent(dir.to_path_buf(), error.to_string()));
            }
            Err(_) => std::thread::park_timeout(Duration::from_millis(5)),
        }
    }
}

/// What the table must know of a job to be cut on it.
#[must_use]
pub fn plan(job: &Job, corner: Point) -> Plan {
    let shift = Placement {
        origin: corner,
        rotation_deg: 0.0,
    };
    let path = |cut: &planning::JobCut| {
        cut.path
            .iter()
            .map(|e| e.segment.placed(&shift))
            .collect::<Vec<_>>()
    };
    Plan {
        corner,
        size: job.sheet,
        thickness_mm: job.thickness_mm,
        material: job.row.material.clone(),
        kerf_mm: job.row.kerf_mm,
        volts: job.row.volts,
        feed_mm_s: job.row.feed_mm_s(),
        amps: job.row.amps,
        cut_height_mm: job.row.cut_height_mm,
        pierce_height_mm: job.row.pierce_height_mm,
        cuts: job.cuts.iter().map(path).collect(),
    }
}

/// How the simulated table is to be spoken to with this machine file.
///
/// # Errors
/// The simulated table has no ears for its dialect.
pub fn tongue(config: &Config) -> Result<Tongue, String> {
    let name = &config.link.dialect.name;
    Tongue::named(name).ok_or_else(|| {
        format!(
            "the simulated table speaks `plain` and `quill`, not `{name}`. Name one of these in the \
             machine file for practice"
        )
    })
}

/// A table with the axes and the wire of this machine file.
#[must_use]
pub fn table_settings(config: &Config, seed: u64, rough: bool) -> TableSettings {
    let motion = &config.motion;
    TableSettings {
        seed,
        rough,
        // Practice refuses what the simulated table has no ears for before it comes here.
        tongue: tongue(config).unwrap_or_default(),
        baud: config.link.baud,
        block_ms: config.link.dialect.block_ms(),
        travel_low: [0.0; 3],
        travel_high: config.travel,
        slat_top_z: config.slat_top_z,
        // Somewhere over the table: nobody knows it until the axes are referenced.
        start: [
            config.travel[0] * 0.2,
            config.travel[1] * 0.15,
            config.travel[2] * 0.8,
        ],
        accel_mm_s2: motion.accel_mm_s2,
        rapid_mm_s: motion.rapid_mm_s,
        z_accel_mm_s2: motion.z_accel_mm_s2,
        z_rapid_mm_s: motion.z_rapid_mm_s,
        corner_step_mm_s: motion.corner_step_mm_s,
        ohmic_offset_mm: config.cycle.ohmic_offset_mm,
        estop_tells: config.estop.told_to_controller,
        compressor_l_min: config.air.compressor_l_min,
        endless_amps: process::continuous_amps(config.duty()),
        // Half the pitch: what is longer lies on two slats (common practice, no source).
        falls_mm: config.slat_pitch_mm / 2.0,
        ..TableSettings::default()
    }
}
