//! The wire as the panel may suppose it: bytes leave at the baud rate, in order.

use units::Time;

/// Bits on the wire for each byte: start, eight of data, stop.
const BITS_PER_BYTE: u64 = 10;

/// A byte takes so long at this baud rate, s.
pub(crate) fn byte_s(baud: u32) -> f64 {
    BITS_PER_BYTE as f64 / f64::from(baud.max(1))
}

/// How far the serial port has come with what was written to it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wire {
    byte_ns: u64,
    /// When the last byte written will have left, ns.
    free_ns: u64,
}

impl Wire {
    pub fn new(baud: u32) -> Self {
        Self {
            // Rounded up: rather wait a little than write too early.
            byte_ns: (BITS_PER_BYTE * 1_000_000_000).div_ceil(u64::from(baud.max(1))),
            free_ns: 0,
        }
    }

    /// Bytes were written.
    pub fn write(&mut self, now: Time, bytes: usize) {
        let start = self.free_ns.max(now.as_us() * 1000);
        self.free_ns = start + self.byte_ns * bytes as u64;
    }

    /// Bytes that have not left yet.
    pub fn unsent(&self, now: Time) -> usize {
        let left = self.free_ns.saturating_sub(now.as_us() * 1000);
        left.div_ceil(self.byte_ns) as usize
    }

    /// When the last byte will have left.
    pub fn free_at(&self) -> Time {
        Time::from_us(self.free_ns.div_ceil(1000))
    }

    /// When no more than `bytes` will be left.
    pub fn down_to(&self, bytes: usize) -> Time {
        let ns = self.free_ns.saturating_sub(self.byte_ns * bytes as u64);
        Time::from_us(ns.div_ceil(1000))
    }

    /// Nothing is on its way.
    pub fn reset(&mut self) {
        self.free_ns = 0;
    }
}
