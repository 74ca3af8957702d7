//! The guard's own bytes on the wire: written without ever blocking, and tried again until they
//! are out or the port is dead.
//!
//! The kernel may take none of them (the machine's task writes at this moment, or the buffer is
//! full) or only some. What is left is then tried again by the guard's own deadline. A part that
//! was written is gone on from: each byte acts by itself, and a new trip begins from the first
//! byte again.

use std::io::{ErrorKind, Write};
use std::time::Duration;

use control::guard::GuardReport;
use units::Time;

use super::gate::Shared;

/// Bytes that the kernel did not take are tried again after this: a fifth of the shortest half
/// period of the permit.
pub const AGAIN: Duration = Duration::from_millis(1);

/// What was late is told from here on: shorter is the other thread's own write.
const TOLD: Duration = Duration::from_millis(2);

/// The take-away bytes and how far they are.
#[derive(Debug)]
pub struct Away<W> {
    bytes: Vec<u8>,
    port: Option<W>,
    /// Bytes of this round that are still to be written.
    left: usize,
    /// A line was on its way at the trip: once this count has moved on, there is another round.
    in_flight: Option<u64>,
    /// Since when; `None`: everything is out.
    since: Option<Time>,
    /// Tries that the kernel took nothing of.
    refused: u32,
    next: Option<Time>,
    /// When the last round was out, and the count of passes then.
    out: Option<(Time, u64)>,
}

impl<W: Write> Away<W> {
    /// `bytes`: the dialect's, each of which acts by itself.
    pub fn new(bytes: Vec<u8>) -> Self {
        Self {
            bytes,
            port: None,
            left: 0,
            in_flight: None,
            since: None,
            refused: 0,
            next: None,
            out: None,
        }
    }

    /// Takes a port, or gives it up; what was not written to the old one is lost, and told.
    pub fn set_port(&mut self, now: Time, port: Option<W>, shared: &Shared) -> Option<GuardReport> {
        let had_one = self.port.is_some();
        let told = self.since.and_then(|_| self.end(now, shared, had_one));
        self.port = port;
        self.out = None;
        told
    }

    /// A trip: the bytes are to be written, all of them. The gate was shut before.
    pub fn begin(&mut self, now: Time, shared: &Shared) {
        let passes = shared.passes();
        self.in_flight = (passes % 2 == 1).then_some(passes);
        self.left = self.bytes.len();
        self.since.get_or_insert(now);
    }

    /// Writes what the port takes now. Gives what is to be told once all is out or lost.
    pub fn go_on(&mut self, now: Time, shared: &Shared) -> Option<GuardReport> {
        self.since?;
        self.next = self.soonest(now, shared);
        if self.next.is_some() {
            return None;
        }
        loop {
            while self.left > 0 {
                let Some(port) = &mut self.port else {
                    return self.end(now, shared, false);
                };
                match port.write(&self.bytes[self.bytes.len() - self.left..]) {
                    Ok(n) if n > 0 => {
                        self.left -= n.min(self.left);
                        shared.count_written(n);
                    }
                    Err(e) if e.kind() == ErrorKind::Interrupted => {}
                    Ok(_) => return self.later(now),
                    Err(e)
                        if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::OutOfMemory) =>
                    {
                        return self.later(now);
                    }
                    Err(error) => {
                        tracing::warn!(%error, "the port is dead: the take-away bytes did not go out");
                        self.port = None;
                        return self.end(now, shared, true);
                    }
                }
            }
            match self.in_flight {
                Some(passes) if shared.passes() == passes => {
                    self.next = Some(now + AGAIN);
                    return None;
                }
                Some(_) => {
                    self.in_flight = None;
                    self.left = self.bytes.len();
                }
                None => {
                    self.out = Some((now, shared.passes()));
                    return self.end(now, shared, true);
                }
            }
        }
    }

    /// When to go on by itself; `None`: everything is out.
    pub fn deadline(&self) -> Option<Time> {
        self.next
    }

    /// A noisy input trips thousands of times a second. Where nothing else was written since these
    /// same bytes went out, they go out again, but not sooner than after [`AGAIN`]: the flush that
    /// control sends must not queue up behind them.
    fn soonest(&self, now: Time, shared: &Shared) -> Option<Time> {
        let (at, passes) = self.out?;
        let fresh = self.left == self.bytes.len() && self.in_flight.is_none();
        let idle = shared.passes() == passes;
        (fresh && idle && now < at + AGAIN).then(|| at + AGAIN)
    }

    fn later(&mut self, now: Time) -> Option<GuardReport> {
        self.refused = self.refused.saturating_add(1);
        self.next = Some(now + AGAIN);
        None
    }

    /// Nothing more is to be written: all is out, or the port has gone. Without a port from the
    /// start there was nobody to write to.
    fn end(&mut self, now: Time, shared: &Shared, had_port: bool) -> Option<GuardReport> {
        let late = self
            .since
            .take()
            .map_or(Duration::ZERO, |since| now.since(since));
        let lost = std::mem::take(&mut self.left);
        let refused = std::mem::take(&mut self.refused);
        self.in_flight = None;
        self.next = None;
        shared.settled();
        let told = (lost > 0 && had_port) || (refused > 0 && late >= TOLD);
        told.then(|| GuardReport::TakeAwayLate {
            late_ms: u64::try_from(late.as_millis()).unwrap_or(u64::MAX),
            refused,
            lost: u32::try_from(lost).unwrap_or(u32::MAX),
        })
    }
}

#[cfg(test)]
mod tests;
