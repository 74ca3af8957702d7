//! The table behind a real pseudo-terminal and socket, with a scripted panel in step with it.
#![allow(
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "these tests are the far end of the shell: files, sockets, a thread for the table"
)]

use std::fs::{File, OpenOptions};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread::JoinHandle;

use simulator::harness::{FaultKind, FaultSpec, Hands, Levels, Plan, ToPanel, ToTable};
use simulator::{TableSettings, crc16, shell};
use units::{Point, Segment};

const NOCTTY: i32 = rustix::fs::OFlags::NOCTTY.bits() as i32;

/// A table in a folder of its own, on a thread.
struct Running {
    dir: PathBuf,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Running {
    fn start(speed: f64) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let name = format!(
            "simulated-table-{}-{}",
            std::process::id(),
            COUNT.fetch_add(1, Ordering::Relaxed)
        );
        let dir = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&dir).expect("a folder");
        let stop = Arc::new(AtomicBool::new(false));
        let thread = {
            let (dir, stop) = (dir.clone(), Arc::clone(&stop));
            std::thread::spawn(move || {
                shell::serve(&dir, TableSettings::default(), speed, stop).expect("serves");
            })
        };
        let running = Self {
            dir,
            stop,
            thread: Some(thread),
        };
        while Hands::connect(&running.dir).is_err() {
            std::thread::yield_now();
        }
        running
    }

    fn hands(&self) -> Hands {
        Hands::connect(&self.dir).expect("the table listens")
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take() {
            thread.join().expect("the table ends in peace");
        }
        std::fs::remove_dir_all(&self.dir).expect("the folder goes");
    }
}

/// A panel that only does what it is told.
struct Client {
    stream: BufReader<UnixStream>,
    wire: Option<File>,
    opens: u64,
    read: u64,
    written: u64,
    heard: String,
    now_us: u64,
    levels: Levels,
    plugged: bool,
    seq: u64,
    pulsing: bool,
    level: bool,
    last_edge_us: u64,
}

fn open_wire(dir: &Path) -> std::io::Result<File> {
    OpenOptions::new()
        .read(true)
        .write(true)
        .custom_flags(NOCTTY)
        .open(dir.join("wire"))
}

impl Client {
    fn connect(dir: &Path) -> Self {
        let stream = UnixStream::connect(dir.join("harness")).expect("the table listens");
        let mut client = Self {
            stream: BufReader::new(stream),
            wire: None,
            opens: 0,
            read: 0,
            written: 0,
            heard: String::new(),
            now_us: 0,
            levels: Levels::default(),
            plugged: true,
            seq: 0,
            pulsing: false,
            level: false,
            last_edge_us: 0,
        };
        client.tell(&ToTable::IAmPanel);
        client
    }

    fn tell(&mut self, what: &ToTable) {
        let mut line = serde_json::to_vec(what).expect("JSON");
        line.push(b'\n');
        self.stream
            .get_mut()
            .write_all(&line)
            .expect("the table hears");
    }

    fn open(&mut self, dir: &Path) {
        self.wire = Some(open_wire(dir).expect("the port opens"));
        self.opens += 1;
        self.read = 0;
        self.written = 0;
        self.tell(&ToTable::Opened);
    }

    fn write(&mut self, bytes: &[u8]) {
        let wire = self.wire.as_mut().expect("an open port");
        wire.write_all(bytes).expect("it is written");
        self.written += bytes.len() as u64;
    }

    fn say(&mut self, body: &str) {
        self.write(format!("{:02X}{:04X} {body}\n", body.len(), crc16(body.as_bytes())).as_bytes());
    }

    /// Takes the next tick and the bytes that came with it.
    fn hear(&mut self) {
        loop {
            let mut line = String::new();
            assert!(
                self.stream.read_line(&mut line).expect("a line") > 0,
                "the table is gone"
            );
            let ToPanel::Tick {
                seq,
                now_us,
                plugged,
                opens,
                sent,
                levels,
                ..
            } = serde_json::from_str(&line).expect("JSON")
            else {
                continue;
            };
            assert_eq!(seq, self.seq + 1);
            assert!(now_us >= self.now_us, "time does not run back");
            (self.seq, self.now_us, self.plugged, self.levels) = (seq, now_us, plugged, levels);
            if let Some(wire) = self
                .wire
                .as_mut()
                .filter(|_| plugged && opens == self.opens)
            {
                let mut bytes = vec![0; (sent - self.read) as usize];
                wire.read_exact(&mut bytes)
                    .expect("every byte that was sent is here");
                self.read = sent;
                self.heard += std::str::from_utf8(&bytes).expect("ASCII");
            }
            return;
        }
    }

    fn answer(&mut self) {
        let mut next_us = None;
        if self.pulsing {
            if self.now_us >= self.last_edge_us + 5000 {
                self.level = !self.level;
                self.last_edge_us = self.now_us;
                self.tell(&ToTable::Permit { level: self.level });
            }
            next_us = Some(self.last_edge_us + 5000);
        }
        let (seq, written) = (self.seq, self.written);
        self.tell(&ToTable::Caught {
            seq,
            written,
            next_us,
        });
    }

    /// Goes on in step until `enough`, for at most so much table time.
    #[track_caller]
    fn until(&mut self, what: &str, within_ms: u64, enough: impl Fn(&Self) -> bool) {
        let end = self.now_us + within_ms * 1000;
        while !enough(self) {
            assert!(self.now_us <= end, "no {what}: heard {:?}", self.heard);
            self.hear();
            self.answer();
        }
    }

