//! Starts the real binary and reads what it prints.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

/// A busy test machine must not be taken for a dead panel.
pub const PATIENT: [&str; 2] = ["--patience", "20000"];

/// The binary under test.
pub fn standclear() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_standclear"));
    command
        .env("NO_COLOR", "1")
        .env_remove("RUST_LOG")
        .env_remove("STANDCLEAR_CONFIG");
    command
}

/// A file under tests/fixtures/programs.
pub fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures/programs")
        .join(name)
}

/// What a run of the binary came to.
pub struct Ran {
    pub code: Option<i32>,
    pub stdout: String,
    pub stderr: String,
}

impl Ran {
    pub fn of(command: &mut Command) -> Self {
        let Output {
            status,
            stdout,
            stderr,
        } = command.output().expect("the binary starts");
        Self {
            code: status.code(),
            stdout: String::from_utf8_lossy(&stdout).into_owned(),
            stderr: String::from_utf8_lossy(&stderr).into_owned(),
        }
    }

    /// The one JSON object on stdout.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.stdout)
            .unwrap_or_else(|e| panic!("{e}\nstdout: {}\nstderr: {}", self.stdout, self.stderr))
    }
}

/// A headless practice of the small test piece with these further arguments.
pub fn practise(args: &[&str]) -> Ran {
    Ran::of(
        standclear()
            .arg("practice")
            .arg(fixture("square.nc"))
            .arg("--setup")
            .arg(fixture("square.toml"))
            .args(["--headless", "--format", "json", "--speed", "200"])
            .args(PATIENT)
            .args(args),
    )
}

/// How the simulated controller is spoken to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Speaks {
    Plain,
    /// No numbers, no checks, no reports unasked, nothing that puts the torch out at once.
    Quill,
}

impl Speaks {
    pub const BOTH: [Self; 2] = [Self::Plain, Self::Quill];
}

/// The practice table's machine file with a controller that speaks `quill`, written into a folder as a
/// person would write it.
pub fn quill_machine(folder: &Path) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let machine = std::fs::read_to_string(root.join("config/machines/practice.toml"))
        .expect("the practice table")
        .replace("/plain.toml", "/quill.toml")
        .replace("\"../", &format!("\"{}/config/", root.display()));
    let path = folder.join("quill.toml");
    // Asked every 50 ms, and 6 ms under way.
    let age = "\n[arc_signal]\nreports_ms = 56\n";
    std::fs::write(&path, machine + age).expect("written");
    path
}

/// A headless practice of the small test piece with this dialect.
pub fn practise_speaking(speaks: Speaks, args: &[&str]) -> Ran {
    if speaks == Speaks::Plain {
        return practise(args);
    }
    let folder = tempfile::tempdir().expect("a folder");
    let machine = quill_machine(folder.path());
    let machine = machine.to_str().expect("a path of plain characters");
    practise(&[args, &["--config", machine]].concat())
}

/// Every run must end whole, by the table's own ledger.
#[track_caller]
pub fn assert_whole(ran: &Ran) -> Value {
    let told = ran.json();
    let say = || format!("{told:#}\nstderr: {}", ran.stderr);
    assert_eq!(ran.code, Some(0), "{}", say());
    assert_eq!(told["cuts_done"], told["cuts"], "{}", say());
    let truth = &told["truth"];
    assert_eq!(truth["violations"], Value::Array(vec![]), "{}", say());
    assert!(number(&truth["uncut_mm"]) < 0.05, "{}", say());
    assert!(number(&truth["off_path_mm"]) <= 0.05, "{}", say());
    told
}

/// A number, or a failure that shows what stood there.
#[track_caller]
pub fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("a number was expected, not {value}"))
}
