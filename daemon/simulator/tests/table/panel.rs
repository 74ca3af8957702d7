//! A little panel for tests: speaks `plain`, pulses the permit, cuts what it is told.

use std::collections::VecDeque;

use simulator::harness::{FaultKind, FaultSpec, Plan};
use simulator::{Table, TableSettings, crc16};
use units::{Point, Segment, Time};

pub fn framed(body: &str) -> Vec<u8> {
    format!("{:02X}{:04X} {body}\n", body.len(), crc16(body.as_bytes())).into_bytes()
}

/// A report, taken apart.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct At {
    pub x: f64,
    pub y: f64,
    pub z: f64,
    pub f: f64,
    pub doing: String,
    pub e: u32,
    pub w: u32,
    pub q: u32,
    pub t: u32,
    pub r: u32,
    pub u: u64,
}

fn at(body: &str) -> At {
    let mut at = At::default();
    for word in body.split(' ').skip(1) {
        let (letter, value) = word.split_at(1);
        match (letter, value.parse::<f64>()) {
            ("x", Ok(v)) => at.x = v,
            ("y", Ok(v)) => at.y = v,
            ("z", Ok(v)) => at.z = v,
            ("f", Ok(v)) => at.f = v,
            ("e", Ok(v)) => at.e = v as u32,
            ("w", Ok(v)) => at.w = v as u32,
            ("q", Ok(v)) => at.q = v as u32,
            ("t", Ok(v)) => at.t = v as u32,
            ("r", Ok(v)) => at.r = v as u32,
            ("u", Ok(v)) => at.u = v as u64,
            _ => at.doing = word.to_owned(),
        }
    }
    at
}

pub struct Panel {
    pub table: Table,
    pub heard: Vec<String>,
    pub at: At,
    pub taken: u32,
    pub pulsing: bool,
    pub keeps_alive: bool,
    epoch: u32,
    number: u32,
    partial: Vec<u8>,
    level: bool,
    unsent: VecDeque<(u32, Vec<u8>)>,
    in_flight: VecDeque<(u32, usize)>,
}

pub const FEED: f64 = 1200.0;

/// A square of 40 mm with a lead-in of 6 mm, anticlockwise, its lower left corner at (x, y).
pub fn square(x: f64, y: f64) -> Vec<Segment> {
    let p = |dx: f64, dy: f64| Point::new(x + dx, y + dy);
    let line = |from, to| Segment::Line { from, to };
    vec![
        line(p(20.0, -6.0), p(20.0, 0.0)),
        line(p(20.0, 0.0), p(40.0, 0.0)),
        line(p(40.0, 0.0), p(40.0, 40.0)),
        line(p(40.0, 40.0), p(0.0, 40.0)),
        line(p(0.0, 40.0), p(0.0, 0.0)),
        line(p(0.0, 0.0), p(20.0, 0.0)),
    ]
}

/// A hole of radius `r` about (x, y), anticlockwise from the lead-in.
pub fn hole(x: f64, y: f64, r: f64) -> Vec<Segment> {
    let (centre, start) = (Point::new(x, y), Point::new(x + r, y));
    vec![
        Segment::Line {
            from: centre,
            to: start,
        },
        Segment::Arc {
            from: start,
            to: start,
            centre,
            clockwise: false,
        },
    ]
}

pub fn plan(cuts: Vec<Vec<Segment>>) -> Plan {
    Plan {
        corner: Point::new(50.0, 50.0),
        size: Point::new(600.0, 400.0),
        thickness_mm: 5.0,
        material: "mild-steel".into(),
        kerf_mm: 1.45,
        volts: 113.0,
        feed_mm_s: FEED / 60.0,
        amps: 40.0,
        cut_height_mm: 1.5,
        pierce_height_mm: 3.5,
        cuts,
    }
}

/// How one cut went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Went {
    Whole,
    NoMetal,
    NoArc,
    ArcLost,
}

impl Panel {
    /// Switched on, referenced, with a sheet of these cuts.
    pub fn ready(seed: u64, cuts: Vec<Vec<Segment>>) -> Self {
        Self::on(
            TableSettings {
                seed,
                ..TableSettings::default()
            },
            cuts,
        )
    }

