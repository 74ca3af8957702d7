use std::collections::VecDeque;
use std::pin::Pin;
use std::sync::Mutex;

use super::*;

/// A clock that is moved by hand and by waiting.
#[derive(Default)]
struct Hand(Mutex<Time>);

impl Hand {
    fn on(&self, span: Duration) {
        *self.0.lock().expect("one thread") += span;
    }
}

impl Clock for Hand {
    fn now(&self) -> Time {
        *self.0.lock().expect("one thread")
    }
    fn wait_until(&self, _at: Time) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(std::future::pending())
    }
}

/// Lines with a script: what the levels are after each wait, and how long the wait took.
struct Script {
    clock: Arc<Hand>,
    now: Vec<bool>,
    then: VecDeque<(u64, Result<Vec<bool>, ()>)>,
    permits: Vec<bool>,
    /// Edges that the kernel has in hand.
    edges: VecDeque<Edge>,
    /// This input changes at every look; a look takes 10 us.
    chatters: Option<usize>,
    /// When it has slept.
    rests: Vec<Time>,
    /// The spans that were waited for.
    waits: Vec<Duration>,
    longest: Duration,
    bell: Option<Arc<OwnedFd>>,
}

impl Lines for Script {
    fn levels(&mut self, high: &mut Vec<bool>) -> Result<(), PinsError> {
        if let Some(k) = self.chatters {
            self.now[k] = !self.now[k];
            self.clock.on(Duration::from_micros(10));
        }
        high.clone_from(&self.now);
        Ok(())
    }
    fn rest(&mut self, span: Duration) {
        self.clock.on(span);
        self.rests.push(self.clock.now());
    }
    fn wait_edges(&mut self, span: Duration, edges: &mut Vec<Edge>) -> Result<(), PinsError> {
        self.waits.push(span);
        if let Some(k) = self.chatters {
            self.clock.on(Duration::from_micros(5));
            edges.push(edge(k, self.now[k]));
            return Ok(());
        }
        if !self.edges.is_empty() {
            // As a backend does that takes only so many at a time.
            let some = self.edges.len().min(2);
            edges.extend(self.edges.drain(..some));
            return Ok(());
        }
        if span.is_zero() {
            return Ok(());
        }
        match self.then.pop_front() {
            Some((ms, Ok(levels))) => {
                self.clock.on(Duration::from_millis(ms).min(span));
                self.now = levels;
            }
            Some((_, Err(()))) => {
                return Err(PinsError {
                    says: "gone".into(),
                    remedy: String::new(),
                });
            }
            None => self.clock.on(span),
        }
        Ok(())
    }
    fn longest_wait(&self) -> Duration {
        self.longest
    }
    fn bell(&self) -> Option<Arc<OwnedFd>> {
        self.bell.clone()
    }
    fn set_permit(&mut self, high: bool) -> Result<(), PinsError> {
        self.permits.push(high);
        Ok(())
    }
}

fn input(signal: &str, active_high: bool, debounce_ms: u64) -> InputPin {
    InputPin {
        signal: signal.into(),
        pin: 0,
        active_high,
        pull: "up".into(),
        debounce_ms,
    }
}

fn pins(inputs: &[InputPin], now: &[bool], then: &[(u64, &[bool])]) -> BoardPins<Script> {
    let clock = Arc::new(Hand::default());
    let then = then.iter().map(|(ms, l)| (*ms, Ok(l.to_vec())));
    let lines = Script {
        clock: Arc::clone(&clock),
        now: now.to_vec(),
        then: then.collect(),
        permits: Vec::new(),
        edges: VecDeque::new(),
        chatters: None,
        rests: Vec::new(),
        waits: Vec::new(),
        longest: SLICE,
        bell: None,
    };
    BoardPins::new(lines, inputs, clock)
}

#[test]
fn the_first_reading_comes_at_once_and_not_fitted_is_not_false() {
    let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
    let r = p.wait(None).expect("read");
    assert!(!r.signals.estop_open, "low is closed here");
    assert_eq!(r.signals.air_ok, None);
    assert_eq!(r.at, Time::ZERO);
}

#[test]
fn an_emergency_stop_opens_at_its_first_edge() {
    let mut p = pins(&[input("estop", false, 0)], &[false], &[(1, &[true])]);
    p.wait(None).expect("read");
    let r = p.wait(None).expect("read");
    assert!(r.signals.estop_open);
    assert_eq!(r.at, Time::from_ms(1));
}

