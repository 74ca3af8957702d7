//! Requests: read, checked, put to the machine or the library, and answered.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Query, Request, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use control::{Answer, Ask, PressId};
use planning::Pauses;
use serde::{Deserialize, Serialize};
use tokio::time::timeout;

use super::body::{Refusal, shutting_down, trouble};
use super::messages::{Answered, Asked, JobDrawn, LoadAsked, ProgramRead, Programs, VERSION};
use super::seat::{self, Asker, Seat};
use super::{Served, body};
use crate::library::{Chosen, LibraryError};

/// A request waits so long for its turn at the disk, and as long for its answer.
const DISK_WITHIN: Duration = Duration::from_secs(3);

pub(super) fn answered(answer: Answer) -> Response {
    Json(Answered { v: VERSION, answer }).into_response()
}

/// `POST /api/ask`: `{generation, ask}`.
pub(super) async fn ask(
    State(served): State<Served>,
    Extension(asker): Extension<Asker>,
    request: Request,
) -> Result<Response, Refusal> {
    let Asked { generation, ask } = body::typed(request).await?;
    let ask = Ask::from(ask);
    if !matches!(ask, Ask::Hold { .. }) {
        may_command(&asker)?;
        served.screens.commanded();
    }
    let answer = served.state.panel.ask(generation, ask).await;
    answer.map(answered).map_err(|_| shutting_down())
}

/// `POST /api/hold`: `{press}`. From any screen, whatever it saw. `press` names the press: the same
/// number each time that it is sent, another one for the next press.
pub(super) async fn hold(
    State(served): State<Served>,
    request: Request,
) -> Result<Response, Refusal> {
    // That it is JSON matters: no page of another site can send that without asking first. What else
    // the body says does not: a press without a sound name is a press.
    let asked = body::object(request).await?;
    let press = asked
        .get("press")
        .and_then(|p| PressId::deserialize(p).ok());
    let generation = served.state.panel.latest().view.generation;
    let answer = served
        .state
        .panel
        .ask(generation, Ask::Hold { press })
        .await;
    answer.map(answered).map_err(|_| shutting_down())
}

/// An empty object.
#[derive(Deserialize, Serialize)]
struct Nothing {}

/// `POST /api/table`: `{}`. What hands do at a simulated table to put a fault right.
pub(super) async fn table(
    State(served): State<Served>,
    Extension(asker): Extension<Asker>,
    request: Request,
) -> Result<Response, Refusal> {
    may_command(&asker)?;
    let Nothing {} = body::typed(request).await?;
    let Some(set_right) = served.state.set_right.clone() else {
        return Err(trouble(
            StatusCode::NOT_FOUND,
            "table",
            "this table is a real one",
            "Go to the table and set it right by hand.",
        ));
    };
    let done = tokio::task::spawn_blocking(move || set_right()).await;
    match done {
        Ok(Ok(())) => Ok(answered(Answer::Accepted)),
        Ok(Err(says)) => Ok(answered(Answer::Refused {
            reason: "table".into(),
            says,
            remedy: "Look at what is wrong first.".into(),
        })),
        Err(_) => Err(shutting_down()),
    }
}

/// `POST /api/load`: a program of the library, with its warnings accepted.
pub(super) async fn load(
    State(served): State<Served>,
    request: Request,
) -> Result<Response, Refusal> {
    let asked: LoadAsked = body::typed(request).await?;
    let library = served.state.library.clone();
    library.reckon_with(served.state.panel.latest().view.parts.supplies);
    let generation = asked.generation;
    let chosen = library.chosen(&asked.id).await;
    let chosen = chosen.map_err(|e| library_trouble(&e))?;
    let (keeps, config) = (served.state.papers.clone(), served.state.config.clone());
    let pauses = if asked.pauses {
        Pauses::Accepted
    } else {
        Pauses::Declined
    };
    let sealing = move || {
        let job = library.seal_chosen(&chosen, &asked.version, &asked.accepted, pauses)?;
        keeps(job.seal.hash(), &chosen.prepared, &config);
        Ok(job)
    };
    let sealed = tokio::task::spawn_blocking(sealing).await;
    let job = match sealed.map_err(|_| shutting_down())? {
        Ok(job) => job,
        Err(e @ LibraryError::NotSealed(_)) => {
            return Ok(answered(Answer::Refused {
                reason: "not-sealed".into(),
                says: e.to_string(),
                remedy: e.remedy().into(),
            }));
        }
        Err(e) => return Err(library_trouble(&e)),
    };
    let (library, panel) = (&served.state.library, &served.state.panel);
    let answer = library.load(panel, generation, job).await;
    answer.map(answered).map_err(|e| library_trouble(&e))
}

