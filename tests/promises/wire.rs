//! A pocket controller, written from the page of the dialect and sharing no code with the panel, at the
//! far end of a bad line.

use std::sync::Arc;
use std::time::Duration;

use link::{Command, Dialect, Session, Word};
use proptest::prelude::*;
use simulator::crc16 as crc;
use units::{Point, Time};

const HOLD: u8 = 0x9C;
const TORCH_OFF: u8 = 0x87;

#[test]
fn the_pocket_controllers_crc_is_the_published_one() {
    // Check value of CRC-16 with this polynomial and start, as commonly published.
    assert_eq!(crc(b"123456789"), 0x29B1);
}

/// The controller: takes checked lines in order, carries each out 3 ms later.
#[derive(Default)]
struct Pocket {
    line: Vec<u8>,
    epoch: Option<u64>,
    expected: u64,
    queue: Vec<(u64, String)>,
    executed: u64,
    /// What was carried out, with the epoch.
    done: Vec<(u64, String)>,
    bare: Vec<u8>,
    busy_ms: u64,
    again_at_ms: u64,
    ms: u64,
    held: bool,
    out: Vec<u8>,
}

impl Pocket {
    fn hear(&mut self, byte: u8) {
        match byte {
            HOLD | TORCH_OFF => {
                self.bare.push(byte);
                self.held |= byte == HOLD;
            }
            b'\n' => {
                let line = std::mem::take(&mut self.line);
                if !line.is_empty() {
                    self.take(&line);
                }
            }
            0x80.. => {}
            _ => self.line.push(byte),
        }
    }

    fn take(&mut self, line: &[u8]) {
        let Some((number, text)) = checked(line) else {
            return self.again();
        };
        if number == 0 {
            let mut words = text.split(' ');
            if let (Some("begin"), Some(Ok(k))) = (words.next(), words.next().map(str::parse)) {
                if self.epoch != Some(k) {
                    self.epoch = Some(k);
                    self.expected = 1;
                    self.executed = 0;
                    self.queue.clear();
                    self.held = false;
                }
                self.say(&format!("ready {k}"));
            }
            return;
        }
        if self.epoch.is_none() || number > self.expected {
            return self.again();
        }
        if number == self.expected {
            self.expected += 1;
            self.queue.push((number, text));
        }
        self.say(&format!("taken {}", self.expected - 1));
    }

    fn again(&mut self) {
        if self.epoch.is_some() && self.ms >= self.again_at_ms {
            self.again_at_ms = self.ms + 20;
            self.say(&format!("again {}", self.expected));
        }
    }

    fn say(&mut self, body: &str) {
        let line = format!("{:02X}{:04X} {body}\n", body.len(), crc(body.as_bytes()));
        self.out.extend_from_slice(line.as_bytes());
    }

    /// One millisecond goes by.
    fn tick(&mut self) {
        self.ms += 1;
        if !self.held && !self.queue.is_empty() {
            self.busy_ms += 1;
            if self.busy_ms >= 3 {
                self.busy_ms = 0;
                let (number, text) = self.queue.remove(0);
                self.executed = number;
                self.done.push((self.epoch.unwrap_or(0), text));
            }
        }
        if self.ms.is_multiple_of(20) {
            let doing = if self.held {
                "hold"
            } else if self.queue.is_empty() {
                "idle"
            } else {
                "run"
            };
            let (e, w, u) = (self.executed, self.queue.len(), self.ms);
            self.say(&format!(
                "at x0.000 y0.000 z50.000 f0.0 {doing} e{e} w{w} q0 t0 r1 u{u}"
            ));
        }
    }
}

/// The number and text of a line whose length and check are right.
fn checked(line: &[u8]) -> Option<(u64, String)> {
    let line = std::str::from_utf8(line).ok()?;
    let (head, body) = line.split_once(' ')?;
    let length = usize::from_str_radix(head.get(..2)?, 16).ok()?;
    let check = u16::from_str_radix(head.get(2..)?, 16).ok()?;
    if head.len() != 6
        || head.to_uppercase() != head
        || body.len() != length
        || crc(body.as_bytes()) != check
    {
        return None;
    }
    let (number, text) = body.split_once(' ')?;
    Some((number.parse().ok()?, text.to_owned()))
}

/// What happens to a byte on the line.
#[derive(Clone, Copy, Debug)]
enum Harm {
    Lost,
    Doubled,
    Flipped(u8),
}

/// Harms by the number of the byte, counted over both directions of this way.
#[derive(Clone, Debug, Default)]
struct BadLine {
    harms: Vec<(u64, Harm)>,
    passed: u64,
}

impl BadLine {
    fn carry(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut out = Vec::new();
        for byte in bytes {
            self.passed += 1;
            match self.harms.iter().find(|(at, _)| *at == self.passed) {
                Some((_, Harm::Lost)) => {}
                Some((_, Harm::Doubled)) => out.extend([*byte, *byte]),
                // Never into or out of what acts at once: that costs two bits or more.
                Some((_, Harm::Flipped(bit))) if *byte < 0x80 => out.push(byte ^ (1 << (bit % 7))),
                Some((_, Harm::Flipped(_))) | None => out.push(*byte),
            }
        }
        out
    }
}

fn bad_line() -> impl Strategy<Value = BadLine> {
    let harm = prop_oneof![
        2 => Just(Harm::Lost),
        1 => Just(Harm::Doubled),
        4 => (0_u8..7).prop_map(Harm::Flipped),
    ];
    prop::collection::vec((1_u64..6000, harm), 0..60).prop_map(|harms| BadLine { harms, passed: 0 })
}

