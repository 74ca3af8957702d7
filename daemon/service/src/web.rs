//! The console's server: static files, one socket that tells, and requests by POST.
//!
//! It decides nothing: what may be done is in the published view, and the machine answers every
//! request by itself. What it must never do: move or fire anything by GET, take a request from a
//! page of another site, or let a slow screen hold up the machine. If it dies, the machine and the
//! guard do not notice.

mod ask;
mod body;
mod bring;
mod connections;
mod door;
mod feed;
mod files;
mod guide;
pub mod messages;
mod pass;
mod record;
mod review;
mod screens;
mod seat;
mod trouble;
mod ways;

#[cfg(test)]
mod catalogue;
#[cfg(test)]
pub(crate) mod fixtures;
#[cfg(test)]
mod tests;

use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::middleware;
use axum::routing::{any, get, post};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, watch};
use tokio::time::timeout;

use crate::config::Config;
use crate::library::Library;
use crate::panel::Panel;
use crate::review::Review;

pub use messages::Event;

/// Screens that may be told at a time.
const SCREENS: usize = 32;
/// Requests that may wait for the disk at a time.
const ON_DISK: usize = 3;
/// When the panel ends, screens have so long to hear of it.
const GOODBYE: Duration = Duration::from_millis(500);

/// Does at the simulated table what clears a fault in life. The error is in the table's words.
pub type SetRight = dyn Fn() -> Result<(), String> + Send + Sync;

/// Keeps what a job is made of, by its seal.
pub type Papers = dyn Fn(&str, &planning::Prepared, &Config) + Send + Sync;

/// Gives the page of what is on record of commissioning. The error is in words.
pub type Proved = dyn Fn() -> Result<String, String> + Send + Sync;

/// What the console is served from.
#[derive(Clone)]
pub struct WebState {
    /// The machine.
    pub panel: Panel,
    /// The programs.
    pub library: Arc<Library>,
    /// The hands at a simulated table; `None`: the table is real.
    pub set_right: Option<Arc<SetRight>>,
    /// The table.
    pub config: Arc<Config>,
    /// What is on record.
    pub review: Arc<Review>,
    /// Where what a job is made of is kept.
    pub papers: Arc<Papers>,
    /// What is on record of commissioning.
    pub proved: Arc<Proved>,
}

/// What the handlers share.
#[derive(Clone)]
struct Served {
    state: WebState,
    feed: Arc<feed::Feed>,
    screens: Arc<screens::Screens>,
    /// The PIN, and who has given it.
    passes: pass::Passes,
    /// A permit for each screen that may be told.
    places: Arc<Semaphore>,
    /// A permit for each request that may wait for the disk.
    on_disk: Arc<Semaphore>,
    /// One permit: for a program that a screen sends.
    on_bring: Arc<Semaphore>,
    /// One permit: for putting a run into a file.
    on_bundle: Arc<Semaphore>,
    /// One permit: for looking for ways on.
    on_ways: Arc<Semaphore>,
    stop: watch::Receiver<bool>,
}

/// Serves the console until `shutdown` is done; then open sockets are closed.
///
/// # Errors
/// The listener's.
pub async fn serve(
    listener: TcpListener,
    state: WebState,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    let (stopping, stop) = watch::channel(false);
    let served = share(state, stop.clone());
    let (feed, panel) = (Arc::clone(&served.feed), &served.state.panel);
    let telling = tokio::spawn(feed::tell(feed, panel.watch(), stop.clone()));
    let places = Arc::clone(&served.places);
    let stops = async move {
        shutdown.await;
        let _ = stopping.send(true);
    };
    let (ended, ()) = tokio::join!(connections::serve(listener, routes(served), stop), stops);
    let _ = timeout(GOODBYE, places.acquire_many(SCREENS as u32)).await;
    telling.abort();
    ended
}

/// What the handlers share, until `stop` says true.
fn share(state: WebState, stop: watch::Receiver<bool>) -> Served {
    Served {
        feed: feed::Feed::new(&state),
        screens: screens::Screens::new(state.panel.clone()),
        state,
        passes: pass::Passes::default(),
        places: Arc::new(Semaphore::new(SCREENS)),
        on_disk: Arc::new(Semaphore::new(ON_DISK)),
        on_bring: Arc::new(Semaphore::new(1)),
        on_bundle: Arc::new(Semaphore::new(1)),
        on_ways: Arc::new(Semaphore::new(1)),
        stop,
    }
}

fn routes(served: Served) -> Router {
    Router::new()
        .route("/api/watch", get(feed::watch))
        .route("/api/here", get(screens::here))
        .route("/api/programs", get(ask::programs))
        .route("/api/program", get(ask::program).post(bring::bring))
        .route("/api/job", get(ask::job))
        .route("/api/events", get(review::events))
        .route("/api/runs", get(review::runs))
        .route("/api/trace", get(review::trace))
        .route("/api/stop", get(review::stop))
        .route("/api/export/trace", get(review::trace_table))
        .route("/api/export/events", get(review::run_table))
        .route("/api/export/bundle", get(review::bundle))
        .route("/api/replay", get(review::replay))
        .route("/api/replay/at", get(review::moment))
        .route("/api/replay/job", get(review::job))
        .route("/api/load", post(ask::load))
        .route("/api/ask", post(ask::ask))
        .route("/api/ways", get(ways::ways))
        .route("/api/resume", post(ways::resume))
        .route("/api/hold", post(ask::hold))
        .route("/api/table", post(ask::table))
        .route("/api/pin", get(seat::pin).post(seat::set_pin))
        .route("/api/enter", post(seat::enter))
        .route("/api/{*rest}", any(ask::nothing_there))
        .route("/api", any(ask::nothing_there))
        .route("/commissioning/", get(record::page))
        .route("/run/{run}", get(review::page))
        .route("/guide/", get(guide::first))
        .route("/guide/{name}", get(guide::page))
        .fallback(get(files::file))
        .layer(middleware::from_fn(trouble::in_time))
        .layer(middleware::from_fn_with_state(served.clone(), seat::keep))
        .layer(middleware::from_fn_with_state(door::own_name(), door::keep))
        .layer(middleware::from_fn(trouble::as_json))
        .layer(middleware::from_fn(files::headers))
        .with_state(served)
}

/// Only a screen on this machine may command; others watch, and may ask for HOLD.
fn at_the_console(peer: &SocketAddr) -> bool {
    peer.ip().to_canonical().is_loopback()
}
