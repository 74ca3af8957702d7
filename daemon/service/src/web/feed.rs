//! The socket: a snapshot, then numbered changes, the same to every screen.
//!
//! Changes are worked out once and written once, however many screens watch. A screen that does
//! not keep up misses messages, is told how many, and gets a fresh snapshot: it never holds up the
//! machine or another screen. While nobody watches nothing is worked out at all. Nothing is sent of this module's own accord: a beat on the glass
//! means that the machine has published.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::Extension;
use axum::body::Bytes;
use axum::extract::State;
use axum::extract::ws::{CloseFrame, Message, Utf8Bytes, WebSocket, WebSocketUpgrade, close_code};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use control::View;
use serde_json::{Map, Value};
use tokio::sync::{Notify, broadcast, watch};
use tokio::time::{Instant, interval, sleep_until, timeout};

use super::body::trouble;
use super::messages::{Table, Told, VERSION};
use super::seat::{Asker, Seat, pass_in};
use super::{Served, WebState};
use crate::panel::Published;

/// Least time between two messages: 20 a second are as many as an eye can use.
const LEAST_BETWEEN: Duration = Duration::from_millis(50);
/// Messages kept for a slow screen: with 20 a second, 1.6 s.
const KEPT_MESSAGES: usize = 32;
/// A screen that takes nothing for so long is let go.
const TAKES_NOTHING: Duration = Duration::from_secs(5);
/// A screen is asked so often whether it is there.
const BEAT: Duration = Duration::from_millis(400);
/// One that has not answered for so long is not there: the machine waits from then on.
const NO_BEAT: Duration = Duration::from_millis(1000);
/// One that has not answered for so long does not come back: its place is given to another.
const GONE: Duration = Duration::from_secs(30);
/// Longest message that a screen may send, bytes: it has nothing to say.
const FROM_SCREEN_BYTES: usize = 4096;

/// What was told last, and how the next is told.
pub(super) struct Feed {
    table: Table,
    now: Mutex<Now>,
    /// Somebody has begun to watch.
    joined: Notify,
}

struct Now {
    n: u64,
    published: Arc<Published>,
    fields: Map<String, Value>,
    out: broadcast::Sender<Utf8Bytes>,
}

impl Feed {
    pub fn new(state: &WebState) -> Arc<Self> {
        let published = state.panel.latest();
        Arc::new(Self {
            table: Table {
                name: state.config.name.clone(),
                practice: state.set_right.is_some(),
                opens_on: state.library.opens_on(),
                lacks: state.config.link.dialect.lacks(),
            },
            now: Mutex::new(Now {
                n: 0,
                fields: fields(&published.view),
                published,
                out: broadcast::Sender::new(KEPT_MESSAGES),
            }),
            joined: Notify::new(),
        })
    }

    /// Nothing is left half done by a panic under this lock: it holds whole values only.
    fn lock(&self) -> MutexGuard<'_, Now> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn advance(&self, published: Arc<Published>) {
        let mut now = self.lock();
        let fields = fields(&published.view);
        let mut set: Map<String, Value> = fields
            .iter()
            .filter(|(key, value)| now.fields.get(*key) != Some(*value))
            .map(|(key, value)| (key.clone(), value.clone()))
            .collect();
        let (before, after) = (&now.published.view.cuts, &published.view.cuts);
        let mut cuts = std::collections::BTreeMap::new();
        if before.len() == after.len() {
            let changed = after.iter().enumerate().filter(|(k, c)| before[*k] != **c);
            cuts.extend(changed.map(|(k, c)| (k.to_string(), c.clone())));
        } else {
            set.insert("cuts".into(), to_value(after));
        }
        now.n += 1;
        let told = Told::Delta {
            v: VERSION,
            n: now.n,
            at_s: published.at.as_s(),
            set,
            cuts,
        };
        now.fields = fields;
        now.published = published;
        // Nobody watching is no failure.
        let _ = now.out.send(text(&told));
    }

    /// Somebody is told of changes.
    fn is_watched(&self) -> bool {
        self.lock().out.receiver_count() > 0
    }

    /// A snapshot, and all that is told after it. `latest`: what was published last; the first to watch begins
    /// with that, for nothing was worked out while nobody did.
    fn join(&self, latest: Option<Arc<Published>>) -> (Utf8Bytes, broadcast::Receiver<Utf8Bytes>) {
        let mut now = self.lock();
        if let Some(published) = latest.filter(|_| now.out.receiver_count() == 0) {
            now.n += 1;
            now.fields = fields(&published.view);
            now.published = published;
        }
        self.joined.notify_one();
        let told = Told::Snapshot {
            v: VERSION,
            n: now.n,
            at_s: now.published.at.as_s(),
            table: self.table.clone(),
            view: Box::new(now.published.view.clone()),
        };
        (text(&told), now.out.subscribe())
    }
}

