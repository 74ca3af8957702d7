//! The motion controller at the far end of the wire: hears `plain` or `quill`, plans and moves.
//!
//! It is built from the pages of the dialects alone, with framing of its own, so that a mistake
//! which the panel makes is not made here too. `hear` takes lines apart and answers; `work` carries
//! out what is queued.

mod hear;
mod line;
mod quill;
mod stamp;
mod work;

use std::collections::VecDeque;

use units::Point;

use crate::chance::{Chance, Draws};
use crate::frame::framed;
use crate::rough::drives::Play;
use crate::settings::{TableSettings, Tongue};
use crate::wire::WireOut;
use stamp::Stamps;
use work::{Active, Queued};

const MS: u64 = 1_000_000;
/// Deaf and dumb after power-up or a reset.
const START_NS: u64 = 1_200 * MS;
/// No byte for so long with the start contact closed: the panel is dead.
const SILENCE_NS: u64 = 300 * MS;
/// Bytes received and not yet parsed.
const BUFFER: usize = 256;
/// Commands in the queue.
const QUEUE: usize = 32;
/// Reports are left out while so many bytes wait to be sent.
const BACKLOG: usize = 160;

/// Why nothing more is carried out until a new epoch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fault {
    Refused,
    ChainOpen,
    Drive,
}

#[derive(Clone, Debug)]
pub(crate) struct Controller {
    settings: TableSettings,
    chance: Chance,
    pub(crate) wire: WireOut,
    last_due: u64,

    /// Start contact output.
    torch: bool,
    torch_since: u64,
    /// Sensing relay output.
    sense: bool,
    /// How often it was told to connect the sensing circuit, whether or not it was connected.
    sense_told: u64,
    /// Where it believes to be, mm.
    at: [f64; 3],
    /// Where it really is less where it believes to be, mm.
    off: [f64; 3],
    /// Play of the axes, in the rough mood.
    play: Option<Play>,
    knocked: (f64, f64),
    referenced: bool,
    starts: u32,
    up_since: u64,
    dead_until: Option<u64>,

    lines: VecDeque<Vec<u8>>,
    partial: Vec<u8>,
    skipping: bool,
    held_bytes: usize,
    last_byte: u64,
    again_after: u64,
    /// The line taken last keeps it until then.
    line_until: u64,
    in_force: line::InForce,

    epoch: Option<u32>,
    pending: Option<(u32, u64)>,
    expected: u32,
    every_ns: u64,
    next_report: u64,
    report_due: bool,
    /// How often a path ended with the torch on and nothing more to do.
    pub(crate) dry: u32,
    stamps: Stamps,
    quill: quill::Memory,

    queue: VecDeque<Queued>,
    active: Option<Active>,
    /// A command was begun and will not be ended.
    broken_off: bool,
    /// Where the queue ends in the plane.
    end: Point,
    end_referenced: bool,
    hold: bool,
    fault: Option<Fault>,
    no_fire: bool,
    chain_open: bool,
    /// The chain has taken the drives and nobody told: what is counted is not moved.
    drives_off: bool,
    executed: u32,
    /// Lines carried out to their end, for the ledger: epoch and number.
    done_log: Vec<(u32, u32)>,
}

impl Controller {
    pub(crate) fn new(settings: &TableSettings) -> Self {
        Self {
            chance: Chance::new(settings.seed, Draws::Controller),
            wire: WireOut::new(settings.baud),
            last_due: 0,
            torch: false,
            torch_since: 0,
            sense: false,
            sense_told: 0,
            at: [0.0; 3],
            off: settings.start,
            knocked: (0.0, 0.0),
            play: settings.rough.then(|| Play::new(settings.seed)),
            referenced: false,
            starts: 1,
            up_since: 0,
            dead_until: Some(START_NS),
            lines: VecDeque::new(),
            partial: Vec::new(),
            skipping: false,
            held_bytes: 0,
            last_byte: 0,
            again_after: 0,
            line_until: 0,
            in_force: line::InForce::default(),
            epoch: None,
            pending: None,
            expected: 0,
            every_ns: 100 * MS,
            next_report: START_NS,
            report_due: false,
            dry: 0,
            stamps: Stamps::default(),
            quill: quill::Memory::default(),
            queue: VecDeque::new(),
            active: None,
            broken_off: false,
            end: Point::default(),
            end_referenced: false,
            hold: false,
            fault: None,
            no_fire: false,
            chain_open: false,
            drives_off: false,
            executed: 0,
            done_log: Vec::new(),
            settings: settings.clone(),
        }
    }

    pub(crate) fn torch(&self) -> bool {
        self.torch
    }

    pub(crate) fn sense(&self) -> bool {
        self.sense
    }

    pub(crate) fn sense_told(&self) -> u64 {
        self.sense_told
    }

    /// Where the torch really is, mm.
    pub(crate) fn true_place(&self) -> (Point, f64) {
        let [x, y, z] = [0, 1, 2].map(|k| self.at[k] + self.off[k]);
        let screw = Point::new(x, y);
        let carriage = self.play.map_or(screw, |p| p.carriage(screw));
        (carriage, z)
    }

