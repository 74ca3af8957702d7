//! The dialect `plain`, against golden bytes and against a controller in miniature.

#[path = "plain/in_force.rs"]
mod in_force;
mod model;

use std::sync::Arc;

use link::{Command, Dialect, PLAIN, Session, TakeAway, Ticket, Word};
use model::{Noise, Plain, Wire};
use proptest::prelude::*;
use units::{Point, Segment, Time};

fn dialect() -> Arc<Dialect> {
    Arc::new(Dialect::from_toml(PLAIN).expect("plain.toml is a dialect"))
}

/// Panel and controller on one clock.
struct Table {
    now_us: u64,
    session: Session,
    controller: Plain,
    there: Wire,
    back: Wire,
    noise: Noise,
    words: Vec<Word>,
    arc_on: bool,
    most_unsent: f64,
}

impl Table {
    fn new(command_us: u64, noise: Noise) -> Self {
        let mut session = Session::new(dialect(), 115_200);
        session.opened(Time::ZERO);
        Self {
            now_us: 0,
            session,
            controller: Plain::new(command_us),
            there: Wire::new(115_200.0),
            back: Wire::new(115_200.0),
            noise,
            words: Vec::new(),
            arc_on: false,
            most_unsent: 0.0,
        }
    }

    fn step(&mut self) {
        self.now_us += 500;
        let now = Time::from_us(self.now_us);
        let heard = self.noise.disturb(self.back.read(self.now_us));
        self.session.receive(now, &heard, &mut self.words);
        let out = self.session.poll(now, self.arc_on);
        self.there.write(self.now_us, &out.take_away);
        self.there.write(self.now_us, &out.lines);
        self.most_unsent = self.most_unsent.max(self.there.unsent(self.now_us));
        let sent = self.noise.disturb(self.there.read(self.now_us));
        self.controller.hear(&sent);
        let answers = self.controller.step(self.now_us);
        self.back.write(self.now_us, &answers);
    }

    /// Until it is so; panics with what was seen if it does not come to that.
    #[track_caller]
    fn until(&mut self, what: &str, so: impl Fn(&Self) -> bool) {
        for _ in 0..400_000 {
            if so(self) {
                return;
            }
            self.step();
        }
        panic!(
            "never came to: {what}; {:?}; unsent {}; done {}",
            self.session.counters(),
            self.session.unsent(),
            self.controller.done.len()
        );
    }

    fn executed(&self) -> Option<Ticket> {
        self.words.iter().rev().find_map(|w| match w {
            Word::Status(s) => s.executed,
            _ => None,
        })
    }
}

fn short_line(i: usize) -> Command {
    let at = |i: usize| Point::new(100.0 + i as f64 * 0.137, 200.0 - i as f64 * 0.291);
    Command::Path {
        segment: Segment::Line {
            from: at(i),
            to: at(i + 1),
        },
        mm_s: 11.0 + i as f64,
    }
}

fn golden(text: &str) -> Vec<&str> {
    text.lines().filter(|l| !l.starts_with('#')).collect()
}

/// The lines with which a session opens its epoch and says these commands, each taken in 20 ms.
fn sent_for(dialect: Arc<Dialect>, commands: Vec<Command>) -> Vec<String> {
    let mut session = Session::new(dialect, 115_200);
    session.opened(Time::from_ms(6));
    let mut words = Vec::new();
    let mut sent = Vec::new();
    let mut now = Time::from_ms(6);
    // The opening is done twice, under two names; the golden file has the second.
    let first = session.poll(now, false);
    assert_eq!(first.take_away, [0x9C, 0x87]);
    assert!(first.lines.starts_with(b"\n"));
    session.receive(now, &model::framed("ready 6"), &mut words);
    sent.extend(session.poll(now, false).lines);
    session.receive(now, &model::framed("ready 7"), &mut words);
    assert_eq!(words, [Word::Ready]);
    let count = commands.len();
    for c in commands {
        session.say(c);
    }
    for n in 1..=count {
        now += core::time::Duration::from_millis(20);
        sent.extend(session.poll(now, false).lines);
        session.receive(now, &model::framed(&format!("taken {n}")), &mut words);
    }
    let sent = String::from_utf8(sent).expect("7-bit text");
    let lines = sent.lines().filter(|l| !l.is_empty());
    lines.map(str::to_owned).collect()
}

