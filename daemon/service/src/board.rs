//! The pins of a single-board computer, as the machine file wires them.
//!
//! **For**: the guard's thread, which alone holds them.
//! **Never**: reports a level that was not read. All levels are read afresh at every wake-up,
//! since an edge may be lost and a level may not; a backend that fails is an error, which counts
//! as an emergency stop. Openings of the chain, the gate and the torch's seat that the kernel has
//! seen are told beside the levels, however short they were.
//! **If the process ends in order**: the permit's line is low, and stays so as far as the chip's driver
//! keeps it.
//! **If it is killed**: the line stays as it was driven last, perhaps high, or hangs in the air, as the
//! driver has it. There are no more pulses either way, and the missing-pulse relay drops out: a
//! level is no pulse. A resistor to ground holds a line that nobody drives.
//!
//! What is decided here (polarity, debounce, which level is which signal) is free of the board and
//! tested without one; [`character`] (the kernel's character device) and [`gpio`] (registers) are the
//! thin rest.

mod character;
mod debounce;
mod gpio;
mod storm;
#[cfg(test)]
mod tests;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use control::{Opened, Signals};
use rustix::fd::OwnedFd;
use units::Time;

use crate::config::{Backend, InputPin, PinsConfig};
use crate::outputs::{self, OutputLines, OutputsEnd};
use crate::pins::{Clock, Monotonic, Pins, PinsError, Reading, Wake};
use debounce::Debounce;
use storm::Storm;

/// A wait on edges lasts no longer than this where it cannot be woken: this is how late a word from
/// another thread is heard. The permit's half period (5 ms at 100 Hz) and the limits of the guard
/// are longer.
const SLICE: Duration = Duration::from_millis(2);

/// So often edges are taken one after the other before the levels are read: as many as the queue of a
/// character device holds, 64 at a time.
const DRAINS: usize = 16;

/// A wait that can be woken may last so long with nothing to wait for.
const LONGEST: Duration = Duration::from_secs(1);

/// The thread that reads the pins may be busy for this long without having slept. It has real-time
/// priority, and the system ends a process whose such thread spins (LimitRTTIME in the unit file, a
/// hundred times this): an input that chatters must neither do that nor take a core for itself.
const BUSY_MOST: Duration = Duration::from_micros(500);

/// Then it sleeps for this long, which is also how late an edge is seen beside such an input.
const REST: Duration = Duration::from_micros(250);

/// A wait that took this long was slept through.
const SLEPT: Duration = Duration::from_micros(50);

/// An edge that the kernel has seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Edge {
    /// Which input, in the order of the machine file.
    input: usize,
    /// The level that it went to.
    high: bool,
    /// The kernel's own moment, if it is known.
    at: Option<Time>,
    /// Edges of this input that were lost before this one, by the kernel's count: its queue was full.
    lost: u32,
}

/// The lines of a board: levels as they are, high is true.
trait Lines: Send {
    /// Reads all inputs, in the order of the machine file.
    fn levels(&mut self, high: &mut Vec<bool>) -> Result<(), PinsError>;
    /// Waits for an edge at any input, for `span` at most (no time at all: only looks), or until the
    /// bell is rung. Adds the oldest edges that the kernel has seen and that were not given yet: not
    /// necessarily all.
    fn wait_edges(&mut self, span: Duration, edges: &mut Vec<Edge>) -> Result<(), PinsError>;
    /// What ends a wait when it is written to; `None`: nothing does.
    fn bell(&self) -> Option<Arc<OwnedFd>> {
        None
    }
    /// A wait lasts no longer than this.
    fn longest_wait(&self) -> Duration {
        LONGEST
    }
    /// Lets everything else run for this long.
    fn rest(&mut self, span: Duration) {
        // Nobody wakes this thread by its handle: it sleeps for all of it.
        std::thread::park_timeout(span);
    }
    /// Drives the permit's pin.
    fn set_permit(&mut self, high: bool) -> Result<(), PinsError>;
}

/// Opens the pins that the machine file names.
///
/// # Errors
/// The machine file names no pins, this is no such board, or a pin cannot be had.
pub fn open(config: &PinsConfig) -> Result<Box<dyn Pins>, PinsError> {
    let clock = Monotonic::starting_now();
    let (inputs, told_by) = (&config.inputs, Arc::new(clock));
    Ok(match config.backend {
        Backend::CharacterDevice => {
            let lines = character::CharacterLines::open(config, clock)?;
            Box::new(BoardPins::new(lines, inputs, told_by))
        }
        Backend::Rppal => {
            let lines = gpio::BoardLines::open(config, clock)?;
            Box::new(BoardPins::new(lines, inputs, told_by))
        }
        Backend::None => return Err(no_backend()),
    })
}

