//! Lines by the kernel's GPIO character device: any Linux board.
//!
//! All inputs are one request and so one descriptor: the kernel queues their edges with its own
//! monotonic moment, numbered for the request and for each line. The permit is a request of its own.
//!
//! **If the process ends, however it ends**: the kernel gives the lines back. What level the permit's
//! line then has is the chip driver's matter: some turn it into an input, some leave it as it was
//! driven last. So it is driven low before each end that this process lives to see; for the others
//! there are no more pulses, which the missing-pulse relay drops out by, and a resistor to ground
//! at the line (10 kOhm, common practice, no source) for a line that nobody drives.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use control::Output;
use gpiocdev::chip::{Chip, chips};
use gpiocdev::line::{Bias, EdgeDetection, EdgeEvent, EdgeKind, EventClock, Value, Values};
use gpiocdev::request::Request;
use rustix::event::{EventfdFlags, PollFd, PollFlags, Timespec};
use rustix::fd::{AsFd as _, OwnedFd};
use rustix::io::Errno;

use super::{Edge, Lines};
use crate::config::PinsConfig;
use crate::outputs::OutputLines;
use crate::pins::{Monotonic, PinsError};

/// What the kernel shows as the user of our lines.
const CONSUMER: &str = "standclear";

/// Edges that the kernel keeps while nobody reads: as many as it will for a request (16 for each of
/// 64 lines). The oldest are lost first, and are missed in the numbers of those that follow.
const QUEUE: u32 = 1024;

/// Edges that are taken at a time: a storm is dealt with in pieces, with the levels read and the
/// thread put to rest in between.
const AT_A_TIME: usize = 64;

/// Where character devices lie.
const DEVICES: &str = "/dev";

/// The lines of one machine file.
pub struct CharacterLines {
    inputs: Request,
    offsets: Vec<u32>,
    permit: Request,
    clock: Monotonic,
    bell: Arc<OwnedFd>,
    numbers: Numbers,
    buffer: Vec<u64>,
    values: Values,
}

/// The kernel's numbers of the edges, by which a lost one is missed.
#[derive(Debug)]
pub struct Numbers(Vec<u32>);

impl Numbers {
    /// Nothing was seen at so many lines.
    pub fn new(lines: usize) -> Self {
        Self(vec![0; lines])
    }

    /// Edges of `line` that were lost before the one with this number. They are counted from 1, and
    /// go round after 2^32.
    pub fn lost_before(&mut self, line: usize, number: u32) -> u32 {
        self.0.get_mut(line).map_or(0, |last| {
            let before = std::mem::replace(last, number);
            number.wrapping_sub(before).wrapping_sub(1)
        })
    }
}

/// A chip that was found.
pub struct Found {
    chip: Chip,
    /// "gpiochip0 (pinctrl, 54 lines)".
    pub told: String,
    lines: u32,
}

/// Finds the chip by its name (`gpiochip0`), its path or its label.
///
/// # Errors
/// There is none such, or it may not be opened.
pub fn find(named: &str) -> Result<Found, PinsError> {
    let path = if named.contains('/') {
        PathBuf::from(named)
    } else {
        PathBuf::from(DEVICES).join(named)
    };
    if path.exists() {
        return opened(&path);
    }
    let all = chips().unwrap_or_default();
    for path in &all {
        if let Ok(found) = opened(path)
            && found.chip.info().is_ok_and(|i| i.label == named)
        {
            return Ok(found);
        }
    }
    let there: Vec<String> = all
        .iter()
        .filter_map(|p| opened(p).ok().map(|f| f.told))
        .collect();
    Err(PinsError {
        says: format!("pins.chip = {named:?}: there is no GPIO chip of this name, path or label"),
        remedy: match there.as_slice() {
            [] if all.is_empty() => {
                "This machine has no GPIO character device: run the panel on a \
                                     board that has one, or use `standclear practice` here"
                    .into()
            }
            [] => no_access(),
            there => format!("Name one that is there: {}", there.join("; ")),
        },
    })
}

