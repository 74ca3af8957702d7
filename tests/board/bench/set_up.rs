//! The machine file of this board, its table, and the state that the panel begins on.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use control::commissioning::Step;
use control::{Event, RecordId};
use simulator::Table;
use standclear::config::Config;
use standclear::journal::Journal;
use standclear::practice::table::table_settings;
use units::Time;

use crate::panel::Panel;
use crate::tape::{self, Deed};
use crate::world::Shared;

/// The machine file of the cases.
pub const MACHINE_FILE: &str = "/config/machines/board.toml";
/// The disk that outlives a cut of the power, where there is one.
pub const DISK: &str = "/disk";
/// What the table was told, on a disk of its own.
pub const TAPE: &str = "/tape/told";
/// The name of the controller's port.
const WIRE: &str = "/tmp/wire";
/// From a cut of the power until the panel is back: the table has stood so long without it.
const DARK_FOR: Duration = Duration::from_secs(15);

/// The case that takes off its wire is the guard's: the example leaves it out.
const GATE: &str = "
[pins.inputs.gate]
pin = 22
pull = \"outside-up\"
closed_is = \"low\"
debounce_ms = 0
";

/// The machine file, written, and read back.
pub fn config() -> Result<Config, String> {
    let text = std::fs::read_to_string("/config/machines/example-board.toml")
        .map_err(|e| e.to_string())?
        // The simulated chip's own resistors are what the table drives the lines by.
        .replace("pull = \"up\"", "pull = \"outside-up\"")
        .replace("/dev/standclear-controller", WIRE);
    std::fs::write(MACHINE_FILE, text + GATE).map_err(|e| e.to_string())?;
    Config::load(Path::new(MACHINE_FILE)).map_err(|e| e.to_string())
}

fn state() -> PathBuf {
    if Path::new(DISK).is_dir() {
        Path::new(DISK).join("state")
    } else {
        PathBuf::from("/tmp/state")
    }
}

/// A table that was just switched on, and a panel that was never started. `taped`: what the table is told is
/// kept.
pub fn fresh(chip: &str, taped: bool) -> Result<Panel, String> {
    let config = config()?;
    let table = Table::new(table_settings(&config, 1, false));
    let panel = panel(chip, config, table, taped)?;
    panel.write_programs()?;
    on_record(&panel.state, &panel.config.commissioning.covered)?;
    // They were copied long ago.
    rustix::fs::sync();
    Ok(panel)
}

/// The table alone, for a panel that something else starts: by its machine file, at that name of a port, whose
/// end for the panel belongs to a group. It runs until it is ended.
pub fn table_alone(chip: &str, args: &[String]) -> Result<usize, String> {
    let [file, wire, gid] = args else {
        return Err("table FILE WIRE GROUP".into());
    };
    let config = Config::load(Path::new(file)).map_err(|e| e.to_string())?;
    let table = Table::new(table_settings(&config, 1, false));
    let wire = Path::new(wire);
    let _turns = Shared::start(table, &config, chip, wire, false)
        .map_err(|e| format!("the table's wires: {e}"))?;
    let port = std::fs::canonicalize(wire).map_err(|e| e.to_string())?;
    let gid = gid.parse().map_err(|e| format!("{gid}: {e}"))?;
    std::os::unix::fs::chown(&port, None, Some(gid)).map_err(|e| e.to_string())?;
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o660);
    std::fs::set_permissions(&port, mode).map_err(|e| e.to_string())?;
    crate::world::say("the table is there");
    loop {
        std::thread::park();
    }
}

/// After a cut of the power: the table as it stood then, and since then without a panel, with its permit's
/// line low. What the state folder holds is what is on the disk.
pub fn after_a_cut_of_the_power(chip: &str) -> Result<Panel, String> {
    let config = config()?;
    let mut table = Table::new(table_settings(&config, 1, false));
    tape::tell_again(Path::new(TAPE), &mut table)?;
    if !table.burns() {
        return Err("the power was not cut with the arc on".into());
    }
    for after in [Duration::ZERO, crate::judge::DARK] {
        without_a_panel(&mut table, after)?;
    }
    if table.burns() {
        return Err("the arc burns on after the power was cut".into());
    }
    without_a_panel(&mut table, DARK_FOR)?;
    panel(chip, config, table, false)
}

fn without_a_panel(table: &mut Table, span: Duration) -> Result<(), String> {
    let turn = Deed::Turn {
        us: (table.now() + span).as_us(),
        permit: false,
        bytes: Vec::new(),
    };
    turn.tell(table)?;
    let _nobody_hears = table.take_wire_out();
    Ok(())
}

fn panel(chip: &str, config: Config, table: Table, taped: bool) -> Result<Panel, String> {
    let world = Shared::start(table, &config, chip, Path::new(WIRE), taped)
        .map_err(|e| format!("the table's wires: {e}"))?;
    Panel::new(world, Path::new(MACHINE_FILE), config, &state())
}

/// The cases begin on a table that is on record as commissioned: nobody walks round this one.
fn on_record(state: &Path, covered: &BTreeMap<Step, String>) -> Result<(), String> {
    let (reports, _from_journal) = tokio::sync::mpsc::unbounded_channel();
    let (mut journal, _) = Journal::open(state, reports).map_err(|e| e.to_string())?;
    for step in Step::guarding() {
        let event = Event::Commissioned {
            step,
            passed: true,
            measured: "Not measured: written down for the cases of the emulated board.".into(),
            covered: covered.get(&step).cloned().unwrap_or_default(),
            simulated: false,
        };
        journal.record(RecordId(u64::from(step.number())), event, true, Time::ZERO);
    }
    journal.close();
    Ok(())
}
