//! The real `standclear serve`, and the operator who asks it over HTTP.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use control::Ask;
use control::view::{Phase, View};
use rustix::process::{Pid, Signal};
use standclear::config::Config;
use standclear::journal::Entry;
use standclear::practice::operator::Hands;
use standclear::practice::table::plan;
use units::{Point, Time};

use crate::PATIENCE;
use crate::client;
use crate::operated::{self, Operated};
use crate::tape::Deed;
use crate::world::Shared;

/// Where the console of the board listens.
const ADDRESS: &str = "127.0.0.1:8790";
/// The panel is looked at so often.
const LOOK: Duration = Duration::from_millis(40);
/// The program of the cases.
const PROGRAM: &str = "square";

/// Hands at the simulated table.
pub struct AtTable(Shared);

impl AtTable {
    fn told(&self, deed: Deed) {
        self.0
            .lock()
            .tell(deed)
            .expect("what a hand does can be done");
    }
}

impl Hands for AtTable {
    fn set_right(&mut self) {
        self.told(Deed::Remedy(None));
    }
    fn switch_source_off_and_on(&mut self) {
        let stuck = simulator::harness::FaultKind::ArcStuck;
        self.told(Deed::Remedy(Some(stuck)));
    }
    fn try_buttons(&mut self) {
        self.told(Deed::TryButtons);
    }
    fn new_parts(&mut self) {
        self.told(Deed::NewParts);
    }
    fn torch_on_sheet(&mut self) -> Option<Point> {
        Some(self.0.lock().table.truth().torch_on_sheet)
    }
}

/// The panel under test, its operator and the table.
pub struct Panel {
    pub world: Shared,
    pub state: PathBuf,
    config_file: PathBuf,
    pub config: Arc<Config>,
    address: SocketAddr,
    child: Option<Child>,
    operated: Option<Operated<AtTable>>,
}

impl Panel {
    /// On this table; the service is started by [`Panel::start`].
    pub fn new(
        world: Shared,
        config_file: &Path,
        config: Config,
        state: &Path,
    ) -> Result<Self, String> {
        Ok(Self {
            world,
            state: state.to_path_buf(),
            config_file: config_file.to_path_buf(),
            config: Arc::new(config),
            address: ADDRESS.parse().map_err(|e| format!("{e}"))?,
            child: None,
            operated: None,
        })
    }

    /// Puts the program of the cases into the library.
    pub fn write_programs(&self) -> Result<(), String> {
        let programs = self.state.join("programs");
        std::fs::create_dir_all(&programs).map_err(|e| e.to_string())?;
        for (name, text) in [
            (
                "square.nc",
                include_str!("../../fixtures/programs/square.nc"),
            ),
            (
                "square.toml",
                include_str!("../../fixtures/programs/square.toml"),
            ),
        ] {
            std::fs::write(programs.join(name), text).map_err(|e| e.to_string())?;
        }
        Ok(())
    }