    /// Says a line in mid-step and waits for an answer that begins so.
    #[track_caller]
    fn ask(&mut self, body: &str, answer: &str, within_ms: u64) {
        self.hear();
        self.say(body);
        self.answer();
        let answer = format!(" {answer}");
        self.until(body, within_ms, |c| c.heard.contains(&answer));
    }

    /// Opens the port, opens an epoch and references the axes.
    fn begin(&mut self, dir: &Path) {
        self.hear();
        self.open(dir);
        self.answer();
        self.until("hello", 2000, |c| c.heard.contains("hello 1 plain"));
        self.ask("0 begin 1 every 20", "ready 1\n", 1000);
        self.ask("1 home", "taken 1\n", 1000);
        self.until("reference", 20_000, |c| c.heard.contains(" idle e1 "));
    }
}

fn plan() -> Plan {
    let (from, to) = (Point::new(30.0, 30.0), Point::new(80.0, 30.0));
    Plan {
        size: Point::new(200.0, 200.0),
        thickness_mm: 5.0,
        volts: 113.0,
        feed_mm_s: 18.0,
        cut_height_mm: 1.5,
        cuts: vec![vec![Segment::Line { from, to }]],
        ..Plan::default()
    }
}

#[test]
fn a_panel_in_step_misses_no_byte_and_loses_no_time() {
    let table = Running::start(1000.0);
    let mut hands = table.hands();
    hands.lay(plan()).expect("laid");
    let mut client = Client::connect(&table.dir);
    client.begin(&table.dir);
    // 50 reports a second, each in its place: none was lost and none came twice.
    client.heard.clear();
    let from = client.now_us;
    client.until("two seconds", 2100, |c| c.now_us >= from + 2_000_000);
    let reports = client.heard.lines().filter(|l| l.contains(" at ")).count();
    assert!((99..=101).contains(&reports), "{reports}");
    let truth = hands.truth().expect("answers");
    assert_eq!(truth.plan_mm, 50.0);
    assert!(truth.now_s >= (from as f64 / 1e6) + 2.0);
}

#[test]
fn a_pulled_cable_hangs_up_and_can_be_plugged_in_again() {
    let table = Running::start(1000.0);
    let mut hands = table.hands();
    hands.lay(plan()).expect("laid");
    hands
        .inject(FaultSpec {
            kind: FaultKind::LinkCut,
            cut: 1,
            mm: None,
        })
        .expect("a place");
    let mut client = Client::connect(&table.dir);
    client.begin(&table.dir);
    client.ask("2 G0 X30 Y30", "taken 2\n", 1000);
    client.ask("3 touch Z10 F600", "taken 3\n", 1000);
    client.until("the cable is out", 10_000, |c| !c.plugged);
    let mut byte = [0; 4096];
    let wire = client.wire.as_mut().expect("open");
    // What still lay in the receiver, then the end: nothing more, or an error of input.
    while wire.read(&mut byte).is_ok_and(|n| n > 0) {}
    client.wire = None;
    assert!(open_wire(&table.dir).is_err(), "no such port");
    hands.remedy(Some(FaultKind::LinkCut)).expect("plugged in");
    client.until("the cable is in", 1000, |c| c.plugged);
    client.heard.clear();
    client.hear();
    client.open(&table.dir);
    client.answer();
    client.ask("0 begin 2 every 20", "ready 2\n", 1000);
}

#[test]
fn a_panel_that_hangs_is_left_behind_and_k2_falls() {
    let table = Running::start(1000.0);
    let mut client = Client::connect(&table.dir);
    client.pulsing = true;
    client.until("K2", 500, |c| c.levels.permit_closed);
    // It reads no more and answers no more; the table goes on by itself.
    let edge_us = client.last_edge_us;
    let mut hands = table.hands();
    let from = hands.truth().expect("answers").now_s;
    while hands.truth().expect("answers").now_s < from + 0.3 {
        std::thread::yield_now();
    }
    // It finds in what was told meanwhile when the relay fell.
    while client.levels.permit_closed {
        client.hear();
    }
    assert!(
        client.now_us <= edge_us + 100_000,
        "{} after {edge_us}",
        client.now_us
    );
    // It answers what was told last, and is in step again.
    client.pulsing = false;
    client.until("in step again", 2000, |c| c.now_us > edge_us + 1_000_000);
}

#[test]
fn a_panel_that_dies_leaves_k2_to_fall_and_the_next_one_finds_the_port_free() {
    let table = Running::start(1000.0);
    let mut client = Client::connect(&table.dir);
    client.hear();
    client.open(&table.dir);
    client.answer();
    rustix::termios::ioctl_tiocexcl(client.wire.as_ref().expect("open")).expect("exclusive");
    client.pulsing = true;
    client.until("K2", 500, |c| c.levels.permit_closed);
    let died_us = client.now_us;
    drop(client);
    let mut hands = table.hands();
    while hands.truth().expect("answers").now_s < died_us as f64 / 1e6 + 0.1 {
        std::thread::yield_now();
    }
    let mut next = Client::connect(&table.dir);
    next.hear();
    assert!(!next.levels.permit_closed);
    next.open(&table.dir);
    next.answer();
    next.until("hello", 2000, |c| {
        c.heard.contains(" hello 1 plain") || c.heard.contains(" at ")
    });
}

#[test]
fn a_place_that_does_not_exist_is_refused_over_the_socket_too() {
    let table = Running::start(1.0);
    let mut hands = table.hands();
    hands.lay(plan()).expect("laid");
    let fault = FaultSpec {
        kind: FaultKind::Estop,
        cut: 1,
        mm: Some(50.1),
    };
    let refused = hands.inject(fault).expect_err("too far").to_string();
    assert!(refused.contains("50.0 mm long"), "{refused}");
}
