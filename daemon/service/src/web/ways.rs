//! The ways on from a stop: shown, and one of them accepted. They are worked out anew from what is
//! published when one is accepted, and it is taken only if it is the one that was shown.

use std::sync::Arc;

use axum::extract::{Query, Request, State};
use axum::http::StatusCode;
use axum::response::Response;
use axum::{Extension, Json};
use control::{Answer, Ask, Plans};
use serde::Deserialize;

use super::ask::{answered, may_command};
use super::body::{Refusal, shutting_down, trouble};
use super::messages::{ResumeAsked, VERSION, WaysOn};
use super::seat::Asker;
use super::{Served, body};

/// No way is asked for further back than this, mm.
const BACK_MM_MAX: f64 = 10_000.0;

#[derive(Deserialize)]
pub(super) struct From {
    #[serde(default)]
    back_mm: f64,
}

/// `GET /api/ways?back_mm=`.
pub(super) async fn ways(
    State(served): State<Served>,
    Query(from): Query<From>,
) -> Result<Json<WaysOn>, Refusal> {
    let (generation, ways, _) = found(&served, from.back_mm).await?;
    Ok(Json(WaysOn {
        v: VERSION,
        generation,
        back_mm: from.back_mm,
        ways,
    }))
}

/// `POST /api/resume`.
pub(super) async fn resume(
    State(served): State<Served>,
    Extension(asker): Extension<Asker>,
    request: Request,
) -> Result<Response, Refusal> {
    let ResumeAsked {
        generation,
        plan,
        back_mm,
        accepted,
    } = body::typed(request).await?;
    may_command(&asker)?;
    served.screens.commanded();
    let (seen, ways, job) = found(&served, back_mm).await?;
    let chosen = ways.and_then(|w| w.plans.into_iter().find(|p| p.id == plan));
    // Without the plan that was shown the machine says itself that it takes none.
    let splice = match chosen.filter(|_| seen == generation).zip(job) {
        Some((chosen, job)) => match chosen.seal(&job, &accepted) {
            Ok(splice) => Some(Arc::new(splice)),
            Err(no) => return Ok(not_sealed(&no)),
        },
        None => None,
    };
    let ask = Ask::Resume { splice };
    let answer = served.state.panel.ask(generation, ask).await;
    answer.map(answered).map_err(|_| shutting_down())
}

fn not_sealed(no: &program::NoSeal) -> Response {
    answered(Answer::Refused {
        reason: "not-sealed".into(),
        says: no.to_string(),
        remedy: "Accept what it leaves and what it cuts twice, or choose another way.".into(),
    })
}

type Found = (u64, Option<Plans>, Option<Arc<planning::Job>>);

/// The ways on from what is published now. Vetting takes a while: it keeps no other request waiting.
async fn found(served: &Served, back_mm: f64) -> Result<Found, Refusal> {
    if !(back_mm.is_finite() && (0.0..=BACK_MM_MAX).contains(&back_mm)) {
        return Err(trouble(
            StatusCode::UNPROCESSABLE_ENTITY,
            "back_mm",
            format!("must be a length from 0 to {BACK_MM_MAX:.0} mm"),
            "Put this field right.",
        ));
    }
    let published = served.state.panel.latest();
    let seal = published.view.seal.clone();
    let job = seal.and_then(|seal| served.state.library.sealed(&seal));
    let generation = published.view.generation;
    let work = move || {
        let ways = job
            .as_ref()
            .and_then(|job| control::plans(job, &published.view, back_mm));
        (generation, ways, job)
    };
    // One at a time: who asks in vain leaves no more than one at work.
    let turn = Arc::clone(&served.on_ways).acquire_owned().await;
    let turn = turn.map_err(|_| shutting_down())?;
    let task = tokio::task::spawn_blocking(move || {
        let found = work();
        drop(turn);
        found
    });
    task.await.map_err(|_| shutting_down())
}
