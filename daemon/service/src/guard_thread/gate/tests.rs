//! Every order in which the steps of the guard and of the machine's task can fall (S-04), on the real
//! gate and the real writer of the take-away bytes.

use std::cell::RefCell;
use std::io::{self, Write};
use std::rc::Rc;

use super::*;
use crate::guard_thread::away::{AGAIN, Away};

/// What came to the wire, a letter for each write: `o` a line of the old epoch, `n` one of the new,
/// `A` all take-away bytes.
type Wire = Rc<RefCell<String>>;

struct Pen(Wire);

impl Write for Pen {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().push('A');
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// The machine's task: two lines of the old epoch; then, once it has heard of the trip, lines of the
/// new one until one has passed.
struct Task {
    at: u32,
    handled: u64,
    passed: bool,
}

impl Task {
    /// One step; false: there is nothing to do now.
    fn step(&mut self, shared: &Shared, wire: &Wire) -> bool {
        let gate = shared.gate(self.handled);
        match self.at % 4 {
            0 if self.at == 8 => {
                // Control hears of the trip, and only then.
                if shared.epoch() == 0 {
                    return false;
                }
                self.handled = 1;
                self.at = 12;
                return true;
            }
            0 => gate.enter(),
            1 => self.passed = gate.look().is_ok(),
            2 if self.passed => wire
                .borrow_mut()
                .push(if self.handled == 0 { 'o' } else { 'n' }),
            3 => {
                gate.leave();
                // A line of the new epoch that had to wait is tried again.
                if self.at > 12 && !self.passed {
                    self.at = 12;
                    return true;
                }
            }
            _ => {}
        }
        self.at += 1;
        self.at <= 16
    }

    fn is_done(&self) -> bool {
        self.at >= 16
    }
}

struct Guard {
    away: Away<Pen>,
    at: u32,
    now: Time,
}

impl Guard {
    fn step(&mut self, shared: &Shared) {
        match self.at {
            0 => shared.shut(1),
            1 => self.away.begin(self.now, shared),
            _ => {
                self.now += AGAIN;
                let _ = self.away.go_on(self.now, shared);
            }
        }
        self.at += 1;
    }
}

/// Runs the steps in the order that the bits of `order` say, then both to the end.
fn run(order: u32, steps: u32) -> String {
    let (shared, wire) = (Shared::default(), Wire::default());
    let mut task = Task {
        at: 0,
        handled: 0,
        passed: false,
    };
    let mut guard = Guard {
        away: Away::new(vec![0x9C, 0x87]),
        at: 0,
        now: Time::from_ms(10),
    };
    guard
        .away
        .set_port(guard.now, Some(Pen(Rc::clone(&wire))), &shared);
    for k in 0..steps {
        if order >> k & 1 == 1 {
            guard.step(&shared);
        } else if !task.is_done() {
            task.step(&shared, &wire);
        }
    }
    for _ in 0..64 {
        guard.step(&shared);
        if !task.is_done() {
            task.step(&shared, &wire);
        }
    }
    assert!(task.is_done(), "order {order:b}: the new line never passes");
    wire.borrow().clone()
}

/// S-04.
#[test]
fn in_every_order_the_guards_bytes_come_after_every_old_line_and_before_every_new_one() {
    let mut seen = std::collections::BTreeSet::new();
    for order in 0..1 << 18 {
        seen.insert(run(order, 18));
    }
    for wire in &seen {
        let last = wire.rfind('A').expect("the guard has written");
        assert!(!wire[last..].contains('o'), "an old line came last: {wire}");
        assert!(!wire[..last].contains('n'), "a new line came first: {wire}");
        assert!(wire.ends_with('n'), "{wire}");
    }
    // The dangerous order is among them: the bytes, the old line, the bytes again.
    assert!(seen.iter().any(|w| w.contains("AoA")), "{seen:?}");
}
