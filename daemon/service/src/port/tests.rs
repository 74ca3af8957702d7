//! The port on a pseudo-terminal that nobody has set: it echoes, and gathers input into lines.

use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStrExt as _;
use std::path::PathBuf;

use link::{Dialect, Session};
use rustix::pty::OpenptFlags;
use rustix::termios::LocalModes;
use units::Time;

use super::*;

/// The controller's end of a terminal in its default mode.
pub(crate) struct FarEnd {
    pub(crate) master: OwnedFd,
    pub(crate) path: PathBuf,
}

impl FarEnd {
    pub(crate) fn fresh() -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = rustix::pty::openpt(flags).expect("a pseudo-terminal");
        rustix::pty::grantpt(&master).expect("granted");
        rustix::pty::unlockpt(&master).expect("unlocked");
        rustix::io::ioctl_fionbio(&master, true).expect("never blocks");
        let name = rustix::pty::ptsname(&master, Vec::new()).expect("a name");
        let path = PathBuf::from(std::ffi::OsStr::from_bytes(name.to_bytes()));
        let end = Self { master, path };
        let modes = end.modes();
        assert!(
            modes.contains(LocalModes::ECHO | LocalModes::ICANON),
            "{modes:?}"
        );
        end
    }

    /// How the panel's end is set just now.
    fn modes(&self) -> LocalModes {
        let set = rustix::termios::tcgetattr(&self.master).expect("a terminal");
        set.local_modes
    }

    fn says(&self, bytes: &[u8]) {
        let sent = rustix::io::write(&self.master, bytes);
        assert_eq!(sent, Ok(bytes.len()));
    }

    /// All that has come; what is on its way inside the kernel is waited for.
    fn hears(&self, least: usize) -> Vec<u8> {
        let mut all = Vec::new();
        let mut room = [0; 256];
        for _ in 0..100_000 {
            match rustix::io::read(&self.master, &mut room) {
                Ok(n) => all.extend_from_slice(&room[..n]),
                Err(_) if all.len() >= least => break,
                Err(_) => std::thread::yield_now(),
            }
        }
        all
    }

    /// What the panel's end sends back by itself when something is said to it.
    fn echo(&self, guard: &File) -> Vec<u8> {
        self.says(b"pos 1\n");
        // What the kernel does with it is done by the time a byte of the panel has come.
        let mark = rustix::io::write(guard, b"|");
        assert_eq!(mark, Ok(1));
        let mut heard = self.hears(1);
        heard.retain(|byte| *byte != b'|');
        heard
    }
}

/// S-05.
#[test]
fn from_the_first_handle_on_a_fresh_line_echoes_nothing() {
    let far = FarEnd::fresh();
    let mut seen = Vec::new();
    let opened = open_with(&far.path, 115_200, |handle| {
        seen.push((far.modes(), far.echo(handle)));
    });
    let opened = opened.expect("it opens");
    assert_eq!(seen.len(), 2, "both handles were looked at");
    for (modes, echo) in seen {
        assert!(
            !modes.intersects(LocalModes::ECHO | LocalModes::ICANON),
            "{modes:?}"
        );
        assert_eq!(echo, b"", "the controller hears its own reports");
    }
    drop(opened);
}

/// S-05.
#[test]
fn on_a_fresh_line_the_far_end_hears_hold_torch_off_and_flush_and_no_echo() {
    let far = FarEnd::fresh();
    let mut opened = open(&far.path, 115_200).expect("it opens");
    let reports = b"pos 0 0 0\npos 0 0 1\n";
    far.says(reports);
    let dialect = Dialect::plain().expect("the built-in one");
    let mut session = Session::new(std::sync::Arc::clone(&dialect), 115_200);
    let now = Time::from_ms(10);
    session.opened(now);
    let out = session.poll(now, false);
    let first = [out.take_away, out.lines].concat();
    std::io::Write::write_all(&mut opened.stream, &first).expect("written");
    let heard = far.hears(first.len());
    assert_eq!(heard, first);
    assert!(heard.starts_with(&dialect.take_away_bytes()));
}

#[test]
fn what_waited_in_the_line_before_it_was_opened_is_not_read() {
    let far = FarEnd::fresh();
    far.says(b"old report\n");
    let mut opened = open(&far.path, 115_200).expect("it opens");
    let mut room = [0; 64];
    let read = std::io::Read::read(&mut opened.stream, &mut room).map_err(|e| e.kind());
    assert_eq!(read, Err(std::io::ErrorKind::WouldBlock));
}

#[test]
fn a_line_that_another_panel_uses_is_left_as_it_is() {
    let far = FarEnd::fresh();
    let first = open(&far.path, 115_200).expect("it opens");
    let slow = || rustix::termios::tcgetattr(&far.master).map(|t| t.output_speed());
    let says = open(&far.path, 9600).err().expect("it is in use");
    assert!(says.contains("in use"), "{says}");
    assert_eq!(slow(), Ok(115_200));
    drop(first);
    open(&far.path, 9600).expect("it is free again");
    assert_eq!(slow(), Ok(9600));
}

#[test]
fn what_is_no_serial_port_is_told_as_such() {
    let file = tempfile::NamedTempFile::new().expect("a file");
    let says = open(file.path(), 115_200).err().expect("no port");
    assert!(says.contains("no serial port"), "{says}");
    let gone = open(Path::new("/nowhere/port"), 115_200)
        .err()
        .expect("no file");
    assert!(gone.contains("/nowhere/port"), "{gone}");
}

#[test]
fn a_rate_that_the_port_sets_otherwise_is_refused_by_its_name() {
    assert_eq!(takes(115_200, 115_200), Ok(()));
    assert_eq!(takes(117_500, 115_200), Ok(()), "2.0 % off");
    let says = takes(117_600, 115_200).expect_err("2.1 % off");
    assert!(says.contains("115200") && says.contains("117600"), "{says}");
    assert!(takes(9600, 250_000).is_err());
}
