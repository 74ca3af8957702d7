//! Whatever goes wrong below `/api` is told in one form, and in its time.

use std::time::Duration;

use axum::extract::Request;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::time::timeout;

use super::body::trouble;

/// A request is answered within this.
const WITHIN: Duration = Duration::from_secs(15);
/// One that may have a program vetted, or ways on.
const VETTED_WITHIN: Duration = Duration::from_secs(300);

/// One that puts a run into a file.
const BUNDLED_WITHIN: Duration = Duration::from_secs(70);

fn is_api(path: &str) -> bool {
    path == "/api" || path.starts_with("/api/")
}

/// Gives up what takes too long.
pub(super) async fn in_time(request: Request, next: Next) -> Response {
    let within = match request.uri().path() {
        "/api/program" | "/api/load" | "/api/ways" | "/api/resume" => VETTED_WITHIN,
        "/api/export/bundle" => BUNDLED_WITHIN,
        _ => WITHIN,
    };
    match timeout(within, next.run(request)).await {
        Ok(answer) => answer,
        Err(_) => trouble(
            StatusCode::GATEWAY_TIMEOUT,
            "panel",
            format!(
                "the panel did not find an answer within {} s",
                within.as_secs()
            ),
            "Ask again. HOLD works all the same.",
        )
        .into_response(),
    }
}

/// What the server says by itself (no such way, another method, a question that cannot be read) in the
/// form in which the panel tells of trouble.
pub(super) async fn as_json(request: Request, next: Next) -> Response {
    let api = is_api(request.uri().path());
    let asked = format!("{} {}", request.method(), request.uri().path());
    let answer = next.run(request).await;
    let status = answer.status();
    if !api || !(status.is_client_error() || status.is_server_error()) || is_json(&answer) {
        return answer;
    }
    let (mut head, body) = answer.into_parts();
    let said = axum::body::to_bytes(body, 4096).await.unwrap_or_default();
    let said = String::from_utf8_lossy(&said).trim().to_owned();
    let says = match status {
        StatusCode::METHOD_NOT_ALLOWED => format!("{asked}: this is asked for in another way"),
        _ if said.is_empty() => format!("{asked}: {status}"),
        _ => format!("{asked}: {said}"),
    };
    let remedy = "Load the console again: it may be older than the panel.";
    let (_, told) = trouble(status, "request", says, remedy);
    head.headers.remove(header::CONTENT_LENGTH);
    head.headers.remove(header::TRANSFER_ENCODING);
    let body = told.into_response().into_body();
    let json = HeaderValue::from_static("application/json");
    head.headers.insert(header::CONTENT_TYPE, json);
    Response::from_parts(head, body)
}

fn is_json(answer: &Response) -> bool {
    let kind = answer.headers().get(header::CONTENT_TYPE);
    kind.is_some_and(|k| k.as_bytes().starts_with(b"application/json"))
}
