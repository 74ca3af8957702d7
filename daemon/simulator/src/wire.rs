//! The serial wire: bytes pass one after the other at the baud rate, each way.

use std::collections::VecDeque;

use crate::chance::{Chance, Draws};

/// Bytes that a cheap adapter hands over together at most; it hands over at the end of a line too.
const BURST: usize = 64;

/// One direction into the controller: what was written lies in the kernel until the wire has
/// carried it.
#[derive(Clone, Debug)]
pub(crate) struct WireIn {
    byte_ns: f64,
    waiting: VecDeque<u8>,
    /// When the byte at the front has fully arrived.
    front_at: f64,
    /// When the wire is free again.
    free_at: f64,
}

impl WireIn {
    pub(crate) fn new(baud: u32) -> Self {
        Self {
            byte_ns: byte_ns(baud),
            waiting: VecDeque::new(),
            front_at: 0.0,
            free_at: 0.0,
        }
    }

    pub(crate) fn write(&mut self, now: u64, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        if self.waiting.is_empty() {
            self.front_at = self.free_at.max(now as f64) + self.byte_ns;
        }
        self.waiting.extend(bytes);
    }

    /// The next byte that has fully arrived by `now`, and when it had.
    pub(crate) fn read(&mut self, now: u64) -> Option<(u64, u8)> {
        if self.front_at > now as f64 {
            return None;
        }
        let byte = self.waiting.pop_front()?;
        let at = self.front_at;
        self.free_at = at;
        self.front_at += self.byte_ns;
        Some((at as u64, byte))
    }

    /// When the next byte arrives that can make the controller do something: the end of a line or
    /// a bare byte.
    pub(crate) fn next_telling(&self) -> Option<u64> {
        let index = self
            .waiting
            .iter()
            .position(|b| !(0x20..0x80).contains(b))?;
        Some((self.front_at + index as f64 * self.byte_ns).ceil() as u64)
    }

    pub(crate) fn cut(&mut self) {
        self.waiting.clear();
    }
}

/// The other direction: frames go out in order, and arrive at the panel in small bursts.
#[derive(Clone, Debug)]
pub(crate) struct WireOut {
    byte_ns: f64,
    free_at: f64,
    bursts: VecDeque<(u64, Vec<u8>)>,
}

impl WireOut {
    pub(crate) fn new(baud: u32) -> Self {
        Self {
            byte_ns: byte_ns(baud),
            free_at: 0.0,
            bursts: VecDeque::new(),
        }
    }

    /// Sends a frame no sooner than `due`.
    pub(crate) fn send(&mut self, due: u64, frame: &[u8]) {
        let mut at = self.free_at.max(due as f64);
        for burst in frame.chunks(BURST) {
            at += burst.len() as f64 * self.byte_ns;
            self.bursts.push_back((at.ceil() as u64, burst.to_vec()));
        }
        self.free_at = at;
    }

    /// Bytes that wait for the wire.
    pub(crate) fn backlog(&self, now: u64) -> usize {
        ((self.free_at - now as f64) / self.byte_ns).max(0.0) as usize
    }

    pub(crate) fn next_arrival(&self) -> Option<u64> {
        self.bursts.front().map(|b| b.0)
    }

    /// What has arrived by `now`.
    pub(crate) fn arrived(&mut self, now: u64) -> Vec<u8> {
        let mut bytes = Vec::new();
        while let Some((_, burst)) = self.bursts.pop_front_if(|b| b.0 <= now) {
            bytes.extend(burst);
        }
        bytes
    }

    /// Forgets what has not arrived.
    pub(crate) fn cut(&mut self, now: u64) {
        self.bursts.clear();
        self.free_at = now as f64;
    }
}

/// One start bit, eight data bits, one stop bit.
fn byte_ns(baud: u32) -> f64 {
    10e9 / f64::from(baud.max(1))
}

/// Turns over single bits by chance.
#[derive(Clone, Debug)]
pub(crate) struct Noise {
    rate: f64,
    chance: Chance,
    /// The next byte has one bit turned over.
    spoils: bool,
}

impl Noise {
    pub(crate) fn new(rate: f64, seed: u64) -> Self {
        Self {
            rate,
            chance: Chance::new(seed, Draws::Wire),
            spoils: false,
        }
    }

    /// The next byte comes as another.
    pub(crate) fn spoil(&mut self) {
        self.spoils = true;
    }

    pub(crate) fn on(&mut self, byte: u8) -> u8 {
        let byte = if core::mem::take(&mut self.spoils) {
            byte ^ 0x10
        } else {
            byte
        };
        if self.rate <= 0.0 {
            return byte;
        }
        (0..8).fold(byte, |b, bit| {
            b ^ (u8::from(self.chance.happens(self.rate)) << bit)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_byte_takes_86_8_microseconds_at_115200_baud() {
        let mut wire = WireIn::new(115_200);
        wire.write(1_000_000, b"abc");
        assert_eq!(wire.read(1_086_805), None);
        assert_eq!(wire.read(1_086_806), Some((1_086_805, b'a')));
        assert_eq!(wire.read(1_173_611), None); // 2 x 86.8055 us
        assert_eq!(wire.read(1_173_612).map(|b| b.1), Some(b'b'));
    }

    #[test]
    fn two_thousand_bytes_at_9600_baud_take_2_1_seconds() {
        let mut wire = WireIn::new(9600);
        wire.write(0, &[b'x'; 2000]);
        let mut last = 0;
        while let Some((at, _)) = wire.read(u64::MAX >> 12) {
            last = at;
        }
        assert!((last as f64 / 1e9 - 2.0833).abs() < 1e-3);
    }

    #[test]
    fn a_later_write_waits_for_the_wire_to_be_free() {
        let mut wire = WireIn::new(115_200);
        wire.write(0, b"\n");
        wire.write(10, b"\n");
        assert_eq!(wire.next_telling(), Some(86_806));
        assert!(wire.read(200_000).is_some());
        assert_eq!(wire.next_telling(), Some(173_612));
    }

    #[test]
    fn frames_arrive_in_order_and_whole() {
        let mut out = WireOut::new(115_200);
        out.send(0, b"hello\n");
        out.send(0, b"again\n");
        assert_eq!(out.arrived(520_833), b"");
        assert_eq!(out.arrived(520_834), b"hello\n");
        assert_eq!(out.arrived(2_000_000), b"again\n");
    }
}
