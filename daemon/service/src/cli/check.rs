//! `standclear check`: configuration, dialect, serial port, pins, arc volts, state folder, disk, clock,
//! supply, rights and versions: what was found, what was expected, and what to do.
//!
//! It only looks. It opens neither port nor pins: opening resets some controllers, and a pin taken
//! here would end the permit of a panel that is cutting. The converter of the arc volts is opened and
//! read, but not beside a panel that has it. To time the disk a file without a name is written beside the
//! journal and is gone at the end.

mod board;
mod disk;
mod serial;

use std::fs;
use std::os::unix::fs::{FileTypeExt as _, MetadataExt as _};
use std::path::Path;
use std::process::ExitCode;

use link::{Capability, Dialect, StampedInput};
use rustix::fs::Access;

use process::VoltsInput;

use super::args::state_dir;
use super::{CheckArgs, Format, USAGE, fail, print};
use crate::arc_volts::{self, TriedOut};
use crate::board as pins_of;
use crate::config::{Config, Found as MachineFile, SIGNALS};
use crate::pins::Monotonic;

/// What was found of one thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// What was looked at.
    pub what: &'static str,
    /// What it must be.
    pub expected: &'static str,
    /// In order, or wrong with what to do.
    pub how: Judged,
}

/// What was found: in order, or wrong with what to do.
pub type Judged = Result<String, (String, String)>;

fn wrong(found: &str, remedy: &str) -> Judged {
    Err((found.to_owned(), remedy.to_owned()))
}

/// Runs the command.
pub fn run(args: &CheckArgs) -> ExitCode {
    let file = MachineFile::look(args.config.as_deref(), &|name| std::env::var_os(name));
    let config = match file.load() {
        Ok(config) => config,
        Err(says) => return fail("check", &says, USAGE),
    };
    let mut found = vec![configuration(&config, &file.which())];
    found.push(port(&config.link.port));
    found.extend(serial::latency(&config.link.port, Path::new("/")));
    found.push(lost_arc(&config.link.dialect));
    found.extend(does_without(&config.link.dialect));
    found.extend(pins(&config));
    found.push(volts(&config));
    let state = state_dir(args.state.as_deref(), &|name| std::env::var_os(name));
    found.extend(disk::lines(state.as_deref().map_err(String::as_str)));
    found.extend(board::lines(Path::new("/")));
    let wrong = found.iter().any(|f| f.how.is_err());
    let told = match args.format {
        Format::Text => text(&found),
        Format::Json => json(&found),
    };
    print("check", &told, u8::from(wrong))
}

/// What takes away or proves and this controller cannot do: no fault, and to be known.
fn does_without(dialect: &Dialect) -> impl Iterator<Item = Found> {
    // How the place of a lost arc is known has a line of its own.
    let all = dialect.lacks().into_iter().filter(|l| l.id != "stamps");
    all.map(|lack| Found {
        what: "controller",
        expected: "what takes away or proves, as far as the controller can",
        how: Ok(format!("{} {}", lack.says, lack.therefore)),
    })
}

/// For people.
pub fn text(found: &[Found]) -> String {
    let mut out = String::new();
    for f in found {
        match &f.how {
            Ok(says) => out.push_str(&format!("{:<20} in order  {says}\n", f.what)),
            Err((says, remedy)) => {
                out.push_str(&format!(
                    "{:<20} WRONG     {says}\n{:<30} expected: {}\n{:<30} -> {remedy}\n",
                    f.what, "", f.expected, ""
                ));
            }
        }
    }
    let wrong = found.iter().filter(|f| f.how.is_err()).count();
    out.push_str(&match wrong {
        0 => "All in order.\n".to_owned(),
        1 => "1 thing is wrong.\n".to_owned(),
        n => format!("{n} things are wrong.\n"),
    });
    out
}

/// One object: version of this form, how many are wrong, and a line for each thing.
pub fn json(found: &[Found]) -> String {
    let lines: Vec<_> = found
        .iter()
        .map(|f| {
            let (says, remedy) = match &f.how {
                Ok(says) => (says, None),
                Err((says, remedy)) => (says, Some(remedy)),
            };
            serde_json::json!({
                "what": f.what, "in_order": f.how.is_ok(), "found": says, "expected": f.expected, "to_do": remedy
            })
        })
        .collect();
    let wrong = found.iter().filter(|f| f.how.is_err()).count();
    format!(
        "{}\n",
        serde_json::json!({ "v": 1, "wrong": wrong, "lines": lines })
    )
}

fn configuration(config: &Config, file: &str) -> Found {
    let chart = match config.chart.len() {
        0 => "no chart".to_owned(),
        n => format!("{n} chart rows"),
    };
    Found {
        what: "configuration",
        expected: "a machine file, dialect and chart without a mistake",
        how: Ok(format!(
            "{file}: {}, dialect {}, {} baud, {chart}",
            config.name, config.link.dialect.name, config.link.baud
        )),
    }
}

