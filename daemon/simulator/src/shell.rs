//! The shell of the simulated table: a pseudo-terminal, a socket, and the pace of real time.
//!
//! One thread. It lets the model run to the next moment that a panel could see, hands over the
//! bytes, says the tick, and waits until the panel has dealt with it; so a fast panel makes a fast
//! table and no limit is distorted. A panel that does not answer within 100 ms is left behind: the
//! table then runs on at 1x and is seen to.
#![allow(
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "the shell alone touches the system: pseudo-terminal, socket, real time"
)]

mod door;
mod hands;
mod pace;
mod pty;

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use rustix::fd::AsFd as _;
use units::Time;

use crate::harness::{Levels, OutputWires, ToPanel, ToTable};
use crate::{Table, TableSettings};
use door::{Door, Heard};
pub use hands::{Hands, HandsError};
use pace::Pace;
pub use pty::Cable;

/// One that has heard the tick and is busy with it may take so long.
const BUSY_PATIENCE: Duration = Duration::from_secs(1);
/// Bytes that the panel says it has written are waited for so long.
const BYTES_PATIENCE: Duration = Duration::from_millis(100);
/// The panel is told the time at least this often.
const TICK_US: u64 = 20_000;
/// ... and not more often than this for its own deadlines.
const TICK_MIN_US: u64 = 50;
/// Ticks to a panel that is behind: no more than this many unanswered. Enough for one that still
/// reads them and only waits for its disk; one that stands still gets no bytes without their tick.
const UNANSWERED: u64 = 2000;
/// Time is not let pass in smaller pieces than this while it is waited for.
const STRIDE_US: u64 = 1_000;
/// Longest sleep, so that an order to stop is seen soon.
const NAP_US: u64 = 20_000;

/// Why the table could not be set up or go on.
#[derive(Debug, thiserror::Error)]
#[error("{what} {path}: {source}")]
pub struct ShellError {
    what: &'static str,
    path: PathBuf,
    source: io::Error,
}

/// Runs a simulated table until `stop`, on the caller's thread: `dir/wire` is its serial port,
/// `dir/harness` its pins and its clock. Table time never runs ahead of `speed` times real time.
///
/// # Errors
/// The socket or the pseudo-terminal could not be made.
pub fn serve(
    dir: &Path,
    settings: TableSettings,
    speed: f64,
    stop: Arc<AtomicBool>,
) -> Result<(), ShellError> {
    let socket = dir.join("harness");
    let wire = dir.join("wire");
    let cable = Cable::plug(&wire).map_err(|source| ShellError {
        what: "cannot make the serial port",
        path: wire.clone(),
        source,
    })?;
    let door = Door::open(&socket).map_err(|source| ShellError {
        what: "cannot listen at",
        path: socket.clone(),
        source,
    })?;
    let speed = if speed.is_finite() {
        speed.max(0.01)
    } else {
        1e6
    };
    let mut shell = Shell {
        patience: Duration::from_millis(settings.patience_ms),
        pace: Pace::new(speed.min(1.0), Time::ZERO),
        table: Table::new(settings),
        door,
        cable: Some(cable),
        wire,
        speed,
        panel: None,
        untouched: true,
    };
    while !stop.load(Ordering::Acquire) {
        shell.turn()?;
    }
    // Names that lead nowhere only confuse; if they cannot be removed they do no harm.
    let _ = rustix::fs::unlink(&socket);
    Ok(())
}

/// The panel at the harness.
struct Panel {
    guest: u64,
    seq: u64,
    heard: u64,
    answered: u64,
    /// It answers in time.
    in_step: bool,
    opens: u64,
    port_open: bool,
    sent: u64,
    written: u64,
    read: u64,
    next: Option<Time>,
    told_at: Time,
    told: Option<(Levels, bool)>,
}

struct Shell {
    /// How long a panel may take over its answer, real time.
    patience: Duration,
    table: Table,
    door: Door,
    cable: Option<Cable>,
    wire: PathBuf,
    pace: Pace,
    speed: f64,
    panel: Option<Panel>,
    /// No panel has joined yet.
    untouched: bool,
}

impl Shell {
    /// Lets time pass to the next tick, or as far as it may; then tells and waits.
    fn turn(&mut self) -> Result<(), ShellError> {
        self.listen();
        self.mind_cable()?;
        if self.untouched {
            // Time begins with the first panel, so that the same seed gives the same run.
            self.pace.at(self.speed, self.table.now());
            self.nap(NAP_US);
            return Ok(());
        }
        let now = self.table.now();
        let in_step = self.panel.as_ref().is_some_and(|p| p.in_step);
        let rate = if in_step {
            self.speed
        } else {
            self.speed.min(1.0)
        };
        self.pace.at(rate, now);
        if !in_step || !self.tick_wanted() {
            let due = self.tick_due().max(Time::from_us(now.as_us() + 1));
            let ceiling = self.pace.ceiling(now);
            // No crumbs of time: it goes on when the next thing that can be seen may happen.
            let soon = Time::from_us(now.as_us() + STRIDE_US);
            let goal = due.min(self.table.next_event().max(soon));
            if ceiling < goal {
                let goal = goal.min(Time::from_us(now.as_us() + NAP_US));
                self.nap(self.pace.wait_us(goal).clamp(50, NAP_US));
                return Ok(());
            }
            self.table.advance_to_change(due.min(ceiling));
            self.kill_panel_if_due();
            self.mind_cable()?;
        }
        if !in_step {
            self.take_bytes();
        }
        if self.panel.is_none() {
            drop(self.table.take_wire_out());
        } else if self.tick_wanted() {
            self.tick();
            if in_step {
                self.wait_for_panel();
            }
        }
        Ok(())
    }