    /// Starts the real service.
    pub fn start(&mut self) -> Result<(), String> {
        self.world.lock().free_the_port();
        let log = std::fs::File::options()
            .create(true)
            .append(true)
            .open("/tmp/serve.log");
        let child = Command::new("standclear")
            .args(["serve", "--listen", ADDRESS, "--config"])
            .arg(&self.config_file)
            .arg("--state")
            .arg(&self.state)
            .env("RUST_LOG", "info")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log.map_err(|e| e.to_string())?)
            .spawn()
            .map_err(|e| format!("standclear serve: {e}"))?;
        self.child = Some(child);
        let up = |p: &mut Self| client::get(p.address, "/api/programs", PATIENCE).is_ok();
        self.wait("the console to answer", 20, up)
    }

    /// Waits for a level, bounded in the board's time.
    pub fn wait(
        &mut self,
        what: &str,
        within_s: u64,
        mut enough: impl FnMut(&mut Self) -> bool,
    ) -> Result<(), String> {
        let until = self.now() + Duration::from_secs(within_s);
        loop {
            if enough(self) {
                return Ok(());
            }
            if self.now() > until {
                return Err(format!(
                    "{what}: not within {within_s} s of the board's time"
                ));
            }
            std::thread::park_timeout(LOOK);
        }
    }

    /// The board's time.
    pub fn now(&self) -> Time {
        self.world.lock().now()
    }

    /// Takes the wire of an input off; gives the board's time just before.
    pub fn take_off(&self, signal: &str) -> Time {
        let mut world = self.world.lock();
        let at = world.now();
        world.off.insert(signal.into());
        world.drive();
        at
    }

    /// Puts it back on.
    pub fn put_on(&self, signal: &str) {
        self.world.lock().off.remove(signal);
    }

    /// What is published now.
    pub fn view(&self) -> Result<View, String> {
        operated::view(self.address)
    }

    /// Lets the operator do what he would, until the view is as wanted.
    pub fn operate(
        &mut self,
        what: &str,
        within_s: u64,
        enough: impl Fn(&View, &Self) -> bool,
    ) -> Result<View, String> {
        let until = self.now() + Duration::from_secs(within_s);
        loop {
            let view = self.view()?;
            if enough(&view, self) {
                return Ok(view);
            }
            if self.now() > until {
                return Err(format!(
                    "{what}: not within {within_s} s; {:?}, waiting for {:?}, alarms {:?}, not so: {:?}, log:\n{}",
                    view.phase,
                    view.waiting_for,
                    view.alarms,
                    view.checks
                        .iter()
                        .filter(|c| c.holds != Some(true))
                        .map(|c| (c.check, c.holds))
                        .collect::<Vec<_>>(),
                    std::fs::read_to_string("/tmp/serve.log").unwrap_or_default()
                ));
            }
            let now = self.now();
            if let Some(operated) = &mut self.operated {
                operated.look(now, &view)?;
            }
            std::thread::park_timeout(LOOK);
        }
    }

    /// Loads the program, lays its sheet, and has an operator who wants it cut. `lay`: else they are there.
    pub fn load(&mut self, lay: bool) -> Result<(), String> {
        // The console opens long before the table is known.
        let mut view = self.view()?;
        let may = |view: &View| {
            view.allowed
                .iter()
                .any(|a| a.ask == "load" && a.refused.is_none())
        };
        let until = self.now() + Duration::from_secs(30);
        while !may(&view) && self.now() < until && lay {
            std::thread::park_timeout(LOOK);
            view = self.view()?;
        }
        let hands = AtTable(self.world.clone());
        let operated = Operated::new(self.address, &self.config, &self.state, PROGRAM, hands)?;
        if lay {
            let plan = plan(&operated.job, self.config.sheet_corner);
            self.world.lock().tell(Deed::Lay(plan))?;
        }
        let operated = self.operated.insert(operated);
        if !lay {
            return Ok(());
        }
        // What another state was asked of is refused: the operator looks again.
        let until = self.world.lock().now() + Duration::from_secs(10);
        loop {
            let view = operated::view(self.address)?;
            let loaded = view.seal.is_some() && view.phase != Phase::Finished;
            if loaded {
                return Ok(());
            }
            if self.world.lock().now() > until {
                return Err(format!("the job is not loaded: {:?}", view.phase));
            }
            operated.load(&view)?;
        }
    }

    /// Ends the job as soon as that may be asked for; the operator sees to alarms alone.
    pub fn end_job(&mut self) -> Result<(), String> {
        let until = self.now() + Duration::from_secs(30);
        loop {
            let view = self.view()?;
            if view.phase == Phase::Finished {
                return Ok(());
            }
            if self.now() > until {
                return Err(format!(
                    "the job cannot be ended: {:?} {:?}",
                    view.phase, view.alarms
                ));
            }
            let may = |kind: &str| {
                view.allowed
                    .iter()
                    .any(|a| a.ask == kind && a.refused.is_none())
            };
            let now = self.now();
            let operated = self.operated.as_mut().ok_or("nothing was loaded")?;
            match operated.wants(now, &view) {
                Some(ask @ (Ask::Seen { .. } | Ask::Clear { .. })) => operated.ask(&view, &ask)?,
                _ if may("end-job") => operated.ask(&view, &Ask::EndJob)?,
                _ => {}
            }
            std::thread::park_timeout(LOOK);
        }
    }

    /// Sends the service a signal; gives the board's time just before.
    pub fn signal(&self, signal: Signal) -> Result<Time, String> {
        let at = self.now();
        self.signal_now(signal)?;
        Ok(at)
    }

    /// The same without a look at the clock, which whoever holds the table cannot take.
    pub fn signal_now(&self, signal: Signal) -> Result<(), String> {
        let child = self.child.as_ref().ok_or("the service does not run")?;
        rustix::process::kill_process(Pid::from_child(child), signal).map_err(|e| e.to_string())
    }

    /// Where its console listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Its process.
    pub fn pid(&self) -> Result<u32, String> {
        let child = self.child.as_ref().ok_or("the service does not run")?;
        Ok(child.id())
    }

    /// The machine file.
    pub fn config_file(&self) -> &Path {
        &self.config_file
    }

    /// Waits for the service's end.
    pub fn ended(&mut self, within_s: u64) -> Result<Option<i32>, String> {
        let mut child = self.child.take().ok_or("the service does not run")?;
        let mut status = None;
        self.wait("the service to end", within_s, |_| {
            status = child.try_wait().ok().flatten();
            status.is_some()
        })?;
        Ok(status.and_then(|s| s.code()))
    }

    /// The journal's events, oldest first.
    pub fn journal(&self) -> Result<Vec<Entry>, String> {
        let sought = standclear::journal::Sought {
            most: 2_000,
            ..Default::default()
        };
        let mut all =
            standclear::journal::latest(&self.state, sought).map_err(|e| e.to_string())?;
        all.sort_by_key(|e| e.seq);
        Ok(all)
    }
}
