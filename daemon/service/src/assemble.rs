//! Puts a panel together: journal, machine, guard and runner over given pins and a given port.
//! The same for the real table and for practice.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use control::{Machine, Restored, SetTag, Settings};
use tokio::sync::mpsc;
use units::Point;

use crate::arc_volts;
use crate::config::Config;
use crate::guard_thread;
use crate::journal::{Disk, Journal, JournalError, Past};
use crate::outputs::OutputsEnd;
use crate::panel::Panel;
use crate::pins::{Pins, TurnEnd};
use crate::runner::{Automatic, Parts, Runner};

/// The far ends that differ between a real table and a simulated one.
pub struct FarEnds {
    /// The pins and their clock.
    pub pins: Box<dyn Pins>,
    /// The converter of the arc volts, if the pins do not bring them.
    pub volts: Option<arc_volts::Source>,
    /// Path of the serial port.
    pub port: PathBuf,
    /// Who is told when a turn of the clock was dealt with, where the clock waits for it.
    pub turn_end: Option<Box<dyn TurnEnd>>,
    /// Beacon, sounder and extraction; `None`: there are none.
    pub outputs: Option<OutputsEnd>,
    /// The automatic operator, if there is one.
    pub automatic: Option<Box<dyn Automatic>>,
    /// How the journal's disk answers; `None`: as it does.
    pub disk: Option<Arc<Disk>>,
}

/// Why the panel could not be put together.
#[derive(Debug, thiserror::Error)]
pub enum AssembleError {
    /// The journal could not be opened: without it nothing may start.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The guard's thread, or that of the arc volts, could not be made.
    #[error("the guard's threads could not be started: {0}")]
    Guard(#[from] std::io::Error),
}

/// What the machine must know of the table.
#[must_use]
pub fn settings(config: &Config) -> Settings {
    Settings {
        guard: config.guard,
        sheet_corner: config.sheet_corner,
        slat_top_z: config.slat_top_z,
        travel: Some(Point::new(config.travel[0], config.travel[1])),
        top_z: config.travel[2],
        rapid_mm_s: config.motion.rapid_mm_s,
        rapid_z_mm_s: config.motion.z_rapid_mm_s,
        accel_mm_s2: config.motion.accel_mm_s2,
        baud: config.link.baud,
        link_silence_ms: config.link.silence_ms,
        estop: config.estop,
        arc_edge: config.arc_signal,
        park: config.park,
        change: config.change,
        sets: config
            .power
            .settings_amps
            .iter()
            .map(|&amps| SetTag {
                tag: format!("{amps}"),
                amps,
            })
            .collect(),
        screen_lost_after_cut: config.screen_lost_after_cut,
        supplies: config.supplies,
        commissioning: Some(config.commissioning.clone()),
        outputs: config.outputs(),
    }
}

/// Opens the journal, restores what it says, starts the guard and makes the runner.
///
/// # Errors
/// The journal or the guard's thread could not be had.
pub fn assemble(
    config: &Config,
    state: &Path,
    ends: FarEnds,
) -> Result<(Runner, Panel), AssembleError> {
    let (reports, from_journal) = mpsc::unbounded_channel();
    let (journal, past) = Journal::open_on(state, reports, ends.disk)?;
    let restored = match past {
        Past::Known(restored) => *restored,
        Past::Unreadable(known) => Restored {
            parts: known.parts,
            ..Restored::unreadable()
        },
    };
    let dialect = Arc::clone(&config.link.dialect);
    let recorder = journal.begin_recording(settings(config), dialect.source(), &restored);
    for lack in dialect.lacks() {
        tracing::warn!(dialect = dialect.name, "{} {}", lack.says, lack.therefore);
    }
    let take_away = dialect.take_away_bytes();
    let clock = ends.pins.clock();
    let machine = Machine::new(settings(config), dialect, restored);
    let volts = match ends.volts {
        Some(source) => Some(source.start(Arc::clone(&clock))?),
        None => None,
    };
    let (guard, from_guard) = guard_thread::start(config.guard, take_away, ends.pins, volts)?;
    let (port, baud) = (ends.port, config.link.baud);
    Ok(Runner::new(Parts {
        machine,
        clock,
        guard,
        from_guard,
        journal,
        recorder,
        from_journal,
        opener: Arc::new(move || crate::port::open(&port, baud)),
        lease: Duration::from_millis(config.guard.lease_ms),
        turn_end: ends.turn_end,
        outputs: ends.outputs,
        automatic: ends.automatic,
    }))
}
