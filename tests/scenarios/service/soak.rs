//! One panel cuts the same job over and over while screens come and leave, things go wrong and the disk fills:
//! nothing that it holds grows, and no lease lapses.

use std::collections::VecDeque;
use std::fs;
use std::net::TcpStream;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use control::view::{ArcView, Phase, View};
use rustix::process::Pid;
use simulator::harness::{FaultKind, FaultSpec};
use standclear::config::Config;
use standclear::practice::table::{SharedHands, Table, table_settings};
use units::Time;

use super::operated::{self, Operated};
use super::{Console, client, fill_disk};
use crate::rig::{PATIENT, fixture};

/// So long in every run of the tests; `STANDCLEAR_SOAK_MINUTES` says how long by hand.
const SPAN: Duration = Duration::from_secs(60);
/// The table runs at most so many times as fast as a real one.
const SPEED: f64 = 50.0;
/// One job with its fault takes no longer than this on a host that is busy with other things.
const JOB_WITHIN: Duration = Duration::from_secs(600);
/// The panel is looked at so often: a hundred screens a second come and leave.
const LOOK: Duration = Duration::from_millis(20);
/// Connections that are closed are gone from the process within this.
const GONE_WITHIN: Duration = Duration::from_secs(20);
/// So many screens look at a time without reading what they are told.
const SCREENS: usize = 8;
/// The disk takes nothing for so long.
const FULL_FOR: Duration = Duration::from_millis(1_500);
/// More than at the first job, descriptors and threads: what a request in hand takes.
const ALLOWED: usize = 4;
/// What resident memory may grow by from the first third to the last, KB: what an allocator keeps for later.
const MEMORY_KB: u64 = 8 << 10;
/// The journal's log that is not yet in its file, bytes.
const LOG: u64 = 16 << 20;
/// Recordings and journal grow by no more in an hour of table time, bytes (as stated: 30 MB and 8 MB), and half as
/// much again for the stops, which are a job's half here.
const AN_HOUR: f64 = 57e6;

/// What goes wrong in turn: nothing, then one of these in the outline of the piece.
const WRONG: [Option<FaultKind>; 8] = [
    None,
    Some(FaultKind::ArcLost),
    None,
    Some(FaultKind::LinkCut),
    Some(FaultKind::Estop),
    None,
    Some(FaultKind::AirLow),
    Some(FaultKind::ControllerReset),
];

/// What the process holds after a job, with nobody looking.
#[derive(Clone, Copy, Debug)]
struct Holds {
    memory_kb: u64,
    descriptors: usize,
    threads: usize,
    journal: u64,
    journal_log: u64,
    recordings: u64,
    table_s: f64,
}

impl Holds {
    fn now(pid: Pid, state: &Path, table_s: f64) -> Self {
        let root = format!("/proc/{}", pid.as_raw_nonzero());
        let status = fs::read_to_string(format!("{root}/status")).expect("the process is there");
        let number = |key: &str| {
            let line = status.lines().find_map(|l| l.strip_prefix(key));
            let words = line.and_then(|l| l.split_whitespace().next());
            words.and_then(|n| n.parse().ok()).unwrap_or(u64::MAX)
        };
        let size = |name: &str| fs::metadata(state.join(name)).map_or(0, |m| m.len());
        let recordings = fs::read_dir(state.join("recordings")).expect("a folder");
        Self {
            memory_kb: number("VmRSS:"),
            descriptors: descriptors(pid),
            threads: number("Threads:") as usize,
            journal: size("journal.db"),
            journal_log: size("journal.db-wal"),
            recordings: recordings
                .flatten()
                .filter_map(|e| e.metadata().ok())
                .map(|m| m.len())
                .sum(),
            table_s,
        }
    }
}

fn descriptors(pid: Pid) -> usize {
    let folder = format!("/proc/{}/fd", pid.as_raw_nonzero());
    fs::read_dir(folder).map_or(usize::MAX, Iterator::count)
}

/// The panel, its table, and screens that look and leave.
struct Soak<'a> {
    console: Console,
    hands: SharedHands,
    config: Arc<Config>,
    state: &'a Path,
    screens: VecDeque<TcpStream>,
    looked: u64,
}

#[test]
fn job_after_job_with_screens_faults_and_a_filling_disk_nothing_grows_and_no_lease_lapses() {
    let minutes = std::env::var("STANDCLEAR_SOAK_MINUTES").ok();
    let span = minutes.map_or(SPAN, |m| {
        Duration::from_secs_f64(60.0 * m.parse::<f64>().expect("minutes as a number"))
    });
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state");
    let programs = state.join("programs");
    fs::create_dir_all(&programs).expect("a folder");
    for file in ["square.nc", "square.toml"] {
        fs::copy(fixture(file), programs.join(file)).expect("copied");
    }
    let config = Arc::new(Config::built_in());
    let table = Table::start(table_settings(&config, 1, false), SPEED).expect("a table");
    let dir = table.dir().to_str().expect("a path").to_owned();
    let console = Console::start(&state, &["--table", &dir, PATIENT[0], PATIENT[1]]);
    let mut soak = Soak {
        console,
        hands: table.hands(),
        config,
        state: &state,
        screens: VecDeque::new(),
        looked: 0,
    };
    let end = Instant::now() + span;
    let mut seen = Vec::new();
    while Instant::now() < end || seen.len() < 6 {
        soak.job(seen.len());
        seen.push(soak.holds(seen.first()));
    }
    soak.tell(&seen, span);
    judge(&seen);
    no_lease_lapsed(&state);
    assert!(soak.console.terminate().success());
}

