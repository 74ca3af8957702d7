//! A dialect that is as unlike `plain` as may be (invented, spoken by no controller): the same
//! session speaks it from data alone.

mod model;

use std::collections::VecDeque;
use std::sync::Arc;

use link::{Capability, Command, Dialect, Doing, Session, StampedInput, TakeAway, Ticket, Word};
use model::Wire;
use units::{Point, Segment, Time};

const QUILL: &str = include_str!("../../../config/dialects/quill.toml");
const BAUD: f64 = 57_600.0;

fn dialect(text: &str) -> Arc<Dialect> {
    Arc::new(Dialect::from_toml(text).expect("a dialect"))
}

/// The far end, in miniature.
#[derive(Default)]
struct Quill {
    line: Vec<u8>,
    lines: VecDeque<String>,
    most_lines: usize,
    queue: VecDeque<String>,
    started_us: Option<u64>,
    held: bool,
    awake_us: u64,
    greeted: bool,
    done: Vec<String>,
    refuse: Option<String>,
    asked: usize,
    swallow: Option<usize>,
}

impl Quill {
    fn hear(&mut self, now_us: u64, bytes: &[u8]) -> String {
        let mut out = String::new();
        if now_us < self.awake_us {
            return out;
        }
        if !self.greeted {
            self.greeted = true;
            out.push_str("\r\nquill 7 awake\r\nnote: set me down gently\r\n");
        }
        for &b in bytes {
            match b {
                0x0E => self.held = true,
                0x05 => {
                    self.asked += 1;
                    let doing = match (self.held, self.queue.is_empty()) {
                        (true, _) => "standing",
                        (false, true) => "resting",
                        (false, false) => "moving",
                    };
                    let room = 16 - self.queue.len();
                    out.push_str(&format!(
                        "= {doing} (12.5, -3, 20.25) 660 room {room} torch out\r\n"
                    ));
                }
                b'\r' => {
                    let line = String::from_utf8(core::mem::take(&mut self.line)).expect("text");
                    self.lines.push_back(line);
                    self.most_lines = self.most_lines.max(self.lines.len());
                }
                _ => self.line.push(b),
            }
        }
        while let Some(line) = self.lines.front().cloned() {
            if line == "drop all" {
                self.queue.clear();
                self.started_us = None;
                self.held = false;
            } else if self.refuse.as_ref() == Some(&line) {
                out.push_str("no 17: outside travel\r\n");
                self.lines.pop_front();
                continue;
            } else if line == "M05" && self.held {
                // Torch-off is obeyed while standing.
            } else if self.held {
                // Answers to lines that were in flight when it was told to stand.
                out.push_str("no 3: standing\r\n");
                self.lines.pop_front();
                continue;
            } else if self.queue.len() >= 16 {
                break;
            } else {
                self.queue.push_back(line);
            }
            self.lines.pop_front();
            match &mut self.swallow {
                Some(0) => self.swallow = None,
                Some(n) => {
                    *n -= 1;
                    out.push_str("got\r\n");
                }
                None => out.push_str("got\r\n"),
            }
        }
        if !self.held
            && let Some(line) = self.queue.front().cloned()
        {
            let start = *self.started_us.get_or_insert(now_us);
            if now_us >= start + 30_000 {
                self.queue.pop_front();
                self.started_us = None;
                if line.starts_with("seek down") {
                    out.push_str("found at 4.125\r\n");
                }
                self.done.push(line);
            }
        }
        out
    }
}

struct Table {
    now_us: u64,
    session: Session,
    far: Quill,
    there: Wire,
    back: Wire,
    words: Vec<Word>,
    sent: Vec<u8>,
}

impl Table {
    fn new(text: &str) -> Self {
        let mut session = Session::new(dialect(text), BAUD as u32);
        session.opened(Time::ZERO);
        Self {
            now_us: 0,
            session,
            far: Quill {
                awake_us: 900_000,
                ..Quill::default()
            },
            there: Wire::new(BAUD),
            back: Wire::new(BAUD),
            words: Vec::new(),
            sent: Vec::new(),
        }
    }

