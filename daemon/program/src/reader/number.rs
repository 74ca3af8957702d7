//! Numbers as the language writes them.

/// A number as it was written.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Number {
    pub value: f64,
    /// Digits after the point.
    pub decimals: u16,
    /// Digits in all.
    pub digits: u16,
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
    let size = if digits <= 15 {
        // Exact: both are whole numbers below 2^53, so one rounding alone remains.
        mantissa as f64 / POWERS[usize::from(decimals)]
    } else {
        long_number(&line[start..end])
    };
    Ok((
        Number {
            value: if negative { -size } else { size },
            decimals,
            digits,
        },
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
