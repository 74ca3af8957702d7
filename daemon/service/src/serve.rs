//! `standclear serve`: the panel on the real table; and the console that practice shares with it.

use std::io::Write as _;
use std::net::SocketAddr;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};
use units::Time;

use crate::assemble::{FarEnds, assemble};
use crate::cli::ServeArgs;
use crate::config::{Config, Found};
use crate::journal;
use crate::library::{Library, OnLoad};
use crate::panel::Panel;
use crate::runner::{Ended, Runner};
use crate::web;
use planning::Prepared;

/// What a practice adds to the console.
pub struct Practice {
    /// Does at the simulated table what clears a fault.
    pub set_right: Arc<web::SetRight>,
    /// Told of every job that is loaded.
    pub on_load: OnLoad,
    /// What the console opens on.
    pub prepared: Arc<Prepared>,
}

/// Runs the command.
#[must_use]
pub fn run(args: &ServeArgs) -> ExitCode {
    match serve(args) {
        Ok(code) => code,
        Err(says) => {
            crate::cli::complain(&format!("standclear serve: {says}"));
            ExitCode::from(2)
        }
    }
}

fn serve(args: &ServeArgs) -> Result<ExitCode, String> {
    let file = Found::look(args.config.as_deref(), &|name| std::env::var_os(name));
    let config = file.load()?;
    crate::cli::complain(&format!("standclear serve: {}", file.told()));
    let config = Arc::new(config);
    let state = args.state_dir()?;
    let pins = crate::board::open(&config.pins).map_err(|e| format!("{}: {e}", file.which()))?;
    let volts = match &config.volts {
        Some(volts) => Some(
            crate::arc_volts::open(volts, config.power.divider)
                .map_err(|e| format!("{}: {e}", file.which()))?,
        ),
        None => None,
    };
    let ends = FarEnds {
        pins,
        volts,
        port: config.link.port.clone(),
        turn_end: None,
        automatic: None,
        disk: None,
    };
    let runtime = runtime().map_err(|e| e.to_string())?;
    let code = runtime.block_on(async {
        let (runner, panel) = assemble(&config, &state, ends).map_err(|e| e.to_string())?;
        console(config, &state, args.listen, runner, panel, None).await
    });
    // Whatever still hangs on a disk or vets a program ends with the process.
    runtime.shutdown_background();
    code
}

/// Threads that may wait for a disk or vet a program at a time.
const SLOW_THREADS: usize = 16;

/// The threads on which everything but guard and journal runs.
///
/// # Errors
/// The system's.
pub fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .max_blocking_threads(SLOW_THREADS)
        .enable_all()
        .build()
}

/// Serves the console and runs the panel until the process is told to end.
///
/// # Errors
/// The address cannot be listened on, in words.
pub async fn console(
    config: Arc<Config>,
    state: &Path,
    listen: SocketAddr,
    runner: Runner,
    panel: Panel,
    practice: Option<Practice>,
) -> Result<ExitCode, String> {
    // Before anybody knows of it, or a signal would end it without a word to the torch.
    let told_to_end = told_to_end_in_time();
    let told = |e: std::io::Error| {
        format!("--listen {listen}: {e}. Name an address of this machine with a free port")
    };
    if !listen.ip().is_loopback() {
        return Err(format!(
            "--listen {listen}: only this machine itself may be listened on (127.0.0.1 or [::1]); \
             watching from elsewhere is not there yet"
        ));
    }
    let listener = TcpListener::bind(listen).await.map_err(told)?;
    let address = listener.local_addr().map_err(told)?;
    let (set_right, on_load, prepared) = match practice {
        Some(p) => (Some(p.set_right), Some(p.on_load), Some(p.prepared)),
        None => (None, None, None),
    };
    let library = Arc::new(Library::new(Arc::clone(&config), state, on_load, prepared));
    let told_of = state.to_path_buf();
    let web_state = web::WebState {
        panel: panel.clone(),
        library,
        set_right,
        config,
        happened: Arc::new(move |most| happened(&told_of, most)),
    };
    let (end, ended) = tokio::sync::watch::channel(false);
    let web = tokio::spawn(web::serve(listener, web_state, until_true(ended.clone())));
    let mut panel_task = tokio::spawn(runner.run(until_true(ended)));
    let watchdog = tokio::spawn(keep_watchdog(panel));
    // Whoever cannot be told is not listening.
    let _ = writeln!(std::io::stdout(), "Standclear's console: http://{address}/");
    let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Ready]);

    let panel_ended = tokio::select! {
        () = told_to_end => {
            let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Stopping]);
            // Torch off first: the runner goes cold before the console is taken down.
            let _ = end.send(true);
            panel_task.await
        }
        done = &mut panel_task => {
            let _ = end.send(true);
            done
        }
    };
    watchdog.abort();
    if let Err(error) = web.await {
        tracing::warn!(%error, "the console ended badly");
    }
    match panel_ended {
        Ok(Ended::Stopped) => Ok(ExitCode::SUCCESS),
        Ok(Ended::GuardGone) => Ok(ExitCode::FAILURE),
        Err(error) => {
            tracing::error!(%error, "the panel ended by a panic");
            Ok(ExitCode::FAILURE)
        }
    }
}

