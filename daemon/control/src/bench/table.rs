//! The far end: a controller that speaks `plain`, a power source, a plate.

mod lines;

use std::collections::VecDeque;

use units::{Point, Time};

use crate::signals::Signals;
use lines::{Do, InForce, parse};
use link::crc16 as crc;

#[derive(Clone, Debug)]
struct Running {
    number: u64,
    what: Do,
    from: Point,
    from_z: f64,
    done_mm: f64,
}

/// What a test can let go wrong.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Wrong {
    pub source_off: bool,
    pub contact_stuck: bool,
    pub no_metal: bool,
    pub k1_welded: bool,
    /// The mirror of the start contact says open, whatever the contact does.
    pub k1_mirror_open: bool,
    pub arc_stuck: bool,
    pub estop: bool,
    pub unplugged: bool,
    pub gate_open: bool,
    pub air_low: bool,
    pub hold_button: bool,
    pub k2_welded: bool,
    /// Paint or scale: no contact, whatever is touched.
    pub painted: bool,
    /// Something meets the torch wherever it is.
    pub tipped: bool,
    pub volts: Option<f64>,
    /// The source's own contact, where it is wired.
    pub source_on: Option<bool>,
    /// Lines do not arrive; what takes away does.
    pub deaf: bool,
    /// The queue is as short as the dialect says; what finds no room is lost.
    pub shallow: bool,
    /// Each line is spoilt on its way twice.
    pub noisy: bool,
    /// Every n-th numbered line is spoilt once.
    pub spoils_every: Option<u64>,
    /// The sensing circuit's relay stays as it is.
    pub k3_stuck: bool,
    /// Its mirror is not wired, and neither is that of the permit relay.
    pub no_mirrors: bool,
    /// A hand holds metal to the nozzle.
    pub metal_at_nozzle: bool,
    /// A move of the height ends so far above where it was sent, mm.
    pub short_z: f64,
    /// A slow move of the height is so many times slower.
    pub slow_z: Option<f64>,
    /// Reports count so many lines too few.
    pub count_back: u64,
    /// The next numbered line is refused.
    pub refuses_once: bool,
    /// What the controller says is lost.
    pub mute: bool,
    /// Reports tell a place so far off along X, mm.
    pub shoved_mm: f64,
}

pub(crate) struct Table {
    now: Time,
    line: Vec<u8>,
    /// The line that is being spoilt, and how often it was.
    spoilt: (u64, u32),
    out: Vec<u8>,
    expected: u64,
    in_force: InForce,
    greeted_only: bool,
    every_ms: u64,
    next_report: Time,
    queue: VecDeque<(u64, Do)>,
    running: Option<Running>,
    executed: u64,
    hold: bool,
    fault: bool,
    torch_barred: bool,
    starts: u32,
    started: Time,
    dead_until: Option<Time>,
    pub place: Point,
    pub z: f64,
    pub plate_z: f64,
    pub referenced: bool,
    pub torch: bool,
    pub sense: bool,
    /// The head floats, and a switch tells.
    pub floats: bool,
    pub wrong: Wrong,
    permit_level: bool,
    permit_edge: Option<Time>,
    fire_since: Option<Time>,
    pub arc: bool,
    arc_changed: Time,
    arc_ok: bool,
    /// Puts the arc out until the start contact opens.
    pub blown_out: bool,
    pub burnt: Vec<Point>,
    pub fires: u32,
    pub violations: Vec<String>,
    last_heard: Time,
}

pub(crate) const TOP_Z: f64 = 80.0;
/// Lost travel of the floating head.
const FLOAT_MM: f64 = 1.2;
pub(crate) const SAFE_ABOVE: f64 = 25.0;

impl Table {
    pub(crate) fn new() -> Self {
        let mut t = Self {
            now: Time::ZERO,
            line: Vec::new(),
            spoilt: (0, 0),
            out: Vec::new(),
            expected: 1,
            in_force: InForce::default(),
            greeted_only: false,
            every_ms: 100,
            next_report: Time::ZERO,
            queue: VecDeque::new(),
            running: None,
            executed: 0,
            hold: false,
            fault: false,
            torch_barred: false,
            starts: 1,
            started: Time::ZERO,
            dead_until: None,
            place: Point::new(300.0, 300.0),
            z: 40.0,
            plate_z: 5.4,
            referenced: false,
            torch: false,
            sense: false,
            floats: false,
            wrong: Wrong::default(),
            permit_level: false,
            permit_edge: None,
            fire_since: None,
            arc: false,
            arc_changed: Time::ZERO,
            arc_ok: false,
            blown_out: false,
            burnt: Vec::new(),
            fires: 0,
            violations: Vec::new(),
            last_heard: Time::ZERO,
        };
        t.say("hello 1 plain");
        t
    }