pub(super) fn may_command(asker: &Asker) -> Result<(), Refusal> {
    match asker.seat {
        Seat::Console => Ok(()),
        Seat::Prepares | Seat::Watches => Err(seat::refuse(asker.peer, "/api/ask", Seat::Console)),
    }
}

fn library_trouble(e: &LibraryError) -> Refusal {
    let (status, field) = match e {
        LibraryError::NoSuchProgram(_) => (StatusCode::NOT_FOUND, "id"),
        LibraryError::Unreadable { .. } => (StatusCode::UNPROCESSABLE_ENTITY, "id"),
        LibraryError::Changed(_) => (StatusCode::CONFLICT, "version"),
        LibraryError::BadAcceptance { .. } => (StatusCode::UNPROCESSABLE_ENTITY, "accepted"),
        LibraryError::NotSealed(_) => (StatusCode::UNPROCESSABLE_ENTITY, "accepted"),
        LibraryError::Busy => (StatusCode::SERVICE_UNAVAILABLE, "id"),
        LibraryError::Stopped => (StatusCode::CONFLICT, "id"),
        LibraryError::Gone(_) => return shutting_down(),
    };
    trouble(status, field, e.to_string(), e.remedy())
}

/// Does what waits for the disk, a few at a time and not for ever: one that hangs takes no more threads
/// than these.
pub(super) async fn on_disk<T: Send + 'static>(
    served: &Served,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refusal> {
    let slow = || {
        trouble(
            StatusCode::SERVICE_UNAVAILABLE,
            "disk",
            "the panel's disk does not answer",
            "Look at the disk. HOLD works all the same.",
        )
    };
    let turn = timeout(DISK_WITHIN, Arc::clone(&served.on_disk).acquire_owned()).await;
    let turn = turn.map_err(|_| slow())?.map_err(|_| shutting_down())?;
    let task = tokio::task::spawn_blocking(move || {
        let done = work();
        drop(turn);
        done
    });
    let done = timeout(DISK_WITHIN, task).await.map_err(|_| slow())?;
    done.map_err(|_| shutting_down())
}

/// `GET /api/programs`.
pub(super) async fn programs(State(served): State<Served>) -> Result<Json<Programs>, Refusal> {
    let library = served.state.library.clone();
    let programs = on_disk(&served, move || library.list()).await?;
    let v = VERSION;
    Ok(Json(Programs { v, programs }))
}

#[derive(Deserialize)]
pub(super) struct WhichProgram {
    id: String,
}

/// `GET /api/program?id=`.
pub(super) async fn program(
    State(served): State<Served>,
    Query(which): Query<WhichProgram>,
) -> Result<Json<ProgramRead>, Refusal> {
    let library = served.state.library.clone();
    library.reckon_with(served.state.panel.latest().view.parts.supplies);
    // When the screen goes away this is let fall, and with the last who waits the vetting.
    let chosen = library.chosen(&which.id).await;
    let chosen = chosen.map_err(|e| library_trouble(&e))?;
    Ok(Json(read(&chosen)))
}

fn read(chosen: &Chosen) -> ProgramRead {
    let setup = chosen.prepared.setup.as_ref();
    ProgramRead {
        v: VERSION,
        listed: chosen.listed.clone(),
        version: chosen.version.clone(),
        material: setup.map(|s| s.material.clone()),
        thickness_mm: setup.map(|s| s.thickness),
        sheet: setup.map(|s| s.sheet),
        amps: chosen.prepared.row.as_ref().map(|r| r.amps),
        report: chosen.prepared.report.clone(),
        plan: chosen.plan.clone(),
        drawing: chosen.drawing.clone(),
    }
}

#[derive(Deserialize)]
pub(super) struct WhichJob {
    seal: String,
}

/// `GET /api/job?seal=`.
pub(super) async fn job(
    State(served): State<Served>,
    Query(which): Query<WhichJob>,
) -> Result<Json<JobDrawn>, Refusal> {
    let found = served.state.library.job(&which.seal);
    let job = found.ok_or_else(|| {
        trouble(
            StatusCode::NOT_FOUND,
            "seal",
            "the drawing of this job is not at hand",
            "Load its program again to see it drawn.",
        )
    })?;
    Ok(Json(JobDrawn {
        v: VERSION,
        job: (*job).clone(),
    }))
}

/// Whatever else begins with `/api/`.
pub(super) async fn nothing_there(request: Request) -> Refusal {
    trouble(
        StatusCode::NOT_FOUND,
        "path",
        format!("there is no `{}`", request.uri().path()),
        "Load the console again: it may be older than the panel.",
    )
}
