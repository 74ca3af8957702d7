//! Bytes that wait to be written: take-away bytes ahead of lines.

use std::io;

use crate::guard_thread::{Bar, Gate};

/// Two short queues. Lines can be thrown away as a whole; take-away bytes never are.
#[derive(Debug, Default)]
pub struct Outbox {
    away: Vec<u8>,
    lines: Vec<u8>,
}

impl Outbox {
    /// Queues bytes that can only take away.
    pub fn take_away(&mut self, bytes: &[u8]) {
        self.away.extend_from_slice(bytes);
    }

    /// Queues lines.
    pub fn line(&mut self, bytes: &[u8]) {
        self.lines.extend_from_slice(bytes);
    }

    /// The port has gone.
    pub fn clear(&mut self) {
        self.away.clear();
        self.lines.clear();
    }

    /// Nothing waits.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.away.is_empty() && self.lines.is_empty()
    }

    /// Writes as much as the port takes now; returns how many bytes went. Lines pass the gate, one
    /// write at a time; those of before a trip are thrown away.
    ///
    /// # Errors
    /// What the port says, but for "not now".
    pub fn write(
        &mut self,
        gate: Gate<'_>,
        mut port: impl FnMut(&[u8]) -> io::Result<usize>,
    ) -> io::Result<usize> {
        let mut written = 0;
        for (queue, lines) in [(&mut self.away, false), (&mut self.lines, true)] {
            while !queue.is_empty() {
                let wrote = if lines {
                    match gate.pass(|| port(queue)) {
                        Ok(wrote) => wrote,
                        Err(Bar::Trip) => {
                            queue.clear();
                            break;
                        }
                        Err(Bar::NotYet) => break,
                    }
                } else {
                    port(queue)
                };
                match wrote {
                    Ok(0) => return Ok(written),
                    Ok(n) => {
                        queue.drain(..n);
                        written += n;
                    }
                    Err(error) if error.kind() == io::ErrorKind::WouldBlock => return Ok(written),
                    Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                    Err(error) => return Err(error),
                }
            }
        }
        Ok(written)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::guard_thread::Shared;

    fn told(outbox: &mut Outbox, shared: &Shared, handled: u64) -> Vec<u8> {
        let mut wire = Vec::new();
        let written = outbox.write(shared.gate(handled), |bytes| {
            wire.extend_from_slice(bytes);
            Ok(bytes.len())
        });
        assert_eq!(written.ok(), Some(wire.len()));
        wire
    }

    #[test]
    fn take_away_bytes_go_before_lines_that_were_queued_earlier() {
        let mut outbox = Outbox::default();
        outbox.line(b"G1 X1\n");
        outbox.take_away(&[0x9C]);
        assert_eq!(told(&mut outbox, &Shared::default(), 0), b"\x9CG1 X1\n");
    }

    #[test]
    fn a_trip_drops_lines_and_keeps_take_away_bytes() {
        let mut outbox = Outbox::default();
        outbox.line(b"G1 X1\n");
        outbox.take_away(&[0x9C]);
        let shared = Shared::default();
        shared.shut(1);
        assert_eq!(told(&mut outbox, &shared, 0), [0x9C]);
        assert!(outbox.is_empty());
        shared.settled();
        assert_eq!(told(&mut outbox, &shared, 1), b"");
    }

    #[test]
    fn lines_of_the_new_epoch_wait_until_the_guards_own_bytes_are_out() {
        let mut outbox = Outbox::default();
        let shared = Shared::default();
        shared.shut(1);
        outbox.line(b"begin 2\n");
        assert_eq!(told(&mut outbox, &shared, 1), b"");
        assert!(!outbox.is_empty(), "kept");
        shared.settled();
        assert_eq!(told(&mut outbox, &shared, 1), b"begin 2\n");
    }

    #[test]
    fn a_trip_between_two_writes_of_one_line_stops_the_rest() {
        let mut outbox = Outbox::default();
        outbox.line(b"G1 X1\n");
        let shared = Shared::default();
        let mut wire = Vec::new();
        let written = outbox.write(shared.gate(0), |bytes| {
            wire.push(bytes[0]);
            shared.shut(1);
            Ok(1)
        });
        assert_eq!((written.ok(), wire), (Some(1), b"G".to_vec()));
        assert!(outbox.is_empty());
    }

    #[test]
    fn a_port_that_takes_nothing_now_keeps_everything() {
        let mut outbox = Outbox::default();
        outbox.line(b"abc");
        let mut first = true;
        let shared = Shared::default();
        let written = outbox.write(shared.gate(0), |_| {
            if std::mem::take(&mut first) {
                Ok(1)
            } else {
                Err(io::ErrorKind::WouldBlock.into())
            }
        });
        assert_eq!(written.ok(), Some(1));
        assert!(!outbox.is_empty());
    }
}
