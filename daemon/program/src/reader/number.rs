//! Numbers as the language writes them.

/// A number as it was written. Two fields, so that it is handed on in two registers: three went through
/// memory, where reading them as one before they had been written as three took half the time of scanning.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Number {
    pub value: f64,
    /// Digits after the point, and in its upper half digits in all.
    places: u32,
}

impl Number {
    fn new(value: f64, decimals: u16, digits: u16) -> Self {
        let places = u32::from(digits) << 16 | u32::from(decimals);
        Self { value, places }
    }

    /// Digits after the point.
    pub fn decimals(self) -> u16 {
        self.places as u16
    }

    /// Digits in all.
    pub fn digits(self) -> u16 {
        (self.places >> 16) as u16
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Bad {
    Missing,
    SecondPoint,
    Comma,
    Expression,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct BadNumber {
    /// Byte where reading can go on.
    pub offset: usize,
    pub kind: Bad,
}

const POWERS: [f64; 19] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18,
];

/// So many digits make a whole number that a double holds.
const EXACT_DIGITS: usize = 15;

/// A number as nearly every program writes it: sign, digits, point, digits in one go, 15 digits at most, and
/// then a space or the next letter. `None`: something else, which [`number`] may read all the same.
pub(crate) fn plain(line: &[u8], start: usize) -> Option<(Number, usize)> {
    let mut i = start;
    let sign = line.get(i).copied();
    let negative = sign == Some(b'-');
    i += usize::from(negative || sign == Some(b'+'));
    let mut mantissa = 0_u64;
    let mut run = |i: &mut usize| {
        let from = *i;
        while let Some(digit) = line
            .get(*i)
            .map(|b| b.wrapping_sub(b'0'))
            .filter(|d| *d < 10)
        {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
            *i += 1;
        }
        *i - from
    };
    let whole = run(&mut i);
    let decimals = match line.get(i) {
        Some(b'.') => {
            i += 1;
            run(&mut i)
        }
        _ => 0,
    };
    let digits = whole + decimals;
    if digits == 0 || digits > EXACT_DIGITS {
        return None;
    }
    // Spaces mean nothing: more of the number may stand behind them.
    while line.get(i) == Some(&b' ') {
        i += 1;
    }
    if line.get(i).is_some_and(|b| !b.is_ascii_alphabetic()) {
        return None;
    }
    // Exact: both are whole numbers below 2^53, so one rounding alone remains.
    let size = mantissa as f64 / POWERS[decimals];
    let value = if negative { -size } else { size };
    Some((Number::new(value, decimals as u16, digits as u16), i))
}

/// Reads a number as NISTIR 6556 3.3.2.1 has it: a sign or none, digits with at most one point,
/// at least one digit, no exponent; spaces and tabs mean nothing.
pub(crate) fn number(line: &[u8], start: usize) -> Result<(Number, usize), BadNumber> {
    let mut mantissa = 0_u64;
    let (mut digits, mut decimals) = (0_u16, 0_u16);
    let (mut signed, mut negative, mut point) = (false, false, false);
    let mut i = start;
    // Where the number's own characters end: spaces behind it are not of it.
    let mut end = start;
    while let Some(&byte) = line.get(i) {
        match byte {
            b'0'..=b'9' => {
                if digits < 18 {
                    mantissa = mantissa * 10 + u64::from(byte - b'0');
                }
                digits = digits.saturating_add(1);
                decimals = decimals.saturating_add(u16::from(point));
            }
            b'.' if point => {
                return Err(BadNumber {
                    offset: i,
                    kind: Bad::SecondPoint,
                });
            }
            b'.' => point = true,
            b'+' | b'-' if !signed && digits == 0 && !point => {
                signed = true;
                negative = byte == b'-';
            }
            b' ' | b'\t' => {
                i += 1;
                continue;
            }
            b',' if digits > 0 => {
                return Err(BadNumber {
                    offset: i,
                    kind: Bad::Comma,
                });
            }
            b'#' | b'[' if digits == 0 => {
                return Err(BadNumber {
                    offset: i,
                    kind: Bad::Expression,
                });
            }
            _ => break,
        }
        i += 1;
        end = i;
    }
    if digits == 0 {
        return Err(BadNumber {
            offset: i,
            kind: Bad::Missing,
        });
    }
    let size = if usize::from(digits) <= EXACT_DIGITS {
        // Exact: both are whole numbers below 2^53, so one rounding alone remains.
        mantissa as f64 / POWERS[usize::from(decimals)]
    } else {
        long_number(&line[start..end])
    };
    Ok((
        Number::new(if negative { -size } else { size }, decimals, digits),
        i,
    ))
}

/// A number of more digits than a quick sum can carry; its sign is left out.
fn long_number(text: &[u8]) -> f64 {
    let plain: String = text
        .iter()
        .filter(|b| b.is_ascii_digit() || **b == b'.')
        .map(|&b| char::from(b))
        .collect();
    plain.parse().unwrap_or(f64::INFINITY)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn a_plain_number_is_read_as_any_other(text in "[-+]?[0-9. ]{0,18}[ XY(#,\\t;]{0,2}") {
            if let Some(read) = plain(text.as_bytes(), 0) {
                prop_assert_eq!(number(text.as_bytes(), 0), Ok(read));
            }
        }
    }

    #[test]
    fn what_most_programs_write_is_plain_and_the_rest_is_not() {
        for text in ["1", "-12.5", "+0.25 Y", ".5X", "5.", "123456789012345"] {
            assert!(plain(text.as_bytes(), 0).is_some(), "{text}");
        }
        for text in [
            "",
            "-",
            ".",
            "1 2",
            "1.2.3",
            "1,5",
            "1#",
            "1(",
            "- 1",
            "1234567890123456",
        ] {
            assert!(plain(text.as_bytes(), 0).is_none(), "{text}");
        }
    }
}
