//! What is looked at afterwards: runs, faults, curves, one run in one file, a page to print, a recorded run shown
//! again. All by GET, and nothing of it changes anything.

use std::fmt::Write as _;
use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use control::{Likely, Stopped, View, likely};
use serde::Deserialize;
use tokio::time::timeout;
use units::Time;

use super::ask::on_disk;
use super::body::{Refusal, shutting_down, trouble};
use super::messages::{
    Event, Events, JobDrawn, MomentShown, ReplayPart, Replayable, RunTold, Runs, StopTold, VERSION,
};
use super::{Served, guide};
use crate::journal::{self, Entry, Sought, Told};
use crate::review::Sheet;
use crate::traces;

/// Most events that are given at once.
const EVENTS_MAX: usize = 500;
/// The longest bundle that is given here, bytes: it is held in memory once.
const BUNDLE_MAX: u64 = 32 << 20;
/// A bundle is made within this.
const BUNDLE_WITHIN: Duration = Duration::from_secs(60);

fn unread(says: String) -> Refusal {
    let remedy = "Read it with `standclear log`.";
    trouble(StatusCode::INTERNAL_SERVER_ERROR, "journal", says, remedy)
}

fn no_run(says: String) -> Refusal {
    let remedy = "Choose one from the list.";
    trouble(StatusCode::NOT_FOUND, "run", says, remedy)
}

fn wall_ms(wall: &str) -> i64 {
    journal::wall::ms(wall).map_or(0, |ms| ms as i64)
}

/// Which events are wanted.
#[derive(Debug, Default, Deserialize)]
pub(super) struct WhichEvents {
    run: Option<u64>,
    #[serde(default)]
    faults: bool,
}

/// `GET /api/events?run=N&faults=true`: what has happened of late; of one run, of what stopped the machine alone.
pub(super) async fn events(
    State(served): State<Served>,
    Query(which): Query<WhichEvents>,
) -> Result<Json<Events>, Refusal> {
    let review = Arc::clone(&served.state.review);
    let sought = Sought {
        run: which.run,
        faults: which.faults,
        most: EVENTS_MAX,
    };
    let found = on_disk(&served, move || review.events(sought)).await?;
    let found = found.map_err(unread)?;
    let events = found.into_iter().map(told).collect();
    Ok(Json(Events { v: VERSION, events }))
}

fn told((e, trace): (Entry, Option<String>)) -> Event {
    Event {
        trace,
        id: u64::try_from(e.seq).unwrap_or(0),
        run: e.run,
        at_s: Time::from_us(e.clock_us).as_s(),
        start: e.start,
        wall_ms: wall_ms(&e.wall),
        unsure: e.unsure,
        name: e.name,
        severity: e.severity,
        says: e.says,
        advice: e.advice,
    }
}

/// `GET /api/runs`: the latest runs, the newest first.
pub(super) async fn runs(State(served): State<Served>) -> Result<Json<Runs>, Refusal> {
    let review = Arc::clone(&served.state.review);
    let runs = on_disk(&served, move || review.runs()).await?;
    let runs = runs.map_err(unread)?.into_iter().map(run_told).collect();
    Ok(Json(Runs { v: VERSION, runs }))
}

fn run_told(t: Told) -> RunTold {
    let text = |of: &Option<serde_json::Value>, key: &str| {
        Some(of.as_ref()?.get(key)?.as_str()?.to_owned())
    };
    let count = |of: &Option<serde_json::Value>, key: &str| of.as_ref()?.get(key)?.as_u64();
    RunTold {
        run: t.run,
        name: text(&t.began, "name"),
        wall_ms: wall_ms(&t.wall),
        unsure: t.unsure,
        outcome: text(&t.ended, "outcome"),
        cuts: count(&t.began, "cuts"),
        cuts_done: count(&t.ended, "cuts_done"),
        stops: t.stops,
    }
}

