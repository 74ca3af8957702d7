//! `standclear practice`: the same panel on the simulated table.
//!
//! Only the pins, the wire's far end and the clock are the simulator's; nothing in the service
//! decides by whether this is practice. Nothing but this command names the simulator.

mod bench;
mod disk;
mod earlier;
mod killed;
pub mod operator;
mod summary;
pub mod table;

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use control::CheckId;
use control::commissioning::Standing;
use control::view::{Phase, StepView, View};
use planning::{Job, Prepared};
use program::Setup;
use units::Time;

use crate::assemble::{FarEnds, assemble};
use crate::cli::{Format, PracticeArgs, TableArgs, complain};
use crate::commission::session::{self, Terminal};
use crate::config::Config;
use crate::panel::Panel;
use crate::review::papers;
use crate::runner::{Automatic, Runner};

use earlier::Earlier;
use operator::Operator;
use summary::Summary;
use table::{SharedHands, Table};

/// The demonstration that opens when no program is named.
const DEMO: &str = "hinge-plates";

/// A headless run in which nothing changes for this long (table time) has not finished.
const STUCK_S: f64 = 900.0;

/// Longest program or setup that is read, bytes.
const LONGEST: u64 = crate::library::PROGRAM_BYTES_MAX;

/// What keeps a practice from beginning or from ending well.
#[derive(Debug, thiserror::Error)]
#[error("{says}")]
struct Trouble {
    says: String,
    exit: u8,
}

/// Something that was asked for is wrong, or cannot be opened.
fn usage(says: impl ToString) -> Trouble {
    Trouble {
        says: says.to_string(),
        exit: 2,
    }
}

/// It was all in order and still did not go well.
fn unfinished(says: impl ToString) -> Trouble {
    Trouble {
        says: says.to_string(),
        exit: 1,
    }
}

/// Runs the command.
#[must_use]
pub fn run(args: &PracticeArgs) -> ExitCode {
    match practise(args) {
        Ok(code) => code,
        Err(trouble) => {
            complain(&format!("standclear practice: {trouble}"));
            ExitCode::from(trouble.exit)
        }
    }
}

/// Runs the simulated table as a process of its own, until it is told to end.
#[must_use]
pub fn run_table(args: &TableArgs) -> ExitCode {
    let config = match config(args.config.as_deref()) {
        Ok(config) => config,
        Err(trouble) => {
            complain(&format!("standclear table: {trouble}"));
            return ExitCode::from(trouble.exit);
        }
    };
    let settings = table::table_settings(&config, args.seed, args.rough);
    match simulator::shell::serve(&args.dir, settings, args.speed, Arc::default()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("standclear table: {error}"));
            ExitCode::FAILURE
        }
    }
}

fn config(file: Option<&Path>) -> Result<Config, Trouble> {
    let Some(file) = file else {
        return Ok(Config::built_in());
    };
    let mut config = Config::load(file).map_err(usage)?;
    config.on_simulated_table();
    table::tongue(&config).map_err(|why| usage(format!("{}: {why}", file.display())))?;
    Ok(config)
}

