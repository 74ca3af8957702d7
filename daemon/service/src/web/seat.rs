//! What each screen may ask for, by where it sits.
//!
//! **Console**: a screen on this machine. It alone moves, fires, clears and vouches.
//! **Prepares**: one elsewhere that has given the PIN: it may look at programs, send one, vet them, load one
//! and weigh the ways on from a stop.
//! **Watches**: any other. It is told what happens, and may ask for HOLD.
//!
//! What is not in the table of [`wants`] is the console's alone. The panel's own address is the peer of a
//! connection, never what a header says; a request that was passed on by something in between does not come
//! from the console.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use axum::Json;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};

use super::body::{Refusal, shutting_down, trouble};
use super::messages::VERSION;
use super::pass::{NotEntered, Passes};
use super::{Served, at_the_console, body};
use crate::seldom::Seldom;

/// Refusals are logged so often, with the count of those that were not.
const LOGGED_EVERY: Duration = Duration::from_millis(500);
/// The cookie that a screen's pass is kept in.
const COOKIE: &str = "standclear-pass";

/// Where a screen sits. Each may do what those before it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Seat {
    Watches,
    Prepares,
    Console,
}

/// Who asks, as every handler is told.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asker {
    pub seat: Seat,
    pub peer: Option<SocketAddr>,
}

/// What a request needs. What is not named here is the console's.
fn wants(method: &Method, path: &str) -> Seat {
    if method == Method::GET || method == Method::HEAD {
        return match path {
            // A bundle has the program in it.
            "/api/programs" | "/api/program" | "/api/ways" | "/api/export/bundle" => Seat::Prepares,
            "/api/watch" | "/api/job" | "/api/events" | "/api/runs" | "/api/trace"
            | "/api/stop" | "/api/export/trace" | "/api/export/events" => Seat::Watches,
            _ if path == "/api" || path.starts_with("/api/") => Seat::Console,
            // The console's own files.
            _ => Seat::Watches,
        };
    }
    match (method, path) {
        // What it asks for is looked at in its body: HOLD is anybody's, all else the console's.
        (&Method::POST, "/api/hold" | "/api/ask" | "/api/enter") => Seat::Watches,
        (&Method::POST, "/api/load" | "/api/program") => Seat::Prepares,
        _ => Seat::Console,
    }
}

/// Who asks.
pub(super) fn seat(peer: &SocketAddr, headers: &HeaderMap, passes: &Passes) -> Seat {
    let passed_on = ["forwarded", "x-forwarded-for", "x-real-ip", "via"];
    let passed_on = passed_on.iter().any(|name| headers.contains_key(*name));
    if at_the_console(peer) && !passed_on {
        return Seat::Console;
    }
    match pass_in(headers) {
        Some(pass) if passes.holds(&pass, Instant::now()) => Seat::Prepares,
        _ => Seat::Watches,
    }
}

/// The pass that a browser sends along by itself.
pub(super) fn pass_in(headers: &HeaderMap) -> Option<String> {
    let cookies = headers.get_all(header::COOKIE).iter();
    let mut all = cookies
        .filter_map(|c| c.to_str().ok())
        .flat_map(|c| c.split(';'));
    all.find_map(|one| {
        let (name, value) = one.trim().split_once('=')?;
        (name == COOKIE).then(|| value.to_owned())
    })
}

/// Lets a request pass, or says where it is taken.
pub(super) async fn keep(
    State(served): State<Served>,
    mut request: Request,
    next: Next,
) -> Response {
    // A connection whose peer is not known is nobody's.
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>();
    let peer = peer.map(|p| p.0);
    let seat = peer.map_or(Seat::Watches, |p| {
        seat(&p, request.headers(), &served.passes)
    });
    let wants = wants(request.method(), request.uri().path());
    if seat < wants {
        return refuse(peer, request.uri().path(), wants).into_response();
    }
    request.extensions_mut().insert(Asker { seat, peer });
    next.run(request).await
}

/// Turns it away, and logs that with its rate bounded.
pub(super) fn refuse(peer: Option<SocketAddr>, path: &str, wants: Seat) -> Refusal {
    static SELDOM: Seldom = Seldom::new();
    if let Some(others) = SELDOM.now(LOGGED_EVERY) {
        let peer = peer.map_or_else(|| "unknown".to_owned(), |p| p.ip().to_string());
        tracing::warn!(peer, path, others, "refused: {wants:?} alone may ask that");
    }
    let remedy = match wants {
        Seat::Prepares => "Give the PIN that was set at the console. HOLD works from here.",
        _ => "Go to the console. HOLD works from here.",
    };
    trouble(
        StatusCode::FORBIDDEN,
        "seat",
        "this screen only watches",
        remedy,
    )
}

/// A PIN as it is typed.
#[derive(Deserialize, Serialize)]
struct PinSet {
    /// `null`: none, and no screen elsewhere prepares anything.
    pin: Option<String>,
}

#[derive(Deserialize, Serialize)]
struct PinGiven {
    pin: String,
}

#[derive(Serialize)]
struct Entered {
    v: u32,
    prepares: bool,
}

#[derive(Serialize)]
pub(super) struct PinIs {
    v: u32,
    set: bool,
    /// Screens elsewhere may watch at all.
    lan: bool,
}