    pub(crate) fn say(&mut self, body: &str) {
        let frame = format!("{:02X}{:04X} {body}\n", body.len(), crc(body.as_bytes()));
        self.out.extend_from_slice(frame.as_bytes());
    }

    /// What the controller has written since the last call.
    pub(crate) fn take_out(&mut self) -> Vec<u8> {
        if self.wrong.unplugged || self.wrong.mute {
            self.out.clear();
        }
        core::mem::take(&mut self.out)
    }

    pub(crate) fn reset(&mut self) {
        self.queue.clear();
        self.running = None;
        self.line.clear();
        self.out.clear();
        self.torch = false;
        self.sense = false;
        self.referenced = false;
        self.place = Point::default();
        self.z = 0.0;
        self.greeted_only = true;
        self.starts += 1;
        self.dead_until = Some(self.now + core::time::Duration::from_millis(1200));
    }

    /// A piece of path is in the controller's queue or being carried out.
    pub(crate) fn has_path(&self) -> bool {
        let running = self.running.as_ref().map(|r| &r.what);
        let mut all = self.queue.iter().map(|(_, what)| what).chain(running);
        all.any(|what| matches!(what, Do::Path(..)))
    }

    /// The start contact opens by itself; nobody is told.
    pub(crate) fn drop_fire(&mut self) {
        self.torch = false;
    }

    pub(crate) fn hear(&mut self, bytes: &[u8]) {
        if self.wrong.unplugged || self.dead_until.is_some() {
            return;
        }
        for &b in bytes {
            self.last_heard = self.now;
            match b {
                0x9C => {
                    self.hold = true;
                    self.running = None;
                    self.report();
                }
                0x87 => {
                    self.torch = false;
                    self.torch_barred = true;
                    self.report();
                }
                b'\n' => {
                    let mut line = core::mem::take(&mut self.line);
                    if self.wrong.deaf || (self.wrong.shallow && self.queue.len() >= 32) {
                        continue;
                    }
                    let noisy = self.wrong.noisy && self.spoils(&line, 2);
                    let often = self.wrong.spoils_every;
                    let every = often
                        .is_some_and(|n| self.expected.is_multiple_of(n) && self.spoils(&line, 1));
                    if noisy || every {
                        line.push(b'~');
                    }
                    if !line.is_empty() {
                        self.take_line(&line);
                    }
                }
                b if b < 0x80 => self.line.push(b),
                _ => {}
            }
        }
    }

    /// Whether this line is spoilt now: each is, so many times.
    fn spoils(&mut self, line: &[u8], times: u32) -> bool {
        let text = String::from_utf8_lossy(line);
        let number = text.split(' ').nth(1).and_then(|n| n.parse().ok());
        if number != Some(self.expected) {
            return false;
        }
        if self.spoilt.0 != self.expected {
            self.spoilt = (self.expected, 0);
        }
        self.spoilt.1 += 1;
        self.spoilt.1 <= times
    }

    fn take_line(&mut self, line: &[u8]) {
        let text = String::from_utf8_lossy(line).into_owned();
        let Some((head, body)) = text.split_at_checked(6) else {
            return;
        };
        let body = body.trim_start();
        let good = head == format!("{:02X}{:04X}", body.len(), crc(body.as_bytes()));
        let number = body.split(' ').next().and_then(|n| n.parse::<u64>().ok());
        let (true, Some(number)) = (good, number) else {
            self.say(&format!("again {}", self.expected));
            return;
        };
        let text = body.split_once(' ').map_or("", |(_, t)| t);
        if number == 0 {
            let words: Vec<&str> = text.split(' ').collect();
            assert_eq!(words[0], "begin", "{text}");
            self.every_ms = words[3].parse().expect("a rate");
            self.queue.clear();
            self.running = None;
            self.torch = false;
            self.torch_barred = false;
            self.hold = false;
            self.fault = self.wrong.estop;
            self.expected = 1;
            self.in_force = InForce::default();
            self.executed = 0;
            self.greeted_only = false;
            self.say(&format!("ready {}", words[1]));
            self.report();
            return;
        }
        if self.greeted_only || number > self.expected {
            self.say(&format!("again {}", self.expected));
            return;
        }
        if number < self.expected {
            self.say(&format!("taken {}", self.expected - 1));
            return;
        }
        self.expected += 1;
        let what = parse(&self.in_force.whole(text), self.queue_end());
        let moves = !matches!(what, Do::Sense(_) | Do::Torch(false) | Do::Home);
        let refuses = core::mem::take(&mut self.wrong.refuses_once);
        if refuses || self.fault || self.hold || (moves && !self.referenced) {
            self.say(&format!("refused {number} fault not now"));
            self.fault = true;
            return;
        }
        self.queue.push_back((number, what));
        self.say(&format!("taken {number}"));
    }