fn practise(args: &PracticeArgs) -> Result<ExitCode, Trouble> {
    let mut config = config(args.config.as_deref())?;
    config.commissioning.comes_proved &= !args.commission;
    let state = State::new(args.state.as_deref())?;
    config.counted = crate::journal::counted(state.path(), config.supplies);
    let config = Arc::new(config);
    let prepared = prepare(args, &config)?;
    let job = if args.headless || args.program.is_some() {
        Some(seal(&prepared, &config, args)?)
    } else {
        seal(&prepared, &config, args).ok()
    };
    if let Some(job) = &job {
        papers::keep(state.path(), job.seal.hash(), &prepared, &config);
    }
    let mut settings = table::table_settings(&config, args.seed, args.rough);
    settings.bit_error_rate = args.noise;
    settings.patience_ms = args.patience_ms;
    let table = match &args.table {
        Some(dir) => Table::join(dir),
        None => Table::start(settings, args.speed),
    }
    .map_err(unfinished)?;
    let hands = table.hands();
    if let Some(job) = &job {
        hands
            .lay_unless_there(job, config.sheet_corner)
            .map_err(unfinished)?;
    }
    for fault in &args.faults {
        hands
            .inject(*fault)
            .map_err(|why| usage(format!("--fault: {why}")))?;
    }
    for fault in &args.wires {
        hands.wire(*fault).map_err(unfinished)?;
    }
    if killed::wanted(args) {
        return killed::run(args, &table, state.path());
    }
    let (pins, turns) = bench::connect(table.dir())
        .map_err(|e| unfinished(format!("the simulated table's wires: {e}")))?;
    let automatic = match &job {
        Some(job) if args.headless => {
            let mut operator = Operator::new(hands.clone(), Arc::clone(job));
            if args.change_parts {
                operator.change_parts();
            }
            Some(Box::new(operator) as Box<dyn Automatic>)
        }
        _ => None,
    };
    let ends = FarEnds {
        volts: None,
        pins: Box::new(pins),
        port: table.dir().join("wire"),
        outputs: Some(turns.outputs()),
        turn_end: Some(Box::new(turns)),
        automatic,
        disk: args.disk.clone().map(disk::told),
    };
    let runtime = crate::serve::runtime().map_err(unfinished)?;
    let code = runtime.block_on(async {
        let (runner, panel) = assemble(&config, state.path(), ends).map_err(unfinished)?;
        if let Some(step) = &args.terminal {
            let hands = at_the_table(hands.clone(), panel.clone());
            return terminal(step.as_deref(), runner, panel, hands).await;
        }
        match (&job, args.headless) {
            (Some(job), true) => headless(args, runner, panel, job, &hands, state.path()).await,
            _ => {
                let desk = Desk {
                    config: Arc::clone(&config),
                    state: state.path().to_path_buf(),
                    hands: hands.clone(),
                };
                desk.open(args, runner, panel, prepared).await
            }
        }
    });
    // Whatever still hangs on a disk or vets a program ends with the process.
    runtime.shutdown_background();
    code
}

/// The folder for journal and programs: a fresh one that is thrown away, or the named one.
enum State {
    Fresh(tempfile::TempDir),
    Kept(PathBuf),
}

impl State {
    fn new(named: Option<&Path>) -> Result<Self, Trouble> {
        match named {
            Some(dir) => {
                std::fs::create_dir_all(dir).map_err(|e| {
                    usage(format!(
                        "--state {}: {e}. Name a folder that can be written.",
                        dir.display()
                    ))
                })?;
                Ok(Self::Kept(dir.to_path_buf()))
            }
            None => tempfile::Builder::new()
                .prefix("standclear-practice-")
                .tempdir()
                .map(Self::Fresh)
                .map_err(|e| unfinished(format!("no folder for the journal: {e}"))),
        }
    }

    fn path(&self) -> &Path {
        match self {
            Self::Fresh(dir) => dir.path(),
            Self::Kept(dir) => dir,
        }
    }
}

fn prepare(args: &PracticeArgs, config: &Config) -> Result<Prepared, Trouble> {
    let make = |name: &str, text: Vec<u8>, setup| {
        crate::job::unwatched(config, name, text.into(), Some(setup), args.join)
    };
    let setup = match &args.setup {
        Some(file) => {
            let text = read(file)?;
            let text = String::from_utf8_lossy(&text);
            let told = |e| usage(format!("{}: {e}", file.display()));
            Some(Setup::from_toml(&text).map_err(told)?)
        }
        None => None,
    };
    let Some(file) = &args.program else {
        let demo = crate::library::demo(DEMO)
            .ok_or_else(|| unfinished("the built-in demonstration is missing"))?;
        let setup = setup.unwrap_or(demo.setup);
        return Ok(make(&demo.name, demo.text, setup));
    };
    let text = read(file)?;
    let name = file
        .file_stem()
        .map_or_else(|| "program".into(), |s| s.to_string_lossy().into_owned());
    let setup = match setup {
        Some(setup) => setup,
        None => planning::sheet_for(&config.table(), &text)
            .inspect(|s| {
                complain(&format!(
                    "no --setup: practising on a {:.0} x {:.0} mm sheet of {} {} mm laid round the \
                     program",
                    s.sheet.x, s.sheet.y, s.material, s.thickness
                ));
            })
            .ok_or_else(|| unfinished("nothing in this program can be laid on a sheet"))?,
    };
    Ok(make(&name, text, setup))
}

