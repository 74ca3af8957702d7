use std::collections::VecDeque;
use std::io;

use super::*;

/// A port with a script: how many bytes it takes at each try, or what it fails with; after its end it
/// takes everything.
#[derive(Debug, Default)]
struct Script {
    tries: VecDeque<Result<usize, ErrorKind>>,
    wire: Vec<u8>,
}

impl Write for Script {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = self
            .tries
            .pop_front()
            .unwrap_or(Ok(bytes.len()))?
            .min(bytes.len());
        self.wire.extend_from_slice(&bytes[..n]);
        Ok(n)
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

const T: fn(u64) -> Time = Time::from_ms;

struct Rig {
    away: Away<Script>,
    shared: Shared,
}

impl Rig {
    fn new(tries: &[Result<usize, ErrorKind>]) -> Self {
        let (mut away, shared) = (Away::new(vec![0x9C, 0x87]), Shared::default());
        let port = Script {
            tries: tries.iter().copied().collect(),
            wire: Vec::new(),
        };
        assert_eq!(away.set_port(T(0), Some(port), &shared), None);
        Self { away, shared }
    }

    fn trip(&mut self, now: Time) -> Option<GuardReport> {
        self.shared.shut(self.shared.epoch() + 1);
        self.away.begin(now, &self.shared);
        self.away.go_on(now, &self.shared)
    }

    fn on(&mut self, now: Time) -> Option<GuardReport> {
        self.away.go_on(now, &self.shared)
    }

    fn wire(&self) -> &[u8] {
        self.away.port.as_ref().map_or(&[], |p| &p.wire)
    }
}

const FULL: Result<usize, ErrorKind> = Err(ErrorKind::WouldBlock);

#[test]
fn what_the_port_takes_at_once_is_out_at_once_and_not_told() {
    let mut r = Rig::new(&[]);
    assert_eq!(r.trip(T(10)), None);
    assert_eq!(r.wire(), [0x9C, 0x87]);
    assert_eq!(r.away.deadline(), None);
    assert!(!r.shared.away_waits());
    assert_eq!(r.shared.written(), 2);
}

#[test]
fn a_port_that_takes_nothing_is_asked_again_until_it_does_and_that_is_told() {
    let mut r = Rig::new(&[FULL; 40]);
    assert_eq!(r.trip(T(10)), None);
    for ms in 11..50 {
        assert_eq!(r.away.deadline(), Some(T(ms)), "it asks by itself");
        assert_eq!(r.on(T(ms)), None);
        assert!(r.shared.away_waits());
    }
    let told = r.on(T(50));
    let late = GuardReport::TakeAwayLate {
        late_ms: 40,
        refused: 40,
        lost: 0,
    };
    assert_eq!(told, Some(late));
    assert_eq!(r.wire(), [0x9C, 0x87]);
    assert!(!r.shared.away_waits());
    assert_eq!(r.on(T(51)), None, "told once");
}

#[test]
fn after_a_part_the_rest_follows() {
    let mut r = Rig::new(&[Ok(1), FULL, Ok(0), FULL]);
    r.trip(T(10));
    assert_eq!(r.wire(), [0x9C]);
    r.on(T(11));
    r.on(T(12));
    assert_eq!(r.wire(), [0x9C]);
    r.on(T(13));
    assert_eq!(r.wire(), [0x9C, 0x87]);
    assert_eq!(r.shared.written(), 2);
}

#[test]
fn a_trip_while_bytes_wait_begins_them_again() {
    let mut r = Rig::new(&[Ok(1), FULL]);
    r.trip(T(10));
    r.trip(T(11));
    assert_eq!(r.wire(), [0x9C, 0x9C, 0x87]);
}

#[test]
fn a_dead_port_ends_it_and_what_was_lost_is_told() {
    let mut r = Rig::new(&[Ok(1), FULL, Err(ErrorKind::BrokenPipe)]);
    r.trip(T(10));
    let told = r.on(T(11));
    let lost = GuardReport::TakeAwayLate {
        late_ms: 1,
        refused: 1,
        lost: 1,
    };
    assert_eq!(told, Some(lost));
    assert_eq!(r.away.deadline(), None);
    assert!(!r.shared.away_waits(), "nobody waits for a dead port");
    assert_eq!(
        r.trip(T(20)),
        None,
        "without a port there is nobody to write to"
    );
}

#[test]
fn a_port_that_is_given_up_ends_it_too() {
    let mut r = Rig::new(&[FULL, FULL]);
    r.trip(T(10));
    let told = r.away.set_port(T(12), None, &r.shared);
    assert!(matches!(
        told,
        Some(GuardReport::TakeAwayLate { lost: 2, .. })
    ));
    assert!(!r.shared.away_waits());
}

#[test]
fn a_noisy_input_repeats_the_bytes_once_a_millisecond_and_not_at_every_trip() {
    let mut r = Rig::new(&[]);
    for us in 0..5_000 {
        r.trip(Time::from_us(10_000 + us));
    }
    assert!(r.wire().len() <= 2 * 6, "{} bytes in 5 ms", r.wire().len());
    let due = r.away.deadline().expect("the last of them");
    r.on(due);
    assert!(!r.shared.away_waits());
    // A line has passed since: no waiting.
    let before = r.wire().len();
    r.shared
        .gate(r.shared.epoch())
        .pass(|| ())
        .expect("it passes");
    r.trip(due);
    assert_eq!(r.wire().len(), before + 2);
}
