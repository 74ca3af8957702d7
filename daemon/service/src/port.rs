//! The serial port: opened once, made ours and raw, and only then given to anybody.
//!
//! A terminal that nobody has set echoes: it sends the controller its own reports, and holds input
//! back until a line is whole. So the first and only handle is made raw before any other is made
//! of it, and before anything is read or written; the guard's handle is a duplicate of that one.
//!
//! Between the kernel's opening and the call that sets it raw there are some microseconds in which
//! a byte that comes in is still echoed, and nothing can be done about that from here: an echoed
//! byte that is still in the kernel is thrown away, and a port that keeps its setting (all but the
//! first opening after it was plugged in) has no such moment.

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;
use std::task::{Context, Poll};

use rustix::fs::FlockOperation;
use rustix::termios::{
    ControlModes, InputModes, LocalModes, OptionalActions, QueueSelector, SpecialCodeIndex,
};
use tokio::io::unix::AsyncFd;

/// A byte of ten bits is still read right at this much from the other's rate, with as much left for the
/// controller's own clock (half a bit in ten, shared by two; by arithmetic).
const BAUD_OFF: f64 = 0.02;

/// An opened port with its input cleared. Both handles are the same open file: raw, exclusive,
/// and never blocking.
pub struct Opened {
    /// For the machine's task.
    pub stream: File,
    /// For the guard's take-away bytes.
    pub guard: File,
}

/// Opens the port and clears what has been waiting in it. May take long where a driver does: not
/// to be called by whoever must answer.
///
/// # Errors
/// In the system's words, with the port's path.
pub fn open(path: &Path, baud: u32) -> Result<Opened, String> {
    open_with(path, baud, |_| {})
}

/// `made` is shown each handle as soon as somebody could write by it.
fn open_with(path: &Path, baud: u32, mut made: impl FnMut(&File)) -> Result<Opened, String> {
    let mut all = || -> Result<Opened, String> {
        let stream = claim(path, baud)?;
        made(&stream);
        let guard = stream.try_clone().map_err(|e| e.to_string())?;
        made(&guard);
        Ok(Opened { stream, guard })
    };
    all().map_err(|says| format!("{}: {says}", path.display()))
}

/// Opens the port for us alone, raw, with nothing waiting in either direction.
fn claim(path: &Path, baud: u32) -> Result<File, String> {
    let flags = rustix::fs::OFlags::NONBLOCK | rustix::fs::OFlags::NOCTTY;
    let port = OpenOptions::new()
        .read(true)
        .write(true)
        .custom_flags(flags.bits() as i32)
        .open(path)
        .map_err(
            |e| match e.raw_os_error().map(rustix::io::Errno::from_raw_os_error) {
                Some(rustix::io::Errno::BUSY) => in_use(),
                _ => e.to_string(),
            },
        )?;
    // Before anything is changed: a port that another panel uses stays as it is. The lock is for
    // those whom exclusive mode does not keep out.
    rustix::fs::flock(&port, FlockOperation::NonBlockingLockExclusive).map_err(|e| {
        if e == rustix::io::Errno::WOULDBLOCK {
            in_use()
        } else {
            e.to_string()
        }
    })?;
    make_raw(&port, baud)?;
    rustix::termios::ioctl_tiocexcl(&port).map_err(|e| e.to_string())?;
    // What came before it was raw, and what of it was to be echoed.
    rustix::termios::tcflush(&port, QueueSelector::IOFlush).map_err(|e| e.to_string())?;
    Ok(port)
}

fn in_use() -> String {
    "this port is in use by another program".into()
}

