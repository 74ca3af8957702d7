//! Bytes that wait to be written: take-away bytes ahead of lines.

use std::io;

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

    /// The guard has tripped: no line may pass.
    pub fn drop_lines(&mut self) {
        self.lines.clear();
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

    /// Writes as much as the port takes now; returns how many bytes went.
    ///
    /// # Errors
    /// What the port says, but for "not now".
    pub fn write(&mut self, mut port: impl FnMut(&[u8]) -> io::Result<usize>) -> io::Result<usize> {
        let mut written = 0;
        for queue in [&mut self.away, &mut self.lines] {
            while !queue.is_empty() {
                match port(queue) {
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

    #[test]
    fn take_away_bytes_go_before_lines_that_were_queued_earlier() {
        let mut outbox = Outbox::default();
        outbox.line(b"G1 X1\n");
        outbox.take_away(&[0x9C]);
        let mut wire = Vec::new();
        let written = outbox.write(|bytes| {
            wire.extend_from_slice(bytes);
            Ok(bytes.len())
        });
        assert_eq!(written.ok(), Some(7));
        assert_eq!(wire, b"\x9CG1 X1\n");
    }

    #[test]
    fn a_trip_drops_lines_and_keeps_take_away_bytes() {
        let mut outbox = Outbox::default();
        outbox.line(b"G1 X1\n");
        outbox.take_away(&[0x9C]);
        outbox.drop_lines();
        let mut wire = Vec::new();
        let _ = outbox.write(|bytes| {
            wire.extend_from_slice(bytes);
            Ok(bytes.len())
        });
        assert_eq!(wire, [0x9C]);
    }

    #[test]
    fn a_port_that_takes_nothing_now_keeps_everything() {
        let mut outbox = Outbox::default();
        outbox.line(b"abc");
        let mut first = true;
        let written = outbox.write(|_| {
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
