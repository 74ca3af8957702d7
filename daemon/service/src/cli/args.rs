//! All commands and their flags: as typed (clap), then as resolved.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use clap::{Args, Parser, Subcommand, ValueEnum};
use simulator::harness::{FaultKind, FaultSpec, WireFault};

use super::dialect_args::DialectArgs;
use super::faults::FaultArg;
pub use super::format::Format;
pub use super::make_args::{MakeArgs, MakeShape};

/// The console's port unless another is named.
pub const DEFAULT_PORT: u16 = 8440;

/// The whole command line.
#[derive(Debug, Parser)]
#[command(
    name = "standclear",
    version,
    about = "The operator's panel of a home-built plasma cutting table",
    long_about = "The operator's panel of a home-built plasma cutting table: vets a cutting \
                  program, streams it to the motion controller, watches every cut and keeps a \
                  journal.\n\nThe emergency stop is a hard-wired circuit: this program only \
                  watches it. Never rely on it for emergency stop or isolation.",
    after_help = "Start with `standclear practice`: the same panel on a simulated table."
)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// The panel on the real table
    Serve(ServeArgs),
    /// The same panel on a simulated table
    Practice(PracticeTyped),
    /// Say whether a cutting program may be cut, and why not
    Vet(VetArgs),
    /// Whether time, air, source and torch parts suffice for a job, and the pauses that make them
    Plan(PlanArgs),
    /// The rows of a cut chart: where each comes from, which cannot be true, what lies between two
    Chart(ChartArgs),
    /// A simple program from finished sizes: kerf, leads and order, vetted
    Make(MakeArgs),
    /// Tell what happened, from the journal
    Log(LogArgs),
    /// Feed a recorded run through the panel's decisions again and compare
    Replay(ReplayArgs),
    /// Look at configuration, port, pins, disk, clock and board: what is wrong and what to do
    Check(CheckArgs),
    /// How a controller is spoken to: a skeleton to fill in, or a dialect tried on one that stands still
    Dialect(DialectArgs),
    /// Configuration, charts, programs and journal into one file
    Backup(BackupArgs),
    /// Put what a backup holds back in place; what lies there is moved aside
    Restore(RestoreArgs),
    /// Prove the table step by step before anything is cut on it, and what is on record of that
    Commission(CommissionArgs),
    /// First-article sums: what readings of a finished part say of kerf, scale and squareness
    Article(ArticleArgs),
    /// The simulated table as a process of its own
    #[command(hide = true)]
    Table(TableArgs),
    /// Manual pages and completions, for the package
    #[command(hide = true)]
    Pages(PagesArgs),
}

/// How to print a journal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    /// For people.
    #[default]
    Text,
    /// One JSON object.
    Json,
    /// Comma-separated values, a line for each event.
    Csv,
}

/// `standclear serve`.
#[derive(Clone, Debug, Args)]
pub struct ServeArgs {
    /// The machine file of the table [default: $STANDCLEAR_CONFIG, /etc/standclear/machine.toml]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder of journal and programs [default: $STATE_DIRECTORY, /var/lib/standclear where it
    /// can be written, else the user's state folder]
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
    /// Where the console listens [default: 127.0.0.1:8440; 0.0.0.0:8440 with access.watch = "lan"]
    #[arg(long, value_name = "ADDR")]
    pub listen: Option<SocketAddr>,
}

impl ServeArgs {
    /// The folder of journal and programs.
    ///
    /// # Errors
    /// None was named and none can be found, in words.
    pub fn state_dir(&self) -> Result<PathBuf, String> {
        state_dir(self.state.as_deref(), &|name| std::env::var_os(name))
    }
}