fn arc(from: Point, to: Point, i: f64, j: f64, clockwise: bool) -> Segment {
    Segment::Arc {
        from,
        to,
        centre: from.moved(i, j),
        clockwise,
    }
}

/// `plain` without its words in force, as a controller that knows none would have it.
fn in_full() -> Arc<Dialect> {
    let from = PLAIN.find("[modal]").expect("it has some");
    let to = PLAIN[from..].find("[bytes]").expect("more follows") + from;
    let text = format!("{}{}", &PLAIN[..from], &PLAIN[to..]);
    Arc::new(Dialect::from_toml(&text).expect("still a dialect"))
}

#[test]
fn what_is_said_is_byte_for_byte_the_golden_file() {
    let (a, b) = (Point::new(20.8, 20.0), Point::new(25.775, 20.0));
    let feed = 660.0 / 60.0;
    let commands = vec![
        Command::RapidZ(25.0),
        Command::RapidXy(a),
        Command::SenseOn,
        Command::TouchOff {
            to_z: -8.0,
            mm_s: 5.0,
        },
        Command::SenseOff,
        Command::FeedZ { z: 3.5, mm_s: 50.0 },
        Command::TorchOn,
        Command::Path {
            segment: Segment::Line { from: a, to: b },
            mm_s: feed,
        },
        Command::Path {
            segment: arc(b, b, -5.775, 0.0, false),
            mm_s: feed,
        },
        Command::TorchOff,
        Command::Path {
            segment: arc(
                Point::new(12.0, -0.725),
                Point::new(-0.725, 12.0),
                0.0,
                12.725,
                true,
            ),
            mm_s: 1100.0 / 60.0,
        },
        Command::Home,
    ];
    let sent = sent_for(in_full(), commands);
    assert_eq!(sent, golden(include_str!("golden/plain-to-controller.txt")));
}

#[test]
fn every_golden_answer_is_understood() {
    let mut table = Table::new(1000, Noise::none());
    table.until("ready", |t| t.session.ready());
    for i in 0..12 {
        table.session.say(if i == 3 {
            Command::TouchOff {
                to_z: -8.0,
                mm_s: 5.0,
            }
        } else {
            short_line(i)
        });
    }
    let mut words = Vec::new();
    let now = Time::from_us(table.now_us);
    let _ = table.session.poll(now, false);
    for line in golden(include_str!("golden/plain-from-controller.txt"))
        .iter()
        .filter(|l| !l.contains("hello") && !l.contains("ready"))
    {
        table
            .session
            .receive(now, format!("{line}\n").as_bytes(), &mut words);
        let _ = table.session.poll(now, false);
    }
    assert_eq!(table.session.counters().bad_frames, 0);
    insta::assert_snapshot!(words.iter().map(|w| format!("{w:?}\n")).collect::<String>());
}

#[test]
fn a_clean_wire_executes_everything_once_and_in_order() {
    let mut table = Table::new(3000, Noise::none());
    for i in 0..500 {
        let ticket = table.session.say(short_line(i));
        assert_eq!(ticket, Ticket(i as u64 + 1));
    }
    table.until("all executed", |t| t.executed() == Some(Ticket(500)));
    let numbers: Vec<u64> = table.controller.done.iter().map(|(_, n, _)| *n).collect();
    assert_eq!(numbers, (1..=500).collect::<Vec<u64>>());
    assert_eq!(table.controller.overruns, 0);
    assert_eq!(table.session.counters().lines_resent, 0);
    let taken: Vec<u64> = table
        .words
        .iter()
        .filter_map(|w| match w {
            Word::Taken(t) => Some(t.0),
            _ => None,
        })
        .collect();
    assert_eq!(taken, (1..=500).collect::<Vec<u64>>());
}