    pub fn on(settings: TableSettings, cuts: Vec<Vec<Segment>>) -> Self {
        let mut panel = Self::bare(settings);
        panel.table.lay(plan(cuts));
        panel.until("hello", 2000, |p| {
            p.heard.iter().any(|h| h.starts_with("hello"))
        });
        panel.begin();
        panel.reference();
        panel
    }

    pub fn bare(settings: TableSettings) -> Self {
        Self {
            table: Table::new(settings),
            heard: Vec::new(),
            at: At::default(),
            taken: 0,
            pulsing: false,
            keeps_alive: true,
            epoch: 0,
            number: 0,
            partial: Vec::new(),
            level: false,
            unsent: VecDeque::new(),
            in_flight: VecDeque::new(),
        }
    }

    pub fn now_ms(&self) -> u64 {
        self.table.now().as_us() / 1000
    }

    /// Lets a millisecond pass.
    pub fn tick(&mut self) {
        let next = Time::from_us(self.table.now().as_us() / 1000 * 1000 + 1000);
        self.table.advance(next);
        let ms = self.now_ms();
        if self.pulsing && ms.is_multiple_of(5) {
            self.level = !self.level;
            self.table.set_permit(next, self.level);
        }
        if self.keeps_alive && ms.is_multiple_of(100) {
            self.table.wire_in(next, b"\n");
        }
        for byte in self.table.take_wire_out() {
            if byte == b'\n' {
                let line = String::from_utf8(std::mem::take(&mut self.partial)).expect("ASCII");
                let body = line[7..].to_owned();
                assert_eq!(framed(&body), format!("{line}\n").into_bytes());
                self.hear(body);
            } else {
                self.partial.push(byte);
            }
        }
        self.send();
    }

    fn hear(&mut self, body: String) {
        if body.starts_with("at ") {
            self.at = at(&body);
        } else if let Some(number) = body.strip_prefix("taken ") {
            self.taken = number.parse().expect("a number");
        }
        self.heard.push(body);
    }

    fn send(&mut self) {
        while self.in_flight.front().is_some_and(|f| f.0 <= self.taken) {
            self.in_flight.pop_front();
        }
        let mut flying: usize = self.in_flight.iter().map(|f| f.1).sum();
        while let Some((_, bytes)) = self.unsent.front() {
            flying += bytes.len();
            if flying > 256 {
                break;
            }
            let (number, bytes) = self.unsent.pop_front().expect("there");
            self.in_flight.push_back((number, bytes.len()));
            self.raw(&bytes);
        }
    }

    pub fn raw(&mut self, bytes: &[u8]) {
        self.table.wire_in(self.table.now(), bytes);
    }

    #[track_caller]
    pub fn until(&mut self, what: &str, within_ms: u64, enough: impl Fn(&Self) -> bool) {
        let end = self.now_ms() + within_ms;
        while !enough(self) {
            assert!(
                self.now_ms() < end,
                "no {what} within {within_ms} ms; {:?}, {:?}, heard {:?}",
                self.at,
                self.table.levels(),
                self.heard
                    .iter()
                    .filter(|h| !h.starts_with("at "))
                    .collect::<Vec<_>>()
            );
            self.tick();
        }
    }

    pub fn wait(&mut self, ms: u64) {
        for _ in 0..ms {
            self.tick();
        }
    }

    pub fn begin(&mut self) {
        self.epoch += 1;
        self.number = 0;
        self.taken = 0;
        self.unsent.clear();
        self.in_flight.clear();
        let ready = format!("ready {}", self.epoch);
        let bytes = framed(&format!("0 begin {} every 20", self.epoch));
        self.raw(&bytes);
        self.until("ready", 2000, |p| p.heard.last_of(&ready));
        self.until("report", 200, |p| p.at.e == 0);
    }

    /// Puts a line behind those that wait, and gives its number.
    pub fn say(&mut self, text: &str) -> u32 {
        self.number += 1;
        let bytes = framed(&format!("{} {text}", self.number));
        self.unsent.push_back((self.number, bytes));
        self.send();
        self.number
    }

    /// Says it and waits until it was carried out.
    #[track_caller]
    pub fn say_done(&mut self, text: &str) {
        let number = self.say(text);
        self.until(text, 30_000, |p| p.at.e >= number);
    }