/// The state folder: as named, as the service manager says, the system's if it can be written,
/// else the user's.
pub fn state_dir(
    named: Option<&Path>,
    variable: &dyn Fn(&str) -> Option<std::ffi::OsString>,
) -> Result<PathBuf, String> {
    if let Some(dir) = named {
        return Ok(dir.to_path_buf());
    }
    let path = |name: &str| variable(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    if let Some(dirs) = path("STATE_DIRECTORY") {
        // The service manager separates several by colons; ours is the first.
        let first = dirs.to_string_lossy().split(':').next().map(PathBuf::from);
        return Ok(first.unwrap_or(dirs));
    }
    let system = Path::new("/var/lib/standclear");
    if rustix::fs::access(system, rustix::fs::Access::WRITE_OK).is_ok() {
        return Ok(system.to_path_buf());
    }
    let absolute = |p: &PathBuf| p.is_absolute();
    path("XDG_STATE_HOME")
        .filter(absolute)
        .or_else(|| {
            path("HOME")
                .filter(absolute)
                .map(|h| h.join(".local/state"))
        })
        .map(|state| state.join("standclear"))
        .ok_or_else(|| {
            "no folder for the journal: /var/lib/standclear cannot be written and there is no \
             HOME. Name one with --state DIR"
                .into()
        })
}

/// `standclear backup`.
#[derive(Clone, Debug, Args)]
pub struct BackupArgs {
    /// The file to make; it must not be there yet
    pub file: PathBuf,
    /// The machine file of the table [default: $STANDCLEAR_CONFIG, /etc/standclear/machine.toml]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder of journal and programs [default: as `serve` takes it]
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
}

/// `standclear restore`.
#[derive(Clone, Debug, Args)]
pub struct RestoreArgs {
    /// A file that `standclear backup` has made
    pub file: PathBuf,
    /// Where the machine file goes [default: $STANDCLEAR_CONFIG, /etc/standclear/machine.toml]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder of journal and programs [default: as `serve` takes it]
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
}

/// `standclear practice`, as typed.
#[derive(Clone, Debug, Args)]
pub struct PracticeTyped {
    /// The cutting program; left out: a built-in demonstration
    pub program: Option<PathBuf>,
    /// What lies on the table
    #[arg(long, value_name = "FILE")]
    pub setup: Option<PathBuf>,
    /// The machine file; left out: an invented table
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder of journal and programs; left out: a fresh one that is thrown away
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
    /// At most so many times as fast as a real table (0.1 to 1000) [default: 1, headless 50]
    #[arg(long, value_name = "N", value_parser = speed)]
    pub speed: Option<f64>,
    /// Of every draw of chance: the same seed, the same run
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// With mishaps by chance: misfires, slag, film, pieces that tip, resets
    #[arg(long)]
    pub rough: bool,
    /// Let something go wrong: KIND@CUT[:MM], wire=NAME or noise=RATE; may be repeated
    #[arg(long = "fault", value_name = "SPEC", long_help = super::faults::HELP)]
    pub faults: Vec<FaultArg>,
    /// No console: an automatic operator runs the job, then a summary is printed
    #[arg(long)]
    pub headless: bool,
    /// Where the console listens [default: 127.0.0.1:8440; 0.0.0.0:8440 with access.watch = "lan"]
    #[arg(long, value_name = "ADDR")]
    pub listen: Option<SocketAddr>,
    /// How the summary of a headless run is printed
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: Format,
    /// Join short pieces of the program into lines and arcs within 0.02 mm, and cut the joined path
    #[arg(long)]
    pub join: bool,
    /// The automatic operator changes nozzle and electrode at the first lost arc
    #[arg(long, requires = "headless")]
    pub change_parts: bool,
    /// The simulated table is not on record as commissioned; headless, the operator commissions it first
    #[arg(long)]
    pub commission: bool,
    /// Commission the simulated table in this terminal: the steps that guard a person, or the one that is
    /// named. `t` lets hands at the table do what is asked for
    #[arg(long, value_name = "STEP", num_args = 0..=1, default_missing_value = "", conflicts_with = "headless")]
    pub terminal: Option<String>,
    /// Join a simulated table that runs already (see the hidden command `table`)
    #[arg(long, value_name = "DIR", hide = true)]
    pub table: Option<PathBuf>,
    /// How long the table waits for the panel before it runs on without it, real time, ms
    #[arg(long, value_name = "MS", hide = true, default_value_t = 100)]
    pub patience: u64,
    /// A file that tells how the journal's disk answers: `well`, `full`, `read-only` or `hangs`
    #[arg(long, value_name = "FILE", hide = true)]
    pub disk: Option<PathBuf>,
}

/// `standclear practice`, resolved.
#[derive(Clone, Debug)]
pub struct PracticeArgs {
    /// The cutting program; `None`: the demonstration.
    pub program: Option<PathBuf>,
    /// What lies on the table.
    pub setup: Option<PathBuf>,
    /// The machine file; `None`: built in.
    pub config: Option<PathBuf>,
    /// Folder of journal and programs; `None`: a fresh one.
    pub state: Option<PathBuf>,
    /// Ceiling of table time against real time.
    pub speed: f64,
    /// Of every draw.
    pub seed: u64,
    /// Mishaps by chance are on.
    pub rough: bool,
    /// What goes wrong by order.
    pub faults: Vec<FaultSpec>,
    /// Chance that a bit on the wire is turned over.
    pub noise: f64,
    /// An automatic operator in place of the console.
    pub headless: bool,
    /// Where the console listens; `None`: as the machine file says who may watch.
    pub listen: Option<SocketAddr>,
    /// How the summary is printed.
    pub format: Format,
    /// Short pieces of the program's path are joined.
    pub join: bool,
    /// Torch parts are changed at the first lost arc.
    pub change_parts: bool,
    /// The table does not come commissioned.
    pub commission: bool,
    /// A terminal in place of the console: the step that is named, or those that guard a person.
    pub terminal: Option<Option<String>>,
    /// What is wrong with its wires.
    pub wires: Vec<WireFault>,
    /// A table that runs already.
    pub table: Option<PathBuf>,
    /// How long the table waits for the panel, real time, ms.
    pub patience_ms: u64,
    /// Tells how the journal's disk answers; `None`: as it does.
    pub disk: Option<PathBuf>,
}

/// Without a console nobody watches: there is no reason to wait.
const HEADLESS_SPEED: f64 = 50.0;

impl PracticeArgs {
    /// From what was typed.
    ///
    /// # Errors
    /// A fault that this version does not know how to bring about, or two rates of noise.
    pub fn resolve(typed: PracticeTyped) -> Result<Self, String> {
        let mut faults = Vec::new();
        let (mut noise, mut wires) = (None, Vec::new());
        for fault in typed.faults {
            match fault {
                FaultArg::At(spec) => faults.push(spec),
                FaultArg::Wire(fault) => wires.push(fault),
                FaultArg::Noise(rate) if noise.is_none() => noise = Some(rate),
                FaultArg::Noise(_) => return Err("--fault noise=RATE: give one rate".into()),
            }
        }
        let kills = |f: &FaultSpec| f.kind == FaultKind::PanelKilled;
        if !typed.headless && faults.iter().any(kills) {
            return Err(
                "--fault panel-killed is for --headless: there it is started again by itself. Add \
                 --headless, or leave it out"
                    .into(),
            );
        }
        let default_speed = if typed.headless { HEADLESS_SPEED } else { 1.0 };
        Ok(Self {
            program: typed.program,
            setup: typed.setup,
            config: typed.config,
            state: typed.state,
            speed: typed.speed.unwrap_or(default_speed),
            seed: typed.seed,
            rough: typed.rough,
            commission: typed.commission || typed.terminal.is_some() || !wires.is_empty(),
            terminal: typed
                .terminal
                .map(|step| Some(step).filter(|s| !s.is_empty())),
            wires,
            faults,
            noise: noise.unwrap_or(0.0),
            headless: typed.headless,
            listen: typed.listen,
            format: typed.format,
            join: typed.join,
            change_parts: typed.change_parts,
            table: typed.table,
            patience_ms: typed.patience,
            disk: typed.disk,
        })
    }
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(n) if (0.1..=1000.0).contains(&n) => Ok(n),
        _ => Err("a number from 0.1 to 1000 is wanted".into()),
    }
}

