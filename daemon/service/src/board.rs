//! The pins of a single-board computer, as the machine file wires them.
//!
//! **For**: the guard's thread, which alone holds them.
//! **Never**: reports a level that was not read. All levels are read afresh at every wake-up,
//! since an edge may be lost and a level may not; a backend that fails is an error, which counts
//! as an emergency stop. Openings of the chain, the gate and the torch's seat that the kernel has
//! seen are told beside the levels, however short they were.
//! **If the process ends in order**: the permit's pin goes back to what it was before.
//! **If it is killed**: the pin stays as it was driven last, perhaps high, until something sets it
//! anew: the backend drives registers, which the kernel does not put back. There are no more pulses
//! either way, and the missing-pulse relay drops out: a level is no pulse.
//!
//! What is decided here (polarity, debounce, which level is which signal) is free of the board and
//! tested without one; [`gpio`] is the thin rest.

mod debounce;
mod gpio;
#[cfg(test)]
mod tests;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use control::{Opened, Signals};
use units::Time;

use crate::config::{InputPin, PinsConfig};
use crate::pins::{Clock, Monotonic, Pins, PinsError, Reading, Wake};
use debounce::Debounce;

/// A wait on edges lasts no longer than this: the backend's wait cannot be woken, so this is how
/// late a word from another thread is heard. The permit's half period (5 ms at 100 Hz) and the
/// limits of the guard are longer.
const SLICE: Duration = Duration::from_millis(2);

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
    /// The kernel's queue was full: edges before this one are lost.
    missed: bool,
}

/// The lines of a board: levels as they are, high is true.
trait Lines: Send {
    /// Reads all inputs, in the order of the machine file.
    fn levels(&mut self, high: &mut Vec<bool>) -> Result<(), PinsError>;
    /// Waits for an edge at any input, or for `span`. Gives the oldest edge that the kernel has seen
    /// and that was not given yet.
    fn wait_edge(&mut self, span: Duration) -> Result<Option<Edge>, PinsError>;
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
    if config.backend != "board" {
        return Err(no_backend());
    }
    let lines = gpio::BoardLines::open(config)?;
    let clock = Arc::new(Monotonic::starting_now());
    Ok(Box::new(BoardPins::new(lines, &config.inputs, clock)))
}

/// Looks whether this is a board with pins, and touches none of them.
///
/// # Errors
/// It is none, or this user may not use them.
pub fn look() -> Result<String, PinsError> {
    gpio::look()
}

/// The machine file says that there are no pins.
#[must_use]
pub fn no_backend() -> PinsError {
    PinsError {
        says: "the machine file has pins.backend = \"none\": there is nothing to drive the permit \
               or to see the emergency stop by"
            .into(),
        remedy: "Use `standclear practice`, or set pins.backend = \"board\" and name the pins as \
                 config/machines/example-board.toml does"
            .into(),
    }
}

/// One input: where its level goes and when it is believed.
struct Wired {
    signal: String,
    active_high: bool,
    debounce: Debounce,
}

struct BoardPins<L> {
    lines: L,
    wired: Vec<Wired>,
    clock: Arc<dyn Clock>,
    woken: Arc<Flag>,
    told: Option<Signals>,
    high: Vec<bool>,
    /// What the kernel has seen to open since the last reading was given, though it may be closed
    /// again. No debounce may swallow that: what it stands for may have happened.
    opened: Opened,
    /// When this thread has slept last.
    slept: Time,
}

#[derive(Default)]
struct Flag(AtomicBool);

impl Wake for Flag {
    fn wake(&self) {
        self.0.store(true, Ordering::Release);
    }
}

impl<L: Lines> BoardPins<L> {
    fn new(lines: L, inputs: &[InputPin], clock: Arc<dyn Clock>) -> Self {
        let wired = inputs.iter().map(|i| Wired {
            signal: i.signal.clone(),
            active_high: i.active_high,
            debounce: Debounce::new(Duration::from_millis(i.debounce_ms)),
        });
        Self {
            lines,
            wired: wired.collect(),
            clock,
            woken: Arc::default(),
            told: None,
            high: Vec::new(),
            opened: Opened::default(),
            slept: Time::ZERO,
        }
    }

    /// Notes an edge that the kernel has seen.
    fn edge(&mut self, edge: Edge) {
        self.opened.missed |= edge.missed;
        let Some(wired) = self.wired.get(edge.input) else {
            return;
        };
        if edge.high != wired.active_high {
            match wired.signal.as_str() {
                "estop" => self.opened.estop = true,
                "torch_seated" => self.opened.torch_seated = true,
                "gate" => self.opened.gate = true,
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
            let closed = wired.debounce.take(now, *high == wired.active_high);
            set(&mut signals, &wired.signal, closed);
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
            let (at, signals, settles) = self.read()?;
            let woken = self.woken.0.swap(false, Ordering::AcqRel);
            let changed = self.told != Some(signals);
            let opened = self.opened != Opened::default();
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
            let next = Time::sooner(deadline, settles);
            let span = next.map_or(SLICE, |next| next.since(at).min(SLICE));
            if let Some(edge) = self.lines.wait_edge(span)? {
                self.edge(edge);
            }
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