fn read(file: &Path) -> Result<Vec<u8>, Trouble> {
    crate::files::read(file, LONGEST).map_err(|e| {
        usage(format!(
            "{} {e}. Name a file that can be read.",
            file.display()
        ))
    })
}

/// In practice warnings are accepted with the reason "practice".
fn seal(prepared: &Prepared, config: &Config, args: &PracticeArgs) -> Result<Arc<Job>, Trouble> {
    let accepted = prepared.report.accepted_for("practice");
    prepared.seal(&config.table(), &accepted).map_err(|why| {
        let colour = false;
        let report =
            program::text::render(&prepared.report, &prepared.name, &prepared.text, colour);
        if args.headless {
            complain(report.trim_end());
        }
        unfinished(why)
    })
}

async fn headless(
    args: &PracticeArgs,
    runner: Runner,
    panel: Panel,
    job: &Job,
    hands: &SharedHands,
    state: &Path,
) -> Result<ExitCode, Trouble> {
    let told_to_end = crate::serve::told_to_end_in_time();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let task = tokio::spawn(runner.run(async {
        // Either way it is time to end.
        let _ = stopped.await;
    }));
    let mut stop = Some(stop);
    let view = tokio::select! {
        view = watch_to_the_end(&panel, job) => view,
        () = told_to_end => {
            // Torch off before anything is asked of anybody.
            stop.take();
            panel.latest().view.clone()
        }
    };
    let truth = hands.truth().map_err(unfinished)?;
    // The runner may have ended by itself; it is waited for all the same.
    drop(stop);
    if let Err(error) = task.await {
        return Err(unfinished(format!("the panel ended by a panic: {error}")));
    }
    // The panel has ended: all that it recorded is there. A run that never began has no events.
    let earlier = Earlier::read(state).unwrap_or_default();
    let summary = Summary::new(job, &view, earlier, truth);
    let mut checks = view.checks.iter();
    let open = checks.find(|c| c.check == CheckId::Commissioned && c.holds != Some(true));
    if let Some(open) = open {
        complain(&format!("START is shut. {}", open.remedy));
    }
    match args.format {
        Format::Json => say(&(serde_json::to_string(&summary).map_err(unfinished)? + "\n")),
        Format::Text => say(&summary.text(view.phase)),
    }
    if summary.exit_status() == 0 {
        return Ok(ExitCode::SUCCESS);
    }
    if !summary.is_clean() {
        complain("standclear practice: the table saw physical wrongs: this run is not done");
    }
    if view.phase != Phase::Finished && !summary.is_whole() {
        complain(&format!(
            "standclear practice: stood still in {:?}, waiting for {:?}",
            view.phase, view.waiting_for
        ));
        for check in view.checks.iter().filter(|c| c.holds == Some(false)) {
            complain(&format!(
                "  not so: {}",
                control::words::check(check.check).says
            ));
        }
    }
    Ok(ExitCode::from(summary.exit_status()))
}