/// Asks for a trace.
#[derive(Debug, Deserialize)]
pub(super) struct WhichTrace {
    name: String,
}

fn no_curves() -> Refusal {
    let remedy = "It may have made room for newer ones; the journal still tells what happened.";
    let says = "there are no curves of that name";
    trouble(StatusCode::NOT_FOUND, "name", says, remedy)
}

/// `GET /api/trace?name=...`: the curves about a fault.
pub(super) async fn trace(
    State(served): State<Served>,
    Query(which): Query<WhichTrace>,
) -> Result<impl IntoResponse, Refusal> {
    let review = Arc::clone(&served.state.review);
    let text = on_disk(&served, move || review.trace(&which.name)).await?;
    let text = text.ok_or_else(no_curves)?;
    Ok(([(header::CONTENT_TYPE, "application/json")], text))
}

/// `GET /api/stop`: the last seconds before the stop in hand, and the likely cause.
pub(super) async fn stop(State(served): State<Served>) -> Json<StopTold> {
    let published = served.state.panel.latest();
    let view = &published.view;
    let trace = (served.state.panel.stopped()).filter(|_| view.hold.is_some());
    let job = (view.seal.as_ref()).and_then(|seal| served.state.library.sealed(seal));
    let cause = view.hold.as_ref().and_then(|hold| {
        let job = job.as_ref()?;
        likely(&Stopped {
            cause: hold.cause,
            cut: hold.cut.and_then(|n| job.cuts.get(n.checked_sub(1)?)),
            lost_mm: lost_mm(view),
            volts: job.row.volts,
            trace: trace.as_deref(),
        })
    });
    Json(StopTold {
        v: VERSION,
        generation: view.generation,
        likely: cause.as_ref().map(Likely::says),
        height_mm: job.as_ref().map(|j| j.row.cut_height_mm),
        volts: job.as_ref().map(|j| j.row.volts),
        trace: trace.map(|t| traces::Form::of(0, &t)),
    })
}

/// Where along its cut the arc was lost: as the stop's mark says, else where it stands.
fn lost_mm(view: &View) -> Option<[f64; 2]> {
    let hold = view.hold.as_ref()?;
    let mark = (view.marks.iter().rev()).find(|m| Some(m.cut) == hold.cut);
    let between = mark.and_then(|m| m.between_mm);
    between.or_else(|| hold.at_mm.map(|mm| [mm, mm]))
}

/// `GET /api/export/trace?name=...`: the curves as a table.
pub(super) async fn trace_table(
    State(served): State<Served>,
    Query(which): Query<WhichTrace>,
) -> Result<Response, Refusal> {
    let review = Arc::clone(&served.state.review);
    let name = which.name.clone();
    let text = on_disk(&served, move || review.trace_csv(&which.name)).await?;
    // A name under which curves were found is a name of curves: no more than letters, digits, hyphens.
    let text = text.ok_or_else(no_curves)?;
    Ok(saved(&format!("{name}.csv"), "text/csv", text.into_bytes()))
}

/// Asks for a run.
#[derive(Debug, Deserialize)]
pub(super) struct WhichRun {
    run: u64,
}

/// `GET /api/export/events?run=N`: what happened in a run, as a table.
pub(super) async fn run_table(
    State(served): State<Served>,
    Query(WhichRun { run }): Query<WhichRun>,
) -> Result<Response, Refusal> {
    let review = Arc::clone(&served.state.review);
    let text = on_disk(&served, move || review.run_csv(run)).await?;
    let text = text.map_err(no_run)?;
    Ok(saved(
        &format!("run-{run}.csv"),
        "text/csv",
        text.into_bytes(),
    ))
}