#[test]
fn a_wire_that_comes_off_reads_as_the_safe_state() {
    // Pulled up, closed is low: all wires off are all high.
    let names = [
        "fire_on",
        "arc_ok",
        "estop",
        "air_ok",
        "torch_seated",
        "gate",
        "source_on",
    ];
    let inputs: Vec<_> = names.iter().map(|n| input(n, false, 0)).collect();
    let s = pins(&inputs, &[true; 7], &[])
        .wait(None)
        .expect("read")
        .signals;
    assert!(s.estop_open && !s.fire_on && !s.arc_ok);
    assert_eq!((s.air_ok, s.torch_seated), (Some(false), Some(false)));
    assert_eq!((s.gate_closed, s.source_on), (Some(false), Some(false)));
}

#[test]
fn each_name_sets_its_own_signal_and_no_other() {
    use crate::config::SIGNALS;
    let mut seen = Vec::new();
    for kind in SIGNALS.iter().filter(|k| k.on_a_pin) {
        let (mut open, mut closed) = (Signals::default(), Signals::default());
        set(&mut open, kind.name, false);
        set(&mut closed, kind.name, true);
        assert_ne!(open, closed, "{} is wired to nothing", kind.name);
        assert!(
            !seen.contains(&closed) || kind.name == "estop",
            "{}",
            kind.name
        );
        seen.push(closed);
    }
}

#[test]
fn a_bounce_shorter_than_the_debounce_is_never_told() {
    let on = [input("hold_button", true, 5)];
    let then: [(u64, &[bool]); 4] = [(1, &[true]), (2, &[false]), (1, &[true]), (2, &[false])];
    let mut p = pins(&on, &[false], &then);
    p.wait(None).expect("read");
    let r = p.wait(Some(Time::from_ms(30))).expect("read");
    assert_eq!(r.at, Time::from_ms(30), "only the deadline ended the wait");
    assert_eq!(r.signals.hold_button, Some(false));
    assert_eq!(r.opened.short_edges, 2, "each is counted");
    let r = p.wait(Some(Time::from_ms(40))).expect("read");
    assert_eq!(r.opened.short_edges, 0, "once");
}

#[test]
fn a_level_that_stays_is_told_when_its_time_is_over() {
    let mut p = pins(&[input("hold_button", true, 5)], &[false], &[(1, &[true])]);
    p.wait(None).expect("read");
    let r = p.wait(None).expect("read");
    assert_eq!(r.signals.hold_button, Some(true));
    assert_eq!(r.at, Time::from_ms(6), "seen at 1 ms, believed 5 ms later");
}

#[test]
fn a_deadline_ends_a_wait_exactly_and_without_a_change() {
    let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
    p.wait(None).expect("read");
    let r = p.wait(Some(Time::from_us(4_700))).expect("read");
    assert_eq!(r.at, Time::from_us(4_700));
}

#[test]
fn a_word_from_another_thread_ends_the_next_wait_once() {
    let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
    p.wait(None).expect("read");
    p.waker().wake();
    assert_eq!(p.wait(None).expect("read").at, Time::ZERO);
    let late = Time::from_ms(3);
    assert_eq!(p.wait(Some(late)).expect("read").at, late);
}

#[test]
fn a_backend_that_fails_is_an_error_and_no_reading() {
    let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
    p.wait(None).expect("read");
    p.lines.then.push_back((0, Err(())));
    p.wait(None).expect_err("it must be told");
}

#[test]
fn too_few_levels_are_an_error() {
    let mut p = pins(
        &[input("estop", false, 0), input("arc_ok", false, 0)],
        &[false],
        &[],
    );
    p.wait(None).expect_err("one level is missing");
}

#[test]
fn the_permit_goes_to_its_pin() {
    let mut p = pins(&[], &[], &[]);
    p.set_permit(true).expect("driven");
    p.set_permit(false).expect("driven");
    assert_eq!(p.lines.permits, [true, false]);
}

#[test]
fn a_machine_file_without_pins_is_answered_with_what_to_do() {
    let config = crate::config::Config::built_in();
    let error = open(&config.pins).err().expect("there are none");
    assert!(error.remedy.contains("practice"), "{error}");
}

