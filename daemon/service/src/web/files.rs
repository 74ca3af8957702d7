//! The console's own files, from inside the binary.

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use rust_embed::RustEmbed;

#[derive(RustEmbed)]
#[folder = "ui-static/"]
struct Console;

/// Everything comes from here, nothing runs that is not a file of ours, and no other page may show
/// this one in a frame.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; \
                      img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; \
                      frame-ancestors 'none'";

/// A file of the console, or that the one which the browser keeps is still the same: files change with the
/// binary alone, so a browser asks by their hash each time and is sent nothing twice.
pub(super) async fn file(uri: Uri, asked: HeaderMap) -> Response {
    let path = match uri.path().trim_start_matches('/') {
        "" => "index.html",
        path => path,
    };
    let Some(file) = Console::get(path) else {
        return (StatusCode::NOT_FOUND, "there is no such page\n").into_response();
    };
    let hash = tag_of(&file.metadata.sha256_hash());
    let known = asked
        .get(header::IF_NONE_MATCH)
        .is_some_and(|tag| tag.as_bytes() == hash.as_bytes());
    let keep = [
        (header::ETAG, hash),
        (header::CACHE_CONTROL, "no-cache".into()),
    ];
    if known {
        return (StatusCode::NOT_MODIFIED, keep).into_response();
    }
    (keep, [(header::CONTENT_TYPE, kind_of(path))], file.data).into_response()
}

/// What a browser is told to know a file by: the first half of its hash, 128 bits.
fn tag_of(hash: &[u8; 32]) -> String {
    let digits: String = hash[..16]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    format!("\"{digits}\"")
}

fn kind_of(path: &str) -> &'static str {
    match path.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("woff2") => "font/woff2",
        Some("json") => "application/json",
        Some("txt") => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}

/// What every answer carries.
pub(super) async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // What the machine says is never kept; a file of the console says for itself that it may be.
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    headers.insert(
        "cross-origin-resource-policy",
        HeaderValue::from_static("same-origin"),
    );
    response
}