/// `GET /api/export/bundle?run=N`: a run in one file.
pub(super) async fn bundle(
    State(served): State<Served>,
    Query(WhichRun { run }): Query<WhichRun>,
) -> Result<Response, Refusal> {
    let slow = || {
        let says = "another run is put into a file, or the disk is slow";
        let remedy = "Ask again. HOLD works all the same.";
        trouble(StatusCode::SERVICE_UNAVAILABLE, "run", says, remedy)
    };
    let turn = Arc::clone(&served.on_bundle);
    let turn = turn.try_acquire_owned().map_err(|_| slow())?;
    let review = Arc::clone(&served.state.review);
    let task = tokio::task::spawn_blocking(move || {
        let made = review.bundle(run, BUNDLE_MAX);
        drop(turn);
        made
    });
    let made = timeout(BUNDLE_WITHIN, task).await.map_err(|_| slow())?;
    let made = made.map_err(|_| shutting_down())?.map_err(no_run)?;
    let bytes = made.ok_or_else(|| {
        trouble(
            StatusCode::PAYLOAD_TOO_LARGE,
            "run",
            "the run has more than can be given here",
            "Take it at the panel: `standclear log --run N --bundle FILE`.",
        )
    })?;
    Ok(saved(&format!("run-{run}.tar"), "application/x-tar", bytes))
}

/// An answer that a browser saves under a name of ours.
fn saved(name: &str, kind: &'static str, bytes: Vec<u8>) -> Response {
    let how = format!("attachment; filename=\"{name}\"");
    let head = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, how),
    ];
    (head, bytes).into_response()
}

/// `GET /run/N`: a run to be read and printed.
pub(super) async fn page(
    State(served): State<Served>,
    Path(run): Path<u64>,
) -> Result<Response, Refusal> {
    let review = Arc::clone(&served.state.review);
    let sheet = on_disk(&served, move || review.page(run)).await?;
    let sheet = sheet.map_err(no_run)?;
    let kind = "text/html; charset=utf-8";
    let body = drawn(&sheet);
    Ok((
        [(header::CONTENT_TYPE, kind)],
        guide::framed(&sheet.title, &body),
    )
        .into_response())
}

fn drawn(sheet: &Sheet) -> String {
    let mut body = format!("<h1>{}</h1>\n<table>\n", plain(&sheet.title));
    for (what, value) in &sheet.facts {
        // Nothing is lost where text is written into memory; and so below.
        let _ = writeln!(
            body,
            "<tr><th>{}</th><td>{}</td></tr>",
            plain(what),
            plain(value)
        );
    }
    body += "</table>\n";
    if sheet.unsure {
        body += "<p>Times with a ? are unsure: this board's clock was not set. Their order is right.</p>\n";
    }
    let table = |title: &str, heads: [&str; 3], rows: &[[String; 3]]| {
        let cells = |tag: &str, row: [&str; 3]| -> String {
            let cells = row.map(|c| format!("<{tag}>{}</{tag}>", plain(c)));
            format!("<tr>{}</tr>\n", cells.concat())
        };
        let mut out = format!("<h2>{title}</h2>\n<table>\n{}", cells("th", heads));
        for [a, b, c] in rows {
            out += &cells("td", [a, b, c]);
        }
        out + "</table>\n"
    };
    if sheet.stops.is_empty() {
        body += "<h2>Stops</h2>\n<p>None.</p>\n";
    } else {
        body += &table("Stops", ["Time", "What", "Do"], &sheet.stops);
    }
    body + &table("What happened", ["Time", "s", "What"], &sheet.rows)
}

/// Names of jobs are a person's, and no markup.
fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out += "&amp;",
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '"' => out += "&quot;",
            c => out.push(c),
        }
    }
    out
}

/// A recorded run is shown only while nothing is going on; else what was looked at is closed.
fn may_replay(served: &Served) -> Result<(), Refusal> {
    let Some(why) = served.state.panel.latest().view.bars_replay() else {
        return Ok(());
    };
    let review = Arc::clone(&served.state.review);
    // Not here: it may be driven on at this moment.
    tokio::task::spawn_blocking(move || review.close());
    let says = format!("a recorded run is not shown now: {why}");
    Err(trouble(
        StatusCode::CONFLICT,
        "replay",
        says,
        "Deal with the machine first.",
    ))
}