    fn step(&mut self) {
        self.now_us += 500;
        let now = Time::from_us(self.now_us);
        let heard = self.back.read(self.now_us);
        self.session.receive(now, &heard, &mut self.words);
        let out = self.session.poll(now, false);
        for bytes in [out.take_away, out.lines] {
            self.sent.extend(&bytes);
            self.there.write(self.now_us, &bytes);
        }
        let there = self.there.read(self.now_us);
        let answers = self.far.hear(self.now_us, &there);
        self.back.write(self.now_us, answers.as_bytes());
    }

    #[track_caller]
    fn until(&mut self, what: &str, so: impl Fn(&Self) -> bool) {
        for _ in 0..100_000 {
            if so(self) {
                return;
            }
            self.step();
        }
        panic!(
            "never came to: {what}; {:?}; {:?}",
            self.session.counters(),
            self.far.done
        );
    }

    fn executed(&self) -> Option<Ticket> {
        self.words.iter().rev().find_map(|w| match w {
            Word::Status(s) => s.executed,
            _ => None,
        })
    }
}

fn line(i: usize) -> Command {
    let at = |i: usize| Point::new(10.0 + i as f64, 20.0);
    Command::Path {
        segment: Segment::Line {
            from: at(i),
            to: at(i + 1),
        },
        mm_s: 11.0,
    }
}

#[test]
fn what_it_cannot_do_is_known() {
    let d = dialect(QUILL);
    let can: Vec<bool> = [
        Capability::HoldAtOnce,
        Capability::TouchOff,
        Capability::Home,
        Capability::Arcs,
        Capability::TorchOffAtOnce,
        Capability::Sense,
        Capability::LineCheck,
        Capability::LineNumbers,
        Capability::ReportsByItself,
        Capability::ExecutedTold,
        Capability::Keepalive,
        Capability::Stamps(StampedInput::ArcOk),
    ]
    .iter()
    .map(|c| d.has(*c))
    .collect();
    assert_eq!(
        can,
        [
            true, true, true, true, false, false, false, false, false, false, false, false
        ]
    );
    assert_eq!(d.take_away_bytes(), [0x0E]);
}

#[test]
fn it_waits_for_the_greeting_then_empties_the_queue_and_is_ready_at_rest() {
    let mut table = Table::new(QUILL);
    table.until("ready", |t| t.session.ready());
    assert!(table.now_us > 900_000);
    let text: Vec<u8> = table.sent.iter().copied().filter(|b| *b != 0x05).collect();
    assert_eq!(text, b"\x0EM05\rdrop all\r");
    assert!(table.words.contains(&Word::Greeting));
    assert_eq!(table.words.iter().filter(|w| **w == Word::Ready).count(), 1);
}

#[test]
fn a_job_is_carried_out_in_order_with_at_most_four_lines_in_flight() {
    let mut table = Table::new(QUILL);
    for i in 0..60 {
        table.session.say(line(i));
    }
    table.until("all executed", |t| t.executed() == Some(Ticket(60)));
    let jobs: Vec<&String> = table
        .far
        .done
        .iter()
        .filter(|l| l.starts_with("G01"))
        .collect();
    assert_eq!(jobs.len(), 60);
    assert_eq!(jobs[0], "G01 X11.000 Y20.000 F660");
    assert_eq!(jobs[59], "G01 X70.000 Y20.000 F660");
    assert!(
        (2..=4).contains(&table.far.most_lines),
        "{}",
        table.far.most_lines
    );
}

#[test]
fn without_a_window_it_is_one_line_at_a_time() {
    let one = QUILL.replace("lines = 4\n", "");
    let mut table = Table::new(&one);
    for i in 0..40 {
        table.session.say(line(i));
    }
    table.until("all executed", |t| t.executed() == Some(Ticket(40)));
    assert_eq!(table.far.most_lines, 1);
}