/// Takes the lines of the optional outputs, low, and starts what drives them; `None`: there are none. After
/// [`open`], which takes what must be there.
///
/// # Errors
/// A line cannot be had, or the system gives no thread: in words.
pub fn outputs(config: &PinsConfig) -> Result<Option<OutputsEnd>, String> {
    if config.outputs.is_empty() {
        return Ok(None);
    }
    let fitted = config.outputs.iter().map(|(output, _)| *output).collect();
    let lines: Box<dyn OutputLines> = match config.backend {
        Backend::CharacterDevice => {
            Box::new(character::OutputRequests::open(config).map_err(|e| e.to_string())?)
        }
        Backend::Rppal => Box::new(gpio::OutputRegisters::open(config).map_err(|e| e.to_string())?),
        Backend::None => return Ok(None),
    };
    outputs::start(lines, fitted)
        .map(Some)
        .map_err(|e| format!("no thread for the outputs: {e}"))
}

/// Looks whether the machine file's pins are there, and touches none of them.
///
/// # Errors
/// There are none, this user may not use them, or one is in use.
pub fn look(config: &PinsConfig) -> Result<String, PinsError> {
    match config.backend {
        Backend::CharacterDevice => character::look(config),
        Backend::Rppal => gpio::look(),
        Backend::None => Err(no_backend()),
    }
}

/// Each backend by its name in the machine file, and whether it is possible here.
pub fn possible(config: &PinsConfig) -> [(Backend, Result<String, PinsError>); 2] {
    [
        (
            Backend::CharacterDevice,
            character::find(&config.chip).map(|found| found.told),
        ),
        (Backend::Rppal, gpio::look()),
    ]
}

/// The machine file says that there are no pins.
#[must_use]
pub fn no_backend() -> PinsError {
    PinsError {
        says: "the machine file has pins.backend = \"none\": there is nothing to drive the permit \
               or to see the emergency stop by"
            .into(),
        remedy: "Use `standclear practice`, or set pins.backend = \"character-device\" and name the pins \
                 as config/machines/example-board.toml does"
            .into(),
    }
}

/// One input: where its level goes and when it is believed.
struct Wired {
    signal: String,
    active_high: bool,
    debounce: Debounce,
    storm: Storm,
}

struct BoardPins<L> {
    lines: L,
    wired: Vec<Wired>,
    clock: Arc<dyn Clock>,
    woken: Arc<Woken>,
    told: Option<Signals>,
    high: Vec<bool>,
    edges: Vec<Edge>,
    /// What the kernel has seen to open since the last reading was given, though it may be closed
    /// again. No debounce may swallow that: what it stands for may have happened.
    opened: Opened,
    /// When this thread has slept last.
    slept: Time,
}

/// A word that waits, and what ends the wait.
struct Woken {
    flag: AtomicBool,
    bell: Option<Arc<OwnedFd>>,
}

impl Wake for Woken {
    fn wake(&self) {
        self.flag.store(true, Ordering::Release);
        if let Some(bell) = &self.bell {
            // A counter that is full is a wake-up that is still due.
            let _ = rustix::io::write(&**bell, &1_u64.to_ne_bytes());
        }
    }
}

impl<L: Lines> BoardPins<L> {
    fn new(lines: L, inputs: &[InputPin], clock: Arc<dyn Clock>) -> Self {
        let wired = inputs.iter().map(|i| Wired {
            signal: i.signal.clone(),
            active_high: i.active_high,
            debounce: Debounce::new(Duration::from_millis(i.debounce_ms)),
            storm: Storm::default(),
        });
        let woken = Woken {
            flag: AtomicBool::new(false),
            bell: lines.bell(),
        };
        Self {
            lines,
            wired: wired.collect(),
            clock,
            woken: Arc::new(woken),
            told: None,
            high: Vec::new(),
            edges: Vec::new(),
            opened: Opened::default(),
            slept: Time::ZERO,
        }
    }

    /// Takes what the kernel has queued; of a storm no more than its queue holds.
    fn drain(&mut self) -> Result<(), PinsError> {
        for _ in 0..DRAINS {
            self.wait_edges(Duration::ZERO)?;
            if self.edges.is_empty() {
                break;
            }
        }
        Ok(())
    }

    /// Waits for edges and notes what the kernel has seen.
    fn wait_edges(&mut self, span: Duration) -> Result<(), PinsError> {
        let mut edges = std::mem::take(&mut self.edges);
        edges.clear();
        let waited = self.lines.wait_edges(span, &mut edges);
        for edge in &edges {
            self.edge(*edge);
        }
        self.edges = edges;
        waited
    }

    /// Notes an edge that the kernel has seen.
    fn edge(&mut self, edge: Edge) {
        let now = self.clock.now();
        let Some(wired) = self.wired.get_mut(edge.input) else {
            return;
        };
        if edge.lost > 0 {
            self.opened.missed = true;
            self.opened.lost = self.opened.lost.saturating_add(edge.lost);
            wired.debounce.forget();
        }
        if let Some(many) = wired.storm.edges(now, edge.lost.saturating_add(1)) {
            tracing::warn!(
                signal = wired.signal,
                edges = many,
                "this input changes far more often in a second than a contact does: look at its wire, \
                 its shield and its contact"
            );
        }
        let at = edge.at.map(|at| at.min(now));
        let closed = edge.high == wired.active_high;
        wired.debounce.edge(now, at, closed);
        if !closed {
            let opened = &mut self.opened;
            match wired.signal.as_str() {
                "estop" => {
                    // The first opening counts.
                    if !opened.estop {
                        opened.moments.estop = at;
                    }
                    opened.estop = true;
                }
                "torch_seated" => opened.torch_seated = true,
                "gate" => opened.gate = true,
                _ => {}
            }
        }
    }

