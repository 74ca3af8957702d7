//! The cable: a pseudo-terminal whose slave the panel opens under a name that stays.

use std::io;
use std::path::{Path, PathBuf};

use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use rustix::termios::OptionalActions;

/// A plugged-in cable. Dropped: pulled out; the panel's end hangs up.
pub struct Cable {
    master: OwnedFd,
    /// Kept open: without any open slave the master reads an error.
    slave: OwnedFd,
    link: PathBuf,
}

impl Cable {
    /// Plugs in: the slave is raw before its name appears at `link`.
    ///
    /// # Errors
    /// The pseudo-terminal or its name could not be made.
    pub fn plug(link: &Path) -> io::Result<Self> {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = rustix::pty::openpt(flags)?;
        rustix::pty::grantpt(&master)?;
        rustix::pty::unlockpt(&master)?;
        let name = rustix::pty::ptsname(&master, Vec::new())?;
        let slave = rustix::fs::open(
            name.as_c_str(),
            OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
            Mode::empty(),
        )?;
        let mut termios = rustix::termios::tcgetattr(&slave)?;
        termios.make_raw();
        rustix::termios::tcsetattr(&slave, OptionalActions::Now, &termios)?;
        rustix::io::ioctl_fionbio(&master, true)?;
        let fresh = link.with_extension("new");
        match rustix::fs::unlink(&fresh) {
            Ok(()) | Err(Errno::NOENT) => {}
            Err(error) => return Err(error.into()),
        }
        rustix::fs::symlink(name.as_c_str(), &fresh)?;
        rustix::fs::rename(&fresh, link)?;
        Ok(Self {
            master,
            slave,
            link: link.to_path_buf(),
        })
    }

    /// The far end, to wait on.
    #[must_use]
    pub fn master(&self) -> &OwnedFd {
        &self.master
    }

    /// Everything that the panel has written and that is here already.
    #[must_use]
    pub fn read(&self) -> Vec<u8> {
        let mut all = Vec::new();
        let mut chunk = [0; 4096];
        while let Ok(n) = rustix::io::read(&self.master, &mut chunk) {
            if n == 0 {
                break;
            }
            all.extend_from_slice(&chunk[..n]);
        }
        all
    }

    /// Writes what the kernel has room for; the rest is lost, as in a full receiver. Gives how
    /// many bytes were written.
    pub fn write(&self, bytes: &[u8]) -> usize {
        let mut done = 0;
        while done < bytes.len() {
            match rustix::io::write(&self.master, &bytes[done..]) {
                Ok(n) if n > 0 => done += n,
                Err(Errno::INTR) => {}
                _ => break,
            }
        }
        done
    }

    /// Takes off the exclusive mode that a panel leaves behind when it is killed.
    pub fn free(&self) {
        // Cannot fail on a terminal of our own; if it does, the next panel says that it is busy.
        let _ = rustix::termios::ioctl_tiocnxcl(&self.slave);
    }
}

impl Drop for Cable {
    fn drop(&mut self) {
        // Only a name: a dangling one is a cable that cannot be opened either.
        let _ = rustix::fs::unlink(&self.link);
    }
}