/// How the place of a lost arc is known with this controller.
fn lost_arc(dialect: &Dialect) -> Found {
    let says = if dialect.has(Capability::Stamps(StampedInput::ArcOk)) {
        "the controller stamps the place at which the arc goes out"
    } else {
        "the controller does not stamp the place at which the arc goes out: it is interpolated \
         between its reports, and less sure"
    };
    Found {
        what: "place of a lost arc",
        expected: "told either way",
        how: Ok(says.into()),
    }
}

/// Looks at the serial port without opening it.
pub fn port(path: &Path) -> Found {
    Found {
        what: "serial port",
        expected: "the port of link.port, there and to be opened by this user",
        how: look_at_port(path),
    }
}

fn look_at_port(path: &Path) -> Result<String, (String, String)> {
    let name = path.display();
    let about = fs::metadata(path).map_err(|e| {
        (
            format!("{name}: {e}"),
            "Plug the controller in and switch it on; /dev/serial/by-id lists what is there. \
             Then put its path at link.port of the machine file"
                .to_owned(),
        )
    })?;
    if !about.file_type().is_char_device() || is_no_terminal(about.rdev()) {
        return Err((
            format!("{name} is no serial port"),
            "Put the path of the controller's port at link.port of the machine file".into(),
        ));
    }
    match rustix::fs::access(path, Access::READ_OK | Access::WRITE_OK) {
        Ok(()) => Ok(format!(
            "{name} is there and may be opened (it was not opened){}",
            serial::name(path, Path::new("/"))
        )),
        Err(e) => Err((
            format!("{name} may not be opened: {e}"),
            may_not(about.gid()),
        )),
    }
}

/// The kernel says that this character device is something other than a terminal.
fn is_no_terminal(device: u64) -> bool {
    let (major, minor) = (rustix::fs::major(device), rustix::fs::minor(device));
    let subsystem = format!("/sys/dev/char/{major}:{minor}/subsystem");
    fs::read_link(subsystem).is_ok_and(|to| to.file_name().is_some_and(|n| n != "tty"))
}

fn may_not(gid: u32) -> String {
    let groups = fs::read_to_string("/etc/group").unwrap_or_default();
    let group = group_name(&groups, gid);
    let mine = rustix::process::getgroups().unwrap_or_default();
    if mine.iter().any(|g| g.as_raw() == gid) {
        return format!("This user is in the group {group}: let the group read and write the port");
    }
    format!(
        "Add this user to the group {group} (sudo usermod -aG {group} USER) and log in again, or \
         install the udev rules of this project"
    )
}

/// A group's name by its number, from the text of /etc/group.
pub fn group_name(groups: &str, gid: u32) -> String {
    groups
        .lines()
        .map(|l| l.split(':').collect::<Vec<_>>())
        .find(|l| l.get(2).and_then(|n| n.parse().ok()) == Some(gid))
        .and_then(|l| l.first().map(|n| (*n).to_owned()))
        .unwrap_or_else(|| gid.to_string())
}

/// The pins, what else could drive them here, and how a broken wire at each input is found.
fn pins(config: &Config) -> Vec<Found> {
    let pins = &config.pins;
    let how = pins_of::look(pins).map(|board| {
        let fitted: Vec<_> = pins.fitted.iter().map(String::as_str).collect();
        format!(
            "{}: {board}; fitted: {}",
            pins.backend.name(),
            fitted.join(", ")
        )
    });
    let mut found = vec![Found {
        what: "pins",
        expected: "the chip or board of [pins], with every line that is named, to be opened by this user",
        how: how.map_err(|e| (e.says, e.remedy)),
    }];
    for (backend, here) in pins_of::possible(pins) {
        let says = match here {
            Ok(told) => format!("{} is possible here: {told}", backend.name()),
            Err(e) => format!("{} is not possible here: {}", backend.name(), e.says),
        };
        found.push(Found {
            what: "pins' backends",
            expected: "told either way",
            how: Ok(says),
        });
    }
    found.push(outputs(config));
    for input in &pins.inputs {
        let Some(kind) = SIGNALS.iter().find(|k| k.name == input.signal) else {
            continue;
        };
        found.push(Found {
            what: "a broken wire",
            expected: "told for each input",
            how: Ok(format!("{}: {}", input.signal, kind.proof)),
        });
    }
    found
}

/// Beacon, sounder and extraction. Nothing tells the panel whether one works.
fn outputs(config: &Config) -> Found {
    let pins = &config.pins.outputs;
    let named: Vec<_> = pins
        .iter()
        .map(|(o, pin)| format!("{} on line {pin}", o.name()))
        .collect();
    let says = if named.is_empty() {
        "no beacon, sounder or extraction is named in [pins.outputs]".to_owned()
    } else {
        let named = named.join(", ");
        format!("{named}: nothing tells whether they work, try them by the lamp test of Set up")
    };
    Found {
        what: "outputs",
        expected: "told either way",
        how: Ok(says),
    }
}

