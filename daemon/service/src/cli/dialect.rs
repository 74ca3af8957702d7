//! `standclear dialect`: a skeleton to fill in from a controller's manual, and a dialect tried on a
//! controller that stands still.
//!
//! A trial opens the port and no pin: without the permit's pulses K2 stays open, so the torch is locked
//! out whatever the controller does. It moves nothing, or with `--move` 10 mm along X. Exit status: 0 all
//! that was tried passed; 1 something failed; 2 usage, a file that is wrong or a port that does not open.

#[cfg(test)]
mod tests;

use std::fmt::Write as _;
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use link::{Dialect, Findings, Outgoing, Trial};
use rustix::event::{PollFd, PollFlags, Timespec};
use units::Time;

use super::dialect_args::{DialectArgs, DialectCommand, TryArgs};
use super::{Format, USAGE, fail, print};
use crate::files;
use crate::pins::{Clock as _, Monotonic};
use crate::port::{self, Opened};

/// What a new dialect begins with.
const SKELETON: &str = include_str!("dialect/skeleton.toml");
/// No dialect is longer, bytes (as for the machine file).
const FILE_MAX: u64 = 1 << 20;
/// Nothing that a trial does takes longer (ours).
const LIMIT: Duration = Duration::from_secs(120);

/// Runs the command.
pub fn run(args: &DialectArgs) -> ExitCode {
    match &args.command {
        DialectCommand::New { file: None } => print("dialect", SKELETON, 0),
        DialectCommand::New { file: Some(file) } => match write_new(file) {
            Ok(()) => ExitCode::SUCCESS,
            Err(says) => fail("dialect", &says, USAGE),
        },
        DialectCommand::Try(args) => match tried(args) {
            Ok((text, passed)) => print("dialect", &text, u8::from(!passed)),
            Err(says) => fail("dialect", &says, USAGE),
        },
    }
}

fn write_new(path: &Path) -> Result<(), String> {
    let made = std::fs::File::create_new(path).and_then(|mut f| f.write_all(SKELETON.as_bytes()));
    made.map_err(|e| format!("{}: {e}; name a file that is not there yet", path.display()))
}

fn tried(args: &TryArgs) -> Result<(String, bool), String> {
    let name = args.file.display();
    let bytes = files::read(&args.file, FILE_MAX).map_err(|e| format!("{name} {e}"))?;
    let text = String::from_utf8(bytes).map_err(|_| format!("{name} is no UTF-8 text"))?;
    let dialect = Dialect::from_toml(&text).map_err(|e| format!("{name}: {e}"))?;
    let dialect = Arc::new(dialect);
    let Some(path) = &args.port else {
        return Ok((of_file(&dialect, args.format), true));
    };
    let opened = port::open(path, args.baud)?;
    let findings = run_trial(
        Trial::new(Arc::clone(&dialect), args.baud, args.moves),
        opened,
    );
    let told = match args.format {
        Format::Text => text_of(&dialect, &findings),
        Format::Json => json_of(&dialect, Some(&findings)),
    };
    Ok((told, findings.passed))
}

/// Nothing was tried: what the file itself says.
fn of_file(dialect: &Dialect, format: Format) -> String {
    match format {
        Format::Json => json_of(dialect, None),
        Format::Text => {
            let mut out = format!("`{}` is in order. {}\n", dialect.name, dialect.about);
            lacks(&mut out, dialect);
            out
        }
    }
}

/// Speaks over the port until all is tried.
fn run_trial(mut trial: Trial, opened: Opened) -> Findings {
    let clock = Monotonic::starting_now();
    let mut stream = opened.stream;
    trial.opened(clock.now());
    let mut unsent = Vec::new();
    while !trial.over() || !unsent.is_empty() {
        let now = clock.now();
        if now > Time::ZERO + LIMIT {
            trial.lost("it took more than two minutes");
            break;
        }
        let Outgoing { take_away, lines } = trial.poll(now);
        unsent.extend(take_away);
        unsent.extend(lines);
        if let Err(e) = exchange(&mut stream, &mut unsent, &mut trial, &clock) {
            trial.lost(&e.to_string());
            break;
        }
    }
    // A trial that failed ends with hold and torch-off. A port that takes nothing has gone.
    let _ = stream.write(&trial.poll(clock.now()).take_away);
    trial.findings()
}

