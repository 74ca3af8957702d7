//! `standclear check`: configuration, serial port and pins: what is wrong and what to do.
//!
//! It only looks. It opens neither port nor pins: opening resets some controllers, and a pin taken
//! here would end the permit of a panel that is cutting.

use std::fs;
use std::os::unix::fs::{FileTypeExt as _, MetadataExt as _};
use std::path::Path;
use std::process::ExitCode;

use link::{Capability, Dialect, StampedInput};
use rustix::fs::Access;

use super::{CheckArgs, USAGE, fail, print};
use crate::board;
use crate::config::{Config, Found as MachineFile, SIGNALS};

/// What was found of one thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// What was looked at.
    pub what: &'static str,
    /// In order, or wrong with what to do.
    pub how: Result<String, (String, String)>,
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
    found.push(lost_arc(&config.link.dialect));
    found.extend(does_without(&config.link.dialect));
    found.extend(pins(&config));
    let wrong = found.iter().any(|f| f.how.is_err());
    print("check", &text(&found), u8::from(wrong))
}

/// What takes away or proves and this controller cannot do: no fault, and to be known.
fn does_without(dialect: &Dialect) -> impl Iterator<Item = Found> {
    let all = dialect.does_without().into_iter();
    all.map(|says| Found {
        what: "controller",
        how: Ok(says.to_owned()),
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
                    "{:<20} WRONG     {says}\n{:<30} -> {remedy}\n",
                    f.what, ""
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

fn configuration(config: &Config, file: &str) -> Found {
    let chart = match config.chart.len() {
        0 => "no chart".to_owned(),
        n => format!("{n} chart rows"),
    };
    Found {
        what: "configuration",
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
        how: Ok(says.into()),
    }
}

/// Looks at the serial port without opening it.
pub fn port(path: &Path) -> Found {
    Found {
        what: "serial port",
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
            "{name} is there and may be opened (it was not opened)"
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
    let how = board::look(pins).map(|board| {
        let fitted: Vec<_> = pins.fitted.iter().map(String::as_str).collect();
        format!(
            "{}: {board}; fitted: {}",
            pins.backend.name(),
            fitted.join(", ")
        )
    });
    let mut found = vec![Found {
        what: "pins",
        how: how.map_err(|e| (e.says, e.remedy)),
    }];
    for (backend, here) in board::possible(pins) {
        let says = match here {
            Ok(told) => format!("{} is possible here: {told}", backend.name()),
            Err(e) => format!("{} is not possible here: {}", backend.name(), e.says),
        };
        found.push(Found {
            what: "pins' backends",
            how: Ok(says),
        });
    }
    for input in &pins.inputs {
        let Some(kind) = SIGNALS.iter().find(|k| k.name == input.signal) else {
            continue;
        };
        found.push(Found {
            what: "a broken wire",
            how: Ok(format!("{}: {}", input.signal, kind.proof)),
        });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

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