    /// Where the drives have brought it, without the play of the axes, mm.
    pub(crate) fn screw(&self) -> Point {
        Point::new(self.at[0] + self.off[0], self.at[1] + self.off[1])
    }

    /// The carriage comes along with its screws.
    fn carry(&mut self) {
        let screw = Point::new(self.at[0] + self.off[0], self.at[1] + self.off[1]);
        if let Some(play) = &mut self.play {
            play.follow(screw);
        }
    }

    /// A drive trips: all axes stand, steps are lost, and it says so.
    pub(crate) fn trip(&mut self, now: u64, (dx, dy): (f64, f64)) {
        self.knock(dx, dy);
        if self.dead_until.is_some() {
            return;
        }
        self.broken_off |= self.active.take().is_some();
        self.set_torch(now, false);
        self.referenced = false;
        self.end_referenced = false;
        self.fault = self.fault.or(Some(Fault::Drive));
        self.alarm(now, "drive tripped");
        self.report_due = true;
        self.settle(now);
    }

    /// In a hold, its own or one it was told.
    pub(crate) fn holding(&self) -> bool {
        self.hold
    }

    /// The last things carried out to their end.
    pub(crate) fn take_done(&mut self) -> Vec<(u32, u32)> {
        core::mem::take(&mut self.done_log)
    }

    /// Steps are lost: it is no longer where it believes to be.
    pub(crate) fn knock(&mut self, dx: f64, dy: f64) {
        let (was, _) = self.true_place();
        self.off[0] += dx;
        self.off[1] += dy;
        if let Some(play) = &mut self.play {
            play.pushed(dx, dy);
        }
        let (is, _) = self.true_place();
        self.knocked.0 += is.x - was.x;
        self.knocked.1 += is.y - was.y;
    }

    /// How far the torch was pushed since this was last asked, mm.
    pub(crate) fn take_knocked(&mut self) -> (f64, f64) {
        core::mem::take(&mut self.knocked)
    }

    /// Lines in the queue, and bytes received that are not yet taken.
    pub(crate) fn queued(&self) -> (usize, usize) {
        (self.queue.len(), self.held_bytes)
    }

    /// Whether anything moves or waits to.
    pub(crate) fn moving(&self) -> bool {
        self.active.is_some()
    }

    /// When it must be looked at next.
    pub(crate) fn next(&self, now: u64) -> u64 {
        if let Some(until) = self.dead_until {
            return until;
        }
        let mut next = self.next_report;
        if let Some(at) = self.stamps.next() {
            next = next.min(at);
        }
        if let Some(active) = &self.active {
            next = next.min(active.next(now));
        }
        if !self.lines.is_empty() && self.line_until > now {
            next = next.min(self.line_until);
        }
        if self.torch && self.tells_by_itself() {
            next = next.min(self.last_byte.max(self.torch_since) + SILENCE_NS);
        }
        next
    }

    /// Moves on by `dt` ns, to `now`.
    pub(crate) fn advance(&mut self, now: u64, dt: u64) {
        if let Some(until) = self.dead_until {
            if now < until {
                return;
            }
            self.dead_until = None;
            self.next_report = now + self.every_ns;
            let hello = match self.settings.tongue {
                Tongue::Plain => format!("hello {} plain", self.starts),
                Tongue::Quill => format!("quill {} awake", self.starts),
            };
            self.say(now, &hello);
        }
        let before = self.at;
        self.work(now, dt);
        if self.drives_off {
            for (off, (at, was)) in self.off.iter_mut().zip(self.at.iter().zip(before)) {
                *off -= at - was;
            }
        }
        self.carry();
        if self.torch
            && self.tells_by_itself()
            && now >= self.last_byte.max(self.torch_since) + SILENCE_NS
        {
            self.hold_now();
            self.torch_off_now(now);
            self.alarm(now, "panel silent");
        }
        self.settle(now);
    }

    /// Everything that follows without time passing, and the reports that are due.
    pub(crate) fn settle(&mut self, now: u64) {
        if self.dead_until.is_some() {
            return;
        }
        self.pump(now);
        self.open_pending(now);
        self.say_stamps(now);
        // The path under way has made room, or a hold has made waiting useless.
        self.hear_waiting(now);
        let unasked = self.tells_by_itself();
        // News wait as well while the way back is full: a path that runs dry between each two pieces would
        // else fill it with reports, hold up the answers, and so run dry for ever.
        if self.report_due && (!unasked || self.wire.backlog(now) < BACKLOG) {
            self.report_due = false;
            if unasked {
                self.report(now);
            }
        }
        if now >= self.next_report {
            while self.next_report <= now {
                self.next_report += self.every_ns;
            }
            if unasked && self.wire.backlog(now) < BACKLOG {
                self.report(now);
            }
        }
    }

