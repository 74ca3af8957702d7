//! `standclear serve`: the panel on the real table; and the console that practice shares with it.

use std::io::Write as _;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};

use crate::assemble::{FarEnds, assemble};
use crate::cli::{DEFAULT_PORT, ServeArgs};
use crate::config::{Config, Found};
use crate::library::{Library, OnLoad};
use crate::panel::Panel;
use crate::review::{Review, papers};
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
        outputs: crate::board::outputs(&config.pins)
            .map_err(|e| format!("{}: {e}", file.which()))?,
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
    listen: Option<SocketAddr>,
    runner: Runner,
    panel: Panel,
    practice: Option<Practice>,
) -> Result<ExitCode, String> {
    // Before anybody knows of it, or a signal would end it without a word to the torch.
    let told_to_end = told_to_end_in_time();
    let listen = listens_at(listen, config.watch_from_lan)?;
    let told = |e: std::io::Error| {
        format!("--listen {listen}: {e}. Name an address of this machine with a free port")
    };
    let listener = TcpListener::bind(listen).await.map_err(told)?;
    let address = listener.local_addr().map_err(told)?;
    let (set_right, on_load, prepared) = match practice {
        Some(p) => (Some(p.set_right), Some(p.on_load), Some(p.prepared)),
        None => (None, None, None),
    };
    let library = Arc::new(Library::new(Arc::clone(&config), state, on_load, prepared));
    let (kept_in, proved_of) = (state.to_path_buf(), state.to_path_buf());
    let proves = Arc::clone(&config);
    let web_state = web::WebState {
        panel: panel.clone(),
        library,
        set_right,
        config,
        review: Arc::new(Review::new(state)),
        papers: Arc::new(move |seal, prepared, config| {
            papers::keep(&kept_in, seal, prepared, config);
        }),
        proved: Arc::new(move || crate::commission::page::text(&proves, &proved_of)),
    };
    let (end, ended) = tokio::sync::watch::channel(false);
    let web = tokio::spawn(web::serve(listener, web_state, until_true(ended.clone())));
    let mut panel_task = tokio::spawn(runner.run(until_true(ended)));
    let watchdog = tokio::spawn(keep_watchdog(panel));
    // Whoever cannot be told is not listening.
    let _ = writeln!(std::io::stdout(), "{}", console_is_at(address));
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

/// Where the console listens: at this machine alone, or at all of its addresses.
fn listens_at(named: Option<SocketAddr>, lan: bool) -> Result<SocketAddr, String> {
    let any = if lan {
        Ipv4Addr::UNSPECIFIED
    } else {
        Ipv4Addr::LOCALHOST
    };
    let listen = named.unwrap_or(SocketAddr::from((any, DEFAULT_PORT)));
    let ip = listen.ip();
    // One address of a network alone would shut the console on this machine out.
    match (ip.is_loopback(), ip.is_unspecified() && lan) {
        (false, false) if lan => Err(format!(
            "--listen {listen}: the console itself would not be reached there. Take 0.0.0.0 or [::] for \
             all addresses of this machine"
        )),
        (false, false) => Err(format!(
            "--listen {listen}: only this machine itself may be listened on (127.0.0.1 or [::1]). With \
             watch = \"lan\" in [access] of the machine file other screens may watch"
        )),
        _ => Ok(listen),
    }
}

/// What is printed of it.
fn console_is_at(address: SocketAddr) -> String {
    let port = address.port();
    let this = match address.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => SocketAddr::from((Ipv4Addr::LOCALHOST, port)),
        IpAddr::V6(ip) if ip.is_unspecified() => SocketAddr::from((Ipv6Addr::LOCALHOST, port)),
        _ => return format!("Standclear's console: http://{address}/"),
    };
    format!(
        "Standclear's console: http://{this}/\nScreens on other machines watch and may hold, at port {port} \
         of this machine's address. What they are told and send is not encrypted: anybody on that \
         network can read it, a PIN included."
    )
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

#[cfg(test)]
mod tests {
    use super::*;

    fn at(named: &str, lan: bool) -> Result<String, String> {
        listens_at(named.parse().ok(), lan).map(|a| a.to_string())
    }

    #[test]
    fn only_this_machine_is_listened_on_unless_the_machine_file_lets_others_watch() {
        assert_eq!(at("", false), Ok("127.0.0.1:8440".into()));
        assert_eq!(at("", true), Ok("0.0.0.0:8440".into()));
        for own in ["127.0.0.1:0", "[::1]:99", "127.0.0.9:8440"] {
            assert_eq!(at(own, false), Ok(own.into()));
            assert_eq!(at(own, true), Ok(own.into()));
        }
        for all in ["0.0.0.0:1", "[::]:1"] {
            assert!(at(all, false).is_err_and(|says| says.contains("[access]")));
            assert_eq!(at(all, true), Ok(all.into()));
        }
        for one in ["192.168.1.5:8440", "[fd00::5]:1", "10.0.0.1:1"] {
            assert!(at(one, false).is_err());
            assert!(at(one, true).is_err_and(|says| says.contains("0.0.0.0")));
        }
    }

    #[test]
    fn what_is_printed_leads_to_the_console_and_says_that_a_network_reads_along() {
        let told = |at: &str| console_is_at(at.parse().expect("an address"));
        assert_eq!(
            told("127.0.0.1:7"),
            "Standclear's console: http://127.0.0.1:7/"
        );
        for (at, this) in [
            ("0.0.0.0:7", "http://127.0.0.1:7/"),
            ("[::]:7", "http://[::1]:7/"),
        ] {
            let told = told(at);
            assert!(
                told.contains(this) && told.contains("not encrypted"),
                "{told}"
            );
        }
    }
}
