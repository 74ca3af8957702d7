//! A run as a page to be printed: what it was, how it went, every stop, and what happened, in order.

use crate::journal::{Entry, Story};

/// A page: a heading, facts, and tables of lines.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sheet {
    /// What it is of.
    pub title: String,
    /// What and how much.
    pub facts: Vec<(String, String)>,
    /// Each stop: when, what, what to do.
    pub stops: Vec<[String; 3]>,
    /// All that happened: when, s since the beginning, what.
    pub rows: Vec<[String; 3]>,
    /// Times of it are unsure.
    pub unsure: bool,
}

/// How an end is told.
const OUTCOMES: [(&str, &str); 3] = [
    ("finished", "finished"),
    ("ended", "ended by the operator"),
    ("given-up", "given up after it was interrupted"),
];

/// Of the story of one run.
pub fn of(story: &Story) -> Sheet {
    let run = story.run.unwrap_or_default();
    let named = |name: &str| story.events.iter().rev().find(|e| e.name == name);
    let mut sheet = Sheet {
        title: format!("Run {run}"),
        unsure: story.events.iter().any(|e| e.unsure),
        ..Sheet::default()
    };
    let text = |e: &Entry, key: &str| {
        let value = e.fields.get(key)?;
        Some(
            value
                .as_str()
                .map_or_else(|| value.to_string(), str::to_owned),
        )
    };
    let mut fact = |what: &str, value: Option<String>| {
        if let Some(value) = value {
            sheet.facts.push((what.to_owned(), value));
        }
    };
    let began = named("run-started");
    fact("Job", began.and_then(|e| text(e, "name")));
    fact("Seal", began.and_then(|e| text(e, "seal")));
    fact("Began", story.events.first().map(|e| day_and_time(&e.wall)));
    fact("Last", story.events.last().map(|e| day_and_time(&e.wall)));
    let ended = named("run-ended");
    let outcome = ended.and_then(|e| text(e, "outcome"));
    let outcome = outcome.map(|o| {
        let known = OUTCOMES.iter().find(|(name, _)| *name == o);
        known.map_or(o.clone(), |(_, says)| (*says).to_owned())
    });
    fact(
        "End",
        Some(outcome.unwrap_or_else(|| "none is recorded".into())),
    );
    for (what, key) in [
        ("Cuts done", "cuts_done"),
        ("Cuts", "cuts"),
        ("Stops", "holds"),
        ("Pierces", "pierces"),
    ] {
        fact(what, ended.and_then(|e| text(e, key)));
    }
    for (what, key) in [("Arc on", "arc_on_s"), ("Took", "run_s")] {
        let s = ended.and_then(|e| e.fields.get(key)?.as_f64());
        fact(what, s.map(|s| format!("{s:.1} s")));
    }
    let versions: Vec<String> = story.starts.iter().map(|s| s.version.clone()).collect();
    fact("Version", Some(versions.join(", ")));
    for gap in &story.gaps {
        fact("Missing", Some(format!("{} events: {}", gap.lost, gap.why)));
    }
    let told = story.events.iter().filter(|e| e.severity != "trace");
    let mut zero = None;
    for e in told {
        // The clock of decisions begins anew with each start of the panel.
        let from = match zero {
            Some((start, us)) if start == e.start => us,
            _ => {
                zero = Some((e.start, e.clock_us));
                e.clock_us
            }
        };
        let seconds = format!("{:.3}", e.clock_us.saturating_sub(from) as f64 / 1e6);
        if ["stop", "danger"].contains(&e.severity.as_str()) {
            let advice = e.advice.clone().unwrap_or_default();
            sheet.stops.push([time(e), e.says.clone(), advice]);
        }
        sheet.rows.push([time(e), seconds, e.says.clone()]);
    }
    sheet
}

fn day_and_time(wall: &str) -> String {
    format!("{} UTC", wall.trim_end_matches('Z').replace('T', " "))
}

fn time(e: &Entry) -> String {
    let time = e.wall.split_once('T').map_or(e.wall.as_str(), |(_, t)| t);
    format!(
        "{}{}",
        time.trim_end_matches('Z'),
        if e.unsure { "?" } else { "" }
    )
}
