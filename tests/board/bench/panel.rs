//! The real `standclear serve`, and the operator who asks it over HTTP.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use control::Ask;
use control::view::{Phase, View};
use planning::Job;
use rustix::process::{Pid, Signal};
use serde_json::{Value, json};
use standclear::config::Config;
use standclear::journal::Entry;
use standclear::library::{Accepted, Library};
use standclear::practice::operator::{Hands, Operator};
use standclear::practice::table::plan;
use standclear::runner::Automatic as _;
use units::{Point, Time};

use crate::PATIENCE;
use crate::client;
use crate::world::{Shared, say};

/// Where the console of the board listens.
const ADDRESS: &str = "127.0.0.1:8790";
/// The panel is looked at so often.
const LOOK: Duration = Duration::from_millis(40);
/// The program of the cases.
const PROGRAM: &str = "square";

/// Hands at the simulated table.
pub struct AtTable(Shared);

impl Hands for AtTable {
    fn set_right(&mut self) {
        self.0.lock().table.remedy(None);
    }
    fn switch_source_off_and_on(&mut self) {
        let stuck = simulator::harness::FaultKind::ArcStuck;
        self.0.lock().table.remedy(Some(stuck));
    }
    fn try_buttons(&mut self) {
        self.0.lock().table.try_buttons();
    }
    fn new_parts(&mut self) {
        self.0.lock().table.new_parts();
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
    operator: Option<Operator<AtTable>>,
    job: Option<Arc<Job>>,
    runtime: tokio::runtime::Runtime,
}

impl Panel {
    /// On this table; the service is started by [`Panel::start`].
    pub fn new(
        world: Shared,
        config_file: &Path,
        config: Config,
        state: &Path,
    ) -> Result<Self, String> {
        let programs = state.join("programs");
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
        Ok(Self {
            world,
            state: state.to_path_buf(),
            config_file: config_file.to_path_buf(),
            config: Arc::new(config),
            address: ADDRESS.parse().map_err(|e| format!("{e}"))?,
            child: None,
            operator: None,
            job: None,
            runtime: tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .map_err(|e| e.to_string())?,
        })
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
        use standclear::pins::Clock as _;
        self.world.lock().clock.now()
    }

    /// What is published now.
    pub fn view(&self) -> Result<View, String> {
        let mut snapshot = client::snapshot(self.address);
        serde_json::from_value(snapshot["view"].take()).map_err(|e| e.to_string())
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
            let ask = self.operator.as_mut().and_then(|o| o.consider(now, &view));
            if let Some(ask) = ask {
                self.ask(&view, &ask)?;
            }
            std::thread::park_timeout(LOOK);
        }
    }

