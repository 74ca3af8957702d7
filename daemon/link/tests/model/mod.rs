//! A controller in miniature, written from the description of the dialect `plain` and of the
//! invented `ledger`, apart from the code under test; and a wire that can be disturbed.

#![allow(dead_code, reason = "each test file uses a part of it")]

use std::collections::VecDeque;

/// CRC-16 by table, unlike the code under test, which shifts bit by bit.
pub fn crc(bytes: &[u8]) -> u16 {
    crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740).checksum(bytes)
}

pub fn framed(body: &str) -> Vec<u8> {
    format!("{:02X}{:04X} {body}\n", body.len(), crc(body.as_bytes())).into_bytes()
}

/// A wire: bytes arrive in order, one every `byte_us`.
pub struct Wire {
    byte_us: f64,
    free_us: f64,
    on_way: VecDeque<(f64, u8)>,
    pub carried: usize,
    pub busy_us: f64,
}

impl Wire {
    pub fn new(baud: f64) -> Self {
        Self {
            byte_us: 10.0e6 / baud,
            free_us: 0.0,
            on_way: VecDeque::new(),
            carried: 0,
            busy_us: 0.0,
        }
    }

    pub fn write(&mut self, now_us: u64, bytes: &[u8]) {
        for &b in bytes {
            self.free_us = self.free_us.max(now_us as f64) + self.byte_us;
            self.busy_us += self.byte_us;
            self.on_way.push_back((self.free_us, b));
        }
    }

    pub fn unsent(&self, now_us: u64) -> f64 {
        (self.free_us - now_us as f64).max(0.0) / self.byte_us
    }

    pub fn read(&mut self, now_us: u64) -> Vec<u8> {
        let mut out = Vec::new();
        while let Some((_, b)) = self.on_way.pop_front_if(|(at, _)| *at <= now_us as f64) {
            out.push(b);
            self.carried += 1;
        }
        out
    }
}

/// Small and seeded: what goes wrong on the wire.
pub struct Noise {
    state: u64,
    pub flip_per_million: u64,
    pub drop_per_million: u64,
    pub double_per_million: u64,
}

impl Noise {
    pub fn none() -> Self {
        Self::new(1, 0, 0, 0)
    }

    pub fn new(seed: u64, flip: u64, drop: u64, double: u64) -> Self {
        Self {
            state: seed | 1,
            flip_per_million: flip,
            drop_per_million: drop,
            double_per_million: double,
        }
    }

    fn draw(&mut self) -> u64 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 7;
        self.state ^= self.state << 17;
        self.state >> 16
    }

    pub fn disturb(&mut self, bytes: Vec<u8>) -> Vec<u8> {
        let mut out = Vec::new();
        for mut b in bytes {
            if self.draw() % 1_000_000 < self.drop_per_million {
                continue;
            }
            if self.draw() % 1_000_000 < self.flip_per_million {
                b ^= 1 << (self.draw() % 8);
            }
            out.push(b);
            if self.draw() % 1_000_000 < self.double_per_million {
                out.push(b);
            }
        }
        out
    }
}

/// The far end of `plain`.
pub struct Plain {
    pub buffer: Vec<u8>,
    pub most_buffered: usize,
    pub overruns: usize,
    /// Commands in the queue with their line numbers.
    queue: VecDeque<(u64, String)>,
    started_us: Option<u64>,
    pub begun: Option<u64>,
    expected: u64,
    executed: u64,
    /// Every line carried out, with the epoch it belonged to.
    pub done: Vec<(u64, u64, String)>,
    pub command_us: u64,
    pub report_ms: u64,
    reported_us: u64,
    again_us: Option<u64>,
    held: bool,
    refuse: Option<u64>,
    out: Vec<u8>,
    pub bare: Vec<u8>,
    pub heard: usize,
    starts: u32,
    pub deaf_until_us: u64,
    /// Motion word and feed word that the last line left in force; none where it was no line of path.
    in_force: Option<(String, String)>,
    /// Lines that came without a word which was in force.
    pub shortened: usize,
}

impl Plain {
    pub fn new(command_us: u64) -> Self {
        Self {
            buffer: Vec::new(),
            most_buffered: 0,
            overruns: 0,
            queue: VecDeque::new(),
            started_us: None,
            begun: None,
            expected: 1,
            executed: 0,
            done: Vec::new(),
            command_us,
            report_ms: 100,
            reported_us: 0,
            again_us: None,
            held: false,
            refuse: None,
            out: Vec::new(),
            bare: Vec::new(),
            heard: 0,
            starts: 1,
            deaf_until_us: 0,
            in_force: None,
            shortened: 0,
        }
    }

    pub fn refuse_line(&mut self, number: u64) {
        self.refuse = Some(number);
    }

    /// It loses the words in force, and nothing tells of it.
    pub fn forget(&mut self) {
        self.in_force = None;
    }