/// How to print a vet report.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum VetFormat {
    /// For people.
    #[default]
    Text,
    /// One JSON object.
    Json,
    /// SARIF 2.1.0, for editors.
    Sarif,
}

/// `standclear vet`.
#[derive(Clone, Debug, Args)]
pub struct VetArgs {
    /// The cutting program
    #[arg(required_unless_present = "explain")]
    pub program: Option<PathBuf>,
    /// What lies on the table; left out: what needs it is not judged
    #[arg(long, value_name = "FILE")]
    pub setup: Option<PathBuf>,
    /// The machine file [default: $STANDCLEAR_CONFIG, /etc/standclear/machine.toml, else an invented
    /// table without a chart]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Join short pieces into lines and arcs within 0.02 mm, and vet the joined path
    #[arg(long)]
    pub join: bool,
    /// Draw sheet, path, loose pieces and flags into this file (SVG)
    #[arg(long, value_name = "FILE")]
    pub picture: Option<PathBuf>,
    /// How the report is printed
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: VetFormat,
    /// Print the page of a rule, or of all: what is measured, the limit, an example and its repair
    #[arg(long, value_name = "RULE|all", conflicts_with_all = ["program", "setup", "config", "join", "picture"])]
    pub explain: Option<String>,
}

/// Which run of a journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RunChoice {
    /// By its number.
    Id(u64),
    /// The last.
    Last,
}

impl std::str::FromStr for RunChoice {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "last" => Ok(Self::Last),
            _ => text
                .parse()
                .map(Self::Id)
                .map_err(|_| "the number of a run, or `last`, is wanted".into()),
        }
    }
}

/// `standclear log`.
#[derive(Clone, Debug, Args)]
pub struct LogArgs {
    /// Folder of the journal [default: as `serve`]
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
    /// One run alone: its number, or `last`
    #[arg(long, value_name = "ID|last")]
    pub run: Option<RunChoice>,
    /// How it is printed
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: LogFormat,
    /// Puts the run into a new file: what it was made of, what happened, its recording, its curves
    #[arg(long, value_name = "FILE", requires = "run")]
    pub bundle: Option<PathBuf>,
    /// Reads such a file in place of a journal, and says whether it is whole
    #[arg(long, value_name = "FILE", conflicts_with_all = ["state", "run", "bundle"])]
    pub from: Option<PathBuf>,
}

