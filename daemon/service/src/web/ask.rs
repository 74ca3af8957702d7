//! Requests: read, checked, put to the machine or the library, and answered.

use std::net::SocketAddr;

use axum::Json;
use axum::body::{Body, to_bytes};
use axum::extract::{ConnectInfo, Query, Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use control::Answer;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use super::messages::{
    Answered, Events, JobDrawn, LoadAsked, ProgramRead, Programs, ScreenAsk, Trouble, VERSION,
};
use super::{Served, at_the_console};
use crate::job::Waited;
use crate::library::{Chosen, LibraryError};

/// Longest body of a request, bytes: a load with a reason for each of a few hundred warnings.
const BODY_BYTES_MAX: usize = 256 * 1024;
/// Most events that are given at once.
const EVENTS_MAX: usize = 500;

pub(super) type Refusal = (StatusCode, Json<Trouble>);

/// A request that was not put to the machine.
pub(super) fn trouble(
    status: StatusCode,
    field: &str,
    says: impl Into<String>,
    remedy: &str,
) -> Refusal {
    let trouble = Trouble {
        v: VERSION,
        field: field.into(),
        says: says.into(),
        remedy: remedy.into(),
    };
    (status, Json(trouble))
}

pub(super) fn answered(answer: Answer) -> Response {
    Json(Answered { v: VERSION, answer }).into_response()
}

pub(super) fn shutting_down() -> Refusal {
    trouble(
        StatusCode::SERVICE_UNAVAILABLE,
        "panel",
        "the panel is shutting down",
        "Use the red button if anything moves.",
    )
}

/// The fields of a JSON body.
pub(super) struct Fields(Map<String, Value>);

impl Fields {
    pub(super) async fn of(request: Request) -> Result<Self, Refusal> {
        let kind = request.headers().get(header::CONTENT_TYPE);
        let kind = kind.and_then(|k| k.to_str().ok()).unwrap_or("");
        let kind = kind.split(';').next().unwrap_or("").trim();
        if !kind.eq_ignore_ascii_case("application/json") {
            return Err(trouble(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "Content-Type",
                "must be application/json",
                "Send the request as JSON.",
            ));
        }
        let body: Body = request.into_body();
        let bytes = to_bytes(body, BODY_BYTES_MAX).await.map_err(|_| {
            trouble(
                StatusCode::PAYLOAD_TOO_LARGE,
                "body",
                format!("longer than {BODY_BYTES_MAX} bytes, or broken off"),
                "Send less.",
            )
        })?;
        let bad = |says: String| {
            let remedy = "Send one JSON object.";
            trouble(StatusCode::BAD_REQUEST, "body", says, remedy)
        };
        match serde_json::from_slice(&bytes) {
            Ok(Value::Object(fields)) => Ok(Self(fields)),
            Ok(_) => Err(bad("not a JSON object".into())),
            Err(e) => Err(bad(e.to_string())),
        }
    }

    pub(super) fn take<T: DeserializeOwned>(&mut self, field: &str) -> Result<T, Refusal> {
        let wrong = |says: String| {
            let remedy = "Put this field right.";
            trouble(StatusCode::UNPROCESSABLE_ENTITY, field, says, remedy)
        };
        let value = self
            .0
            .remove(field)
            .ok_or_else(|| wrong("is missing".into()))?;
        serde_json::from_value(value).map_err(|e| wrong(e.to_string()))
    }

    pub(super) fn end(self) -> Result<(), Refusal> {
        match self.0.keys().next() {
            None => Ok(()),
            Some(field) => Err(trouble(
                StatusCode::UNPROCESSABLE_ENTITY,
                field,
                "is not part of this request",
                "Leave it out.",
            )),
        }
    }
}

/// `POST /api/ask`: `{generation, ask}`.
pub(super) async fn ask(
    State(served): State<Served>,
    peer: ConnectInfo<SocketAddr>,
    request: Request,
) -> Result<Response, Refusal> {
    let mut fields = Fields::of(request).await?;
    let generation = fields.take("generation")?;
    let ask: ScreenAsk = fields.take("ask")?;
    fields.end()?;
    if !matches!(ask, ScreenAsk::Hold { .. }) {
        may_command(peer)?;
        served.screens.commanded();
    }
    let answer = served.state.panel.ask(generation, ask.into()).await;
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
    let mut fields = Fields::of(request).await?;
    let press = fields.take("press").ok();
    let generation = served.state.panel.latest().view.generation;
    let answer = served
        .state
        .panel
        .ask(generation, control::Ask::Hold { press })
        .await;
    answer.map(answered).map_err(|_| shutting_down())
}

/// `POST /api/table`: `{}`. What hands do at a simulated table to put a fault right.
pub(super) async fn table(
    State(served): State<Served>,
    peer: ConnectInfo<SocketAddr>,
    request: Request,
) -> Result<Response, Refusal> {
    Fields::of(request).await?.end()?;
    may_command(peer)?;
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
    peer: ConnectInfo<SocketAddr>,
    request: Request,
) -> Result<Response, Refusal> {
    let mut fields = Fields::of(request).await?;
    let asked = LoadAsked {
        generation: fields.take("generation")?,
        id: fields.take("id")?,
        version: fields.take("version")?,
        accepted: fields.take("accepted")?,
    };
    fields.end()?;
    may_command(peer)?;
    let library = served.state.library.clone();
    library.reckon_with(served.state.panel.latest().view.parts.supplies);
    let generation = asked.generation;
    let sealing = move || library.seal(&asked.id, &asked.version, &asked.accepted);
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

pub(super) fn may_command(peer: ConnectInfo<SocketAddr>) -> Result<(), Refusal> {
    if at_the_console(peer) {
        return Ok(());
    }
    Err(trouble(
        StatusCode::FORBIDDEN,
        "seat",
        "this screen only watches",
        "Go to the console. HOLD works from here.",
    ))
}

fn library_trouble(e: &LibraryError) -> Refusal {
    let (status, field) = match e {
        LibraryError::NoSuchProgram(_) => (StatusCode::NOT_FOUND, "id"),
        LibraryError::Unreadable { .. } => (StatusCode::UNPROCESSABLE_ENTITY, "id"),
        LibraryError::Changed(_) => (StatusCode::CONFLICT, "version"),
        LibraryError::BadAcceptance { .. } => (StatusCode::UNPROCESSABLE_ENTITY, "accepted"),
        LibraryError::NotSealed(_) => (StatusCode::UNPROCESSABLE_ENTITY, "accepted"),
        LibraryError::Stopped(_) => (StatusCode::CONFLICT, "id"),
        LibraryError::Gone(_) => return shutting_down(),
    };
    trouble(status, field, e.to_string(), e.remedy())
}

/// `GET /api/programs`.
pub(super) async fn programs(State(served): State<Served>) -> Json<Programs> {
    let library = served.state.library.clone();
    let list = tokio::task::spawn_blocking(move || library.list()).await;
    Json(Programs {
        v: VERSION,
        programs: list.unwrap_or_default(),
    })
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
    // When the screen goes away this request is dropped, and the vetting with it.
    let (waited, _waiting) = Waited::for_it();
    let choose = move || library.choose_while(&which.id, &*waited);
    let chosen = tokio::task::spawn_blocking(choose).await;
    let chosen = chosen.map_err(|_| shutting_down())?;
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

/// `GET /api/events`: what has happened of late.
pub(super) async fn events(State(served): State<Served>) -> Result<Json<Events>, Refusal> {
    let happened = served.state.happened.clone();
    let events = tokio::task::spawn_blocking(move || happened(EVENTS_MAX)).await;
    let events = events.map_err(|_| shutting_down())?.map_err(|says| {
        let remedy = "Read it with `standclear log`.";
        trouble(StatusCode::INTERNAL_SERVER_ERROR, "journal", says, remedy)
    })?;
    Ok(Json(Events { v: VERSION, events }))
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
