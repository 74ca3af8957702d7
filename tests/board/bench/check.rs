//! `standclear check` on this board: all in order, then each thing made wrong by itself, and named alone.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::judge::must;
use crate::panel::Panel;
use crate::world::say;

/// Where the state folder lies that is looked at: a disk in memory with room enough.
const ROOM: &str = "/tmp/room";
/// The machine file that is made wrong, beside the right one.
const WRONG_FILE: &str = "/config/machines/wrong.toml";
const WRONG_DIALECT: &str = "/config/dialects/wrong.toml";

/// Something that is made wrong.
struct Wrong {
    /// In words.
    name: &'static str,
    made: Made,
    /// What `check` must say is wrong.
    what: &'static str,
    /// ... with these words in it.
    says: &'static str,
    /// ... and these in what to do.
    to_do: &'static str,
}

/// How it is made wrong.
enum Made {
    /// In the machine file: this text is that one.
    File(&'static str, &'static str),
    /// This is added to the machine file.
    Added(&'static str),
    /// In the dialect file.
    Dialect(&'static str, &'static str),
    /// By these commands; then undone by those.
    Board(&'static str, &'static str),
    /// The state folder is this one.
    State(&'static str),
}

/// What `check` itself finds, line by line.
const WRONGS: [Wrong; 11] = [
    Wrong {
        name: "no such port",
        made: Made::File("/tmp/wire", "/dev/serial/by-id/none"),
        what: "serial port",
        says: "/dev/serial/by-id/none",
        to_do: "Plug the controller in",
    },
    Wrong {
        name: "a port that is none",
        made: Made::File("/tmp/wire", "/dev/null"),
        what: "serial port",
        says: "is no serial port",
        to_do: "link.port",
    },
    Wrong {
        name: "no such chip",
        made: Made::File("chip = \"gpiochip0\"", "chip = \"gpiochip7\""),
        what: "pins",
        says: "gpiochip7",
        to_do: "Name one that is there",
    },
    Wrong {
        name: "a line that the chip does not have",
        made: Made::File("pin = 22", "pin = 54"),
        what: "pins",
        says: "pins.inputs.gate.pin = 54",
        to_do: "Give the number",
    },
    Wrong {
        name: "a line that something else has",
        made: Made::Board(
            "echo $(($(cat /sys/class/gpio/gpiochip*/base) + 22)) >/sys/class/gpio/export",
            "echo $(($(cat /sys/class/gpio/gpiochip*/base) + 22)) >/sys/class/gpio/unexport",
        ),
        what: "pins",
        says: "in use by",
        to_do: "End whatever uses it",
    },
    Wrong {
        name: "a converter that is not there",
        made: Made::Added(
            "[volts]\nconverter = \"spi-12-bit\"\ndevice = \"/dev/spidev0.0\"\nfull_scale_v = 5.5\n",
        ),
        what: "arc volts",
        says: "/dev/spidev0.0",
        to_do: "Switch SPI on",
    },
    Wrong {
        name: "a state folder that is read-only",
        made: Made::Board(
            "mount -o remount,ro /tmp/room",
            "mount -o remount,rw /tmp/room",
        ),
        what: "permissions",
        says: "cannot be written",
        to_do: "--state",
    },
    Wrong {
        name: "a state folder that is a file",
        made: Made::State("/init"),
        what: "permissions",
        says: "is no folder",
        to_do: "--state",
    },
    Wrong {
        name: "a disk that is nearly full",
        made: Made::State("/tmp/narrow"),
        what: "disk",
        says: "MB free",
        to_do: "Make room",
    },
    Wrong {
        name: "a clock that was never set",
        made: Made::Board("date -s 2000-01-01", "date -s 2026-06-01"),
        what: "clock",
        says: "never set",
        to_do: "timedatectl",
    },
    Wrong {
        name: "a kernel that runs no real-time thread",
        made: Made::Board(
            "echo 0 >/proc/sys/kernel/sched_rt_runtime_us",
            "echo 950000 >/proc/sys/kernel/sched_rt_runtime_us",
        ),
        what: "real-time",
        says: "no real-time thread",
        to_do: "sched_rt_runtime_us",
    },
];

/// What keeps `check` from looking: it says which file, what in it, and ends with the status of a wrong
/// configuration.
const UNREADABLE: [Wrong; 4] = [
    Wrong {
        name: "a dialect with a key that there is not",
        made: Made::Dialect("[commands]", "[commands]\nteleport = \"x\""),
        what: WRONG_DIALECT,
        says: "teleport",
        to_do: "",
    },
    Wrong {
        name: "a dialect that is broken off",
        made: Made::Dialect("[commands]", "[commands"),
        what: WRONG_DIALECT,
        says: "",
        to_do: "",
    },
    Wrong {
        name: "a dialect that is not there",
        made: Made::File("../dialects/plain.toml", "../dialects/none.toml"),
        what: "none.toml",
        says: "",
        to_do: "",
    },
    Wrong {
        name: "a value out of its range",
        made: Made::File("permit_hz = 100", "permit_hz = 100000"),
        what: WRONG_FILE,
        says: "permit_hz",
        to_do: "",
    },
];

/// What `check` gave.
struct Gave {
    status: i32,
    out: String,
    complaint: String,
}

impl Gave {
    /// What it says is wrong.
    fn wrong(&self) -> Result<Vec<Value>, String> {
        let all: Value = serde_json::from_str(&self.out)
            .map_err(|e| format!("{e}: {} {}", self.out, self.complaint))?;
        let lines = all["lines"].as_array().cloned().unwrap_or_default();
        Ok(lines
            .into_iter()
            .filter(|l| l["in_order"] == false)
            .collect())
    }
}

/// The case. The panel must have its lines back before the next one.
pub fn each(panel: &mut Panel) -> Result<(), String> {
    beside_the_panel(panel)?;
    panel.signal(rustix::process::Signal::TERM)?;
    panel.ended(6)?;
    shell(
        "mkdir -p /tmp/room /tmp/narrow && mount -t tmpfs -o size=400m room /tmp/room && mount -t tmpfs -o size=64m narrow /tmp/narrow",
    )?;
    // A board whose clock was set, as most are.
    shell("date -s 2026-06-01")?;
    let right = check(panel.config_file(), Path::new(ROOM))?;
    must(right.status == 0 && right.wrong()?.is_empty(), || {
        format!(
            "something is wrong at the start: {} {}",
            right.out, right.complaint
        )
    })?;
    for wrong in &WRONGS {
        let gave = made(wrong)?;
        named_alone(wrong, &gave).map_err(|says| format!("{}: {says}", wrong.name))?;
        say(&format!("  {}: named", wrong.name));
    }
    for wrong in &UNREADABLE {
        let gave = made(wrong)?;
        let told = gave.complaint.contains(wrong.what) && gave.complaint.contains(wrong.says);
        must(gave.status == 2 && told, || {
            format!("{}: {} {}", wrong.name, gave.status, gave.complaint)
        })?;
        say(&format!("  {}: named", wrong.name));
    }
    panel.start()
}

/// Beside a panel that runs its lines are told as held by it.
fn beside_the_panel(panel: &Panel) -> Result<(), String> {
    let gave = check(panel.config_file(), &panel.state)?;
    let wrong = gave.wrong()?;
    let pins = wrong.iter().find(|l| l["what"] == "pins");
    must(
        pins.is_some_and(|l| {
            l["found"]
                .as_str()
                .is_some_and(|f| f.contains("a panel that runs holds this line"))
        }),
        || format!("lines that the panel has are not told as held: {wrong:?}"),
    )
}

/// Exactly this is wrong, with its words and what to do.
fn named_alone(wrong: &Wrong, gave: &Gave) -> Result<(), String> {
    let lines = gave.wrong()?;
    must(gave.status == 1 && lines.len() == 1, || {
        format!("status {}, wrong: {lines:?}", gave.status)
    })?;
    let has = |key: &str, part: &str| lines[0][key].as_str().is_some_and(|t| t.contains(part));
    must(
        has("what", wrong.what) && has("found", wrong.says) && has("to_do", wrong.to_do),
        || format!("{:?}", lines[0]),
    )
}

/// Makes it wrong, lets `check` look, and undoes it.
fn made(wrong: &Wrong) -> Result<Gave, String> {
    let right = crate::set_up::MACHINE_FILE;
    match wrong.made {
        Made::File(from, to) => check(&changed(right, WRONG_FILE, from, to)?, Path::new(ROOM)),
        Made::Added(text) => {
            let all = std::fs::read_to_string(right).map_err(|e| e.to_string())? + text;
            std::fs::write(WRONG_FILE, all).map_err(|e| e.to_string())?;
            check(Path::new(WRONG_FILE), Path::new(ROOM))
        }
        Made::Dialect(from, to) => {
            changed("/config/dialects/plain.toml", WRONG_DIALECT, from, to)?;
            let file = changed(right, WRONG_FILE, "../dialects/plain.toml", WRONG_DIALECT)?;
            check(&file, Path::new(ROOM))
        }
        Made::Board(act, undo) => {
            shell(act)?;
            let gave = check(Path::new(right), Path::new(ROOM));
            shell(undo)?;
            gave
        }
        Made::State(folder) => check(Path::new(right), Path::new(folder)),
    }
}

/// A copy of a file in which one text is another.
fn changed(file: &str, copy: &str, from: &str, to: &str) -> Result<PathBuf, String> {
    let text = std::fs::read_to_string(file).map_err(|e| format!("{file}: {e}"))?;
    must(text.contains(from), || format!("{file} has no {from}"))?;
    std::fs::write(copy, text.replacen(from, to, 1)).map_err(|e| format!("{copy}: {e}"))?;
    Ok(PathBuf::from(copy))
}

fn check(config: &Path, state: &Path) -> Result<Gave, String> {
    let ran = Command::new("standclear")
        .args(["check", "--format", "json", "--config"])
        .arg(config)
        .arg("--state")
        .arg(state)
        .output()
        .map_err(|e| format!("standclear check: {e}"))?;
    Ok(Gave {
        status: ran.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&ran.stdout).into_owned(),
        complaint: String::from_utf8_lossy(&ran.stderr).into_owned(),
    })
}

fn shell(command: &str) -> Result<(), String> {
    let status = Command::new("sh").args(["-c", command]).status();
    let ended = status.map_err(|e| format!("{command}: {e}"))?;
    must(ended.success(), || format!("{command}: {ended}"))
}
