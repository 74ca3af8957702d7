//! What is taken from whom: the routes as they are served, asked by peers that a test names.

use axum::body::{Body, to_bytes};
use axum::extract::ConnectInfo;
use axum::http::{HeaderMap, Request, StatusCode};
use tower::ServiceExt as _;

use super::*;

const LAN: &str = "192.168.1.23:51000";
const CONSOLE: &str = "127.0.0.1:51000";
const PIN: &str = "428613";

/// The routes, and the machine behind them.
struct Routes {
    router: Router,
    rig: Rig,
    _stop: watch::Sender<bool>,
}

struct Got {
    status: StatusCode,
    headers: HeaderMap,
    body: Value,
}

impl Routes {
    async fn new() -> Self {
        let rig = rig(true).await;
        let (stop, stopped) = watch::channel(false);
        Self {
            router: routes(share(rig.state.clone(), stopped)),
            rig,
            _stop: stop,
        }
    }

    async fn ask(&self, peer: &str, method: &str, path: &str, body: &Value, pass: &str) -> Got {
        let host = if peer == CONSOLE {
            "127.0.0.1:8440"
        } else {
            "192.168.1.2:8440"
        };
        let mut request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", host)
            .header("origin", format!("http://{host}"))
            .header("cookie", format!("theme=dark; standclear-pass={pass}"))
            .header("content-type", "application/json")
            .body(Body::from(body.to_string()))
            .expect("a request");
        let peer: SocketAddr = peer.parse().expect("an address");
        request.extensions_mut().insert(ConnectInfo(peer));
        let answer = self
            .router
            .clone()
            .oneshot(request)
            .await
            .expect("infallible");
        let (head, body) = answer.into_parts();
        let bytes = to_bytes(body, 1 << 20).await.expect("a body");
        Got {
            status: head.status,
            headers: head.headers,
            body: serde_json::from_slice(&bytes).unwrap_or(Value::Null),
        }
    }

    async fn post(&self, peer: &str, path: &str, body: Value) -> Got {
        self.ask(peer, "POST", path, &body, "").await
    }

    /// Gives the PIN from elsewhere: the pass that comes with the answer.
    async fn enter(&self, pin: &str) -> Result<String, Got> {
        let got = self.post(LAN, "/api/enter", json!({ "pin": pin })).await;
        let Some(cookie) = got.headers.get("set-cookie").cloned() else {
            return Err(got);
        };
        let cookie = cookie.to_str().expect("text");
        assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"));
        let pass = cookie.split([';', '=']).nth(1).expect("a value");
        Ok(pass.to_owned())
    }
}

/// Whatever a screen can ask of the machine, as the console writes it.
fn every_ask() -> Vec<Value> {
    let all = include_str!("../../../../../tests/fixtures/messages/asks.json");
    let all: Value = serde_json::from_str(all).expect("good JSON");
    let all = all.as_array().expect("a list");
    assert!(all.len() >= 20, "{}", all.len());
    let asked = |ask: &Value| json!({"generation": 1, "ask": ask});
    all.iter().map(asked).collect()
}

