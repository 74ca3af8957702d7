//! The process around the panel: a disk that takes nothing, clients that hold things open, signals.
//!
//! Promised are an answer to HOLD within 1 s and an end within 5 s of SIGTERM. A loaded test machine may
//! take longer by itself: the bounds here leave room for that, and what was seen is printed.

mod access;
mod client;
mod disk;
mod ending;
mod files;
mod lost;
#[allow(
    dead_code,
    reason = "shared with the emulated board: not all of it is wanted here"
)]
mod operated;
mod sizes;
mod soak;
mod sockets;
mod vets;

use std::io::{BufRead as _, BufReader, Read as _};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Resource, Rlimit, Signal};

use crate::killed::Reaped;
use crate::rig::fixture;

/// HOLD is answered within 1 s; this much is waited for.
pub const HOLD_WITHIN: Duration = Duration::from_secs(4);
/// SIGTERM ends the process within 5 s; this much is waited for.
pub const END_WITHIN: Duration = Duration::from_secs(8);
/// How long anything else is waited for.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// A panel of practice with its console.
pub struct Console {
    pub child: Reaped,
    pub address: SocketAddr,
}

/// Starts a command so that a limit on the size of its files gives errors and does not end it, with at
/// most `descriptors` open files.
pub fn limited(command: &Command, descriptors: u32) -> Command {
    let mut shell = Command::new("sh");
    let script = format!("trap '' XFSZ; ulimit -S -n {descriptors}; exec \"$0\" \"$@\"");
    shell.arg("-c").arg(script).arg(command.get_program());
    shell.args(command.get_args());
    for (name, value) in command.get_envs() {
        match value {
            Some(value) => shell.env(name, value),
            None => shell.env_remove(name),
        };
    }
    shell
}

impl Console {
    /// On this state folder, with the small test piece and these further arguments.
    pub fn start(state: &Path, args: &[&str]) -> Self {
        let mut command = crate::rig::standclear();
        command
            .arg("practice")
            .arg(fixture("square.nc"))
            .arg("--setup")
            .arg(fixture("square.toml"))
            .arg("--state")
            .arg(state)
            .args(["--listen", "127.0.0.1:0", "--speed", "20"])
            .args(args);
        Self::of(&command)
    }

    /// Starts this command and reads from its first line where it listens.
    pub fn of(command: &Command) -> Self {
        let mut child = limited(command, 1024)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .map(Reaped)
            .expect("the binary starts");
        let out = child.0.stdout.take().expect("a pipe");
        let mut line = String::new();
        let mut reader = BufReader::new(out);
        reader.read_line(&mut line).expect("it says something");
        let address = line
            .trim()
            .trim_end_matches('/')
            .rsplit('/')
            .next()
            .and_then(|a| a.parse().ok())
            .unwrap_or_else(|| panic!("no address in {line:?}"));
        // Whatever else it says must not stop it.
        std::thread::spawn(move || {
            let mut rest = Vec::new();
            let _ = reader.read_to_end(&mut rest);
        });
        Self { child, address }
    }

    pub fn pid(&self) -> Pid {
        Pid::from_child(&self.child.0)
    }

    /// Presses HOLD on a new connection: its answer is awaited.
    #[track_caller]
    pub fn hold(&self, press: u32) {
        let began = Instant::now();
        let body = format!("{{\"press\":{press}}}");
        let answer = client::post(self.address, "/api/hold", &body, HOLD_WITHIN);
        println!("HOLD answered after {:?}", began.elapsed());
        let answer = answer.unwrap_or_else(|e| panic!("HOLD was not answered: {e}"));
        assert_eq!(answer.status, 200, "{answer:?}");
    }

    /// The view, from a fresh snapshot.
    pub fn view(&self) -> serde_json::Value {
        client::snapshot(self.address)["view"].clone()
    }

    /// Asks until the view is as wanted.
    #[track_caller]
    pub fn until(
        &self,
        what: &str,
        enough: impl Fn(&serde_json::Value) -> bool,
    ) -> serde_json::Value {
        let end = Instant::now() + PATIENCE;
        loop {
            let view = self.view();
            if enough(&view) {
                return view;
            }
            assert!(Instant::now() < end, "never {what}: {view:#}");
        }
    }

    /// SIGTERM, and the end.
    #[track_caller]
    pub fn terminate(&mut self) -> ExitStatus {
        terminate(&mut self.child.0)
    }
}

/// SIGTERM, and the end.
#[track_caller]
pub fn terminate(child: &mut Child) -> ExitStatus {
    let began = Instant::now();
    let end = began + END_WITHIN;
    rustix::process::kill_process(Pid::from_child(child), Signal::TERM).expect("SIGTERM");
    loop {
        if let Some(status) = child.try_wait().expect("a child") {
            println!("ended {:?} after SIGTERM", began.elapsed());
            return status;
        }
        assert!(Instant::now() < end, "SIGTERM was not obeyed");
        std::thread::yield_now();
    }
}

/// An alarm with this cause stands on the screen.
pub fn alarmed(view: &serde_json::Value, cause: &str) -> bool {
    let alarms = view["alarms"].as_array().cloned().unwrap_or_default();
    alarms.iter().any(|a| a["cause"] == cause)
}

/// From here on no file of this process takes a byte (`full`), or any takes all again.
pub fn fill_disk(pid: Pid, full: bool) {
    let limit = Rlimit {
        current: full.then_some(0),
        maximum: None,
    };
    rustix::process::prlimit(Some(pid), Resource::Fsize, limit).expect("a limit can be set");
}
