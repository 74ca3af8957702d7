//! The harness socket: who is connected, and whole messages in and out without ever blocking.

use std::io::{self, Read as _, Write as _};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;

use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::fd::BorrowedFd;
use rustix::process::Pid;

use crate::harness::{ToPanel, ToTable};

/// Longest message that is listened to, bytes: a plan of many thousand cuts.
const MESSAGE_MAX: usize = 64 << 20;
/// So much may wait to be sent to somebody who does not read before nothing more is said.
const UNSENT_MAX: usize = 1 << 16;

/// One connection.
struct Guest {
    id: u64,
    stream: UnixStream,
    heard: Vec<u8>,
    unsent: Vec<u8>,
    gone: bool,
}

pub(super) struct Door {
    listener: UnixListener,
    guests: Vec<Guest>,
    next_id: u64,
}

/// Something that was said, or somebody who left (`None`).
pub(super) struct Heard {
    pub(super) guest: u64,
    pub(super) said: Option<ToTable>,
}

impl Door {
    pub(super) fn open(path: &Path) -> io::Result<Self> {
        match rustix::fs::unlink(path) {
            Ok(()) | Err(rustix::io::Errno::NOENT) => {}
            Err(error) => return Err(error.into()),
        }
        let listener = UnixListener::bind(path)?;
        listener.set_nonblocking(true)?;
        Ok(Self {
            listener,
            guests: Vec::new(),
            next_id: 1,
        })
    }

    /// Waits until somebody says something, or for `wait_us` at most. `also`: one more thing to
    /// wake up for.
    pub(super) fn wait(&self, wait_us: u64, also: Option<BorrowedFd<'_>>) {
        let mut fds = vec![PollFd::new(&self.listener, PollFlags::IN)];
        for guest in &self.guests {
            let mut what = PollFlags::IN;
            if !guest.unsent.is_empty() {
                what |= PollFlags::OUT;
            }
            fds.push(PollFd::new(&guest.stream, what));
        }
        if let Some(fd) = also {
            fds.push(PollFd::from_borrowed_fd(fd, PollFlags::IN));
        }
        let timeout = Timespec {
            tv_sec: (wait_us / 1_000_000) as i64,
            tv_nsec: (wait_us % 1_000_000) as i64 * 1000,
        };
        // Woken by a signal or by nothing: the caller looks again in any case.
        let _ = rustix::event::poll(&mut fds, Some(&timeout));
    }

    /// Everything that has been said by now, in order for each guest.
    pub(super) fn hear(&mut self) -> Vec<Heard> {
        while let Ok((stream, _)) = self.listener.accept() {
            if stream.set_nonblocking(true).is_ok() {
                self.guests.push(Guest {
                    id: self.next_id,
                    stream,
                    heard: Vec::new(),
                    unsent: Vec::new(),
                    gone: false,
                });
                self.next_id += 1;
            }
        }
        let mut all = Vec::new();
        for guest in &mut self.guests {
            guest.flush();
            guest.hear(&mut all);
        }
        self.guests.retain(|g| !g.gone);
        all
    }

    /// Says something, if that guest still listens.
    pub(super) fn say(&mut self, to: u64, what: &ToPanel) {
        let Some(guest) = self.guests.iter_mut().find(|g| g.id == to) else {
            return;
        };
        if guest.unsent.len() > UNSENT_MAX {
            return;
        }
        if let Ok(mut line) = serde_json::to_vec(what) {
            line.push(b'\n');
            guest.unsent.extend(line);
            guest.flush();
        }
    }

    /// The process at the other end.
    pub(super) fn process(&self, guest: u64) -> Option<Pid> {
        let guest = self.guests.iter().find(|g| g.id == guest)?;
        let peer = rustix::net::sockopt::socket_peercred(&guest.stream);
        peer.ok().map(|peer| peer.pid)
    }

    pub(super) fn shut_out(&mut self, guest: u64) {
        self.guests.retain(|g| g.id != guest);
    }
}

impl Guest {
    fn flush(&mut self) {
        while !self.unsent.is_empty() {
            match self.stream.write(&self.unsent) {
                Ok(n) if n > 0 => {
                    self.unsent.drain(..n);
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => break,
                _ => {
                    // Its end is seen by reading.
                    self.unsent.clear();
                }
            }
        }
    }

    fn hear(&mut self, all: &mut Vec<Heard>) {
        let mut chunk = [0; 8192];
        loop {
            match self.stream.read(&mut chunk) {
                Ok(0) => self.gone = true,
                Ok(n) => {
                    self.heard.extend_from_slice(&chunk[..n]);
                    if n == chunk.len() && self.heard.len() < MESSAGE_MAX {
                        continue;
                    }
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                Err(_) => self.gone = true,
            }
            break;
        }
        let mut from = 0;
        while let Some(length) = self.heard[from..].iter().position(|&b| b == b'\n') {
            match serde_json::from_slice(&self.heard[from..from + length]) {
                Ok(said) => all.push(Heard {
                    guest: self.id,
                    said: Some(said),
                }),
                // Somebody who talks gibberish is no guest.
                Err(_) => self.gone = true,
            }
            from += length + 1;
        }
        self.heard.drain(..from);
        self.gone |= self.heard.len() >= MESSAGE_MAX;
        if self.gone {
            all.push(Heard {
                guest: self.id,
                said: None,
            });
        }
    }
}