/// `standclear replay`.
#[derive(Clone, Debug, Args)]
pub struct ReplayArgs {
    /// The run's number, or `last`
    #[arg(value_name = "ID|last")]
    pub run: RunChoice,
    /// Folder of the journal [default: as `serve`]
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
    /// How the outcome is printed
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: Format,
    /// The run of a file that `log --bundle` has made
    #[arg(long, value_name = "FILE", conflicts_with = "state")]
    pub from: Option<PathBuf>,
}

/// `standclear check`.
#[derive(Clone, Debug, Args)]
pub struct CheckArgs {
    /// The machine file of the table [default: $STANDCLEAR_CONFIG, /etc/standclear/machine.toml]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder of journal and programs [default: as `serve` takes it]
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
    /// How it is printed
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: Format,
}

/// `standclear commission`.
#[derive(Clone, Debug, Args)]
pub struct CommissionArgs {
    /// Make this step, by its number or name; left out: those that guard a person, in order
    #[arg(value_name = "STEP")]
    pub step: Option<String>,
    /// Make none: print what is on record, on one page
    #[arg(long, conflicts_with = "step")]
    pub record: bool,
    /// The machine file of the table [default: $STANDCLEAR_CONFIG, /etc/standclear/machine.toml]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder of journal and programs [default: as `serve` takes it]
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
}

impl CommissionArgs {
    /// The folder of journal and programs.
    ///
    /// # Errors
    /// None was named and none can be found, in words.
    pub fn state_dir(&self) -> Result<PathBuf, String> {
        state_dir(self.state.as_deref(), &|name| std::env::var_os(name))
    }
}

/// `standclear chart`.
#[derive(Clone, Debug, Args)]
pub struct ChartArgs {
    /// The chart (TOML): see config/charts/invented.toml
    #[arg(value_name = "CHART.toml")]
    pub chart: PathBuf,
    /// Also the settings for this material
    #[arg(long, requires = "thickness")]
    pub material: Option<String>,
    /// ... of this thickness, mm
    #[arg(long, value_name = "MM", requires = "material")]
    pub thickness: Option<f64>,
    /// ... at this current, A
    #[arg(long, value_name = "A", requires = "thickness")]
    pub amps: Option<f64>,
    /// How it is printed
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: Format,
}

/// How the compressor is at the start.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum CompressorAt {
    /// It runs still: the receiver was just filled.
    Running,
    /// It rests until the pressure at which it starts.
    Resting,
    /// It is left off, for the noise.
    Off,
}

/// `standclear plan`.
#[derive(Clone, Debug, Args)]
pub struct PlanArgs {
    /// The cutting program
    pub program: PathBuf,
    /// What lies on the table
    #[arg(long, value_name = "FILE")]
    pub setup: PathBuf,
    /// The machine file [default: $STANDCLEAR_CONFIG, /etc/standclear/machine.toml, else that of practice]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// How the compressor is at the start [default: what the machine file says]
    #[arg(long, value_name = "STATE")]
    pub compressor: Option<CompressorAt>,
    /// Join short pieces into lines and arcs within 0.02 mm first
    #[arg(long)]
    pub join: bool,
    /// How the plan is printed
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: Format,
}

/// `standclear article`.
#[derive(Clone, Debug, Args)]
pub struct ArticleArgs {
    /// The readings (TOML): see config/articles/gauge-plate.toml
    #[arg(value_name = "READINGS.toml")]
    pub readings: PathBuf,
    /// The machine file, for its cut chart [default: $STANDCLEAR_CONFIG, /etc/standclear/machine.toml,
    /// else none]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// How the report is printed: text is a page to print
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    pub format: Format,
}

/// The hidden `standclear pages`.
#[derive(Clone, Debug, Args)]
pub struct PagesArgs {
    /// Folder to write them into
    pub dir: PathBuf,
}

/// The hidden `standclear table`.
#[derive(Clone, Debug, Args)]
pub struct TableArgs {
    /// Folder where its wires are laid out
    #[arg(long, value_name = "DIR")]
    pub dir: PathBuf,
    /// The machine file; left out: the invented table
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// At most so many times as fast as a real table
    #[arg(long, value_name = "N", default_value = "1", value_parser = speed)]
    pub speed: f64,
    /// Of every draw of chance
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// With mishaps by chance
    #[arg(long)]
    pub rough: bool,
}
