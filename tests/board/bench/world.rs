//! The table's side: the far end of the serial line, and the other side of the kernel's lines.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::Write as _;
use std::os::unix::fs::FileExt as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use simulator::Table;
use simulator::harness::Levels;
use simulator::shell::Cable;
use standclear::config::Config;
use standclear::pins::{Clock as _, Monotonic};
use units::Time;

use crate::tape::{self, Deed};

/// The table's time goes on in such steps, and so often the permit's line is looked at: a twentieth of
/// its period at 100 Hz.
const STEP: Duration = Duration::from_micros(500);

/// One input line of the simulated chip.
struct Wire {
    signal: String,
    closed_is_high: bool,
    pull: File,
    driven: Option<bool>,
}

impl Wire {
    fn drive(&mut self, high: bool) {
        if self.driven != Some(high) {
            let word: &[u8] = if high { b"pull-up" } else { b"pull-down" };
            self.pull
                .write_all_at(word, 0)
                .expect("the simulated line takes a level");
            self.driven = Some(high);
        }
    }
}

/// Table, cable and lines, and what was seen at them.
pub struct World {
    pub table: Table,
    clock: Monotonic,
    /// Where the table's time stood when the clock began: it is older than this boot.
    began: Time,
    /// What the table was told, where it is kept for after a cut of the power.
    tape: Option<Vec<Deed>>,
    wire: PathBuf,
    cable: Option<Cable>,
    wires: Vec<Wire>,
    permit_line: File,
    permit: bool,
    burnt: bool,
    /// Wires that are off: their inputs read what the resistor pulls them to.
    pub off: BTreeSet<String>,
    /// Each change of the permit's line.
    pub permits: Vec<(Time, bool)>,
    /// Each change of the arc on metal.
    pub arcs: Vec<(Time, bool)>,
    /// The longest that a step came late.
    pub latest: Duration,
    stepped: Time,
}

/// Shared by the table's thread and the operator's.
#[derive(Clone)]
pub struct Shared(Arc<Mutex<World>>);

impl Shared {
    /// Lays out the wires and starts the table's thread. `taped`: what it is told is kept.
    pub fn start(
        table: Table,
        config: &Config,
        chip: &str,
        wire: &Path,
        taped: bool,
    ) -> std::io::Result<Self> {
        let world = World::new(table, config, chip, wire, taped)?;
        let shared = Self(Arc::new(Mutex::new(world)));
        let turning = shared.clone();
        std::thread::Builder::new()
            .name("table".into())
            .spawn(move || {
                // A real table is not kept waiting by what runs on the board, and keeps no guard waiting.
                if !before_the_panel_and_after_its_guard() {
                    eprintln!("the table has no priority on this board");
                }
                loop {
                    turning.lock().turn();
                    std::thread::park_timeout(STEP);
                }
            })?;
        Ok(shared)
    }

    pub fn lock(&self) -> MutexGuard<'_, World> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl World {
    /// Lays out the wires of a table that nobody turns yet.
    pub fn new(
        table: Table,
        config: &Config,
        chip: &str,
        wire: &Path,
        taped: bool,
    ) -> std::io::Result<Self> {
        let line = |pin: u32, file: &str| Path::new(chip).join(format!("sim_gpio{pin}/{file}"));
        let mut wires = Vec::new();
        for input in &config.pins.inputs {
            wires.push(Wire {
                signal: input.signal.clone(),
                closed_is_high: input.active_high,
                pull: File::options().write(true).open(line(input.pin, "pull"))?,
                driven: None,
            });
        }
        let permit = config.pins.permit.unwrap_or_default();
        Ok(Self {
            began: table.now(),
            stepped: table.now(),
            table,
            clock: Monotonic::starting_now(),
            tape: taped.then(Vec::new),
            wire: wire.to_path_buf(),
            cable: Some(Cable::plug(wire)?),
            wires,
            permit_line: File::open(line(permit, "value"))?,
            permit: false,
            burnt: false,
            off: BTreeSet::new(),
            permits: Vec::new(),
            arcs: Vec::new(),
            latest: Duration::ZERO,
        })
    }

    /// How many bytes have come by the wire since it was looked at last, where the table does not hear them.
    pub fn heard(&self) -> usize {
        self.cable.as_ref().map_or(0, |c| c.read().len())
    }

    /// The table's time.
    pub fn now(&self) -> Time {
        self.began + self.clock.now().since(Time::ZERO)
    }

    /// Tells the table, and keeps it on the tape.
    ///
    /// # Errors
    /// A fault that cannot be ordered.
    pub fn tell(&mut self, deed: Deed) -> Result<(), String> {
        deed.tell(&mut self.table)?;
        if let Some(tape) = &mut self.tape {
            tape.push(deed);
        }
        Ok(())
    }

    /// What the table was told is made durable at `file`.
    pub fn save_tape(&self, file: &Path) -> Result<(), String> {
        let deeds = self.tape.as_deref().ok_or("no tape was kept")?;
        tape::save(file, deeds).map_err(|e| format!("{}: {e}", file.display()))
    }