    fn queue_end(&self) -> Point {
        let to = |d: &Do| match d {
            Do::Xy(p, _) => Some(*p),
            Do::Path(s, _) => Some(s.to()),
            _ => None,
        };
        self.queue
            .iter()
            .rev()
            .find_map(|(_, d)| to(d))
            .or_else(|| self.running.as_ref().and_then(|r| to(&r.what)))
            .unwrap_or(self.place)
    }

    fn report(&mut self) {
        let doing = if self.fault {
            "fault"
        } else if self.hold {
            "hold"
        } else {
            match self.running.as_ref().map(|r| &r.what) {
                None if self.queue.is_empty() => "idle",
                Some(Do::Touch(..)) => "touch",
                Some(Do::Home) => "home",
                _ => "run",
            }
        };
        let moving = if self.running.is_some() { 600.0 } else { 0.0 };
        let waiting = self.queue.len() + usize::from(self.running.is_some());
        let body = format!(
            "at x{:.3} y{:.3} z{:.3} f{moving:.1} {doing} e{} w{waiting} q{} t{} r{} u{}",
            self.place.x + self.wrong.shoved_mm,
            self.place.y,
            self.z,
            self.executed.saturating_sub(self.wrong.count_back),
            waiting * 15,
            u8::from(self.torch),
            u8::from(self.referenced),
            self.now.since(self.started).as_millis()
        );
        self.say(&body);
        self.next_report = self.now + core::time::Duration::from_millis(self.every_ms);
    }

    pub(crate) fn permit(&mut self, level: bool) {
        if level != self.permit_level {
            self.permit_level = level;
            self.permit_edge = Some(self.now);
        }
    }

    fn k2(&self) -> bool {
        self.wrong.k2_welded
            || self
                .permit_edge
                .is_some_and(|t| self.now.since(t).as_millis() < 60)
    }

    fn k1(&self) -> bool {
        (self.torch && !self.wrong.estop) || self.wrong.k1_welded
    }

    pub(crate) fn signals(&self) -> Signals {
        Signals {
            fire_on: self.k1() && !self.wrong.k1_mirror_open,
            arc_ok: self.arc_ok,
            contact: self.sense
                && (self.wrong.contact_stuck
                    || self.wrong.metal_at_nozzle
                    || self.wrong.tipped
                    || (self.z <= self.plate_z && !self.wrong.no_metal && !self.wrong.painted)),
            float_switch: self
                .floats
                .then_some(self.z <= self.plate_z - FLOAT_MM && !self.wrong.no_metal),
            source_on: self.wrong.source_on,
            estop_open: self.wrong.estop,
            hold_button: Some(self.wrong.hold_button),
            air_ok: Some(!self.wrong.air_low),
            permit_closed: (!self.wrong.no_mirrors).then(|| self.k2()),
            sense_isolated: (!self.wrong.no_mirrors).then_some(!self.sense),
            gate_closed: Some(!self.wrong.gate_open),
            volts: Some(match self.wrong.volts {
                Some(v) if self.arc => v,
                _ if self.arc => 113.0,
                _ => 0.3,
            }),
            ..Signals::default()
        }
    }

    /// One millisecond.
    pub(crate) fn tick(&mut self, now: Time) {
        self.now = now;
        if self.wrong.estop {
            if !self.fault {
                self.fault = true;
                self.say("alarm emergency stop");
            }
            self.running = None;
            self.queue.clear();
            self.torch = false;
            self.referenced = false;
        }
        if let Some(t) = self.dead_until {
            self.electric();
            if now < t {
                return;
            }
            self.dead_until = None;
            self.started = now;
            self.fault = false;
            self.hold = false;
            self.expected = 1;
            self.executed = 0;
            self.every_ms = 100;
            let hello = format!("hello {} plain", self.starts);
            self.say(&hello);
        }
        if self.torch && now.since(self.last_heard).as_millis() > 300 {
            self.torch = false;
            self.torch_barred = true;
            self.hold = true;
            self.running = None;
            self.say("alarm panel silent");
        }
        self.run();
        self.electric();
        if now >= self.next_report {
            self.report();
        }
    }