impl Soak<'_> {
    /// Cuts one piece whole, whatever goes wrong meanwhile.
    fn job(&mut self, number: usize) {
        let hands = self.hands.clone();
        let made = Operated::new(
            self.console.address,
            &self.config,
            self.state,
            "square.nc",
            hands,
        );
        let mut operated = made.expect("the program is in the library");
        let until = Instant::now() + JOB_WITHIN;
        let mut ready = false;
        let mut full: Option<Instant> = None;
        let fills = number % 4 == 3;
        loop {
            let view = self.look();
            assert!(
                Instant::now() < until,
                "job {number} is not done: {view:#?}"
            );
            if !ready {
                ready = self.began(&operated, &view, number);
                continue;
            }
            if view.phase == Phase::Finished {
                break;
            }
            // Once in every fourth job, with the arc on.
            if fills && full.is_none() && view.torch.arc == ArcView::On {
                fill_disk(self.console.pid(), true);
                full = Some(Instant::now());
            }
            if full.is_some_and(|at| at.elapsed() > FULL_FOR) {
                fill_disk(self.console.pid(), false);
            }
            let now = Time::from_us((self.truth().now_s * 1e6) as u64);
            operated.look(now, &view).expect("the console answers");
            std::thread::park_timeout(LOOK);
        }
        fill_disk(self.console.pid(), false);
        let truth = self.truth();
        assert!(
            truth.uncut_mm < 0.05 && truth.violations.is_empty(),
            "job {number}: {truth:?}"
        );
    }

    /// Loads until it is loaded, then says what is to go wrong.
    fn began(&self, operated: &Operated<SharedHands>, view: &View, number: usize) -> bool {
        if view.seal.as_deref() != Some(operated.job.seal.hash()) || view.phase == Phase::Finished {
            let may = view
                .allowed
                .iter()
                .any(|a| a.ask == "load" && a.refused.is_none());
            if may {
                operated.load(view).expect("the console answers");
            }
            return false;
        }
        if let Some(kind) = WRONG[number % WRONG.len()] {
            let fault = FaultSpec {
                kind,
                cut: 2,
                mm: Some(60.0),
            };
            self.hands.inject(fault).expect("a place of the piece");
        }
        true
    }

    fn truth(&self) -> simulator::harness::Truth {
        self.hands.truth().expect("the table answers")
    }

    /// A screen comes, is told the view, and leaves; another stays for a while and reads nothing.
    fn look(&mut self) -> View {
        let at = self.console.address;
        let ask = format!(
            "GET /api/watch HTTP/1.1\r\nHost: {at}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
             Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
        );
        self.screens.extend(client::begin(at, &ask));
        if self.screens.len() > SCREENS {
            self.screens.pop_front();
        }
        self.looked += 2;
        operated::view(at).expect("a view")
    }

    /// What the process holds once the screens have left.
    fn holds(&mut self, first: Option<&Holds>) -> Holds {
        self.screens.clear();
        let (pid, until) = (self.console.pid(), Instant::now() + GONE_WITHIN);
        let most = first.map_or(usize::MAX, |f| f.descriptors + ALLOWED);
        while descriptors(pid) > most && Instant::now() < until {
            std::thread::park_timeout(Duration::from_millis(20));
        }
        Holds::now(pid, self.state, self.truth().now_s)
    }

    fn tell(&self, seen: &[Holds], span: Duration) {
        let (first, last) = (seen[0], seen[seen.len() - 1]);
        println!(
            "{} jobs in {:.0} min, {:.2} h of table time, {} screens came and left\n  first {first:?}\n  last  {last:?}",
            seen.len(),
            span.as_secs_f64() / 60.0,
            last.table_s / 3600.0,
            self.looked,
        );
        for part in seen.chunks(seen.len().div_ceil(8)) {
            let most = part.iter().map(|h| h.memory_kb).max();
            println!(
                "  memory, highest of {} jobs: {:.1} MB",
                part.len(),
                most.unwrap_or(0) as f64 / 1024.0
            );
        }
    }
}

/// Nothing has grown.
fn judge(seen: &[Holds]) {
    let (first, last) = (seen[0], seen[seen.len() - 1]);
    for holds in seen {
        assert!(
            holds.descriptors <= first.descriptors + ALLOWED,
            "descriptors: {first:?} {holds:?}"
        );
        assert!(
            holds.threads <= first.threads + ALLOWED,
            "threads: {first:?} {holds:?}"
        );
        assert!(holds.journal_log <= LOG, "the journal's log: {holds:?}");
    }
    let third = seen.len() / 3;
    let most = |part: &[Holds]| part.iter().map(|h| h.memory_kb).max().unwrap_or(0);
    let (early, late) = (most(&seen[..third]), most(&seen[seen.len() - third..]));
    assert!(
        late <= early + MEMORY_KB,
        "memory grew from {early} to {late} KB"
    );
    let hours = (last.table_s - first.table_s) / 3600.0;
    let grown = (last.journal + last.recordings).saturating_sub(first.journal + first.recordings);
    println!(
        "  journal and recordings: {:.1} MB an hour",
        grown as f64 / 1e6 / hours
    );
    assert!(
        grown as f64 <= AN_HOUR * hours,
        "{grown} bytes in {hours:.2} h"
    );
}

/// Control never let its lease lapse, and the guard never came late.
fn no_lease_lapsed(state: &Path) {
    let sought = standclear::journal::Sought {
        most: 1_000_000,
        ..Default::default()
    };
    let all = standclear::journal::latest(state, sought).expect("a journal");
    let cause = |name: &str| {
        all.iter()
            .filter(|e| e.fields.to_string().contains(name))
            .count()
    };
    let (lapsed, late) = (cause("lease-lapsed"), cause("guard-late"));
    assert_eq!((lapsed, late), (0, 0), "of {} events", all.len());
    assert!(all.iter().any(|e| e.name == "run-ended"), "nothing was cut");
}