    /// Sleeps if it has not for too long.
    fn rest_if_busy(&mut self) {
        let now = self.clock.now();
        if now.since(self.slept) > BUSY_MOST {
            self.lines.rest(REST);
            self.slept = self.clock.now();
        }
    }

    /// Reads everything; when the next level will be believed that is not yet.
    fn read(&mut self) -> Result<(Time, Signals, Option<Time>), PinsError> {
        self.lines.levels(&mut self.high)?;
        if self.high.len() != self.wired.len() {
            return Err(PinsError {
                says: format!(
                    "{} levels were read of {}",
                    self.high.len(),
                    self.wired.len()
                ),
                remedy: "Start the panel again; if it stays, report it".into(),
            });
        }
        let now = self.clock.now();
        let mut signals = Signals::default();
        let mut settles = None;
        for (wired, high) in self.wired.iter_mut().zip(&self.high) {
            let before = wired.debounce.believed();
            let closed = wired.debounce.take(now, *high == wired.active_high);
            set(&mut signals, &wired.signal, closed);
            if before.is_some_and(|before| before != closed) {
                let since = wired.debounce.since();
                changed_at(&mut self.opened, &wired.signal, since);
            }
            settles = Time::sooner(settles, wired.debounce.settles());
        }
        Ok((now, signals, settles))
    }
}

/// Puts the state of a contact into its signal. Only `estop` means its opposite: its contact is
/// closed while all is well.
fn set(signals: &mut Signals, name: &str, closed: bool) {
    match name {
        "fire_on" => signals.fire_on = closed,
        "arc_ok" => signals.arc_ok = closed,
        "contact" => signals.contact = closed,
        "estop" => signals.estop_open = !closed,
        "hold_button" => signals.hold_button = Some(closed),
        "float_switch" => signals.float_switch = Some(closed),
        "air_ok" => signals.air_ok = Some(closed),
        "source_on" => signals.source_on = Some(closed),
        "torch_seated" => signals.torch_seated = Some(closed),
        "gate" => signals.gate_closed = Some(closed),
        "permit_closed" => signals.permit_closed = Some(closed),
        "sense_isolated" => signals.sense_isolated = Some(closed),
        // The machine file is refused with any other name.
        _ => {}
    }
}

/// Notes since when an input stands as it does, where its moment is used. `None`, if no edge told it: then
/// the guard reckons with how late its look may have been.
fn changed_at(opened: &mut Opened, name: &str, at: Option<Time>) {
    let moments = &mut opened.moments;
    let moment = match name {
        "fire_on" => &mut moments.fire_on,
        "arc_ok" => &mut moments.arc_ok,
        "contact" => &mut moments.contact,
        // An opening that was seen as an edge has its moment, known or not.
        "estop" if opened.estop => return,
        "estop" => &mut moments.estop,
        "permit_closed" => &mut moments.permit_closed,
        "hold_button" => &mut moments.hold_button,
        _ => return,
    };
    *moment = at;
}

impl<L: Lines> Pins for BoardPins<L> {
    fn clock(&self) -> Arc<dyn Clock> {
        Arc::clone(&self.clock)
    }

    fn waker(&self) -> Arc<dyn Wake> {
        Arc::clone(&self.woken) as Arc<dyn Wake>
    }

    fn wait(&mut self, deadline: Option<Time>) -> Result<Reading, PinsError> {
        loop {
            self.rest_if_busy();
            // What is queued comes first: a level that has changed then has its edge's moment.
            self.drain()?;
            let (at, signals, settles) = self.read()?;
            let woken = self.woken.flag.swap(false, Ordering::AcqRel);
            let changed = self.told != Some(signals);
            let opened = self.opened.estop
                || self.opened.torch_seated
                || self.opened.gate
                || self.opened.missed;
            if woken || changed || opened || deadline.is_some_and(|d| at >= d) {
                self.told = Some(signals);
                let mut opened = std::mem::take(&mut self.opened);
                opened.short_edges = self.wired.iter_mut().map(|w| w.debounce.take_short()).sum();
                return Ok(Reading {
                    at,
                    signals,
                    opened,
                    turn: None,
                });
            }
            let longest = self.lines.longest_wait();
            let next = Time::sooner(deadline, settles);
            let span = next.map_or(longest, |next| next.since(at).min(longest));
            self.wait_edges(span)?;
            let now = self.clock.now();
            if now.since(at) >= SLEPT {
                self.slept = now;
            }
        }
    }

    fn set_permit(&mut self, level: bool) -> Result<(), PinsError> {
        self.lines.set_permit(level)
    }
}