/// Posts that are no plain asks.
fn every_other() -> [(&'static str, Value); 4] {
    [
        (
            "/api/load",
            json!({"generation": 1, "id": "x", "version": "y", "accepted": []}),
        ),
        (
            "/api/resume",
            json!({"generation": 1, "plan": "x", "back_mm": 0.0, "accepted": []}),
        ),
        ("/api/table", json!({})),
        ("/api/pin", json!({ "pin": PIN })),
    ]
}

#[track_caller]
fn refused(got: &Got, what: &str) {
    assert_eq!(got.status, StatusCode::FORBIDDEN, "{what}: {}", got.body);
    assert_eq!(got.body["field"], "seat", "{what}: {}", got.body);
    let remedy = got.body["remedy"].as_str().unwrap_or("");
    assert!(remedy.contains("HOLD works from here"), "{what}: {remedy}");
}

fn is_hold(ask: &Value) -> bool {
    ask["ask"]["kind"] == "hold"
}

#[tokio::test]
async fn a_screen_elsewhere_is_told_and_may_hold_and_nothing_else_of_it_reaches_the_machine() {
    let routes = Routes::new().await;
    for peer in [LAN, "[fd00::7]:9", "[::ffff:192.168.1.23]:9"] {
        for ask in every_ask().iter().filter(|a| !is_hold(a)) {
            refused(
                &routes.post(peer, "/api/ask", ask.clone()).await,
                &ask.to_string(),
            );
        }
        for (path, body) in every_other() {
            refused(&routes.post(peer, path, body).await, path);
        }
        for path in [
            "/api/programs",
            "/api/program?id=x",
            "/api/ways?back_mm=0",
            "/api/export/bundle?run=1",
            "/api/replay?run=1",
            "/api/replay/at?start=1&us=0",
            "/api/replay/job?seal=x",
        ] {
            refused(&routes.ask(peer, "GET", path, &Value::Null, "").await, path);
        }
        for (path, status) in [
            ("/", StatusCode::OK),
            ("/index.html", StatusCode::OK),
            ("/api/job?seal=x", StatusCode::NOT_FOUND),
            ("/api/events", StatusCode::INTERNAL_SERVER_ERROR),
            ("/api/runs", StatusCode::INTERNAL_SERVER_ERROR),
            ("/api/stop", StatusCode::OK),
            ("/api/trace?name=start-1-2-3", StatusCode::NOT_FOUND),
            ("/run/1", StatusCode::NOT_FOUND),
        ] {
            let got = routes.ask(peer, "GET", path, &Value::Null, "").await;
            assert_eq!(got.status, status, "{peer} {path}: {}", got.body);
        }
    }
    assert_eq!(routes.rig.asked(), []);
    let held = routes.post(LAN, "/api/hold", json!({"press": 7})).await;
    assert_eq!(held.status, StatusCode::OK, "{}", held.body);
    let ask = json!({"generation": 1, "ask": {"kind": "hold", "press": 8}});
    let held = routes.post(LAN, "/api/ask", ask).await;
    assert_eq!(held.status, StatusCode::OK, "{}", held.body);
    let asked = routes.rig.asked();
    assert_eq!(asked.len(), 2);
    assert!(asked.iter().all(|(_, ask)| matches!(ask, Ask::Hold { .. })));
}

#[tokio::test]
async fn a_screen_that_has_given_the_pin_prepares_and_commands_as_little_as_before() {
    let routes = Routes::new().await;
    let none = routes.enter(PIN).await.expect_err("none is set");
    assert_eq!(none.body["says"], "no PIN is set");
    let set = routes
        .post(CONSOLE, "/api/pin", json!({ "pin": PIN }))
        .await;
    assert_eq!(set.status, StatusCode::OK, "{}", set.body);
    let pass = routes.enter(PIN).await.ok().expect("the PIN");
    let get = async |path: &str, pass: &str| {
        let got = routes.ask(LAN, "GET", path, &Value::Null, pass).await;
        got.status
    };
    assert_eq!(get("/api/programs", &pass).await, StatusCode::OK);
    assert_eq!(get("/api/programs", "").await, StatusCode::FORBIDDEN);
    let other = pass.replace(|c: char| c.is_ascii_digit(), "f");
    assert_eq!(get("/api/programs", &other).await, StatusCode::FORBIDDEN);
    let [load, resume, table, pin] = every_other();
    let loaded = routes.ask(LAN, "POST", load.0, &load.1, &pass).await;
    assert_eq!(
        loaded.status,
        StatusCode::NOT_FOUND,
        "there is no such program"
    );
    for (path, body) in [resume, table, pin] {
        refused(&routes.ask(LAN, "POST", path, &body, &pass).await, path);
    }
    for ask in every_ask().iter().filter(|a| !is_hold(a)) {
        refused(
            &routes.ask(LAN, "POST", "/api/ask", ask, &pass).await,
            &ask.to_string(),
        );
    }
    assert_eq!(routes.rig.asked(), []);
    // Taken back at the console.
    let none = routes
        .post(CONSOLE, "/api/pin", json!({ "pin": null }))
        .await;
    assert_eq!(none.status, StatusCode::OK);
    assert_eq!(get("/api/programs", &pass).await, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn a_pin_cannot_be_guessed_through_and_a_bad_one_cannot_be_set() {
    let routes = Routes::new().await;
    let bad = routes
        .post(CONSOLE, "/api/pin", json!({"pin": "1234"}))
        .await;
    assert_eq!(bad.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        bad.body["remedy"]
            .as_str()
            .is_some_and(|r| r.contains("6 to 12 digits"))
    );
    routes
        .post(CONSOLE, "/api/pin", json!({ "pin": PIN }))
        .await;
    for _ in 0..5 {
        let wrong = routes.enter("000000").await.expect_err("wrong");
        assert_eq!(wrong.status, StatusCode::FORBIDDEN);
    }
    let locked = routes.enter(PIN).await.expect_err("none is looked at");
    assert_eq!(locked.status, StatusCode::TOO_MANY_REQUESTS);
    // The console is not locked out: another PIN begins anew.
    routes
        .post(CONSOLE, "/api/pin", json!({"pin": "777123"}))
        .await;
    assert!(routes.enter("777123").await.is_ok());
}

#[tokio::test]
async fn the_console_commands_but_not_through_something_that_passes_on() {
    let routes = Routes::new().await;
    for ask in every_ask().iter().filter(|a| !is_hold(a)) {
        let got = routes.post(CONSOLE, "/api/ask", ask.clone()).await;
        assert_eq!(got.status, StatusCode::OK, "{ask}: {}", got.body);
    }
    let asked = routes.rig.asked().len();
    let mut request = Request::builder()
        .method("POST")
        .uri("/api/ask")
        .header("host", "127.0.0.1:8440")
        .header("content-type", "application/json")
        .header("x-forwarded-for", "203.0.113.9")
        .body(Body::from(
            json!({"generation": 1, "ask": {"kind": "start"}}).to_string(),
        ))
        .expect("a request");
    let peer: SocketAddr = CONSOLE.parse().expect("an address");
    request.extensions_mut().insert(ConnectInfo(peer));
    let got = routes
        .router
        .clone()
        .oneshot(request)
        .await
        .expect("infallible");
    assert_eq!(got.status(), StatusCode::FORBIDDEN);
    assert_eq!(routes.rig.asked().len(), asked);
}