/// Writes what the port takes, and waits for what comes in until the trial must be asked again.
fn exchange(
    stream: &mut std::fs::File,
    unsent: &mut Vec<u8>,
    trial: &mut Trial,
    clock: &Monotonic,
) -> std::io::Result<()> {
    if !unsent.is_empty() {
        match stream.write(unsent) {
            Ok(n) => drop(unsent.drain(..n)),
            Err(e) if again(&e) => {}
            Err(e) => return Err(e),
        }
    }
    let now = clock.now();
    let wait = trial.deadline(now).since(now);
    let mut flags = PollFlags::IN;
    if !unsent.is_empty() {
        flags |= PollFlags::OUT;
    }
    let timeout = Timespec {
        tv_sec: wait.as_secs() as i64,
        tv_nsec: i64::from(wait.subsec_nanos()),
    };
    // Woken by a signal or by nothing: the caller looks again in any case.
    let _ = rustix::event::poll(&mut [PollFd::new(stream, flags)], Some(&timeout));
    let mut room = [0; 1024];
    match stream.read(&mut room) {
        Ok(0) => Err(std::io::Error::other("the port has gone")),
        Ok(n) => {
            trial.receive(clock.now(), &room[..n]);
            Ok(())
        }
        Err(e) if again(&e) => Ok(()),
        Err(e) => Err(e),
    }
}

fn again(e: &std::io::Error) -> bool {
    use std::io::ErrorKind::{Interrupted, WouldBlock};
    matches!(e.kind(), WouldBlock | Interrupted)
}

/// For people.
fn text_of(dialect: &Dialect, findings: &Findings) -> String {
    let mut out = format!("`{}` on a controller:\n", dialect.name);
    for step in &findings.steps {
        let how = match step.passed {
            Some(true) => "passed",
            Some(false) => "FAILED",
            None => "look  ",
        };
        let _ = writeln!(out, "{:<15} {how}  {}", step.what, step.says);
        if step.passed != Some(true) {
            let _ = writeln!(out, "{:<23} -> {}", "", step.rule);
        }
    }
    out.push_str("\nWhat it said (ms since the port was opened):\n");
    if findings.lines.is_empty() {
        out.push_str("  nothing\n");
    }
    for line in &findings.lines {
        let times = if line.times > 1 {
            format!(" ({} more like it)", line.times - 1)
        } else {
            String::new()
        };
        let means = line.means.unwrap_or("NOT UNDERSTOOD");
        let text = line.text.escape_debug();
        let _ = writeln!(
            out,
            "  {:>6} {means:<14} {text}{times}  [{}]",
            line.at_ms, line.rule
        );
    }
    out.push_str("\nWhat it can do:\n");
    for c in &findings.capabilities {
        let how = match (c.has, c.seen) {
            (false, _) => "not in the dialect",
            (true, Some(true)) => "yes, seen",
            (true, Some(false)) => "in the dialect, and not seen",
            (true, None) => "in the dialect; not to be seen at rest",
        };
        let _ = writeln!(out, "  {:<18} {how}", c.name);
    }
    lacks(&mut out, dialect);
    out.push_str(if findings.passed {
        "\nWhat was tried passed. It is no proof of the table: that is `standclear commission`.\n"
    } else {
        "\nSomething failed: mend what the arrow names, and try again.\n"
    });
    out
}

fn lacks(out: &mut String, dialect: &Dialect) {
    let lacks = dialect.lacks();
    if !lacks.is_empty() {
        out.push_str("\nWithout it:\n");
    }
    for lack in lacks {
        let _ = writeln!(out, "  {} {}", lack.says, lack.therefore);
    }
}

/// One object: what was found, `null` where nothing was tried, and what the dialect leaves out.
fn json_of(dialect: &Dialect, findings: Option<&Findings>) -> String {
    let lacks: Vec<String> = dialect.lacks().into_iter().map(|l| l.id).collect();
    let told = serde_json::json!({
        "version": 1,
        "dialect": dialect.name,
        "lacks": lacks,
        "trial": findings,
    });
    format!("{told}\n")
}
