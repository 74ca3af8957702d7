//! The console's connections: so many and no more, and always room for one that asks for HOLD.
//!
//! Whoever connects is let in. When that makes too many, the one that has stood idle for longest is
//! closed (a browser opens another when it needs one); if none is idle, the one that has waited longest
//! for its answer. One that asks for HOLD is never closed for another. A head that does not come within
//! its time ends its connection.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::io;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::extract::Request;
use axum::response::Response;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Notify, watch};
use tokio::task::JoinSet;
use tokio::time::timeout;
use tower::ServiceExt as _;

use super::feed::stopped;
use crate::seldom::Seldom;

/// Connections at a time: a console needs some six. Sockets that tell are counted by themselves.
const MOST: usize = 64;
/// The head of a request comes within this.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// Longest head of a request, bytes.
const HEAD_BYTES: usize = 32 * 1024;
/// When the panel ends, what is being answered has so long.
const LAST_WORDS: Duration = Duration::from_millis(500);
/// After the system could not accept a connection it is asked again.
const AGAIN: Duration = Duration::from_millis(50);
/// Of trouble with connections the log is told so often.
const LOGGED_EVERY: Duration = Duration::from_secs(1);

/// What a connection is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Doing {
    /// It waits for a request, or for the rest of one.
    Idle,
    /// A request is being answered.
    Answered,
    /// HOLD is being asked for.
    Hold,
}

/// One of the connections that are open.
struct Open {
    doing: Doing,
    /// Grows with every change of any connection: the lowest has stood longest.
    since: u64,
    close: Arc<Notify>,
}

/// All that are open.
#[derive(Default)]
struct Connections {
    most: usize,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    changes: u64,
    open: BTreeMap<u64, Open>,
}

impl Connections {
    fn new(most: usize) -> Arc<Self> {
        Arc::new(Self {
            most,
            state: Mutex::default(),
        })
    }

    /// Whole values only: nothing is left half done by a panic under this lock.
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes one in; where that makes too many, another is closed.
    fn take_in(self: &Arc<Self>) -> Place {
        let close = Arc::new(Notify::new());
        let mut state = self.lock();
        state.changes += 1;
        let id = state.changes;
        let open = Open {
            doing: Doing::Idle,
            since: id,
            close: Arc::clone(&close),
        };
        if state.open.len() >= self.most {
            close_one(&mut state);
        }
        state.open.insert(id, open);
        Place {
            connections: Arc::clone(self),
            id,
            close,
        }
    }

    /// There are no descriptors left: one makes room.
    fn make_room(&self) {
        close_one(&mut self.lock());
    }
}

/// Idle before busy, the longest first; never one that asks for HOLD.
fn close_one(state: &mut State) {
    let may = state.open.iter().filter(|(_, o)| o.doing != Doing::Hold);
    let longest = may
        .min_by_key(|(_, o)| (o.doing, o.since))
        .map(|(id, _)| *id);
    if let Some(open) = longest.and_then(|id| state.open.remove(&id)) {
        open.close.notify_one();
    }
}

/// The place of one connection, for as long as it is open.
struct Place {
    connections: Arc<Connections>,
    id: u64,
    close: Arc<Notify>,
}

impl Place {
    fn does(&self, doing: Doing) {
        let mut state = self.connections.lock();
        state.changes += 1;
        let since = state.changes;
        if let Some(open) = state.open.get_mut(&self.id) {
            (open.doing, open.since) = (doing, since);
        }
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        self.connections.lock().open.remove(&self.id);
    }
}

/// Answers who connects until `stop`; then what is being answered has a moment, and all are closed.
pub(super) async fn serve(
    listener: TcpListener,
    app: Router,
    mut stop: watch::Receiver<bool>,
) -> io::Result<()> {
    let connections = Connections::new(MOST);
    let mut tasks = JoinSet::new();
    let seldom = Seldom::new();
    loop {
        let taken = tokio::select! {
            biased;
            () = stopped(&mut stop) => break,
            Some(_) = tasks.join_next() => continue,
            taken = listener.accept() => taken,
        };
        match taken {
            Ok((stream, peer)) => {
                let place = connections.take_in();
                tasks.spawn(one(stream, peer, app.clone(), place, stop.clone()));
            }
            Err(error) => {
                if let Some(others) = seldom.now(LOGGED_EVERY) {
                    tracing::warn!(%error, others, "a connection could not be taken");
                }
                connections.make_room();
                tokio::time::sleep(AGAIN).await;
            }
        }
    }
    drop(listener);
    let all = async { while tasks.join_next().await.is_some() {} };
    // Those that are left are closed by being let fall.
    let _ = timeout(LAST_WORDS, all).await;
    Ok(())
}

async fn one(
    stream: TcpStream,
    peer: SocketAddr,
    app: Router,
    place: Place,
    mut stop: watch::Receiver<bool>,
) {
    let _ = stream.set_nodelay(true);
    let place = Arc::new(place);
    let answering = Arc::clone(&place);
    let service = service_fn(move |request: hyper::Request<Incoming>| {
        answer(request, peer, app.clone(), Arc::clone(&answering))
    });
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .max_buf_size(HEAD_BYTES);
    let connection = http
        .serve_connection(TokioIo::new(stream), service)
        .with_upgrades();
    tokio::pin!(connection);
    tokio::select! {
        ended = &mut connection => {
            if let Err(error) = ended {
                tracing::debug!(%error, %peer, "a connection ended badly");
            }
        }
        () = place.close.notified() => {}
        () = stopped(&mut stop) => {
            connection.as_mut().graceful_shutdown();
            // An error here has nobody to be told.
            let _ = connection.await;
        }
    }
}

async fn answer(
    request: hyper::Request<Incoming>,
    peer: SocketAddr,
    app: Router,
    place: Arc<Place>,
) -> Result<Response, Infallible> {
    let hold = request.uri().path() == "/api/hold";
    place.does(if hold { Doing::Hold } else { Doing::Answered });
    let mut request: Request = request.map(Body::new);
    request.extensions_mut().insert(ConnectInfo(peer));
    let answer = app.oneshot(request).await;
    place.does(Doing::Idle);
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    fn closed(place: &Place) -> bool {
        !place.connections.lock().open.contains_key(&place.id)
    }

    #[test]
    fn one_too_many_closes_the_one_that_has_stood_idle_for_longest() {
        let connections = Connections::new(3);
        let places: Vec<Place> = (0..3).map(|_| connections.take_in()).collect();
        places[0].does(Doing::Answered);
        places[0].does(Doing::Idle);
        let next = connections.take_in();
        assert_eq!(
            places.iter().map(closed).collect::<Vec<_>>(),
            [false, true, false]
        );
        assert!(!closed(&next));
        drop(next);
        assert_eq!(connections.lock().open.len(), 2);
    }

    #[test]
    fn where_none_is_idle_the_longest_answered_goes_and_never_one_that_asks_for_hold() {
        let connections = Connections::new(2);
        let places: Vec<Place> = (0..2).map(|_| connections.take_in()).collect();
        places[0].does(Doing::Hold);
        places[1].does(Doing::Answered);
        let third = connections.take_in();
        assert_eq!((closed(&places[0]), closed(&places[1])), (false, true));
        third.does(Doing::Hold);
        // Two that ask for HOLD: a third is let in beside them.
        let fourth = connections.take_in();
        assert!(![&places[0], &third, &fourth].into_iter().any(closed));
    }
}
