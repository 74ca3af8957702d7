//! The body of a request: JSON, typed, nothing in it unknown. Errors name the place in it.

use std::time::Duration;

use axum::Json;
use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::{StatusCode, header};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use tokio::time::timeout;

use super::messages::{Trouble, VERSION};

/// Longest body of a request, bytes: a load with a reason for each of a few hundred warnings.
const BODY_BYTES_MAX: usize = 256 * 1024;
/// The body of a request comes within this.
const BODY_WITHIN: Duration = Duration::from_secs(5);

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

/// The machine's task has ended, or what was to answer has.
pub(super) fn shutting_down() -> Refusal {
    trouble(
        StatusCode::SERVICE_UNAVAILABLE,
        "panel",
        "the panel is shutting down",
        "Use the red button if anything moves.",
    )
}

/// The body as an object.
pub(super) async fn object(request: Request) -> Result<Value, Refusal> {
    object_within(request, BODY_BYTES_MAX, BODY_WITHIN).await
}

async fn object_within(request: Request, most: usize, within: Duration) -> Result<Value, Refusal> {
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
    let come = timeout(within, to_bytes(body, most)).await;
    let come = come.map_err(|_| {
        trouble(
            StatusCode::REQUEST_TIMEOUT,
            "body",
            format!("did not come within {} s", within.as_secs()),
            "Ask again.",
        )
    })?;
    let bytes = come.map_err(|_| {
        trouble(
            StatusCode::PAYLOAD_TOO_LARGE,
            "body",
            format!("longer than {most} bytes, or broken off"),
            "Send less.",
        )
    })?;
    let bad = |says: String| {
        let remedy = "Send one JSON object.";
        trouble(StatusCode::BAD_REQUEST, "body", says, remedy)
    };
    match serde_json::from_slice(&bytes) {
        Ok(object @ Value::Object(_)) => Ok(object),
        Ok(_) => Err(bad("not a JSON object".into())),
        Err(e) => Err(bad(e.to_string())),
    }
}

/// The body as what it is to be.
pub(super) async fn typed<T: DeserializeOwned + Serialize>(request: Request) -> Result<T, Refusal> {
    of(object(request).await?)
}

/// The same for a longer one that may take its time.
pub(super) async fn typed_within<T: DeserializeOwned + Serialize>(
    request: Request,
    most: usize,
    within: Duration,
) -> Result<T, Refusal> {
    of(object_within(request, most, within).await?)
}

fn of<T: DeserializeOwned + Serialize>(given: Value) -> Result<T, Refusal> {
    let wrong = |path: &str, says: String, remedy: &str| {
        trouble(StatusCode::UNPROCESSABLE_ENTITY, path, says, remedy)
    };
    let typed: T = serde_path_to_error::deserialize(&given).map_err(|e| {
        let (path, says) = (e.path().to_string(), e.inner().to_string());
        let path = path.trim_start_matches('.');
        // Serde tells a missing field at the place of what lacks it.
        let missing = says.strip_prefix("missing field `");
        let (place, says) = match missing.and_then(|name| name.split_once('`')) {
            Some((name, _)) if path.is_empty() => (name.to_owned(), "is missing".to_owned()),
            Some((name, _)) => (format!("{path}.{name}"), "is missing".to_owned()),
            None if path.is_empty() => ("body".to_owned(), says),
            None => (path.to_owned(), says),
        };
        wrong(&place, says, "Put this field right.")
    })?;
    let known = serde_json::to_value(&typed).unwrap_or_default();
    match unknown(&given, &known) {
        None => Ok(typed),
        Some(path) => Err(wrong(
            &path,
            "is not part of this request".into(),
            "Leave it out.",
        )),
    }
}

/// The first field that was given and is not known, by its path. Serde itself lets fields pass that stand
/// beside the tag of a variant without fields.
fn unknown(given: &Value, known: &Value) -> Option<String> {
    let below = |name: String, given, known| {
        unknown(given, known).map(|path| match path.strip_prefix('[') {
            Some(_) => format!("{name}{path}"),
            None => format!("{name}.{path}"),
        })
    };
    match (given, known) {
        (Value::Object(given), Value::Object(known)) => {
            given
                .iter()
                .find_map(|(name, value)| match known.get(name) {
                    None => Some(name.clone()),
                    Some(known) => below(name.clone(), value, known),
                })
        }
        (Value::Array(given), Value::Array(known)) => (given.iter().zip(known).enumerate())
            .find_map(|(i, (given, known))| below(format!("[{i}]"), given, known)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::super::messages::{Asked, LoadAsked};
    use super::*;

    fn refused<T: DeserializeOwned + Serialize>(given: Value) -> (String, String) {
        let Err((_, Json(trouble))) = of::<T>(given) else {
            panic!("it was taken");
        };
        (trouble.field, trouble.says)
    }

    #[test]
    fn errors_name_the_place_in_the_body() {
        let (field, says) =
            refused::<Asked>(json!({ "generation": -1, "ask": { "kind": "start" } }));
        assert_eq!(field, "generation");
        assert!(says.contains("u64"), "{says}");
        let (field, says) = refused::<Asked>(json!({ "ask": { "kind": "start" } }));
        assert_eq!(
            (field.as_str(), says.as_str()),
            ("generation", "is missing")
        );
        let (field, says) = refused::<Asked>(json!({ "generation": 1, "ask": { "kind": "fly" } }));
        assert!(field.starts_with("ask"), "{field}");
        assert!(says.contains("fly"), "{says}");
        let nudge = json!({ "kind": "datum-nudge", "dx_mm": 1.0 });
        let (field, says) = refused::<Asked>(json!({ "generation": 1, "ask": nudge }));
        assert_eq!((field.as_str(), says.as_str()), ("ask.dy_mm", "is missing"));
        let accepted = json!([{ "rule": "x", "line": null, "reason": 7 }]);
        let load = json!({ "generation": 1, "id": "a", "version": "b", "accepted": accepted });
        assert!(refused::<LoadAsked>(load).0.starts_with("accepted[0]"));
    }

    #[test]
    fn unknown_fields_are_refused_wherever_they_stand() {
        let of = |ask: Value| refused::<Asked>(json!({ "generation": 1, "ask": ask })).0;
        assert_eq!(
            of(json!({ "kind": "start", "at_once": true })),
            "ask.at_once"
        );
        assert_eq!(
            of(json!({ "kind": "hold", "press": 1, "hard": 1 })),
            "ask.hard"
        );
        let beside = json!({ "generation": 1, "ask": { "kind": "start" }, "seat": 1 });
        assert_eq!(refused::<Asked>(beside).0, "seat");
    }
}