    pub fn reference(&mut self) {
        self.say_done("home");
        assert_eq!(self.at.r, 1);
    }

    pub fn raise(&mut self) {
        self.say_done("G0 Z55");
    }

    pub fn go_to(&mut self, p: Point) {
        self.say_done(&format!("G0 X{:.4} Y{:.4}", p.x, p.y));
    }

    /// Finds the sheet: its height, or none.
    pub fn touch(&mut self) -> Option<f64> {
        self.say_done("sense on");
        let number = self.say("touch Z12 F600");
        let (touched, missed) = (format!("touched {number} z"), format!("missed {number}"));
        self.until("touch", 30_000, |p| {
            p.heard
                .iter()
                .any(|h| h.starts_with(&touched) || *h == missed)
        });
        let z = self
            .heard
            .iter()
            .rev()
            .find_map(|h| h.strip_prefix(&touched)?.parse::<f64>().ok());
        if z.is_some() {
            self.say_done("sense off");
            self.wait(20);
        }
        z
    }

    pub fn move_z(&mut self, z: f64) {
        self.say_done(&format!("G1 Z{z:.3} F3000"));
    }

    pub fn lines(&mut self, path: &[Segment]) {
        for segment in path {
            let to = segment.to();
            let text = match *segment {
                Segment::Line { .. } => format!("G1 X{:.4} Y{:.4} F{FEED:.1}", to.x, to.y),
                Segment::Arc {
                    from,
                    centre,
                    clockwise,
                    ..
                } => format!(
                    "G{} X{:.4} Y{:.4} I{:.4} J{:.4} F{FEED:.1}",
                    if clockwise { 2 } else { 3 },
                    to.x,
                    to.y,
                    centre.x - from.x,
                    centre.y - from.y
                ),
            };
            self.say(&text);
        }
    }

    /// The permit first, then torch-on; waits for the arc.
    pub fn fire(&mut self) -> bool {
        self.pulsing = true;
        self.until("K2", 100, |p| p.table.levels().permit_closed);
        self.say("M3");
        let end = self.now_ms() + 1600;
        while self.now_ms() < end && !self.table.levels().arc_ok {
            self.tick();
        }
        self.table.levels().arc_ok
    }

    /// What a guard does: no more pulses, hold, torch off.
    pub fn stop(&mut self) {
        self.pulsing = false;
        self.raw(&[0x9C, 0x87]);
        self.until("K2 open, arc out", 300, |p| {
            !p.table.levels().permit_closed && !p.table.levels().arc_ok
        });
        self.begin();
    }

    /// One whole cut of this path.
    pub fn cut(&mut self, path: &[Segment]) -> Went {
        self.raise();
        self.go_to(path[0].from());
        let Some(surface) = self.touch() else {
            self.raise();
            return Went::NoMetal;
        };
        self.move_z(surface + 3.5);
        if !self.fire() {
            self.stop();
            return Went::NoArc;
        }
        self.wait(385);
        self.move_z(surface + 1.5);
        self.lines(path);
        let off = self.say("M5");
        let mut lost = 0;
        while self.at.e < off {
            self.tick();
            lost = if self.table.levels().arc_ok {
                0
            } else {
                lost + 1
            };
            if lost > 30 && self.at.e < off {
                self.stop();
                if !self.table.levels().estop_open {
                    self.raise();
                }
                return Went::ArcLost;
            }
        }
        self.until("arc out", 500, |p| !p.table.levels().arc_ok);
        self.pulsing = false;
        self.wait(50);
        self.raise();
        Went::Whole
    }

    pub fn break_at(&mut self, kind: FaultKind, cut: usize, mm: Option<f64>) {
        self.table
            .inject(FaultSpec { kind, cut, mm })
            .expect("a place");
    }

    /// Violations that were seen.
    pub fn wrongs(&self) -> Vec<String> {
        self.table.truth().violations
    }
}

trait LastOf {
    fn last_of(&self, what: &str) -> bool;
}

impl LastOf for Vec<String> {
    fn last_of(&self, what: &str) -> bool {
        self.iter().any(|h| h == what)
    }
}