#[test]
fn the_wire_is_kept_full_while_short_segments_stream() {
    for arc_on in [false, true] {
        let mut table = Table::new(0, Noise::none());
        table.arc_on = arc_on;
        table.until("ready", |t| t.session.ready());
        for i in 0..2000 {
            table.session.say(short_line(i));
        }
        let (start, busy) = (table.now_us, table.there.busy_us);
        table.until("all sent", |t| t.session.unsent() < 10);
        let used = (table.there.busy_us - busy) / (table.now_us - start) as f64;
        // The project's own target.
        assert!(used >= 0.97, "wire used {used} with arc {arc_on}");
        assert_eq!(table.controller.overruns, 0);
    }
}

#[test]
fn with_the_arc_on_at_most_64_bytes_lie_unsent() {
    let mut table = Table::new(0, Noise::none());
    table.until("ready", |t| t.session.ready());
    table.arc_on = true;
    table.step();
    table.most_unsent = 0.0;
    for i in 0..300 {
        table.session.say(short_line(i));
    }
    table.until("all taken", |t| t.session.unsent() == 0);
    assert!(
        table.most_unsent <= 64.0,
        "{} bytes unsent",
        table.most_unsent
    );
}

#[test]
fn a_full_controller_is_never_overrun_and_never_asked_twice() {
    // Each command takes 200 ms: the queue and the buffer stay full for a long time.
    let mut table = Table::new(200_000, Noise::none());
    for i in 0..120 {
        table.session.say(short_line(i));
    }
    table.until("all executed", |t| t.executed() == Some(Ticket(120)));
    assert_eq!(table.controller.overruns, 0);
    assert!(
        table.controller.most_buffered > 200,
        "the buffer was made use of"
    );
    assert_eq!(table.session.counters().lines_resent, 0);
}

#[test]
fn keepalive_goes_on_while_a_long_command_runs() {
    let mut table = Table::new(5_000_000, Noise::none());
    table.until("ready", |t| t.session.ready());
    table.session.say(short_line(0));
    table.until("taken", |t| t.session.unsent() == 0);
    let (start, heard) = (table.now_us, table.controller.heard);
    table.until("3 s later", |t| t.now_us > start + 3_000_000);
    let beats = table.controller.heard - heard;
    assert!((29..=31).contains(&beats), "{beats} beats in 3 s");
}

#[test]
fn a_flush_voids_what_was_said_and_later_tickets_are_new() {
    let mut table = Table::new(50_000, Noise::none());
    for i in 0..100 {
        table.session.say(short_line(i));
    }
    table.until("some executed", |t| t.controller.done.len() == 5);
    table.session.take_away(TakeAway::Hold);
    table.session.flush(Time::from_us(table.now_us));
    assert!(!table.session.ready());
    let from = table.words.len();
    let next = table.session.say(short_line(7));
    assert_eq!(next, Ticket(101));
    table.until("the new one executed", |t| t.executed() == Some(next));
    let epochs: Vec<u64> = table.controller.done.iter().map(|(e, _, _)| *e).collect();
    assert_eq!(epochs.iter().filter(|e| **e != epochs[0]).count(), 1);
    let old = table.words[from..].iter().any(|w| match w {
        Word::Taken(t) => *t < next,
        Word::Status(s) => s.executed.is_some_and(|t| t < next),
        _ => false,
    });
    assert!(!old, "no word names a ticket of the old epoch");
}

