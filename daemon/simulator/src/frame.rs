//! Length and check sum in front of every line, as the dialect `plain` has it. Written from its
//! page alone: the panel has its own.

/// CRC-16, polynomial 0x1021, initial value 0xFFFF, not reflected, no final xor, bit by bit: a second
/// opinion on what a panel makes of the same page.
#[must_use]
pub fn crc16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, &byte| {
        (0..8).fold(crc ^ (u16::from(byte) << 8), |c, _| {
            if c & 0x8000 == 0 {
                c << 1
            } else {
                (c << 1) ^ 0x1021
            }
        })
    })
}

/// Longest body of a line, bytes.
pub(crate) const BODY_MAX: usize = 120;

/// A body with its length and check sum in front and the end of line behind.
pub(crate) fn framed(body: &str) -> Vec<u8> {
    format!("{:02X}{:04X} {body}\n", body.len(), crc16(body.as_bytes())).into_bytes()
}

/// The body of a line (without its end), if length and check sum are right.
pub(crate) fn body(line: &[u8]) -> Option<&str> {
    let (head, rest) = line.split_at_checked(6)?;
    let (&blank, body) = rest.split_first()?;
    let text = core::str::from_utf8(head).ok()?;
    let hex = |s: &str| {
        s.bytes()
            .all(|b| b.is_ascii_digit() || (b'A'..=b'F').contains(&b))
            .then(|| u16::from_str_radix(s, 16).ok())
            .flatten()
    };
    let (length, crc) = (hex(text.get(..2)?)?, hex(text.get(2..)?)?);
    let right = blank == b' '
        && body.len() == usize::from(length)
        && body.len() <= BODY_MAX
        && body.is_ascii()
        && crc16(body) == crc;
    right.then(|| core::str::from_utf8(body).ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_check_value_is_that_of_the_page() {
        assert_eq!(crc16(b"123456789"), 0x29B1); // check value printed with the protocol
    }

    #[test]
    fn a_line_with_one_bit_turned_over_does_not_check() {
        let line = framed("12 G1 X10.5 Y-3 F1100");
        let clean = &line[..line.len() - 1];
        assert_eq!(body(clean), Some("12 G1 X10.5 Y-3 F1100"));
        for at in 0..clean.len() {
            for bit in 0..8 {
                let mut bad = clean.to_vec();
                bad[at] ^= 1 << bit;
                assert_eq!(body(&bad), None, "byte {at} bit {bit}");
            }
        }
    }
}