fn no_access() -> String {
    "Add this user to the group gpio and log in again, and install the udev rules of this project"
        .into()
}

fn opened(path: &std::path::Path) -> Result<Found, PinsError> {
    let wrong = |e: gpiocdev::Error| PinsError {
        says: format!("{} cannot be opened as a GPIO chip: {e}", path.display()),
        remedy: match std::fs::File::open(path) {
            Err(e) if e.kind() == std::io::ErrorKind::PermissionDenied => no_access(),
            _ => "Name a GPIO chip at pins.chip, such as \"gpiochip0\"".into(),
        },
    };
    let chip = Chip::from_path(path).map_err(wrong)?;
    let info = chip.info().map_err(wrong)?;
    Ok(Found {
        told: format!(
            "{} ({:?}, {} lines)",
            chip.name(),
            info.label,
            info.num_lines
        ),
        lines: info.num_lines,
        chip,
    })
}

/// Looks whether the lines of this machine file are there and free, and takes none of them.
///
/// # Errors
/// Which is not, by which key of the machine file, and what to do.
pub fn look(config: &PinsConfig) -> Result<String, PinsError> {
    let found = find(&config.chip)?;
    for (key, pin) in config.lines() {
        let line = |says: String, remedy: &str| PinsError {
            says: format!("{key} = {pin}: {says}"),
            remedy: remedy.into(),
        };
        if pin >= found.lines {
            let says = format!("{} ends at line {}", found.told, found.lines - 1);
            return Err(line(says, "Give the number of a line of this chip"));
        }
        let info = found.chip.line_info(pin).map_err(|e| {
            line(
                format!("{} does not tell of it: {e}", found.told),
                "See to the board; `standclear check` looks again",
            )
        })?;
        if info.used && info.consumer == CONSUMER {
            return Err(line(
                "a panel that runs holds this line".into(),
                "Nothing, if that is meant: it is not looked at further. Else end that panel",
            ));
        }
        if info.used {
            return Err(line(
                format!("the line is in use by {:?}", info.consumer),
                "End whatever uses it (a bus that is switched on keeps its lines), or wire the \
                 signal to another line and name that",
            ));
        }
    }
    Ok(found.told)
}

impl CharacterLines {
    /// Takes the lines: the permit low first of all.
    ///
    /// # Errors
    /// The chip is not there, or a line is not, or is in use: by which key, and what to do.
    pub fn open(config: &PinsConfig, clock: Monotonic) -> Result<Self, PinsError> {
        // Whatever it says is clearer than what the requests would.
        let told = look(config)?;
        let chip = find(&config.chip)?.chip;
        let wrong = |what: &str, e: &dyn std::fmt::Display| PinsError {
            says: format!("{told}: {what} cannot be had: {e}"),
            remedy: "See to the board; `standclear check` looks again".into(),
        };
        let number = config.permit.ok_or_else(|| PinsError {
            says: "the machine file names no line for the permit".into(),
            remedy: "Set pins.permit".into(),
        })?;
        let permit = Request::builder()
            .on_chip(chip.path())
            .with_consumer(CONSUMER)
            .with_line(number)
            .as_output(Value::Inactive)
            .request()
            .map_err(|e| wrong("the permit's line", &e))?;
        let mut asked = Request::builder();
        asked
            .on_chip(chip.path())
            .with_consumer(CONSUMER)
            .with_kernel_event_buffer_size(QUEUE);
        for input in &config.inputs {
            let bias = match input.pull.as_str() {
                "up" => Bias::PullUp,
                "down" => Bias::PullDown,
                _ => Bias::Disabled,
            };
            asked
                .with_line(input.pin)
                .as_input()
                .with_bias(bias)
                .with_edge_detection(EdgeDetection::BothEdges)
                .with_event_clock(EventClock::Monotonic);
        }
        let inputs = asked
            .request()
            .map_err(|e| wrong("the lines of the inputs", &e))?;
        let bell = rustix::event::eventfd(0, EventfdFlags::NONBLOCK | EventfdFlags::CLOEXEC)
            .map_err(|e| wrong("a descriptor to be woken by", &e))?;
        let offsets: Vec<u32> = config.inputs.iter().map(|i| i.pin).collect();
        Ok(Self {
            buffer: vec![0; inputs.edge_event_u64_size() * AT_A_TIME],
            values: Values::from_offsets(&offsets),
            numbers: Numbers::new(offsets.len()),
            inputs,
            offsets,
            permit,
            clock,
            bell: Arc::new(bell),
        })
    }

