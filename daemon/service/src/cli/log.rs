//! `standclear log`: tells what happened, from the journal.

use std::fmt::Write as _;
use std::path::Path;
use std::process::ExitCode;

use super::args::state_dir;
use super::{LogArgs, LogFormat, RunChoice, USAGE, colour_on_stdout, complain, fail, print};
use crate::journal::{self, Entry, Story, Which};
use crate::review::bundle;

/// Runs the command.
pub fn run(args: &LogArgs) -> ExitCode {
    match told(args) {
        Ok(text) => print("log", &text, 0),
        Err(says) => fail("log", &says, USAGE),
    }
}

fn told(args: &LogArgs) -> Result<String, String> {
    if let Some(file) = &args.from {
        return from_bundle(file, args.format);
    }
    let dir = state_dir(args.state.as_deref(), &|name| std::env::var_os(name))?;
    let which = match args.run {
        None => Which::All,
        Some(RunChoice::Id(run)) => Which::Run(run),
        Some(RunChoice::Last) => Which::Last,
    };
    if let Some(file) = &args.bundle {
        return bundled(&dir, which, file);
    }
    let story = journal::read(&dir, which).map_err(|e| e.to_string())?;
    printed(&story, args.format)
}

/// Puts a run into a file, and tells of it.
fn bundled(dir: &Path, which: Which, file: &Path) -> Result<String, String> {
    let made = bundle::make_of(dir, which, file)?;
    let mut told = format!(
        "{}: run {}, {} files, {} kB.\n",
        file.display(),
        made.run,
        made.files,
        made.bytes.div_ceil(1000)
    );
    for missing in &made.missing {
        put(&mut told, &format!("It lacks: {missing}."));
    }
    Ok(told)
}

/// Tells the run of a file; one that is not whole is refused.
fn from_bundle(file: &Path, format: LogFormat) -> Result<String, String> {
    let work = tempfile::tempdir().map_err(|e| format!("no temporary folder: {e}"))?;
    let (manifest, story) = bundle::read(file, work.path())?;
    for missing in &manifest.missing {
        complain(&format!("{}: it lacks: {missing}", file.display()));
    }
    printed(&story, format)
}

fn printed(story: &Story, format: LogFormat) -> Result<String, String> {
    match format {
        LogFormat::Text => Ok(text(story, colour_on_stdout())),
        LogFormat::Json => {
            let mut json = serde_json::to_string(story).map_err(|e| e.to_string())?;
            json.push('\n');
            Ok(json)
        }
        LogFormat::Csv => Ok(journal::csv(story)),
    }
}

/// A story for people: wall time, seconds since the beginning, what happened, and what to do.
pub fn text(story: &Story, colour: bool) -> String {
    let mut out = String::new();
    if let Some(run) = story.run {
        put(&mut out, &format!("Run {run}"));
    }
    let mut start = None;
    let mut since_us = 0;
    let mut day = "";
    for (i, e) in story.events.iter().enumerate() {
        if start != Some(e.start) {
            // The clock of decisions began anew: so do the seconds. A run's begin with it.
            since_us = if story.run.is_some() && start.is_none() {
                e.clock_us
            } else {
                0
            };
            put(&mut out, &heading(story, e.start, start.is_some()));
            let mut of_it = story.events[i..].iter().take_while(|o| o.start == e.start);
            if of_it.any(|o| o.unsure) {
                put(&mut out, UNSURE);
            }
            start = Some(e.start);
        }
        let (date, time) = e.wall.split_once('T').unwrap_or(("", e.wall.as_str()));
        if date != day {
            put(&mut out, &format!("{date} UTC"));
            day = date;
        }
        put(
            &mut out,
            &line(e, &time_of(e, time.trim_end_matches('Z')), since_us, colour),
        );
        let last = i + 1 == story.events.len();
        for gap in &story.gaps {
            if gap.after == e.seq || (last && story.run.is_none() && gap.after > e.seq) {
                put(
                    &mut out,
                    &format!("   ... {} events are missing here: {}", gap.lost, gap.why),
                );
            }
        }
    }
    if story.events.is_empty() {
        put(&mut out, "Nothing has happened yet.");
    }
    out
}

/// What a mark of question behind a time means.
const UNSURE: &str = "   times with a ? are unsure: the board has no clock chip and the network had not set its clock \
                      (order and seconds are right)";

/// The time of day, marked where it is unsure.
fn time_of(e: &Entry, time: &str) -> String {
    format!("{time}{}", if e.unsure { "?" } else { "" })
}

fn put(out: &mut String, line: &str) {
    out.push_str(line);
    out.push('\n');
}

fn heading(story: &Story, start: i64, again: bool) -> String {
    let word = if again {
        "The panel was started again"
    } else {
        "The panel was started"
    };
    let found = story.starts.iter().find(|s| s.start == start);
    found.map_or_else(
        || format!("-- {word} (start {start})"),
        |s| {
            let end = match &s.ended {
                Some(at) => format!("ended in order {at}"),
                None => "still running, or it did not end in order".into(),
            };
            format!(
                "-- {word} {} (start {start}, version {}; {end})",
                s.wall, s.version
            )
        },
    )
}

fn line(e: &Entry, time: &str, since_us: u64, colour: bool) -> String {
    let seconds = (e.clock_us as f64 - since_us as f64) / 1e6;
    let (mark, paint) = match e.severity.as_str() {
        "trace" => (".", "2"),
        "notice" => ("*", "33"),
        "stop" => ("!", "1;31"),
        "danger" => ("!!", "1;37;41"),
        _ => ("", ""),
    };
    let says = if e.says.is_empty() { &e.name } else { &e.says };
    let what = one_line(says);
    let what = if colour && !paint.is_empty() {
        format!("\u{1b}[{paint}m{what}\u{1b}[0m")
    } else {
        what
    };
    let mut line = format!(
        "{time:<13} t+{seconds:>10.3} s  {mark:>2} {:<20} {what}",
        e.name
    );
    if let Some(advice) = &e.advice {
        // Under the words, so that the eye finds it.
        let _ = write!(line, "\n{:>33}-> {}", "", one_line(advice));
    }
    line
}

/// No record may break the page or speak to the terminal.
fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}