fn edge(input: usize, high: bool) -> Edge {
    Edge {
        input,
        high,
        at: None,
        lost: 0,
    }
}

#[test]
fn an_opening_that_is_over_when_the_levels_are_read_is_told_once() {
    for (name, debounce_ms) in [("estop", 0), ("gate", 5), ("torch_seated", 20)] {
        let mut p = pins(&[input(name, true, debounce_ms)], &[true], &[]);
        let calm = p.wait(None).expect("read");
        assert_eq!(calm.opened, Opened::default());
        p.lines.edges.extend([edge(0, false), edge(0, true)]);
        let seen = p.wait(None).expect("read");
        assert_eq!(seen.signals, calm.signals, "levels are what was read");
        let told = seen.opened.over(&seen.signals);
        assert_ne!(told, calm.signals, "{name}: the opening left no trace");
        let late = Time::from_ms(500);
        let after = p.wait(Some(late)).expect("read");
        assert_eq!(
            (after.at, after.opened),
            (late, Opened::default()),
            "{name}"
        );
    }
}

#[test]
fn a_short_edge_of_any_other_input_is_left_to_its_level() {
    let mut p = pins(&[input("arc_ok", true, 0)], &[true], &[]);
    p.wait(None).expect("read");
    p.lines.edges.extend([edge(0, false), edge(0, true)]);
    let late = Time::from_ms(50);
    let r = p.wait(Some(late)).expect("read");
    assert_eq!(
        (r.at, r.signals.arc_ok, r.opened),
        (late, true, Opened::default())
    );
}

#[test]
fn edges_that_found_the_kernels_queue_full_are_told_as_missed() {
    let mut p = pins(&[input("arc_ok", true, 0)], &[true], &[]);
    assert!(!p.wait(None).expect("read").opened.missed);
    p.lines.edges.push_back(Edge {
        lost: 3,
        ..edge(0, true)
    });
    let opened = p.wait(None).expect("read").opened;
    assert_eq!((opened.missed, opened.lost), (true, 3));
    let late = Time::from_ms(50);
    assert!(
        !p.wait(Some(late)).expect("read").opened.missed,
        "told once"
    );
}

#[test]
fn an_input_that_chatters_never_keeps_the_thread_from_sleeping() {
    // With a debounce the noise is never told; without one each look is.
    for debounce_ms in [0, 20] {
        let inputs = [
            input("hold_button", true, debounce_ms),
            input("estop", true, 0),
        ];
        let mut p = pins(&inputs, &[true, true], &[]);
        p.lines.chatters = Some(0);
        for k in 0..2_000_u64 {
            let r = p.wait(Some(p.clock.now() + Duration::from_millis(1)));
            assert!(r.is_ok(), "{k}");
        }
        let mut last = Time::ZERO;
        assert!(
            p.lines.rests.len() > 20,
            "it slept {} times",
            p.lines.rests.len()
        );
        for at in &p.lines.rests {
            let busy = at.since(last).saturating_sub(REST);
            assert!(busy < Duration::from_millis(1), "busy for {busy:?}");
            last = *at;
        }
    }
}

/// An edge with the kernel's moment.
fn stamped(input: usize, high: bool, us: u64) -> Edge {
    Edge {
        at: Some(Time::from_us(us)),
        ..edge(input, high)
    }
}

#[test]
fn the_moment_told_is_the_kernels_and_not_that_of_the_look() {
    let inputs = [input("arc_ok", true, 0), input("contact", true, 10)];
    let mut p = pins(&inputs, &[true, false], &[]);
    p.wait(None).expect("read");
    p.lines.clock.on(Duration::from_millis(7));
    p.slept = p.clock.now();
    p.lines.edges.extend([
        stamped(0, false, 2_100),
        stamped(0, true, 2_200),
        stamped(0, false, 4_300),
        stamped(1, true, 5_000),
    ]);
    p.lines.now = vec![false, true];
    let r = p.wait(None).expect("read");
    assert_eq!(
        (r.at, r.signals.arc_ok),
        (Time::from_ms(7), false),
        "the look itself is as late as it is"
    );
    assert_eq!(r.opened.moments.arc_ok, Some(Time::from_us(4_300)));
    let r = p.wait(Some(Time::from_ms(40))).expect("read");
    assert_eq!(
        (r.at, r.signals.contact),
        (Time::from_ms(15), true),
        "its debounce runs from the edge, not from the look"
    );
    assert_eq!(r.opened.moments.contact, Some(Time::from_ms(15)));
    assert_eq!(r.opened.moments.arc_ok, None, "told once");
}