    fn run(&mut self) {
        if self.hold || self.fault {
            return;
        }
        let mut left_s = 0.001;
        while left_s > 0.0 {
            if self.running.is_none() {
                let Some((number, what)) = self.queue.pop_front() else {
                    return;
                };
                if let Do::Xy(p, _) = &what
                    && p.distance(self.place) > 0.01
                    && self.z < self.plate_z + SAFE_ABOVE - 3.0
                {
                    self.violations
                        .push(format!("rapid at height {:.2}", self.z));
                }
                if let Do::Path(s, _) = &what
                    && s.from().distance(self.place) > 0.01
                {
                    self.violations.push(format!(
                        "path begins {:?}, torch {:?}",
                        s.from(),
                        self.place
                    ));
                }
                self.running = Some(Running {
                    number,
                    what,
                    from: self.place,
                    from_z: self.z,
                    done_mm: 0.0,
                });
            }
            let Some(mut r) = self.running.take() else {
                return;
            };
            let (length, speed) = match &r.what {
                Do::Xy(p, v) => (r.from.distance(*p), *v),
                Do::Z(z, v) => {
                    let slower = self.wrong.slow_z.filter(|_| *z < r.from_z).unwrap_or(1.0);
                    ((z - r.from_z).abs(), *v / slower)
                }
                Do::Path(s, v) => (s.length(), *v),
                Do::Touch(z, v) => (r.from_z - z, *v),
                Do::Home => (TOP_Z - r.from_z + 200.0, 100.0),
                Do::Torch(_) | Do::Sense(_) => (0.0, 1.0),
            };
            let step = (speed * left_s).min(length - r.done_mm).max(0.0);
            r.done_mm += step;
            left_s -= if speed > 0.0 { step / speed } else { 0.0 };
            let part = if length > 0.0 {
                r.done_mm / length
            } else {
                1.0
            };
            match &r.what {
                Do::Xy(p, _) => self.place = r.from.toward(*p, part),
                Do::Z(z, _) => {
                    let to = r.from_z + (z - r.from_z) * part;
                    if self.arc && to > self.z + 1e-9 {
                        self.violations.push("lifted under a live arc".into());
                    }
                    self.z = to;
                }
                Do::Path(s, _) => self.place = s.point_at(r.done_mm),
                Do::Touch(..) => {
                    self.z = r.from_z - r.done_mm;
                    let s = self.signals();
                    if s.contact || s.float_switch == Some(true) {
                        let (n, z) = (r.number, self.z);
                        self.executed = n;
                        self.say(&format!("touched {n} z{z:.3}"));
                        self.report();
                        continue;
                    }
                }
                Do::Home => {}
                Do::Torch(_) | Do::Sense(_) => {}
            }
            if part < 1.0 - 1e-12 {
                self.running = Some(r);
                return;
            }
            self.executed = r.number;
            match r.what {
                Do::Z(..) => self.z += self.wrong.short_z,
                Do::Torch(on) => {
                    self.torch = on && !self.torch_barred;
                    if self.torch && self.sense {
                        self.violations
                            .push("fire with the sensing circuit on".into());
                    }
                    self.fires += u32::from(self.torch);
                    self.report();
                }
                Do::Sense(on) if !self.wrong.k3_stuck => self.sense = on,
                Do::Sense(_) => {}
                Do::Touch(..) => {
                    let n = r.number;
                    self.say(&format!("missed {n}"));
                    self.report();
                }
                Do::Home => {
                    self.referenced = true;
                    self.place = Point::default();
                    self.z = TOP_Z;
                }
                _ => {}
            }
            if self.queue.is_empty() {
                self.report();
            }
        }
    }

    fn electric(&mut self) {
        let start = self.k1() && self.k2() && !self.wrong.source_off && !self.wrong.estop;
        if start {
            self.fire_since.get_or_insert(self.now);
        } else {
            self.fire_since = None;
        }
        if !self.k1() {
            self.blown_out = false;
        }
        let lit = self
            .fire_since
            .is_some_and(|t| self.now.since(t).as_millis() >= 350);
        let arc = (lit && !self.blown_out) || (self.arc && self.wrong.arc_stuck);
        if arc != self.arc {
            self.arc = arc;
            self.arc_changed = self.now;
        }
        let lag = if self.arc { 15 } else { 12 };
        if self.now.since(self.arc_changed).as_millis() >= lag {
            self.arc_ok = self.arc;
        }
        if self.arc {
            self.burnt.push(self.place);
        }
    }
}