/// A panel's session and the pocket controller, joined.
struct Joined {
    session: Session,
    pocket: Pocket,
    there: BadLine,
    back: BadLine,
    now: Time,
    words: Vec<Word>,
    /// Everything that the session wrote, before the line harmed it.
    written: Vec<u8>,
}

impl Joined {
    fn new(there: BadLine, back: BadLine) -> Self {
        let text = include_str!("../../config/dialects/plain.toml");
        let dialect = Arc::new(Dialect::from_toml(text).expect("the dialect is good"));
        let mut session = Session::new(dialect, 115_200);
        session.opened(Time::ZERO);
        Self {
            session,
            pocket: Pocket::default(),
            there,
            back,
            now: Time::ZERO,
            words: Vec::new(),
            written: Vec::new(),
        }
    }

    fn ms(&mut self) {
        let out = self.session.poll(self.now, false);
        let bytes = [out.take_away, out.lines].concat();
        self.written.extend_from_slice(&bytes);
        for byte in self.there.carry(&bytes) {
            self.pocket.hear(byte);
        }
        self.pocket.tick();
        let said = std::mem::take(&mut self.pocket.out);
        let heard = self.back.carry(&said);
        self.now += Duration::from_millis(1);
        self.session.receive(self.now, &heard, &mut self.words);
    }

    /// Until it is so; a minute of table time at most.
    fn until(&mut self, so: impl Fn(&Self) -> bool) -> bool {
        for _ in 0..60_000 {
            if so(self) {
                return true;
            }
            self.ms();
        }
        false
    }
}

/// A command whose text names its place in the order.
fn step_to(k: usize) -> Command {
    Command::RapidXy(Point::new(k as f64 + 1.0, 0.0))
}

fn step_text(k: usize) -> String {
    format!("G0 X{} Y0", k + 1)
}

/// S-05.
#[test]
fn the_first_bytes_on_a_newly_opened_link_are_hold_and_torch_off_and_then_a_flush() {
    let mut joined = Joined::new(BadLine::default(), BadLine::default());
    joined.session.say(step_to(0));
    assert!(
        joined.until(|j| j.session.ready() && !j.pocket.done.is_empty()),
        "the epoch opens"
    );
    assert_eq!(joined.written[..2], [HOLD, TORCH_OFF]);
    let lines: Vec<_> = joined.written[2..]
        .split(|b| *b == b'\n')
        .filter_map(checked)
        .map(|(_, text)| text)
        .collect();
    let first_move = lines
        .iter()
        .position(|text| text.starts_with('G'))
        .expect("the move was sent");
    assert!(first_move > 0, "{lines:?}");
    assert!(
        lines[..first_move]
            .iter()
            .all(|text| text.starts_with("begin ")),
        "{lines:?}"
    );

    // The cable is pulled and put in again: the same bytes come first, and nothing of before.
    joined.session.say(step_to(1));
    joined.session.lost();
    let now = joined.now;
    joined.session.opened(now);
    joined.written.clear();
    assert!(joined.until(|j| j.session.ready()), "the epoch opens again");
    joined.until(|j| j.now.since(now) > Duration::from_secs(2));
    assert_eq!(joined.written[..2], [HOLD, TORCH_OFF]);
    assert_eq!(
        joined.pocket.done.len(),
        1,
        "what waited when the link was lost is void"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    /// S-06.
    #[test]
    fn over_a_bad_line_every_line_is_carried_out_once_and_in_order(
        there in bad_line(),
        back in bad_line(),
        count in 1_usize..120,
    ) {
        let mut joined = Joined::new(there, back);
        for k in 0..count {
            joined.session.say(step_to(k));
        }
        let all = joined.until(|j| j.pocket.done.len() >= count);
        joined.until(|j| j.session.unsent() == 0);
        let done: Vec<_> = joined.pocket.done.iter().map(|(_, text)| text.clone()).collect();
        let wanted: Vec<_> = (0..count).map(step_text).collect();
        prop_assert_eq!(done, wanted, "all came: {}; {:?}", all, joined.session.counters());
        prop_assert_eq!(joined.session.unsent(), 0);
    }

    /// S-04 at the link's end, and S-06: what belongs to an epoch that was flushed is never carried
    /// out after the flush was confirmed, and the new epoch is carried out whole.
    #[test]
    fn nothing_of_an_older_epoch_is_carried_out_after_a_flush(
        there in bad_line(),
        back in bad_line(),
        before in 1_usize..60,
        flush_at_ms in 0_u64..600,
        after in 1_usize..40,
    ) {
        let mut joined = Joined::new(there, back);
        for k in 0..before {
            joined.session.say(step_to(k));
        }
        joined.until(|j| j.pocket.ms >= flush_at_ms);
        joined.session.flush(joined.now);
        for k in 0..after {
            joined.session.say(step_to(1000 + k));
        }
        let wanted: Vec<_> = (0..after).map(|k| step_text(1000 + k)).collect();
        joined.until(|j| j.pocket.done.iter().filter(|(_, t)| wanted.contains(t)).count() >= after);
        joined.until(|j| j.session.unsent() == 0);
        let done: Vec<_> = joined.pocket.done.iter().map(|(_, text)| text.clone()).collect();
        let cut = done.iter().position(|t| wanted.contains(t)).unwrap_or(done.len());
        prop_assert_eq!(&done[cut..], &wanted[..], "{:?}", joined.session.counters());
        let old: Vec<_> = (0..cut).map(step_text).collect();
        prop_assert_eq!(&done[..cut], &old[..], "the older epoch, as far as it came, in order");
    }
}