#[test]
fn a_panel_that_starts_again_never_meets_its_own_old_epoch() {
    // A first panel has opened an epoch and left commands in the queue; the second starts with the
    // same clock and would choose the same name.
    let mut table = Table::new(500_000, Noise::none());
    for i in 0..20 {
        table.session.say(short_line(i));
    }
    table.until("taken", |t| t.session.unsent() == 0);
    for earlier in 0..4 {
        let epoch = table.controller.begun.expect("an epoch is open");
        let mut again = Session::new(dialect(), 115_200);
        again.opened(Time::from_ms(epoch.saturating_sub(earlier)));
        table.session = again;
        table.words.clear();
        table.session.say(short_line(500));
        table.until("executed", |t| t.executed() == Some(Ticket(1)));
        let last = table.controller.done.last().expect("one was done");
        assert!(last.2.contains("F30660"), "{last:?}");
        for i in 0..20 {
            table.session.say(short_line(i));
        }
        table.until("taken", |t| t.session.unsent() == 0);
    }
}

#[test]
fn a_reset_is_told_and_a_new_epoch_opens() {
    let mut table = Table::new(50_000, Noise::none());
    for i in 0..40 {
        table.session.say(short_line(i));
    }
    table.until("some executed", |t| t.controller.done.len() == 5);
    let now = table.now_us;
    table.controller.reset(now);
    table.words.clear();
    table.until("ready again", |t| t.words.contains(&Word::Ready));
    assert!(table.words.contains(&Word::Greeting));
    let done = table.controller.done.len();
    assert_eq!(table.session.unsent(), 0);
    let now = table.now_us;
    table.until("later", |t| t.now_us > now + 500_000);
    assert_eq!(
        table.controller.done.len(),
        done,
        "nothing old is carried out"
    );
}

#[test]
fn a_refused_line_stops_the_stream_and_is_named() {
    let mut table = Table::new(1000, Noise::none());
    table.controller.refuse_line(5);
    for i in 0..40 {
        table.session.say(short_line(i));
    }
    table.until("refused", |t| {
        t.words.iter().any(|w| matches!(w, Word::Refused { .. }))
    });
    let refused = table
        .words
        .iter()
        .find(|w| matches!(w, Word::Refused { .. }));
    assert_eq!(
        refused,
        Some(&Word::Refused {
            ticket: Some(Ticket(5)),
            why: "travel beyond the table".into()
        })
    );
    assert!(!table.words.contains(&Word::Taken(Ticket(5))));
    assert!(table.words.contains(&Word::Taken(Ticket(4))));
}

#[test]
fn touch_off_is_answered_with_its_ticket() {
    let mut table = Table::new(5000, Noise::none());
    table.session.say(short_line(0));
    let touch = table.session.say(Command::TouchOff {
        to_z: -8.0,
        mm_s: 5.0,
    });
    table.until("touched", |t| {
        t.words.contains(&Word::Touched {
            ticket: touch,
            z: -1.234,
        })
    });
}

#[test]
fn what_cannot_be_said_is_refused_and_nothing_after_it_goes_out() {
    let mut table = Table::new(1000, Noise::none());
    table.until("ready", |t| t.session.ready());
    let bad = table.session.say(Command::RapidZ(f64::NAN));
    table.session.say(short_line(0));
    table.until("refused", |t| {
        t.words
            .iter()
            .any(|w| matches!(w, Word::Refused { ticket, .. } if *ticket == Some(bad)))
    });
    let now = table.now_us;
    table.until("later", |t| t.now_us > now + 200_000);
    assert!(table.controller.done.is_empty());
}