    /// Loads the program, lays its sheet, and has an operator who wants it cut.
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
        let library = Arc::new(Library::new(
            Arc::clone(&self.config),
            &self.state,
            None,
            None,
        ));
        library.reckon_with(view.parts.supplies);
        let listed = library.list();
        let id = listed
            .iter()
            .find(|l| !l.invented && l.file.starts_with(PROGRAM))
            .map(|l| l.id.clone())
            .ok_or("the program is not listed")?;
        let chosen = self
            .runtime
            .block_on(library.chosen(&id))
            .map_err(|e| e.to_string())?;
        let accepted = accepted(&chosen.prepared.report);
        let job = library
            .seal_chosen(&chosen, &chosen.version, &accepted)
            .map_err(|e| e.to_string())?;
        if lay {
            let plan = plan(&job, self.config.sheet_corner);
            self.world.lock().table.lay(plan);
        }
        self.operator = Some(Operator::new(AtTable(self.world.clone()), Arc::clone(&job)));
        self.job = Some(job);
        if !lay {
            return Ok(());
        }
        // What another state was asked of is refused: the operator looks again.
        let until = self.now() + Duration::from_secs(10);
        loop {
            let view = self.view()?;
            let loaded = view.seal.is_some() && view.phase != Phase::Finished;
            if loaded {
                return Ok(());
            }
            if self.now() > until {
                return Err(format!("the job is not loaded: {:?}", view.phase));
            }
            self.post_load(&view)?;
        }
    }

    fn post_load(&mut self, view: &View) -> Result<(), String> {
        let told = client::get(self.address, "/api/programs", PATIENCE)
            .map_err(|e| e.to_string())?
            .json();
        let programs = told["programs"].as_array().cloned().unwrap_or_default();
        let is = |p: &&Value| p["file"].as_str().is_some_and(|f| f.starts_with(PROGRAM));
        let id = programs
            .iter()
            .find(is)
            .and_then(|p| p["id"].as_str())
            .ok_or("the console does not list the program")?;
        let read = client::get(self.address, &format!("/api/program?id={id}"), PATIENCE)
            .map_err(|e| e.to_string())?
            .json();
        let report = serde_json::from_value(read["report"].clone()).map_err(|e| e.to_string())?;
        let body = json!({
            "generation": view.generation, "id": id, "version": read["version"],
            "accepted": accepted(&report),
        });
        self.post("/api/load", &body)
    }

    /// Puts a request of the operator to the console.
    fn ask(&mut self, view: &View, ask: &Ask) -> Result<(), String> {
        match ask {
            Ask::Load { .. } => self.post_load(view),
            Ask::Resume { .. } => {
                let ways = client::get(self.address, "/api/ways?back_mm=0", PATIENCE)
                    .map_err(|e| e.to_string())?
                    .json();
                let plans = ways["ways"]["plans"]
                    .as_array()
                    .cloned()
                    .unwrap_or_default();
                let whole = |p: &&Value| p["uncut_mm"].as_f64().is_some_and(|mm| mm <= 0.0);
                let Some(plan) = plans.iter().find(whole).or(plans.first()) else {
                    return Ok(());
                };
                let body = json!({
                    "generation": ways["generation"], "plan": plan["id"], "back_mm": 0.0,
                    "accepted": "board",
                });
                self.post("/api/resume", &body)
            }
            other => {
                let ask = serde_json::to_value(other).map_err(|e| e.to_string())?;
                self.post(
                    "/api/ask",
                    &json!({"generation": view.generation, "ask": ask}),
                )
            }
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
            let wanted = self.operator.as_mut().and_then(|o| o.consider(now, &view));
            match wanted {
                Some(ask @ (Ask::Seen { .. } | Ask::Clear { .. })) => self.ask(&view, &ask)?,
                _ if may("end-job") => self.ask(&view, &Ask::EndJob)?,
                _ => {}
            }
            std::thread::park_timeout(LOOK);
        }
    }

    /// A refusal is an answer: the operator looks again.
    fn post(&mut self, path: &str, body: &Value) -> Result<(), String> {
        let answer = client::post(self.address, path, &body.to_string(), PATIENCE)
            .map_err(|e| format!("{path}: {e}"))?;
        if answer.status != 200 || answer.json()["answer"] == "refused" {
            say(&format!(
                "  {path} {body}: {} {}",
                answer.status, answer.body
            ));
        }
        Ok(())
    }

    /// Sends the service a signal; gives the board's time just before.
    pub fn signal(&self, signal: Signal) -> Result<Time, String> {
        let child = self.child.as_ref().ok_or("the service does not run")?;
        let at = self.now();
        rustix::process::kill_process(Pid::from_child(child), signal).map_err(|e| e.to_string())?;
        Ok(at)
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
        let mut all = standclear::journal::latest(&self.state, 2_000).map_err(|e| e.to_string())?;
        all.sort_by_key(|e| e.seq);
        Ok(all)
    }
}

fn accepted(report: &program::Report) -> Vec<Accepted> {
    let all = report.accepted_for("board").into_iter();
    all.map(|a| Accepted {
        finding: a.finding,
        rule: a.rule,
        reason: a.reason,
    })
    .collect()
}