    fn tick_wanted(&self) -> bool {
        self.news() || self.table.now() >= self.tick_due()
    }

    /// When the panel is to be told even if nothing happens.
    fn tick_due(&self) -> Time {
        let now = self.table.now();
        let Some(panel) = &self.panel else {
            return Time::from_us(now.as_us() + TICK_US);
        };
        let regular = panel.told_at.as_us() + TICK_US;
        let asked = panel.next.map_or(u64::MAX, |t| {
            t.as_us().max(panel.told_at.as_us() + TICK_MIN_US)
        });
        Time::from_us(regular.min(asked))
    }

    /// Something that the panel has not been told.
    fn news(&self) -> bool {
        let Some(panel) = &self.panel else {
            return false;
        };
        let levels = self.table.levels();
        let same = panel.told.as_ref().is_some_and(|(told, plugged)| {
            told.same_contacts(&levels) && *plugged == self.table.plugged()
        });
        !same || self.table.has_bytes() || self.table.has_opened()
    }

    /// Hands over the bytes and tells the time.
    fn tick(&mut self) {
        let Some(panel) = &mut self.panel else {
            return;
        };
        panel.told_at = self.table.now();
        panel.next = None;
        if panel.seq - panel.answered > UNANSWERED {
            return;
        }
        let bytes = self.table.take_wire_out();
        if panel.port_open
            && let Some(cable) = &self.cable
        {
            panel.sent += cable.write(&bytes) as u64;
        }
        panel.seq += 1;
        let levels = self.table.levels();
        panel.told = Some((levels, self.table.plugged()));
        let tick = ToPanel::Tick {
            seq: panel.seq,
            now_us: panel.told_at.as_us(),
            plugged: self.table.plugged(),
            opens: panel.opens,
            sent: panel.sent,
            levels,
            opened: self.table.take_opened(),
        };
        self.door.say(panel.guest, &tick);
    }

    /// Waits until the panel has dealt with the last tick, and for the bytes that it wrote.
    fn wait_for_panel(&mut self) {
        let from = Instant::now();
        loop {
            let Some(panel) = &mut self.panel else {
                return;
            };
            if panel.answered == panel.seq {
                break;
            }
            let patience = if panel.heard == panel.seq {
                self.patience.max(BUSY_PATIENCE)
            } else {
                self.patience
            };
            let left = patience.saturating_sub(from.elapsed());
            if left.is_zero() {
                panel.in_step = false;
                return;
            }
            self.door.wait(left.as_micros() as u64, None);
            self.listen();
        }
        let from = Instant::now();
        loop {
            self.take_bytes();
            let (Some(panel), Some(cable)) = (&self.panel, &self.cable) else {
                return;
            };
            let left = BYTES_PATIENCE.saturating_sub(from.elapsed());
            if panel.read >= panel.written || !panel.port_open || left.is_zero() {
                return;
            }
            let mut fds = [rustix::event::PollFd::new(
                cable.master(),
                rustix::event::PollFlags::IN,
            )];
            let timeout = rustix::event::Timespec {
                tv_sec: 0,
                tv_nsec: left.as_nanos() as i64,
            };
            // Woken for whatever reason, it looks again.
            let _ = rustix::event::poll(&mut fds, Some(&timeout));
        }
    }

    /// Bytes from the panel go onto the wire.
    fn take_bytes(&mut self) {
        if let Some(cable) = &self.cable {
            let bytes = cable.read();
            if let Some(panel) = &mut self.panel {
                panel.read += bytes.len() as u64;
            }
            self.table.wire_in(self.table.now(), &bytes);
        }
    }

    /// Kills the panel's process at its ordered place, before it hears of that moment. A panel that
    /// shares this process cannot be killed alone and is left.
    fn kill_panel_if_due(&mut self) {
        if !self.table.take_panel_killed() {
            return;
        }
        let Some(panel) = &self.panel else { return };
        let own = rustix::process::getpid();
        if let Some(process) = self.door.process(panel.guest).filter(|p| *p != own) {
            // One that has ended by itself is as dead.
            let _ = rustix::process::kill_process(process, rustix::process::Signal::KILL);
        }
    }