/// `GET /api/pin`. At the console alone: whether one is set, never which.
pub(super) async fn pin(State(served): State<Served>) -> Json<PinIs> {
    Json(PinIs {
        v: VERSION,
        set: served.passes.has_pin(),
        lan: served.state.config.watch_from_lan,
    })
}

/// `POST /api/pin`: `{pin}`. At the console alone. All screens that had given the one before watch again.
pub(super) async fn set_pin(
    State(served): State<Served>,
    request: Request,
) -> Result<Response, Refusal> {
    let PinSet { pin } = body::typed(request).await?;
    let Some(pin) = pin else {
        served.passes.remove_pin();
        return Ok(Json(Entered {
            v: VERSION,
            prepares: false,
        })
        .into_response());
    };
    let hashing = {
        let passes = served.passes.clone();
        move || passes.set_pin(&pin)
    };
    let set = tokio::task::spawn_blocking(hashing).await;
    set.map_err(|_| shutting_down())?.map_err(|says| {
        let remedy = "Give 6 to 12 digits.";
        trouble(StatusCode::UNPROCESSABLE_ENTITY, "pin", says, remedy)
    })?;
    Ok(Json(Entered {
        v: VERSION,
        prepares: true,
    })
    .into_response())
}

/// `POST /api/enter`: `{pin}`. The answer brings the screen's pass as a cookie that no page can read.
pub(super) async fn enter(
    State(served): State<Served>,
    request: Request,
) -> Result<Response, Refusal> {
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>();
    let peer = peer.map_or_else(|| "unknown".to_owned(), |p| p.0.ip().to_string());
    let PinGiven { pin } = body::typed(request).await?;
    let trying = {
        let passes = served.passes.clone();
        move || passes.enter(&pin, Instant::now())
    };
    let entered = tokio::task::spawn_blocking(trying).await;
    let pass = match entered.map_err(|_| shutting_down())? {
        Ok(pass) => pass,
        Err(no) => {
            static SELDOM: Seldom = Seldom::new();
            if let Some(others) = SELDOM.now(LOGGED_EVERY) {
                tracing::warn!(peer, others, "a PIN was not taken: {no:?}");
            }
            return Err(not_entered(&no));
        }
    };
    let cookie = format!("{COOKIE}={pass}; Path=/; HttpOnly; SameSite=Strict");
    let body = Json(Entered {
        v: VERSION,
        prepares: true,
    });
    Ok(([(header::SET_COOKIE, cookie)], body).into_response())
}

fn not_entered(no: &NotEntered) -> Refusal {
    match no {
        NotEntered::NoPin => trouble(
            StatusCode::FORBIDDEN,
            "pin",
            "no PIN is set",
            "Set one at the console first.",
        ),
        NotEntered::Wrong => trouble(
            StatusCode::FORBIDDEN,
            "pin",
            "this is not the PIN",
            "Try again.",
        ),
        NotEntered::TooMany { wait_s } => trouble(
            StatusCode::TOO_MANY_REQUESTS,
            "pin",
            format!("too many wrong PINs: none is taken for {wait_s} s"),
            "Wait, or set another PIN at the console.",
        ),
        NotEntered::Failed => trouble(
            StatusCode::INTERNAL_SERVER_ERROR,
            "pin",
            "the panel could not check the PIN",
            "Try again.",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_named_is_the_consoles_alone() {
        for path in [
            "/api/resume",
            "/api/table",
            "/api/pin",
            "/api/new",
            "/",
            "/index.html",
        ] {
            assert_eq!(wants(&Method::POST, path), Seat::Console, "{path}");
        }
        for method in [Method::PUT, Method::DELETE, Method::PATCH, Method::OPTIONS] {
            for path in ["/api/hold", "/api/ask", "/", "/api/watch"] {
                assert_eq!(wants(&method, path), Seat::Console, "{method} {path}");
            }
        }
        assert_eq!(wants(&Method::GET, "/api/new"), Seat::Console);
        assert_eq!(wants(&Method::GET, "/api"), Seat::Console);
        assert_eq!(wants(&Method::GET, "/lib/glass.js"), Seat::Watches);
        assert_eq!(wants(&Method::POST, "/api/hold"), Seat::Watches);
    }

    #[test]
    fn the_console_is_a_peer_on_this_machine_whose_request_nobody_passed_on() {
        let passes = Passes::default();
        let seat_of = |peer: &str, header: Option<&'static str>| {
            let mut headers = HeaderMap::new();
            if let Some(name) = header {
                headers.insert(name, "127.0.0.1".parse().expect("a header"));
            }
            seat(&peer.parse().expect("an address"), &headers, &passes)
        };
        for peer in [
            "127.0.0.1:9",
            "127.3.2.1:9",
            "[::1]:9",
            "[::ffff:127.0.0.1]:9",
        ] {
            assert_eq!(seat_of(peer, None), Seat::Console, "{peer}");
            for passed_on in ["forwarded", "x-forwarded-for", "x-real-ip", "via"] {
                assert_eq!(seat_of(peer, Some(passed_on)), Seat::Watches, "{passed_on}");
            }
        }
        for peer in [
            "192.168.1.5:9",
            "10.0.0.1:9",
            "[fe80::1]:9",
            "[::ffff:10.0.0.1]:9",
            "0.0.0.0:9",
        ] {
            assert_eq!(seat_of(peer, None), Seat::Watches, "{peer}");
            assert_eq!(
                seat_of(peer, Some("x-forwarded-for")),
                Seat::Watches,
                "{peer}"
            );
        }
    }
}