/// Prints; where nothing can be printed, the exit status tells all the same.
fn say(text: &str) {
    let mut out = std::io::stdout();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Follows the run until it is finished, or until nothing has changed for too long.
/// A step of commissioning did not pass, and the operator makes none again: the job is not begun.
fn not_commissioned(view: &View) -> bool {
    let Some(table) = &view.commissioning else {
        return false;
    };
    let failed = |s: &StepView| s.step.facts().guards && s.standing == Standing::Failed;
    let quiet = table.open.is_none() && view.run.is_none() && view.alarms.is_empty();
    quiet && table.steps.iter().any(failed)
}

async fn watch_to_the_end(panel: &Panel, job: &Job) -> View {
    let bar = progress_bar(job);
    let mut published = panel.watch();
    let mut since: (u64, Time) = (0, Time::ZERO);
    loop {
        let latest = published.borrow_and_update().clone();
        let view = &latest.view;
        let done = job.planned_s - view.left_s.unwrap_or(job.planned_s);
        bar.set_position(done.max(0.0) as u64);
        if let Some(cut) = view.cut {
            bar.set_message(format!("cut {cut} of {}", view.cuts.len()));
        }
        if view.generation != since.0 || view.phase == Phase::Running {
            since = (view.generation, latest.at);
        }
        let stuck = latest.at.since(since.1).as_secs_f64() > STUCK_S;
        if view.phase == Phase::Finished || stuck || not_commissioned(view) {
            bar.finish_and_clear();
            return view.clone();
        }
        if published.changed().await.is_err() {
            bar.finish_and_clear();
            return panel.latest().view.clone();
        }
    }
}

fn progress_bar(job: &Job) -> indicatif::ProgressBar {
    // Draws on stderr, and only where that is a terminal.
    let bar = indicatif::ProgressBar::new(job.planned_s.ceil() as u64);
    if let Ok(style) =
        indicatif::ProgressStyle::with_template("{wide_bar} {msg}  {pos} of {len} s (table time)")
    {
        bar.set_style(style);
    }
    bar
}

/// What hands do at the table depends on what is asked for: an input that a step of commissioning wants
/// worked, a button that was never seen to work, else what is wrong is set right.
fn at_the_table(hands: SharedHands, panel: Panel) -> Arc<crate::web::SetRight> {
    Arc::new(move || {
        let view = &panel.latest().view;
        let open = view.commissioning.as_ref().and_then(|c| c.open.as_ref());
        if let Some((wire, how)) = open.and_then(|o| o.wire) {
            return hands.work_input(wire, how);
        }
        let wrong = view.alarms.iter().any(|a| !a.gone);
        if !wrong && operator::untried(view) {
            return hands.try_buttons();
        }
        hands.remedy(None)
    })
}

/// Commissions the table in this terminal.
async fn terminal(
    step: Option<&str>,
    runner: Runner,
    panel: Panel,
    hands: Arc<crate::web::SetRight>,
) -> Result<ExitCode, Trouble> {
    let steps = crate::commission::wanted(step).map_err(usage)?;
    let told_to_end = crate::serve::told_to_end_in_time();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let task = tokio::spawn(runner.run(async {
        // Either way it is time to end.
        let _ = stopped.await;
    }));
    let passed = tokio::select! {
        passed = session::run(&panel, &steps, Terminal::here(Some(hands))) => passed,
        () = told_to_end => Err("ended: what was open is not on record".to_owned()),
    };
    drop(stop);
    task.await.map_err(unfinished)?;
    Ok(ExitCode::from(u8::from(!passed.map_err(unfinished)?)))
}

/// The console of a practice.
struct Desk {
    config: Arc<Config>,
    state: PathBuf,
    hands: SharedHands,
}

impl Desk {
    async fn open(
        self,
        args: &PracticeArgs,
        runner: Runner,
        panel: Panel,
        prepared: Prepared,
    ) -> Result<ExitCode, Trouble> {
        let (corner, laying) = (self.config.sheet_corner, self.hands.clone());
        // The sheet of the command line lies there already, and faults wait on it: the first load
        // leaves it. Every further one is a new sheet.
        let untouched = AtomicBool::new(true);
        let on_load = move |job: &Job| {
            let laid = if untouched.swap(false, Ordering::AcqRel) {
                laying.lay_unless_there(job, corner)
            } else {
                laying.lay(job, corner)
            };
            if let Err(error) = laid {
                tracing::warn!(error, "the sheet could not be laid on the simulated table");
            }
        };
        let practice = crate::serve::Practice {
            set_right: at_the_table(self.hands.clone(), panel.clone()),
            on_load: Arc::new(on_load),
            prepared: Arc::new(prepared),
        };
        crate::serve::console(
            self.config,
            &self.state,
            args.listen,
            runner,
            panel,
            Some(practice),
        )
        .await
        .map_err(usage)
    }
}