    fn nap(&self, wait_us: u64) {
        let behind = self.panel.as_ref().is_none_or(|p| !p.in_step);
        let also = self.cable.as_ref().filter(|_| behind);
        self.door.wait(wait_us, also.map(|c| c.master().as_fd()));
    }

    /// Plugs the cable in or pulls it out, as the table has it.
    fn mind_cable(&mut self) -> Result<(), ShellError> {
        match (self.table.plugged(), self.cable.is_some()) {
            (false, true) => {
                self.take_bytes();
                self.cable = None;
                if let Some(panel) = &mut self.panel {
                    panel.port_open = false;
                }
            }
            (true, false) => {
                let cable = Cable::plug(&self.wire).map_err(|source| ShellError {
                    what: "cannot make the serial port anew",
                    path: self.wire.clone(),
                    source,
                })?;
                self.cable = Some(cable);
            }
            _ => {}
        }
        Ok(())
    }

    fn listen(&mut self) {
        for Heard { guest, said } in self.door.hear() {
            match said {
                Some(said) => self.hear(guest, said),
                None => self.leaves(guest),
            }
        }
    }

    fn is_panel(&self, guest: u64) -> bool {
        self.panel.as_ref().is_some_and(|p| p.guest == guest)
    }

    fn leaves(&mut self, guest: u64) {
        if self.is_panel(guest) {
            self.panel = None;
            // Nobody drives those lines any more: their resistors pull them down.
            let now = self.table.now();
            self.table.set_outputs(now, OutputWires::default());
            self.take_bytes();
            if let Some(cable) = &self.cable {
                cable.free();
            }
        }
    }

    fn hear(&mut self, guest: u64, said: ToTable) {
        let now = self.table.now();
        match said {
            ToTable::IAmHands => {}
            ToTable::IAmPanel => {
                if let Some(old) = self.panel.take()
                    && old.guest != guest
                {
                    self.door.shut_out(old.guest);
                }
                self.take_bytes();
                if let Some(cable) = &self.cable {
                    cable.free();
                }
                self.untouched = false;
                self.panel = Some(Panel {
                    guest,
                    seq: 0,
                    heard: 0,
                    answered: 0,
                    in_step: true,
                    opens: 0,
                    port_open: false,
                    sent: 0,
                    written: 0,
                    read: 0,
                    next: None,
                    told_at: now,
                    told: None,
                });
            }
            ToTable::Opened if self.is_panel(guest) => {
                // Opening has cleared what an earlier panel may have left. What lies in the cable by
                // now may already be this panel's: it is counted when it is read.
                self.table.opened();
                if let Some(panel) = &mut self.panel {
                    panel.opens += 1;
                    panel.port_open = self.cable.is_some();
                    panel.sent = 0;
                    panel.read = 0;
                    panel.written = 0;
                }
            }
            ToTable::Permit { level } if self.is_panel(guest) => self.table.set_permit(now, level),
            ToTable::Outputs { wires } if self.is_panel(guest) => {
                self.table.set_outputs(now, wires);
            }
            ToTable::Heard { seq } => {
                if let Some(panel) = self.panel.as_mut().filter(|p| p.guest == guest) {
                    panel.heard = panel.heard.max(seq.min(panel.seq));
                }
            }
            ToTable::Caught {
                seq,
                written,
                next_us,
            } => {
                if let Some(panel) = self.panel.as_mut().filter(|p| p.guest == guest) {
                    panel.answered = panel.answered.max(seq.min(panel.seq));
                    panel.written = written;
                    panel.next = next_us.map(Time::from_us);
                    panel.in_step |= panel.answered == panel.seq;
                }
            }
            ToTable::Opened | ToTable::Permit { .. } | ToTable::Outputs { .. } => {}
            ToTable::Lay { plan } => {
                self.table.lay(plan);
                self.door.say(guest, &ToPanel::Done { refused: None });
            }
            ToTable::Inject { fault } => {
                let refused = self.table.inject(fault).err().map(|e| e.to_string());
                self.door.say(guest, &ToPanel::Done { refused });
            }
            ToTable::Remedy { fault } => {
                self.table.remedy(fault);
                self.door.say(guest, &ToPanel::Done { refused: None });
            }
            ToTable::TryButtons => {
                self.table.try_buttons();
                self.door.say(guest, &ToPanel::Done { refused: None });
            }
            ToTable::NewParts => {
                self.table.new_parts();
                self.door.say(guest, &ToPanel::Done { refused: None });
            }
            ToTable::Wire { fault } => {
                self.table.wire(fault);
                self.door.say(guest, &ToPanel::Done { refused: None });
            }
            ToTable::Work { input, act } => {
                self.table.work(input, act);
                self.door.say(guest, &ToPanel::Done { refused: None });
            }
            ToTable::AskTruth => {
                let truth = self.table.truth();
                self.door.say(guest, &ToPanel::Truth { truth });
            }
        }
    }
}
