//! The simulated table's pins and clock, over its harness socket.
//!
//! The guard's thread reads the socket; the machine's task answers on it. Time is what the last
//! tick said: every thread of the service sees the same moment until the next one.

use std::io::{Read as _, Write as _};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use control::{Opened, OutputLevels, Signals};
use rustix::event::{EventfdFlags, PollFd, PollFlags};
use rustix::fd::OwnedFd;
use simulator::harness::{Levels, OutputWires, ToPanel, ToTable};
use units::Time;

use crate::outputs::{Outputs, OutputsEnd};
use crate::pins::{Clock, Pins, PinsError, Reading, Turn, TurnEnd, Wake};

/// The clock that the table moves on.
#[derive(Debug, Default)]
pub struct TableClock {
    now_us: AtomicU64,
}

impl Clock for TableClock {
    fn now(&self) -> Time {
        Time::from_us(self.now_us.load(Ordering::Acquire))
    }

    fn wait_until(&self, _at: Time) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(std::future::pending())
    }
}

/// The sending end of the harness, shared by the guard's thread and the machine's task.
#[derive(Clone, Debug)]
struct Sender(Arc<Mutex<UnixStream>>);

impl Sender {
    fn send(&self, what: &ToTable) -> std::io::Result<()> {
        let mut line = serde_json::to_vec(what)?;
        line.push(b'\n');
        let mut stream = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        stream.write_all(&line)
    }
}

/// Makes the guard's wait return.
struct EventWake(Arc<OwnedFd>);

impl Wake for EventWake {
    fn wake(&self) {
        // A counter that is full is a wake-up that is still due.
        let _ = rustix::io::write(&*self.0, &1_u64.to_ne_bytes());
    }
}

/// The pins.
pub struct BenchPins {
    clock: Arc<TableClock>,
    sender: Sender,
    stream: UnixStream,
    event: Arc<OwnedFd>,
    buffer: Vec<u8>,
    signals: Signals,
    /// What opened and was not handed on yet.
    opened: Opened,
    /// The table knows that its panel is there. It is told by the first wait, when the service is
    /// ready to answer: from then on the table's clock waits for it.
    joined: bool,
}

/// Tells the table that a turn was dealt with.
pub struct BenchTurns(Sender);

impl BenchTurns {
    /// The optional outputs over the same wires: what is told within a turn comes before its end.
    pub fn outputs(&self) -> OutputsEnd {
        let (_, told) = tokio::sync::mpsc::channel(1);
        OutputsEnd {
            outputs: Box::new(BenchOutputs(self.0.clone())),
            told,
        }
    }
}

/// The optional outputs of a simulated table.
struct BenchOutputs(Sender);

impl Outputs for BenchOutputs {
    fn set(&mut self, levels: OutputLevels) {
        let wires = OutputWires {
            beacon: levels.beacon,
            sounder: levels.sounder,
            extraction: levels.extraction,
        };
        if let Err(error) = self.0.send(&ToTable::Outputs { wires }) {
            tracing::debug!(%error, "the table does not hear us");
        }
    }

    fn end(&mut self) {
        self.set(OutputLevels::default());
    }
}

/// Joins a table's harness as its panel.
///
/// # Errors
/// The socket is not there, or nobody answers on it.
pub fn connect(dir: &Path) -> std::io::Result<(BenchPins, BenchTurns)> {
    let stream = UnixStream::connect(dir.join("harness"))?;
    let sender = Sender(Arc::new(Mutex::new(stream.try_clone()?)));
    let event = rustix::event::eventfd(0, EventfdFlags::NONBLOCK | EventfdFlags::CLOEXEC)?;
    let pins = BenchPins {
        clock: Arc::new(TableClock::default()),
        sender: sender.clone(),
        stream,
        event: Arc::new(event),
        buffer: Vec::new(),
        signals: Signals::default(),
        opened: Opened::default(),
        joined: false,
    };
    Ok((pins, BenchTurns(sender)))
}

impl TurnEnd for BenchTurns {
    fn ended(&mut self, turn: Turn, written: u64, next: Option<Time>) {
        let caught = ToTable::Caught {
            seq: turn.seq,
            written,
            next_us: next.map(Time::as_us),
        };
        if let Err(error) = self.0.send(&caught) {
            tracing::debug!(%error, "the table does not hear us");
        }
    }