#[test]
fn a_report_is_read_as_its_groups_say() {
    let mut table = Table::new(QUILL);
    table.until("ready", |t| t.session.ready());
    let Some(Word::Status(s)) = table.words.iter().rfind(|w| matches!(w, Word::Status(_))) else {
        panic!("it was asked for");
    };
    assert_eq!((s.place, s.z), (Point::new(12.5, -3.0), 20.25));
    assert_eq!((s.doing, s.feed_mm_s), (Doing::Idle, Some(11.0)));
    assert_eq!(
        (s.waiting, s.torch, s.referenced),
        (Some(0), Some(false), None)
    );
}

#[test]
fn a_touch_off_of_two_lines_has_one_ticket() {
    let mut table = Table::new(QUILL);
    table.session.say(line(0));
    let touch = table.session.say(Command::TouchOff {
        to_z: -8.0,
        mm_s: 5.0,
    });
    let after = table.session.say(line(1));
    table.until("all executed", |t| t.executed() == Some(after));
    assert!(table.words.contains(&Word::Touched {
        ticket: touch,
        z: 4.125
    }));
    let taken = table
        .words
        .iter()
        .filter(|w| **w == Word::Taken(touch))
        .count();
    assert_eq!(taken, 1);
    assert!(table.far.done.ends_with(&[
        "seek slow 300".into(),
        "seek down -8.000".into(),
        "G01 X12.000 Y20.000 F660".into()
    ]));
}

#[test]
fn what_it_has_no_words_for_is_refused_by_the_session() {
    let mut table = Table::new(QUILL);
    table.until("ready", |t| t.session.ready());
    let sense = table.session.say(Command::SenseOn);
    table.until("refused", |t| {
        t.words
            .iter()
            .any(|w| matches!(w, Word::Refused { ticket, .. } if *ticket == Some(sense)))
    });
}

#[test]
fn a_refusal_names_the_oldest_line_and_its_code_and_stops_the_stream() {
    let mut table = Table::new(QUILL);
    table.far.refuse = Some("G01 X14.000 Y20.000 F660".into());
    for i in 0..40 {
        table.session.say(line(i));
    }
    let refused = Word::Refused {
        ticket: Some(Ticket(4)),
        why: "17: outside travel".into(),
    };
    table.until("refused", |t| t.words.contains(&refused));
    let far = table.far.done.len();
    let now = table.now_us;
    table.until("later", |t| t.now_us > now + 1_000_000);
    // The lines that were in flight already are carried out; no new ones.
    assert!(table.far.done.len() <= far + 16 + 4);
    assert!(table.session.unsent() > 10);
}

#[test]
fn a_line_that_is_never_answered_is_not_said_again_but_stops_the_job() {
    let mut table = Table::new(QUILL);
    table.until("ready", |t| t.session.ready());
    // Its answer is lost: the line is carried out all the same.
    table.far.swallow = Some(2);
    for i in 0..6 {
        table.session.say(line(i));
    }
    table.until("stopped", |t| {
        t.words.iter().any(|w| matches!(w, Word::Refused { .. }))
    });
    let jobs: Vec<&String> = table
        .far
        .done
        .iter()
        .filter(|l| l.starts_with("G01"))
        .collect();
    assert_eq!(jobs.len(), 6, "each once");
}

#[test]
fn a_flush_holds_drops_everything_and_goes_on_with_new_tickets() {
    let mut table = Table::new(QUILL);
    for i in 0..40 {
        table.session.say(line(i));
    }
    table.until("some done", |t| t.far.done.len() > 6);
    table.session.take_away(TakeAway::Hold);
    table.session.flush(Time::from_us(table.now_us));
    let next = table.session.say(line(99));
    table.words.clear();
    table.until("executed", |t| t.executed() == Some(next));
    let old = table.words.iter().any(|w| match w {
        Word::Taken(t) => *t < next,
        _ => false,
    });
    assert!(!old);
    assert_eq!(
        table.far.done.last().map(String::as_str),
        Some("G01 X110.000 Y20.000 F660")
    );
}