    /// A line with the words that it leaves out; `None` if none are in force.
    fn whole(&mut self, text: &str) -> Option<String> {
        let mut words: Vec<String> = text.split(' ').map(str::to_owned).collect();
        let short = words.len();
        if words[0].starts_with('X') {
            words.insert(0, self.in_force.as_ref()?.0.clone());
        }
        let path = matches!(words[0].as_str(), "G1" | "G2" | "G3") && words[1].starts_with('X');
        if !path {
            self.in_force = None;
            return Some(text.to_owned());
        }
        if !words.last()?.starts_with('F') {
            words.push(self.in_force.as_ref()?.1.clone());
        }
        self.shortened += usize::from(words.len() > short);
        self.in_force = Some((words[0].clone(), words.last()?.clone()));
        Some(words.join(" "))
    }

    pub fn reset(&mut self, now_us: u64) {
        self.in_force = None;
        self.buffer.clear();
        self.queue.clear();
        self.started_us = None;
        self.begun = None;
        self.held = false;
        self.deaf_until_us = now_us + 1_200_000;
        self.starts += 1;
    }

    pub fn hear(&mut self, bytes: &[u8]) {
        for &b in bytes {
            self.heard += 1;
            match b {
                0x9C | 0x87 => {
                    self.bare.push(b);
                    self.held |= b == 0x9C;
                }
                0x80.. => {}
                _ if self.buffer.len() >= 256 => self.overruns += 1,
                _ => self.buffer.push(b),
            }
        }
        self.most_buffered = self.most_buffered.max(self.buffer.len());
    }

    fn answer(&mut self, body: &str) {
        self.out.extend(framed(body));
    }

    fn again(&mut self, now_us: u64) {
        if self.again_us.is_none_or(|at| now_us >= at + 20_000) {
            self.again_us = Some(now_us);
            let expected = self.expected;
            self.answer(&format!("again {expected}"));
        }
    }

    fn body_of(line: &[u8]) -> Option<&str> {
        let text = core::str::from_utf8(line).ok()?;
        let (head, body) = text.split_once(' ')?;
        let right = format!("{:02X}{:04X}", body.len(), crc(body.as_bytes()));
        (head == right).then_some(body)
    }

    fn parse(&mut self, now_us: u64) {
        while let Some(end) = self.buffer.iter().position(|b| *b == b'\n') {
            let line = self.buffer[..end].to_vec();
            if line.is_empty() {
                self.buffer.drain(..=end);
                continue;
            }
            let parsed = Self::body_of(&line).and_then(|body| {
                let (n, text) = body.split_once(' ')?;
                Some((n.parse::<u64>().ok()?, text.to_owned()))
            });
            match parsed {
                None => self.again(now_us),
                Some((0, text)) => {
                    let words: Vec<&str> = text.split(' ').collect();
                    assert_eq!((words[0], words[2]), ("begin", "every"));
                    let epoch: u64 = words[1].parse().expect("an epoch");
                    if self.begun != Some(epoch) {
                        self.begun = Some(epoch);
                        self.report_ms = words[3].parse().expect("a time");
                        self.expected = 1;
                        self.executed = 0;
                        self.in_force = None;
                        self.queue.clear();
                        self.started_us = None;
                        self.held = false;
                        self.again_us = None;
                    }
                    self.answer(&format!("ready {epoch}"));
                }
                Some((n, _)) if n < self.expected => {
                    let last = self.expected - 1;
                    self.answer(&format!("taken {last}"));
                }
                Some((n, _)) if n > self.expected => self.again(now_us),
                Some((n, text)) => {
                    if self.queue.len() >= 32 {
                        if !self.held {
                            return;
                        }
                        self.again(now_us);
                    } else {
                        self.expected += 1;
                        if self.refuse == Some(n) || self.begun.is_none() {
                            self.held = true;
                            self.answer(&format!("refused {n} travel beyond the table"));
                        } else if let Some(text) = self.whole(&text) {
                            self.queue.push_back((n, text));
                            self.answer(&format!("taken {n}"));
                        } else {
                            self.held = true;
                            self.answer(&format!("refused {n} words nothing is in force"));
                        }
                    }
                }
            }
            self.buffer.drain(..=end);
        }
    }

    pub fn step(&mut self, now_us: u64) -> Vec<u8> {
        if now_us < self.deaf_until_us {
            self.buffer.clear();
            return Vec::new();
        }
        if self.deaf_until_us > 0 {
            self.deaf_until_us = 0;
            let starts = self.starts;
            self.answer(&format!("hello {starts} plain"));
        }
        self.parse(now_us);
        if !self.held {
            while let Some((n, text)) = self.queue.front().cloned() {
                let start = *self.started_us.get_or_insert(now_us);
                if now_us < start + self.command_us {
                    break;
                }
                self.queue.pop_front();
                self.started_us = None;
                self.executed = n;
                if text.starts_with("touch") {
                    self.answer(&format!("touched {n} z-1.234"));
                }
                self.done.push((self.begun.unwrap_or(0), n, text));
                self.parse(now_us);
            }
        }
        if now_us >= self.reported_us + self.report_ms * 1000 {
            self.reported_us = now_us;
            let doing = if self.held {
                "hold"
            } else if self.queue.is_empty() {
                "idle"
            } else {
                "run"
            };
            let (e, w) = (self.executed, self.queue.len());
            self.answer(&format!(
                "at x1.5 y-2 z3 f0.0 {doing} e{e} w{w} q0 t0 r1 u{}",
                now_us / 1000
            ));
        }
        core::mem::take(&mut self.out)
    }
}