/// Eight bits, no parity, one stop bit, no flow control, nothing changed on the way.
fn make_raw(port: &File, baud: u32) -> Result<(), String> {
    let mut set =
        rustix::termios::tcgetattr(port).map_err(|e| format!("this is no serial port: {e}"))?;
    set.make_raw();
    set.input_modes
        .remove(InputModes::IXON | InputModes::IXOFF | InputModes::IXANY);
    set.control_modes
        .remove(ControlModes::CRTSCTS | ControlModes::CSTOPB | ControlModes::PARENB);
    set.control_modes
        .insert(ControlModes::CREAD | ControlModes::CLOCAL | ControlModes::CS8);
    set.special_codes[SpecialCodeIndex::VMIN] = 1;
    set.special_codes[SpecialCodeIndex::VTIME] = 0;
    set.set_speed(baud)
        .map_err(|e| format!("{baud} baud cannot be set: {e}"))?;
    rustix::termios::tcsetattr(port, OptionalActions::Now, &set).map_err(|e| e.to_string())?;
    // The call succeeds if any of it was done.
    let is = rustix::termios::tcgetattr(port).map_err(|e| e.to_string())?;
    if is
        .local_modes
        .intersects(LocalModes::ECHO | LocalModes::ICANON | LocalModes::ISIG)
    {
        return Err("this port cannot be made raw: it would echo".into());
    }
    takes(is.output_speed(), baud)?;
    takes(is.input_speed(), baud)?;
    Ok(())
}

/// A driver that cannot set a speed sets the nearest that it has, and says nothing.
fn takes(has: u32, baud: u32) -> Result<(), String> {
    let off = f64::from(has.abs_diff(baud)) / f64::from(baud.max(1));
    if off > BAUD_OFF {
        return Err(format!(
            "{baud} baud is refused: it set {has}. Name a rate that both this adapter and the controller have"
        ));
    }
    Ok(())
}

/// The port as the machine's task uses it.
///
/// Each call is tried first and waited for only if the port does not take it now: the guard may
/// hold the line for the moment of its own write, which nothing would tell the end of.
pub struct Port(AsyncFd<File>);

impl Port {
    /// Must be called within the runtime.
    ///
    /// # Errors
    /// The system cannot tell when it is ready.
    #[allow(
        deprecated,
        reason = "its successor is unsafe, for types that may give another descriptor each time: a \
                  File owns one and keeps it"
    )]
    pub fn new(stream: File) -> io::Result<Self> {
        AsyncFd::new(stream).map(Self)
    }

    /// Reads what is there; without anything, `cx` is woken once something comes.
    pub fn poll_read(&self, cx: &mut Context<'_>, room: &mut [u8]) -> Poll<io::Result<usize>> {
        loop {
            // A readiness is taken back only if it was there before a try that found nothing.
            let ready = self.0.poll_read_ready(cx)?;
            match self.0.get_ref().read(room) {
                Err(e) if e.kind() == io::ErrorKind::WouldBlock => {}
                Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                other => return Poll::Ready(other),
            }
            match ready {
                Poll::Pending => return Poll::Pending,
                Poll::Ready(mut ready) => ready.clear_ready(),
            }
        }
    }

    /// Lets `write` try until it has written something, or the port takes nothing now: then `cx` is
    /// woken once it does. `write` gives 0 if it wrote nothing.
    pub fn poll_write(
        &self,
        cx: &mut Context<'_>,
        mut write: impl FnMut(&Self) -> io::Result<usize>,
    ) -> Poll<io::Result<usize>> {
        loop {
            let ready = self.0.poll_write_ready(cx)?;
            match write(self) {
                Ok(0) => {}
                other => return Poll::Ready(other),
            }
            match ready {
                Poll::Pending => return Poll::Pending,
                Poll::Ready(mut ready) => ready.clear_ready(),
            }
        }
    }

    /// Writes what the port takes now.
    ///
    /// # Errors
    /// `WouldBlock`: nothing now. Any other: the port has gone.
    pub fn write_now(&self, bytes: &[u8]) -> io::Result<usize> {
        self.0.get_ref().write(bytes)
    }
}

impl Drop for Port {
    fn drop(&mut self) {
        // The guard may hold its duplicate for a moment longer: whoever opens the port next, this
        // panel before all, must not find it in use. A port that has gone needs neither.
        let _ = rustix::termios::ioctl_tiocnxcl(self.0.get_ref());
        let _ = rustix::fs::flock(self.0.get_ref(), FlockOperation::Unlock);
    }
}

#[cfg(test)]
pub(crate) mod tests;