#[test]
fn a_controller_without_arcs_gets_chords_that_stay_on_the_arc() {
    let no_arcs: String = QUILL
        .lines()
        .filter(|l| !l.starts_with("arc_"))
        .map(|l| format!("{l}\n"))
        .collect();
    assert!(!dialect(&no_arcs).has(Capability::Arcs));
    let mut table = Table::new(&no_arcs);
    let centre = Point::new(50.0, 50.0);
    let from = Point::new(60.0, 50.0);
    let arc = table.session.say(Command::Path {
        segment: Segment::Arc {
            from,
            to: from,
            centre,
            clockwise: true,
        },
        mm_s: 11.0,
    });
    table.until("executed", |t| t.executed() == Some(arc));
    let ends: Vec<Point> = table
        .far
        .done
        .iter()
        .filter_map(|l| {
            let (x, rest) = l.strip_prefix("G01 X")?.split_once(" Y")?;
            let (y, _) = rest.split_once(" F")?;
            Some(Point::new(x.parse().ok()?, y.parse().ok()?))
        })
        .collect();
    assert!(ends.len() > 60 && ends.len() < 90, "{}", ends.len());
    let mut last = from;
    for p in ends {
        assert!((p.distance(centre) - 10.0).abs() < 0.002);
        let middle = last.toward(p, 0.5);
        assert!(
            10.0 - middle.distance(centre) < 0.011,
            "within the stated 0.01 mm"
        );
        last = p;
    }
    assert_eq!(last, from);
}

#[test]
fn inches_are_written_and_read_where_the_dialect_says_so() {
    let inches = QUILL
        .replace("length_unit = \"mm\"", "length_unit = \"inch\"")
        .replace("feed_unit = \"mm/min\"", "feed_unit = \"inch/min\"")
        .replace("feed_decimals = 0", "feed_decimals = 2");
    let mut table = Table::new(&inches);
    let ticket = table.session.say(line(5));
    table.until("executed", |t| t.executed() == Some(ticket));
    // 16 mm = 0.630 in, 20 mm = 0.787 in, 660 mm/min = 25.98 in/min.
    assert_eq!(
        table.far.done.last().map(String::as_str),
        Some("G01 X0.630 Y0.787 F25.98")
    );
    let Some(Word::Status(s)) = table.words.iter().rfind(|w| matches!(w, Word::Status(_))) else {
        panic!("it was asked for");
    };
    assert!((s.place.x - 12.5 * 25.4).abs() < 1e-9);
}

#[test]
fn no_line_is_ever_cut_short() {
    let mut session = Session::new(dialect(QUILL), BAUD as u32);
    session.opened(Time::ZERO);
    let mut now = Time::from_ms(1600);
    let mut words = Vec::new();
    let rest = b"= resting (0, 0, 0) 0 room 16 torch out\r\n";
    for answer in [&b"got\r\n"[..], b"got\r\n", rest] {
        for _ in 0..400 {
            now += core::time::Duration::from_millis(1);
            let _ = session.poll(now, true);
        }
        session.receive(now, answer, &mut words);
    }
    assert!(session.ready());
    for i in 0..4 {
        session.say(line(i));
    }
    for _ in 0..200 {
        now += core::time::Duration::from_micros(100);
        let lines = session.poll(now, true).lines;
        let text: Vec<u8> = lines.into_iter().filter(|b| *b != 0x05).collect();
        assert!(text.is_empty() || text.ends_with(b"\r"), "{text:?}");
        assert!(text.len() <= 64);
    }
}