#[test]
fn an_arc_too_short_to_write_goes_as_a_line_not_as_a_full_circle() {
    let mut table = Table::new(1000, Noise::none());
    let from = Point::new(10.0, 0.0);
    let (sin, cos) = 1e-6_f64.sin_cos();
    table.session.say(Command::Path {
        segment: Segment::Arc {
            from,
            to: Point::new(10.0 * cos, 10.0 * sin),
            centre: Point::new(0.0, 0.0),
            clockwise: false,
        },
        mm_s: 10.0,
    });
    table.until("executed", |t| t.controller.done.len() == 1);
    assert_eq!(table.controller.done[0].2, "G1 X10 Y0 F600");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn on_a_bad_wire_each_line_is_executed_exactly_once_and_in_order(
        seed: u64,
        flip in 0_u64..4000,
        drop in 0_u64..2000,
        double in 0_u64..2000,
        command_us in 0_u64..20_000,
        arc_on: bool,
    ) {
        let mut table = Table::new(command_us, Noise::new(seed, flip, drop, double));
        table.arc_on = arc_on;
        for i in 0..200 {
            table.session.say(short_line(i));
        }
        table.until("all executed", |t| t.executed() == Some(Ticket(200)));
        // A byte of noise may make a take-away byte, which only takes away; here it would need
        // two flips in one byte.
        let numbers: Vec<u64> = table.controller.done.iter().map(|(_, n, _)| *n).collect();
        prop_assert_eq!(numbers, (1..=200).collect::<Vec<u64>>());
        let c = table.session.counters();
        // Never a storm: repeats stay in proportion to what was lost.
        prop_assert!(c.lines_resent <= 12 * (c.asked_again + c.unanswered), "{c:?}");
    }

    #[test]
    fn garbage_is_never_fatal_and_it_is_ready_again_after_it(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
        let mut table = Table::new(1000, Noise::none());
        let now = Time::ZERO;
        table.session.receive(now, &bytes, &mut table.words);
        table.session.say(short_line(0));
        table.until("executed", |t| t.executed() == Some(Ticket(1)));
        prop_assert_eq!(table.controller.done.len(), 1);
    }

    #[test]
    fn whatever_is_done_on_a_bad_wire_no_line_is_executed_twice_or_skipped(
        seed: u64,
        flip in 0_u64..2000,
        acts in proptest::collection::vec((0_u8..7, 1_usize..60), 1..25),
    ) {
        let mut table = Table::new(2000, Noise::new(seed, flip, flip / 2, flip / 2));
        let mut said = 0;
        for (act, n) in acts {
            let now = Time::from_us(table.now_us);
            match act {
                0 | 1 => for _ in 0..n {
                    table.session.say(short_line(said));
                    said += 1;
                },
                2 => table.session.flush(now),
                3 => table.session.take_away(TakeAway::Hold),
                4 => {
                    table.session.lost();
                    table.session.opened(now);
                }
                5 if n < 6 => {
                    let now = table.now_us;
                    table.controller.reset(now);
                }
                _ => {}
            }
            for _ in 0..n * 8 {
                table.step();
            }
        }
        table.session.flush(Time::from_us(table.now_us));
        let last = table.session.say(short_line(said));
        table.until("the last executed", |t| t.executed() == Some(last));
        // Within an epoch lines follow each other without a gap; no line ever comes twice.
        let mut expected = (0, 1);
        let mut texts = std::collections::BTreeSet::new();
        for (epoch, number, text) in &table.controller.done {
            if *epoch != expected.0 {
                expected = (*epoch, 1);
            }
            prop_assert_eq!((*epoch, *number), expected);
            expected.1 += 1;
            prop_assert!(texts.insert(text.clone()), "{} came twice", text);
        }
        // Words name tickets in order, and none of an epoch that was over.
        let taken: Vec<u64> = table.words.iter().filter_map(|w| match w {
            Word::Taken(t) => Some(t.0),
            _ => None,
        }).collect();
        prop_assert!(taken.windows(2).all(|w| w[0] < w[1]), "{:?}", taken);
        let executed: Vec<Ticket> = table.words.iter().filter_map(|w| match w {
            Word::Status(s) => s.executed,
            _ => None,
        }).collect();
        prop_assert!(executed.windows(2).all(|w| w[0] <= w[1]));
        prop_assert_eq!(table.controller.overruns, 0);
    }
}