/// The latest events of the journal, for the console.
fn happened(state: &Path, most: usize) -> Result<Vec<web::Event>, String> {
    let entries = journal::latest(state, most).map_err(|e| e.to_string())?;
    let told = |e: journal::Entry| web::Event {
        id: u64::try_from(e.seq).unwrap_or(0),
        run: e.run,
        at_s: Time::from_us(e.clock_us).as_s(),
        wall_ms: journal::wall::ms(&e.wall).map_or(0, |ms| ms as i64),
        name: e.name,
        severity: e.severity,
        says: e.says,
        advice: e.advice,
    };
    Ok(entries.into_iter().map(told).collect())
}

async fn until_true(mut flag: tokio::sync::watch::Receiver<bool>) {
    // A sender that has gone means the same.
    let _ = flag.wait_for(|end| *end).await;
}

/// Resolves when the process is told to end (SIGTERM or SIGINT). It listens from the call on.
pub fn told_to_end() -> impl Future<Output = ()> {
    let both = (
        signal(SignalKind::terminate()),
        signal(SignalKind::interrupt()),
    );
    async {
        let (Ok(mut terminate), Ok(mut interrupt)) = both else {
            tracing::error!("signals cannot be heard: end this process by its service manager");
            return std::future::pending().await;
        };
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    }
}

/// A process that was told to end has ended after this, whatever hangs: 5 s are promised.
const END_WITHIN: Duration = Duration::from_millis(4500);
/// The last line of the log has so long.
const LAST_LINE: Duration = Duration::from_millis(50);

/// The same, and from that moment on the process has [`END_WITHIN`] to end in order: the torch goes off
/// first, and what then still waits for a disk or a driver is given up.
pub fn told_to_end_in_time() -> impl Future<Output = ()> {
    let told = told_to_end();
    async {
        told.await;
        bound_the_end();
    }
}

fn bound_the_end() {
    let begun = std::thread::Builder::new().name("ending".into()).spawn(|| {
        std::thread::sleep(END_WITHIN);
        tracing::error!("something does not end; the torch is off, and the process ends now");
        // For the line to be written, where it can be.
        std::thread::sleep(LAST_LINE);
        std::process::exit(1);
    });
    if let Err(error) = begun {
        tracing::error!(%error, "no thread that bounds the end");
    }
}

/// The service manager's watchdog is fed only while the panel publishes.
async fn keep_watchdog(panel: Panel) {
    let mut every_us = 0;
    if !sd_notify::watchdog_enabled(false, &mut every_us) {
        return;
    }
    let mut beat = tokio::time::interval(Duration::from_micros(every_us) / 3);
    let mut seen = u64::MAX;
    loop {
        beat.tick().await;
        let seq = panel.latest().seq;
        if seq != seen {
            seen = seq;
            let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Watchdog]);
        }
    }
}