#[test]
fn a_chain_that_opened_and_closed_has_the_moment_at_which_it_opened() {
    let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
    p.wait(None).expect("read");
    p.lines.clock.on(Duration::from_millis(3));
    p.slept = p.clock.now();
    p.lines
        .edges
        .extend([stamped(0, true, 1_000), stamped(0, false, 1_020)]);
    let r = p.wait(None).expect("read");
    assert!(r.opened.estop && !r.signals.estop_open);
    assert_eq!(r.opened.moments.estop, Some(Time::from_ms(1)));
}

#[test]
fn a_level_that_no_edge_told_has_no_moment() {
    let mut p = pins(&[input("fire_on", true, 0)], &[false], &[]);
    p.wait(None).expect("read");
    p.lines.clock.on(Duration::from_millis(9));
    p.slept = p.clock.now();
    p.lines.edges.extend([
        stamped(0, true, 1_000),
        Edge {
            lost: 12,
            ..stamped(0, false, 8_000)
        },
    ]);
    p.lines.now = vec![true];
    let r = p.wait(None).expect("read");
    assert!(r.signals.fire_on, "the level is read again");
    assert_eq!(
        r.opened.moments.fire_on, None,
        "the look may be late by any time"
    );
    assert_eq!(r.opened.lost, 12);
    // Nor has one whose edge the kernel did not stamp, nor one that only the levels show.
    for (edges, estop) in [(vec![], false), (vec![edge(0, true)], true)] {
        let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
        p.wait(None).expect("read");
        p.lines.clock.on(Duration::from_millis(80));
        p.slept = p.clock.now();
        p.lines.edges.extend(edges);
        p.lines.now = vec![true];
        let r = p.wait(None).expect("read");
        assert!(r.signals.estop_open);
        assert_eq!((r.opened.estop, r.opened.moments.estop), (estop, None));
    }
}

#[test]
fn a_later_edge_gives_no_moment_to_a_chain_that_opened_at_an_unknown_one() {
    let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
    p.wait(None).expect("read");
    p.lines.clock.on(Duration::from_millis(9));
    p.slept = p.clock.now();
    p.lines.edges.extend([
        edge(0, true),
        stamped(0, false, 7_000),
        stamped(0, true, 8_000),
    ]);
    p.lines.now = vec![true];
    let r = p.wait(None).expect("read");
    assert!(r.opened.estop);
    assert_eq!(r.opened.moments.estop, None);
}

#[test]
fn a_wait_is_as_long_as_what_it_waits_for_to_the_microsecond_and_no_spin() {
    let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
    p.lines.longest = LONGEST;
    p.wait(None).expect("read");
    p.lines.waits.clear();
    let r = p.wait(Some(Time::from_us(4_321))).expect("read");
    assert_eq!(r.at, Time::from_us(4_321));
    let really: Vec<Duration> = p
        .lines
        .waits
        .iter()
        .copied()
        .filter(|w| !w.is_zero())
        .collect();
    assert_eq!(really, [Duration::from_micros(4_321)], "one wait, unsliced");
}

#[test]
fn a_word_from_another_thread_rings_the_bell_that_ends_a_wait() {
    use rustix::event::{EventfdFlags, PollFd, PollFlags, Timespec};
    let bell = rustix::event::eventfd(0, EventfdFlags::NONBLOCK).expect("a descriptor");
    let mut p = pins(&[input("estop", false, 0)], &[false], &[]);
    p.lines.bell = Some(Arc::new(bell));
    let p = BoardPins::new(
        p.lines,
        &[input("estop", false, 0)],
        Arc::new(Hand::default()),
    );
    let bell = p.lines.bell.clone().expect("a bell");
    let rung = || {
        let mut fds = [PollFd::new(&*bell, PollFlags::IN)];
        let at_once = Timespec {
            tv_sec: 0,
            tv_nsec: 0,
        };
        rustix::event::poll(&mut fds, Some(&at_once)).expect("poll") == 1
    };
    assert!(!rung());
    p.waker().wake();
    assert!(rung());
}