    /// The emergency stop chain opened or closed.
    pub(crate) fn chain(&mut self, now: u64, open: bool) {
        if !self.settings.estop_tells {
            self.drives_off = open;
            return;
        }
        if open == self.chain_open {
            return;
        }
        self.chain_open = open;
        if open && self.dead_until.is_none() {
            self.broken_off |= self.active.take().is_some();
            self.set_torch(now, false);
            self.referenced = false;
            self.end_referenced = false;
            self.fault = Some(Fault::ChainOpen);
            self.alarm(now, "emergency stop");
            self.report_due = true;
            self.settle(now);
        }
    }

    /// Starts anew, as after a dip of its supply.
    pub(crate) fn reset(&mut self, now: u64) {
        let (place, z) = self.true_place();
        let mut fresh = Self::new(&self.settings);
        fresh.chance = self.chance.clone();
        fresh.wire = self.wire.clone();
        fresh.wire.cut(now);
        fresh.done_log = core::mem::take(&mut self.done_log);
        fresh.off = [place.x, place.y, z];
        fresh.play = self.play;
        fresh.quill = self.quill.after_start();
        fresh.starts = self.starts + 1;
        fresh.up_since = now;
        fresh.last_due = now;
        fresh.last_byte = now;
        fresh.chain_open = self.chain_open;
        fresh.drives_off = self.drives_off;
        fresh.stamps = self.stamps.after_start();
        fresh.fault = self.chain_open.then_some(Fault::ChainOpen);
        fresh.dead_until = Some(now + START_NS);
        fresh.next_report = now + START_NS;
        *self = fresh;
    }

    fn say(&mut self, now: u64, body: &str) {
        // Answers leave in the order in which they were made, behind a report that is late.
        self.last_due = self.last_due.max(now + MS / 4);
        let bytes = match self.settings.tongue {
            Tongue::Plain => framed(body),
            Tongue::Quill => quill::ended(body),
        };
        self.wire.send(self.last_due, &bytes);
    }

    /// Stopped by itself, and why.
    fn alarm(&mut self, now: u64, why: &str) {
        match self.settings.tongue {
            Tongue::Plain => self.say(now, &format!("alarm {why}")),
            Tongue::Quill => self.say(now, &format!("halt: {why}")),
        }
    }

    /// Reports without being asked, and watches that the panel is there.
    fn tells_by_itself(&self) -> bool {
        self.settings.tongue == Tongue::Plain
    }

    fn report(&mut self, now: u64) {
        let latency_ms = if self.settings.rough {
            self.chance.bell(8.0, 3.0).clamp(1.0, 20.0)
        } else {
            5.0
        };
        self.last_due = self.last_due.max(now + (latency_ms * MS as f64) as u64);
        if self.settings.tongue == Tongue::Quill {
            let body = self.quill_report();
            self.wire.send(self.last_due, &quill::ended(&body));
            return;
        }
        let doing = if self.fault.is_some() {
            "fault"
        } else if self.hold {
            "hold"
        } else {
            match &self.active {
                Some(active) => active.word(),
                None if self.queue.is_empty() => "idle",
                None => "run",
            }
        };
        let [x, y, z] = self.at.map(|v| if v.abs() < 5e-4 { 0.0 } else { v });
        let waiting = self.queue.len() + usize::from(self.active.is_some() || self.broken_off);
        let body = format!(
            "at x{x:.3} y{y:.3} z{z:.3} f{:.1} {doing} e{} w{waiting} q{} t{} r{} u{}",
            self.active.as_ref().map_or(0.0, Active::speed) * 60.0,
            self.executed,
            self.queued_ms().min(9999),
            u8::from(self.torch),
            u8::from(self.referenced),
            (now - self.up_since) / MS,
        );
        self.wire.send(self.last_due, &framed(&body));
    }

    fn set_torch(&mut self, now: u64, on: bool) {
        if self.torch != on {
            self.torch = on;
            self.torch_since = now;
            self.report_due = true;
        }
    }

    /// The bare byte of hold.
    fn hold_now(&mut self) {
        self.hold = true;
        self.in_force.end();
        self.brake();
    }

    /// The bare byte of torch-off.
    fn torch_off_now(&mut self, now: u64) {
        self.set_torch(now, false);
        self.in_force.end();
        self.no_fire = true;
    }

    fn halted(&self) -> bool {
        self.hold || self.fault.is_some() || self.pending.is_some()
    }

    /// Opens the epoch that was asked for, once all is at rest.
    fn open_pending(&mut self, now: u64) {
        if self.active.is_some() {
            return;
        }
        let Some((epoch, every_ms)) = self.pending.take() else {
            return;
        };
        self.queue.clear();
        self.in_force.end();
        self.broken_off = false;
        self.hold = false;
        self.no_fire = false;
        self.fault = self.chain_open.then_some(Fault::ChainOpen);
        self.epoch = Some(epoch);
        self.expected = 1;
        self.executed = 0;
        self.end = Point::new(self.at[0], self.at[1]);
        self.end_referenced = self.referenced;
        self.every_ns = every_ms * MS;
        self.next_report = now + self.every_ns;
        if self.settings.tongue == Tongue::Plain {
            self.say(now, &format!("ready {epoch}"));
        }
        self.report_due = true;
        self.hear_waiting(now);
    }
}