    /// Takes what the kernel has queued, so much at a time. Only where something is queued: it would
    /// wait for it.
    fn read(&mut self, edges: &mut Vec<Edge>) -> Result<(), PinsError> {
        // The library's own reading of one event reads eight into its buffer and drops seven.
        let n = self
            .inputs
            .read_edge_events_into_slice(&mut self.buffer)
            .map_err(|e| gone(&e))?;
        for event in self.buffer[..n].chunks_exact(self.inputs.edge_event_u64_size()) {
            let event = self
                .inputs
                .edge_event_from_slice(event)
                .map_err(|e| gone(&e))?;
            edges.extend(edge(&event, &self.offsets, &mut self.numbers, &self.clock));
        }
        Ok(())
    }
}

/// The lines of the optional outputs, each a request of its own: one that fails takes no other along.
pub struct OutputRequests(Vec<(Output, Request)>);

impl OutputRequests {
    /// Takes them, low.
    ///
    /// # Errors
    /// The chip is not there, or a line cannot be had.
    pub fn open(config: &PinsConfig) -> Result<Self, PinsError> {
        let found = find(&config.chip)?;
        let mut all = Vec::with_capacity(config.outputs.len());
        for &(output, pin) in &config.outputs {
            let request = Request::builder()
                .on_chip(found.chip.path())
                .with_consumer(CONSUMER)
                .with_line(pin)
                .as_output(Value::Inactive)
                .request();
            let request = request.map_err(|e| PinsError {
                says: format!(
                    "pins.outputs.{} = {pin}: it cannot be had: {e}",
                    output.name()
                ),
                remedy:
                    "End whatever else uses it, or wire the output to another line and name that"
                        .into(),
            })?;
            all.push((output, request));
        }
        Ok(Self(all))
    }
}

impl OutputLines for OutputRequests {
    fn drive(&mut self, output: Output, on: bool) -> Result<(), String> {
        let Some((_, request)) = self.0.iter().find(|(of, _)| *of == output) else {
            return Ok(());
        };
        let value = if on { Value::Active } else { Value::Inactive };
        request.set_lone_value(value).map_err(|e| e.to_string())
    }
}

impl Drop for OutputRequests {
    fn drop(&mut self) {
        for (_, request) in &self.0 {
            // It is given back in a moment; what the driver does then is its own affair.
            let _ = request.set_lone_value(Value::Inactive);
        }
    }
}

/// The kernel's event as ours; `None`: of a line that is not ours.
fn edge(
    event: &EdgeEvent,
    offsets: &[u32],
    numbers: &mut Numbers,
    clock: &Monotonic,
) -> Option<Edge> {
    let input = offsets.iter().position(|o| *o == event.offset)?;
    Some(Edge {
        input,
        high: event.kind == EdgeKind::Rising,
        at: Some(clock.of_kernel(event.timestamp_ns)),
        lost: numbers.lost_before(input, event.line_seqno),
    })
}

fn gone(e: &dyn std::fmt::Display) -> PinsError {
    PinsError {
        says: format!("the lines cannot be read: {e}"),
        remedy:
            "The panel takes this as an emergency stop: see to the board, then start the panel \
                 again"
                .into(),
    }
}

impl Lines for CharacterLines {
    fn levels(&mut self, high: &mut Vec<bool>) -> Result<(), PinsError> {
        high.clear();
        self.inputs.values(&mut self.values).map_err(|e| gone(&e))?;
        let values = &self.values;
        let levels = self.offsets.iter().map_while(|o| values.get(*o));
        high.extend(levels.map(|v| v == Value::Active));
        Ok(())
    }