/// The view's fields but the cuts, of which only the changed ones are told.
fn fields(view: &View) -> Map<String, Value> {
    match to_value(view) {
        Value::Object(mut map) => {
            map.remove("cuts");
            map
        }
        _ => Map::new(),
    }
}

/// These types hold numbers, text and lists with text keys: there is nothing in them that JSON
/// cannot hold.
fn to_value<T: serde::Serialize>(what: &T) -> Value {
    serde_json::to_value(what).unwrap_or(Value::Null)
}

fn text(told: &Told) -> Utf8Bytes {
    serde_json::to_string(told).unwrap_or_default().into()
}

/// Works out what is told from what the machine publishes, until the service stops.
pub(super) async fn tell(
    feed: Arc<Feed>,
    mut published: watch::Receiver<Arc<Published>>,
    mut stop: watch::Receiver<bool>,
) {
    loop {
        if !feed.is_watched() {
            tokio::select! {
                () = stopped(&mut stop) => return,
                () = feed.joined.notified() => {}
            }
        }
        let latest = published.borrow_and_update().clone();
        feed.advance(latest);
        let not_before = Instant::now() + LEAST_BETWEEN;
        tokio::select! {
            () = stopped(&mut stop) => return,
            changed = published.changed() => {
                if changed.is_err() {
                    return;
                }
            }
        }
        sleep_until(not_before).await;
    }
}

/// A sender that has gone means the same as one that says stop.
pub(super) async fn stopped(stop: &mut watch::Receiver<bool>) {
    let _ = stop.wait_for(|s| *s).await;
}

/// `GET /api/watch`.
pub(super) async fn watch(
    State(served): State<Served>,
    Extension(asker): Extension<Asker>,
    headers: HeaderMap,
    upgrade: WebSocketUpgrade,
) -> Response {
    let Ok(place) = Arc::clone(&served.places).try_acquire_owned() else {
        return trouble(
            StatusCode::SERVICE_UNAVAILABLE,
            "screens",
            "too many screens watch already",
            "Close one of them. HOLD works from here.",
        )
        .into_response();
    };
    let commands = asker.seat == Seat::Console;
    // Its pass is good for as long as this screen is there.
    let passes = &served.passes;
    let shown = pass_in(&headers).and_then(|pass| passes.show(&pass, std::time::Instant::now()));
    upgrade
        .max_message_size(FROM_SCREEN_BYTES)
        .max_frame_size(FROM_SCREEN_BYTES)
        .on_upgrade(async move |socket| {
            tell_one(socket, served, commands).await;
            drop((place, shown));
        })
}

async fn tell_one(mut socket: WebSocket, mut served: Served, commands: bool) {
    let mut here = commands.then(|| served.screens.join());
    let mut beat = interval(BEAT);
    let mut heard_at = Instant::now();
    let (snapshot, mut told) = served.feed.join(Some(served.state.panel.latest()));
    if !send(&mut socket, snapshot).await {
        return;
    }
    loop {
        tokio::select! {
            () = stopped(&mut served.stop) => {
                let goodbye = CloseFrame {
                    code: close_code::AWAY,
                    reason: "the panel is shutting down".into(),
                };
                let _ = timeout(TAKES_NOTHING, socket.send(Message::Close(Some(goodbye)))).await;
                return;
            }
            heard = socket.recv() => {
                // A screen has nothing to say here: only that it is there matters, and its end.
                if !matches!(heard, Some(Ok(_))) {
                    return;
                }
                heard_at = Instant::now();
                here.iter_mut().for_each(|h| h.beats(true));
            }
            _ = beat.tick() => {
                if heard_at.elapsed() > NO_BEAT {
                    here.iter_mut().for_each(|h| h.beats(false));
                }
                if heard_at.elapsed() > GONE {
                    return;
                }
                if !ping(&mut socket).await {
                    return;
                }
            }
            next = told.recv() => match next {
                Ok(text) => {
                    if !send(&mut socket, text).await {
                        return;
                    }
                }
                Err(broadcast::error::RecvError::Lagged(missed)) => {
                    let dropped = text(&Told::Dropped { v: VERSION, missed });
                    let (snapshot, after) = served.feed.join(None);
                    told = after;
                    if !send(&mut socket, dropped).await || !send(&mut socket, snapshot).await {
                        return;
                    }
                }
                Err(broadcast::error::RecvError::Closed) => return,
            }
        }
    }
}

/// Any browser answers it by itself, as long as it lives.
async fn ping(socket: &mut WebSocket) -> bool {
    let sent = timeout(TAKES_NOTHING, socket.send(Message::Ping(Bytes::new()))).await;
    matches!(sent, Ok(Ok(())))
}

async fn send(socket: &mut WebSocket, text: Utf8Bytes) -> bool {
    let sent = timeout(TAKES_NOTHING, socket.send(Message::Text(text))).await;
    matches!(sent, Ok(Ok(())))
}

#[cfg(test)]
mod tests;
