//! Sums over a line, by which the far end knows that it came through whole.

use serde::Deserialize;

/// CRC-16 with polynomial 0x1021, initial value 0xFFFF, not reflected, no final xor (check value of
/// `123456789`: 29B1), as the dialect `plain` uses it.
#[must_use]
pub fn crc16(bytes: &[u8]) -> u16 {
    Crc16::PLAIN.of(bytes)
}

/// The parameters of a 16-bit cyclic redundancy check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Crc16 {
    /// Polynomial without its highest term, highest bit first.
    pub polynomial: u16,
    /// What the register starts with.
    #[serde(default)]
    pub initial: u16,
    /// Lowest bit first, in and out.
    #[serde(default)]
    pub reflected: bool,
    /// Laid over the result.
    #[serde(default)]
    pub final_xor: u16,
}

impl Crc16 {
    /// The parameters of [`crc16`].
    pub const PLAIN: Self = Self {
        polynomial: 0x1021,
        initial: 0xFFFF,
        reflected: false,
        final_xor: 0,
    };

    /// The check over `bytes`.
    #[must_use]
    pub fn of(&self, bytes: &[u8]) -> u16 {
        let mut register = self.initial;
        for &byte in bytes {
            let byte = if self.reflected {
                byte.reverse_bits()
            } else {
                byte
            };
            register ^= u16::from(byte) << 8;
            for _ in 0..8 {
                let carry = register & 0x8000 != 0;
                register <<= 1;
                if carry {
                    register ^= self.polynomial;
                }
            }
        }
        if self.reflected {
            register = register.reverse_bits();
        }
        register ^ self.final_xor
    }
}

/// How the check of a line is made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Check {
    /// There is none.
    #[default]
    None,
    /// A cyclic redundancy check of 16 bits.
    Crc16(Crc16),
    /// All bytes laid over each other by exclusive or.
    Xor,
    /// The sum of all bytes, modulo 256.
    Sum,
}

impl Check {
    /// The check over `bytes`; 0 where there is none.
    #[must_use]
    pub fn of(&self, bytes: &[u8]) -> u64 {
        match self {
            Self::None => 0,
            Self::Crc16(crc) => u64::from(crc.of(bytes)),
            Self::Xor => u64::from(bytes.iter().fold(0, |sum, b| sum ^ b)),
            Self::Sum => u64::from(bytes.iter().fold(0_u8, |sum, b| sum.wrapping_add(*b))),
        }
    }

    /// Whether a line carries a check at all.
    #[must_use]
    pub fn is_some(&self) -> bool {
        *self != Self::None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_published_check_value_comes_out() {
        // CRC-16 catalogue entry of these parameters (IBM-3740): "123456789" -> 29B1.
        assert_eq!(crc16(b"123456789"), 0x29B1);
    }

    proptest! {
        #[test]
        fn it_agrees_with_an_implementation_that_is_not_ours(bytes: Vec<u8>) {
            let other = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740);
            prop_assert_eq!(crc16(&bytes), other.checksum(&bytes));
            let other = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS);
            let ours = Crc16 { polynomial: 0x8005, initial: 0xFFFF, reflected: true, final_xor: 0 };
            prop_assert_eq!(ours.of(&bytes), other.checksum(&bytes));
        }
    }
}