    fn wait_edges(&mut self, span: Duration, edges: &mut Vec<Edge>) -> Result<(), PinsError> {
        let timeout = Timespec {
            tv_sec: i64::try_from(span.as_secs()).unwrap_or(i64::MAX),
            tv_nsec: span.subsec_nanos().into(),
        };
        let (queued, rung) = {
            let mut fds = [
                PollFd::from_borrowed_fd(self.inputs.as_fd(), PollFlags::IN),
                PollFd::new(&*self.bell, PollFlags::IN),
            ];
            match rustix::event::poll(&mut fds, Some(&timeout)) {
                Ok(_) | Err(Errno::INTR) => {}
                Err(e) => return Err(gone(&e)),
            }
            let (lines, bell) = (fds[0].revents(), fds[1].revents());
            if lines.intersects(PollFlags::ERR | PollFlags::HUP | PollFlags::NVAL) {
                return Err(gone(&"the GPIO chip has gone"));
            }
            (lines.contains(PollFlags::IN), bell.contains(PollFlags::IN))
        };
        if rung {
            // Whoever rang has said beforehand what for.
            let _ = rustix::io::read(&*self.bell, &mut [0; 8]);
        }
        if queued {
            self.read(edges)?;
        }
        Ok(())
    }

    fn bell(&self) -> Option<Arc<OwnedFd>> {
        Some(Arc::clone(&self.bell))
    }

    fn set_permit(&mut self, high: bool) -> Result<(), PinsError> {
        let value = if high { Value::Active } else { Value::Inactive };
        self.permit.set_lone_value(value).map_err(|e| PinsError {
            says: format!("the permit's line cannot be driven: {e}"),
            remedy: "No pulse is made: see to the board, then start the panel again".into(),
        })
    }
}

impl Drop for CharacterLines {
    fn drop(&mut self) {
        if let Err(error) = self.set_permit(false) {
            tracing::error!(%error, "the permit's line could not be put low at the end");
        }
    }
}

#[cfg(test)]
mod tests {
    use units::Time;

    use super::*;

    fn event(offset: u32, number: u32, us: u64) -> EdgeEvent {
        EdgeEvent {
            timestamp_ns: us * 1_000,
            kind: EdgeKind::Rising,
            offset,
            seqno: 0,
            line_seqno: number,
        }
    }

    #[test]
    fn an_edge_has_the_kernels_moment_and_a_gap_in_its_numbers_is_counted() {
        let (clock, mut numbers) = (Monotonic::from_kernel(1_000_000), Numbers::new(2));
        let mut told = |e: EdgeEvent| edge(&e, &[19, 5], &mut numbers, &clock);
        let first = told(event(19, 1, 1_250)).expect("ours");
        assert_eq!((first.input, first.high, first.lost), (0, true, 0));
        assert_eq!(first.at, Some(Time::from_us(250)));
        assert_eq!(told(event(5, 1, 1_300)).map(|e| e.lost), Some(0));
        assert_eq!(told(event(19, 5, 1_400)).map(|e| e.lost), Some(3));
        assert_eq!(told(event(5, 2, 1_500)).map(|e| e.lost), Some(0));
        assert_eq!(told(event(6, 9, 1_500)), None, "of another line");
        let before = told(event(5, 3, 900)).expect("ours");
        assert_eq!(before.at, Some(Time::ZERO), "from before the clock began");
    }

    #[test]
    fn the_numbers_go_round() {
        let mut numbers = Numbers(vec![u32::MAX - 1]);
        assert_eq!(numbers.lost_before(0, u32::MAX), 0);
        assert_eq!(numbers.lost_before(0, 0), 0);
        assert_eq!(numbers.lost_before(0, 2), 1);
    }

    #[test]
    fn a_chip_that_is_not_there_is_named_with_its_key() {
        for named in ["gpiochip9999", "/dev/null", "no such label"] {
            let error = find(named).err().expect("no such chip");
            assert!(
                error.says.contains(named) && !error.remedy.is_empty(),
                "{error}"
            );
        }
    }
}
