//! How much of the serial wire a path of short pieces makes use of, and how many pieces a second that is:
//! streamed as the panel does it with the arc on, and one line at a time. On the simulated table's own
//! time, with a feed that asks for a quarter more than is carried: the axes never keep the line waiting, and
//! come to stand no more often than they must.
//!
//!     cargo bench -p standclear --bench wire
#![allow(missing_docs, reason = "a benchmark")]

use std::sync::Arc;
use std::time::Duration;

use link::{Command, Dialect, PLAIN, Session, Ticket, Word};
use simulator::{Table, TableSettings, Tongue};
use units::{Point, Segment, Time};

const QUILL: &str = include_str!("../../../config/dialects/quill.toml");
/// Pieces of path, mm each, in one run.
const PIECES: usize = 3000;
const PIECE_MM: f64 = 0.4;
/// The feed asks for so many times the lines that are carried.
const ASKS: f64 = 1.25;

struct Bench {
    table: Table,
    session: Session,
    now: Time,
    words: Vec<Word>,
    /// Bytes written since the pieces began.
    bytes: usize,
}

impl Bench {
    fn new(dialect: Dialect, baud: u32) -> Self {
        let settings = TableSettings {
            baud,
            tongue: Tongue::named(&dialect.name).unwrap_or_default(),
            block_ms: dialect.block_ms(),
            accel_mm_s2: 2000.0,
            rapid_mm_s: 1000.0,
            z_rapid_mm_s: 1000.0,
            corner_step_mm_s: 1000.0,
            ..TableSettings::default()
        };
        let mut session = Session::new(Arc::new(dialect), baud);
        session.opened(Time::ZERO);
        Self {
            table: Table::new(settings),
            session,
            now: Time::ZERO,
            words: Vec::new(),
            bytes: 0,
        }
    }

    fn turn(&mut self) {
        let out = self.session.poll(self.now, true);
        self.bytes += out.lines.len();
        for bytes in [out.take_away, out.lines] {
            self.table.wire_in(self.now, &bytes);
        }
        let soon = self.now + Duration::from_micros(100);
        let next = self.session.deadline().unwrap_or(soon).max(soon);
        let to = next.min(self.now + Duration::from_millis(20));
        self.now = self.table.advance_to_change(to);
        let heard = self.table.take_wire_out();
        self.session.receive(self.now, &heard, &mut self.words);
    }

    fn until(&mut self, so: impl Fn(&Word) -> bool) {
        while !self.words.drain(..).any(|w| so(&w)) {
            self.turn();
            assert!(self.now < Time::from_ms(900_000), "it never came to that");
        }
    }

    /// Pieces a second, and how much of the wire they were.
    fn run(mut self, baud: u32, lines_s: f64) -> (f64, f64) {
        self.until(|w| *w == Word::Ready);
        let homed = self.session.say(Command::Home);
        self.until(|w| executed(w) >= Some(homed));
        let at = |i: usize| {
            let turn = i as f64 * PIECE_MM / 100.0;
            Point::new(300.0 + 100.0 * turn.cos(), 300.0 + 100.0 * turn.sin())
        };
        let first = self.session.say(Command::RapidXy(at(0)));
        self.until(|w| executed(w) >= Some(first));
        self.bytes = 0;
        let began = self.now;
        let mut last = first;
        for i in 0..PIECES {
            last = self.session.say(Command::Path {
                segment: Segment::Line {
                    from: at(i),
                    to: at(i + 1),
                },
                mm_s: (ASKS * lines_s * PIECE_MM).min(500.0),
            });
        }
        self.until(|w| matches!(w, Word::Taken(t) if *t >= last));
        let s = self.now.since(began).as_secs_f64();
        let whole = f64::from(baud) / 10.0 * s;
        (PIECES as f64 / s, self.bytes as f64 / whole)
    }
}

fn executed(word: &Word) -> Option<Ticket> {
    match word {
        Word::Status(status) => status.executed,
        _ => None,
    }
}

fn main() {
    println!("Pieces of {PIECE_MM} mm at one feed, {PIECES} of them:");
    for (text, baud) in [
        (PLAIN, 115_200),
        (PLAIN, 250_000),
        (PLAIN, 38_400),
        (QUILL, 115_200),
    ] {
        let dialect = |text: &str| Dialect::from_toml(text).expect("a shipped dialect");
        let reckoned = dialect(text).carried(baud).lines_s();
        let (streamed, used) = Bench::new(dialect(text), baud).run(baud, reckoned);
        let one = text
            .replace("bytes = 256", "lines = 1")
            .replace("lines = 4", "lines = 1");
        let (alone, _) = Bench::new(dialect(&one), baud).run(baud, reckoned);
        println!(
            "{:>6} {baud:>6} baud: {streamed:5.1} a second, {:4.1} % of the wire (reckoned {reckoned:5.1}); \
             one at a time {alone:5.1}, {:.2} times less",
            dialect(text).name,
            used * 100.0,
            streamed / alone
        );
    }
}