/// Readings that `check` takes of the volts.
const READINGS: usize = 100;
/// At rest the volts are nothing within this, V (process handbook, self-test).
const AT_REST_V: f64 = 2.0;

/// The converter of the arc volts: opened and read, unless a panel that runs has it.
fn volts(config: &Config) -> Found {
    let what = "arc volts";
    let expected = "a converter that answers, its wire on, within 2 V of nothing at rest";
    let Some(volts) = &config.volts else {
        let says = "no converter is named in [volts]: the panel cannot tell a double arc, an open circuit \
                    or a wrong divider";
        return Found {
            what,
            expected,
            how: Ok(says.into()),
        };
    };
    let device = volts.device.display().to_string();
    let how = match arc_volts::open(volts, config.power.divider) {
        Err(e) if e.in_use => Ok(format!("{}: it was not read", e.says)),
        Err(e) => Err((e.says, e.remedy)),
        Ok(source) => match source.try_out(&Monotonic::starting_now(), READINGS) {
            Ok(tried) => judge_volts(&device, tried),
            Err(says) => Err((
                format!("{device}: the converter {says}"),
                "Look at its supply and its wires, and at converter, device, address and channel in \
                 [volts]"
                    .to_owned(),
            )),
        },
    };
    Found {
        what,
        expected,
        how,
    }
}

fn judge_volts(device: &str, tried: TriedOut) -> Result<String, (String, String)> {
    let found = format!(
        "{device}: {:.3} V at the input, {:.1} arc volts, {} counts from lowest to highest of {READINGS}",
        tried.input_v,
        tried.volts.volts,
        tried.high - tried.low
    );
    if tried.volts.input == VoltsInput::WireOff {
        let remedy = "The wire of the arc volts is off: put it back on, or correct \
                      volts.wire_off_below_v";
        return Err((found, remedy.into()));
    }
    if tried.volts.volts.abs() > AT_REST_V {
        return Err((
            format!("{found}; at rest {AT_REST_V:.0} at most"),
            "Switch the power source off and look again; if it stays, put what the input stands at into \
             volts.offset_v"
                .into(),
        ));
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{ConverterKind, VoltsConfig};

    #[test]
    fn what_the_converter_reads_is_told_and_judged_as_at_rest() {
        let tried = |volts, input| TriedOut {
            volts: process::ArcVolts { volts, input },
            low: 408,
            high: 411,
            input_v: 0.5,
        };
        let good = judge_volts("/dev/x", tried(1.9, VoltsInput::Plausible)).expect("at rest");
        assert!(
            good.contains("1.9 arc volts") && good.contains("3 counts"),
            "{good}"
        );
        assert!(judge_volts("/dev/x", tried(0.0, VoltsInput::Unmoving)).is_ok());
        for volts in [2.1, -2.1, 118.0] {
            let wrong = judge_volts("/dev/x", tried(volts, VoltsInput::Plausible));
            assert!(wrong.is_err_and(|(_, r)| r.contains("power source off")));
        }
        let loose = judge_volts("/dev/x", tried(0.0, VoltsInput::WireOff));
        assert!(loose.is_err_and(|(_, r)| r.contains("wire")));
    }

    #[test]
    fn a_converter_that_is_missing_or_none_at_all_is_told() {
        let mut config = Config::built_in();
        assert!(
            volts(&config)
                .how
                .is_ok_and(|says| says.contains("no converter"))
        );
        let folder = tempfile::tempdir().expect("a folder");
        let device = folder.path().join("spidev9.9");
        config.volts = Some(VoltsConfig {
            converter: ConverterKind::Spi12Bit,
            device: device.clone(),
            address: 0x48,
            channel: 0,
            full_scale_v: 5.0,
            offset_v: 0.0,
            wire_off_below_v: None,
        });
        let (says, remedy) = volts(&config).how.expect_err("it is not there");
        assert!(
            says.contains("spidev9.9") && remedy.contains("Switch SPI on"),
            "{says} {remedy}"
        );
        // A file is no bus.
        std::fs::write(device, "").expect("a file");
        assert!(volts(&config).how.is_err());
    }

    #[test]
    fn how_a_broken_wire_is_found_is_told_for_each_input_and_what_drives_pins_here() {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/machines/example-board.toml");
        let config = Config::load(&file).expect("the example is in order");
        let told = text(&pins(&config));
        for input in &config.pins.inputs {
            let line = told
                .lines()
                .find(|l| l.contains(&format!("  {}: ", input.signal)));
            assert!(
                line.is_some_and(|l| l.contains("reads as")),
                "{}:\n{told}",
                input.signal
            );
        }
        for backend in ["character-device is", "rppal is"] {
            assert!(told.contains(backend), "{told}");
        }
    }
}