    fn port_opened(&mut self) {
        if let Err(error) = self.0.send(&ToTable::Opened) {
            tracing::debug!(%error, "the table does not hear us");
        }
    }
}

impl BenchPins {
    /// The next whole line that has come in, if any.
    fn line(&mut self) -> Option<Vec<u8>> {
        let end = self.buffer.iter().position(|b| *b == b'\n')?;
        Some(self.buffer.drain(..=end).collect())
    }

    fn fill(&mut self) -> Result<(), PinsError> {
        let mut bytes = [0; 4096];
        match self.stream.read(&mut bytes) {
            Ok(0) => Err(gone("the simulated table has ended")),
            Ok(n) => {
                self.buffer.extend_from_slice(&bytes[..n]);
                Ok(())
            }
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => Ok(()),
            Err(error) => Err(gone(&format!("the simulated table's harness: {error}"))),
        }
    }

    fn tell(&self, what: &ToTable) -> Result<(), PinsError> {
        let told = self.sender.send(what);
        told.map_err(|e| gone(&format!("the simulated table's harness: {e}")))
    }

    fn reading(&mut self, turn: Option<Turn>) -> Reading {
        Reading {
            at: self.clock.now(),
            signals: self.signals,
            opened: core::mem::take(&mut self.opened),
            turn,
        }
    }
}

impl Pins for BenchPins {
    fn in_real_time(&self) -> bool {
        false
    }

    fn clock(&self) -> Arc<dyn Clock> {
        Arc::clone(&self.clock) as Arc<dyn Clock>
    }

    fn waker(&self) -> Arc<dyn Wake> {
        Arc::new(EventWake(Arc::clone(&self.event)))
    }

    fn wait(&mut self, _deadline: Option<Time>) -> Result<Reading, PinsError> {
        if !self.joined {
            self.joined = true;
            self.tell(&ToTable::IAmPanel)?;
        }
        loop {
            while let Some(line) = self.line() {
                let said = serde_json::from_slice(&line)
                    .map_err(|e| gone(&format!("the simulated table's harness: {e}")))?;
                let ToPanel::Tick {
                    seq,
                    now_us,
                    opens,
                    sent,
                    levels,
                    opened,
                    ..
                } = said
                else {
                    continue;
                };
                self.clock.now_us.store(now_us, Ordering::Release);
                self.tell(&ToTable::Heard { seq })?;
                self.signals = signals(&levels);
                self.opened.estop |= opened.estop;
                self.opened.torch_seated |= opened.torch_seated;
                self.opened.gate |= opened.gate;
                self.opened.short_edges += opened.short_edges;
                return Ok(self.reading(Some(Turn { seq, opens, sent })));
            }
            let mut fds = [
                PollFd::new(&self.stream, PollFlags::IN),
                PollFd::new(&*self.event, PollFlags::IN),
            ];
            match rustix::event::poll(&mut fds, None) {
                Ok(_) => {}
                Err(rustix::io::Errno::INTR) => continue,
                Err(error) => return Err(gone(&error.to_string())),
            }
            let (said, woken) = (!fds[0].revents().is_empty(), !fds[1].revents().is_empty());
            if woken {
                let mut count = [0; 8];
                // Nothing to read means that another wake-up has taken it.
                let _ = rustix::io::read(&*self.event, &mut count);
                return Ok(self.reading(None));
            }
            if said {
                self.fill()?;
            }
        }
    }

    fn set_permit(&mut self, level: bool) -> Result<(), PinsError> {
        self.tell(&ToTable::Permit { level })
    }
}

fn gone(says: &str) -> PinsError {
    PinsError {
        says: says.to_owned(),
        remedy: "Start the practice again".to_owned(),
    }
}

/// What is wired on the simulated table. It has no gate, float switch or contact that tells whether
/// the source is switched on.
fn signals(levels: &Levels) -> Signals {
    Signals {
        fire_on: levels.fire_on,
        arc_ok: levels.arc_ok,
        contact: levels.contact,
        estop_open: levels.estop_open,
        hold_button: Some(levels.hold_button),
        float_switch: None,
        air_ok: Some(levels.air_ok),
        source_on: None,
        torch_seated: Some(levels.torch_seated),
        gate_closed: None,
        permit_closed: Some(levels.permit_closed),
        sense_isolated: Some(levels.sense_isolated),
        volts: Some(levels.volts),
        ..Signals::default()
    }
}