/// `GET /api/replay?run=N`: what of a run can be shown again, and its stops.
pub(super) async fn replay(
    State(served): State<Served>,
    Query(WhichRun { run }): Query<WhichRun>,
) -> Result<Json<Replayable>, Refusal> {
    may_replay(&served)?;
    let review = Arc::clone(&served.state.review);
    let sought = Sought {
        run: Some(run),
        faults: true,
        most: EVENTS_MAX,
    };
    let found = on_disk(&served, move || {
        Ok((review.parts(run)?, review.events(sought)?))
    });
    let (parts, stops): (Vec<_>, Vec<_>) = found.await?.map_err(no_run)?;
    let parts = parts.into_iter().map(|p| ReplayPart {
        start: p.start,
        from_us: p.from_us,
        to_us: p.to_us,
        kept: p.kept,
    });
    Ok(Json(Replayable {
        v: VERSION,
        run,
        parts: parts.collect(),
        stops: stops.into_iter().map(told).collect(),
    }))
}

/// A moment of a recording.
#[derive(Debug, Deserialize)]
pub(super) struct WhichMoment {
    start: i64,
    us: u64,
}

/// `GET /api/replay/at?start=N&us=T`: the machine as it was at a moment, or as near to it as was come by now.
pub(super) async fn moment(
    State(served): State<Served>,
    Query(WhichMoment { start, us }): Query<WhichMoment>,
) -> Result<Json<MomentShown>, Refusal> {
    may_replay(&served)?;
    let review = Arc::clone(&served.state.review);
    let shown = on_disk(&served, move || review.moment(start, us)).await?;
    let shown = shown.map_err(|says| {
        let remedy = "Look at it with `standclear replay`.";
        trouble(StatusCode::UNPROCESSABLE_ENTITY, "us", says, remedy)
    })?;
    let mut view = shown.view;
    // Nothing of it may be pressed: it has been.
    for one in &mut view.allowed {
        one.refused = Some("this is a replay".into());
    }
    Ok(Json(MomentShown {
        v: VERSION,
        start,
        us: shown.us,
        reached: shown.reached,
        view: Box::new(view),
    }))
}

/// Asks for a job by its seal.
#[derive(Debug, Deserialize)]
pub(super) struct WhichJob {
    seal: String,
}

/// `GET /api/replay/job?seal=...`: the drawing of the job at the moment that is looked at.
pub(super) async fn job(
    State(served): State<Served>,
    Query(WhichJob { seal }): Query<WhichJob>,
) -> Result<Json<JobDrawn>, Refusal> {
    may_replay(&served)?;
    let known = served.state.library.job(&seal);
    let review = Arc::clone(&served.state.review);
    let job = match known {
        Some(job) => Some((*job).clone()),
        None => on_disk(&served, move || review.job(&seal)).await?,
    };
    let job = job.ok_or_else(|| {
        let says = "the drawing of this job is not at hand";
        let remedy = "Go to a moment at which it was on the table.";
        trouble(StatusCode::NOT_FOUND, "seal", says, remedy)
    })?;
    Ok(Json(JobDrawn { v: VERSION, job }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn on_the_page_of_a_run_what_a_person_has_named_is_no_markup() {
        let sheet = Sheet {
            title: "Run 7".into(),
            facts: vec![("Job".into(), "Plate <b>2</b> & \"3\"".into())],
            rows: vec![["1".into(), "0.000".into(), "<script>".into()]],
            ..Sheet::default()
        };
        let body = drawn(&sheet);
        assert!(
            body.contains("<td>Plate &lt;b&gt;2&lt;/b&gt; &amp; &quot;3&quot;</td>"),
            "{body}"
        );
        assert!(body.contains("&lt;script&gt;") && !body.contains("<script>"));
        assert!(body.contains("<h2>Stops</h2>\n<p>None.</p>"));
    }
}