    fn turn(&mut self) {
        let now = self.now();
        self.latest = self
            .latest
            .max(now.since(self.stepped).saturating_sub(STEP));
        self.stepped = now;
        let permit = self.permit_level();
        if permit != self.permit {
            self.permit = permit;
            self.permits.push((now, permit));
        }
        let turn = Deed::Turn {
            us: now.as_us(),
            permit,
            bytes: self.cable.as_ref().map(Cable::read).unwrap_or_default(),
        };
        self.tell(turn).expect("time goes on");
        if self.burnt != self.table.burns() {
            self.burnt = !self.burnt;
            self.arcs.push((now, self.burnt));
        }
        self.mind_the_cable();
        let bytes = self.table.take_wire_out();
        if let Some(cable) = &self.cable {
            cable.write(&bytes);
        }
        self.drive();
    }

    fn mind_the_cable(&mut self) {
        match (self.table.plugged(), self.cable.is_some()) {
            (false, true) => self.cable = None,
            (true, false) => self.cable = Cable::plug(&self.wire).ok(),
            _ => {}
        }
    }

    /// The port was closed by a process that has gone: the next may have it.
    pub fn free_the_port(&self) {
        if let Some(cable) = &self.cable {
            cable.free();
        }
    }

    /// Puts the lines where the contacts are; a wire that is off is at its resistor, which pulls to the
    /// level of an open contact.
    pub fn drive(&mut self) {
        let levels = self.table.levels();
        for wire in &mut self.wires {
            let closed = closed(&levels, &wire.signal) && !self.off.contains(&wire.signal);
            wire.drive(closed == wire.closed_is_high);
        }
    }

    /// Opens a contact for as long as two writes take, some microseconds.
    pub fn open_for_an_instant(&mut self, signal: &str) -> Time {
        let at = self.now();
        if let Some(wire) = self.wires.iter_mut().find(|w| w.signal == signal) {
            wire.drive(!wire.closed_is_high);
            wire.drive(wire.closed_is_high);
        }
        at
    }

    /// The permit's line as it stands.
    pub fn permit_level(&self) -> bool {
        let mut level = [0];
        let read = self.permit_line.read_at(&mut level, 0);
        assert!(
            matches!(read, Ok(1)),
            "the permit's line cannot be read: {read:?}"
        );
        level == *b"1"
    }

    /// The last change of the permit's line to `high` after a moment.
    pub fn last_permit_after(&self, from: Time, high: bool) -> Option<Time> {
        let after = self
            .permits
            .iter()
            .filter(|(at, level)| *at > from && *level == high);
        after.map(|(at, _)| *at).next_back()
    }

    /// Whether the arc was out from `by` on, with how long after `by` it last burnt.
    pub fn arc_after(&self, by: Time) -> Option<Time> {
        if self.table.burns() {
            return Some(self.now());
        }
        self.arcs
            .last()
            .filter(|(at, _)| *at > by)
            .map(|(at, _)| *at)
    }
}

/// Real-time priority for the thread that calls it, below that of the guard's (40).
pub fn before_the_panel_and_after_its_guard() -> bool {
    use thread_priority::unix::{RealtimeThreadSchedulePolicy, ThreadSchedulePolicy};
    let first = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
    scheduled(30, first)
}

/// No priority for the thread that calls it: it is born with that of the thread that made it.
pub fn as_all_others() {
    use thread_priority::unix::{NormalThreadSchedulePolicy, ThreadSchedulePolicy};
    let normal = ThreadSchedulePolicy::Normal(NormalThreadSchedulePolicy::Other);
    assert!(scheduled(0, normal), "a thread may always come last");
}

fn scheduled(priority: u8, policy: thread_priority::ThreadSchedulePolicy) -> bool {
    use thread_priority::unix::{set_thread_priority_and_policy, thread_native_id};
    let priority = thread_priority::ThreadPriorityValue::try_from(priority)
        .map(thread_priority::ThreadPriority::Crossplatform);
    priority.is_ok_and(|p| set_thread_priority_and_policy(thread_native_id(), p, policy).is_ok())
}

/// Whether the contact of an input is closed.
fn closed(levels: &Levels, signal: &str) -> bool {
    match signal {
        "fire_on" => levels.fire_on,
        "arc_ok" => levels.arc_ok,
        "contact" => levels.contact,
        "estop" => !levels.estop_open,
        "hold_button" => levels.hold_button,
        "air_ok" => levels.air_ok,
        "source_on" => levels.source_on,
        "torch_seated" => levels.torch_seated,
        "permit_closed" => levels.permit_closed,
        "sense_isolated" => levels.sense_isolated,
        // The simulated table has none: nobody comes near.
        "gate" => true,
        other => panic!("the simulated table has no {other}"),
    }
}

/// Tells on the console at once.
pub fn say(text: &str) {
    let mut out = std::io::stdout();
    let _ = writeln!(out, "{text}").and_then(|()| out.flush());
}
