//! A program that a screen sends: from the console, or from a screen elsewhere that has given the PIN.

use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::extract::{Request, State};
use axum::http::StatusCode;
use serde::Serialize;
use tokio::time::timeout;

use super::body::{Refusal, shutting_down, trouble};
use super::messages::VERSION;
use super::{Served, body};
use crate::library::{BROUGHT_BYTES_MAX, Brought, Listed, NotTaken};

/// Of the request: each byte of a text takes two in JSON at most, but for control bytes, which a program has few of.
const BODY_BYTES_MAX: usize = 2 * BROUGHT_BYTES_MAX;
/// It comes within this: a slow wireless network takes so long for 8 MB.
const BODY_WITHIN: Duration = Duration::from_secs(60);
/// ... and is on the disk within this.
const KEPT_WITHIN: Duration = Duration::from_secs(30);

#[derive(Serialize)]
pub(super) struct Taken {
    v: u32,
    listed: Listed,
}

/// `POST /api/program`: `{file, text, setup, replaces}`. One at a time.
pub(super) async fn bring(
    State(served): State<Served>,
    request: Request,
) -> Result<Json<Taken>, Refusal> {
    // Taken before the body is read: bodies in hand are what takes memory.
    let turn = Arc::clone(&served.on_bring)
        .try_acquire_owned()
        .map_err(|_| {
            let says = "another program is being sent";
            trouble(
                StatusCode::SERVICE_UNAVAILABLE,
                "body",
                says,
                "Send it again in a moment.",
            )
        })?;
    let brought: Brought = body::typed_within(request, BODY_BYTES_MAX, BODY_WITHIN).await?;
    let library = served.state.library.clone();
    let keeping = move || {
        let kept = library.bring(&brought);
        drop(turn);
        kept
    };
    // A card takes its time for 8 MB; a disk that hangs keeps the one turn.
    let task = tokio::task::spawn_blocking(keeping);
    let kept = timeout(KEPT_WITHIN, task).await.map_err(|_| {
        let says = "the panel's disk does not answer";
        trouble(
            StatusCode::SERVICE_UNAVAILABLE,
            "disk",
            says,
            "Look at the disk. HOLD works all the same.",
        )
    })?;
    let kept = kept.map_err(|_| shutting_down())?;
    let listed = kept.map_err(|not| refused(&not))?;
    tracing::info!(file = listed.file, "a program was sent");
    Ok(Json(Taken { v: VERSION, listed }))
}

fn refused(not: &NotTaken) -> Refusal {
    let (status, field) = match not {
        NotTaken::Name(_) => (StatusCode::UNPROCESSABLE_ENTITY, "file"),
        NotTaken::Length => (StatusCode::PAYLOAD_TOO_LARGE, "text"),
        NotTaken::Setup(_) => (StatusCode::UNPROCESSABLE_ENTITY, "setup"),
        NotTaken::OthersSetup(_) => (StatusCode::CONFLICT, "setup"),
        // One that is there is only replaced by its name.
        NotTaken::There(_) | NotTaken::Changed(_) => (StatusCode::CONFLICT, "replaces"),
        NotTaken::Full | NotTaken::NoRoom => (StatusCode::INSUFFICIENT_STORAGE, "disk"),
        NotTaken::Failed(says) => {
            tracing::error!(says, "a program that was sent could not be kept");
            return trouble(
                StatusCode::INTERNAL_SERVER_ERROR,
                "disk",
                not.to_string(),
                not.remedy(),
            );
        }
    };
    trouble(status, field, not.to_string(), not.remedy())
}
