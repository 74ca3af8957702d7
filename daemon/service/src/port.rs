//! The serial port: opened twice, once for the machine's task and once for the guard.

use std::fs::{File, OpenOptions};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use tokio_serial::{SerialPort as _, SerialPortBuilderExt as _, SerialStream};

/// An opened port with its input cleared.
pub struct Opened {
    /// For the machine's task.
    pub stream: SerialStream,
    /// For the guard's take-away bytes; never blocks.
    pub guard: File,
}

/// Opens the port and clears what has been waiting in it.
///
/// # Errors
/// In the system's words, with the port's path.
pub fn open(path: &Path, baud: u32) -> Result<Opened, String> {
    let told = |error: &dyn std::fmt::Display| format!("{}: {error}", path.display());
    // The guard's handle first: once the stream has claimed the port no other handle can be made.
    let flags = rustix::fs::OFlags::NONBLOCK | rustix::fs::OFlags::NOCTTY;
    let guard = OpenOptions::new()
        .write(true)
        .custom_flags(flags.bits() as i32)
        .open(path)
        .map_err(|e| told(&e))?;
    let name = path.to_string_lossy();
    let stream = tokio_serial::new(name, baud)
        .open_native_async()
        .map_err(|e| told(&e))?;
    stream
        .clear(tokio_serial::ClearBuffer::All)
        .map_err(|e| told(&e))?;
    Ok(Opened { stream, guard })
}
