//! Cells of a table: numbers, times and levels.

use crate::change::Level;
use crate::time::LATEST;

/// A cell without blanks and quotes around it.
#[inline]
pub(crate) fn trimmed(cell: &[u8]) -> &[u8] {
    let cell = cell.trim_ascii();
    match cell {
        [b'"', inner @ .., b'"'] | [b'\'', inner @ .., b'\''] => inner.trim_ascii(),
        _ => cell,
    }
}

/// A decimal number, exactly: `digits` × 10^`exponent`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Decimal {
    negative: bool,
    digits: u64,
    exponent: i32,
}

/// Digits kept of a number: as many as 64 bits always hold.
const DIGITS_KEPT: u32 = 19;

impl Decimal {
    /// Reads `-12.5e-3`; a decimal comma too where it parts no cells.
    #[inline]
    pub(crate) fn read(text: &[u8], comma: bool) -> Option<Decimal> {
        let (negative, mut rest) = match text {
            [b'-', rest @ ..] => (true, rest),
            [b'+', rest @ ..] => (false, rest),
            _ => (false, text),
        };
        let (mut digits, mut kept, mut exponent) = (0u64, 0u32, 0i32);
        let (mut any, mut point) = (false, false);
        while let [first, tail @ ..] = rest {
            match first {
                b'0'..=b'9' => {
                    any = true;
                    if kept < DIGITS_KEPT {
                        digits = digits * 10 + u64::from(first - b'0');
                        kept += u32::from(digits > 0);
                        exponent -= i32::from(point);
                    } else {
                        exponent = exponent.saturating_add(i32::from(!point));
                    }
                }
                b'.' if !point => point = true,
                b',' if comma && !point => point = true,
                b'e' | b'E' if any => {
                    let power = std::str::from_utf8(tail).ok()?.parse::<i32>().ok()?;
                    exponent = exponent.saturating_add(power);
                    break;
                }
                _ => return None,
            }
            rest = tail;
        }
        any.then_some(Decimal { negative, digits, exponent })
    }

    /// As a time in whole ns, `unit` being the power of ten of a second it is
    /// in; parts of a ns are dropped. `None` beyond [`LATEST`].
    #[inline]
    pub(crate) fn nanos(self, unit: i32) -> Option<i64> {
        let power = self.exponent.saturating_add(unit).saturating_add(9);
        let whole = match power {
            _ if self.digits == 0 => 0,
            0..=18 => self.digits.checked_mul(10u64.checked_pow(power as u32)?)?,
            -19..=-1 => self.digits.checked_div(10u64.checked_pow(power.unsigned_abs())?)?,
            i32::MIN..=-20 => 0,
            _ => return None,
        };
        let nanos = i64::try_from(whole).ok().filter(|n| *n <= LATEST)?;
        Some(if self.negative { -nanos } else { nanos })
    }

    /// A whole number, if it is one.
    pub(crate) fn whole(self) -> Option<u64> {
        let positive = !self.negative || self.digits == 0;
        match self.exponent {
            _ if !positive => None,
            0 => Some(self.digits),
            e @ 1..=18 => self.digits.checked_mul(10u64.pow(e as u32)),
            e @ -18..=-1 => {
                let ten = 10u64.pow(e.unsigned_abs());
                self.digits.is_multiple_of(ten).then_some(self.digits / ten)
            }
            _ => None,
        }
    }

    pub(crate) fn value(self) -> f64 {
        let size = self.digits as f64 * 10f64.powi(self.exponent);
        if self.negative { -size } else { size }
    }
}

/// How a column's cells become levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Levels {
    /// 0 and 1.
    Bits,
    /// Volts: low below the first, high above the second, as before between.
    Volts(f64, f64),
}

/// A cell's level: `Some(None)`: between the thresholds. `None`: no level.
#[inline]
pub(crate) fn level(cell: &[u8], levels: Levels, comma: bool) -> Option<Option<Level>> {
    if levels == Levels::Bits {
        match cell {
            b"0" => return Some(Some(Level::Low)),
            b"1" => return Some(Some(Level::High)),
            _ => {}
        }
    }
    if let Some(word) = word(cell) {
        return Some(Some(word));
    }
    let value = Decimal::read(cell, comma)?.value();
    let (low, high) = match levels {
        Levels::Bits => (0.5, 0.5),
        Levels::Volts(low, high) => (low, high),
    };
    Some(match value {
        v if v < low => Some(Level::Low),
        v if v >= high => Some(Level::High),
        _ => None,
    })
}

/// A level written as a word.
pub(crate) fn word(cell: &[u8]) -> Option<Level> {
    match cell.to_ascii_lowercase().as_slice() {
        b"l" | b"lo" | b"low" | b"false" | b"off" => Some(Level::Low),
        b"h" | b"hi" | b"high" | b"true" | b"on" => Some(Level::High),
        b"z" => Some(Level::Released),
        b"x" | b"u" | b"-" | b"" | b"nan" => Some(Level::Unknown),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn nanos(text: &str, unit: i32) -> Option<i64> {
        Decimal::read(text.as_bytes(), true)?.nanos(unit)
    }

    #[test]
    fn times_are_exact() {
        assert_eq!(nanos("0.000123456", 0), Some(123_456));
        assert_eq!(nanos("-1.5E-3", 0), Some(-1_500_000));
        assert_eq!(nanos("1700000000.123456789", 0), Some(1_700_000_000_123_456_789));
        assert_eq!(nanos("12,5", -6), Some(12_500));
        assert_eq!(nanos("1e-30", 0), Some(0));
        assert_eq!(nanos("0e99", 0), Some(0));
        assert_eq!(nanos("1e30", 0), None);
        assert_eq!(nanos("1e", 0), None);
        assert_eq!(nanos("", 0), None);
        assert_eq!(nanos(".", 0), None);
        assert_eq!(nanos("1.2.3", 0), None);
        assert_eq!(nanos("123456789012345678901234567890", -15), None);
        assert_eq!(nanos("0.123456789012345678901234567890", 0), Some(123_456_789));
    }

    #[test]
    fn levels_of_every_kind() {
        let bit = |text: &str| level(text.as_bytes(), Levels::Bits, false);
        assert_eq!(bit("0"), Some(Some(Level::Low)));
        assert_eq!(bit("1.0"), Some(Some(Level::High)));
        assert_eq!(bit("HIGH"), Some(Some(Level::High)));
        assert_eq!(bit(""), Some(Some(Level::Unknown)));
        assert_eq!(bit("ab"), None);
        let volt = |text: &str| level(text.as_bytes(), Levels::Volts(2.0, 3.0), true);
        assert_eq!(volt("4.98"), Some(Some(Level::High)));
        assert_eq!(volt("0,02"), Some(Some(Level::Low)));
        assert_eq!(volt("2.5"), Some(None));
        assert_eq!(trimmed(b" \"0.5 \" "), b"0.5");
    }

    proptest! {
        #[test]
        fn numbers_read_as_the_standard_library_reads_them(value in -1e9f64..1e9) {
            let read = Decimal::read(format!("{value}").as_bytes(), false).unwrap();
            prop_assert!((read.value() - value).abs() <= value.abs() * 1e-14 + 1e-14);
            let read = Decimal::read(format!("{value:e}").as_bytes(), false).unwrap();
            prop_assert!((read.value() - value).abs() <= value.abs() * 1e-14 + 1e-14);
        }

        #[test]
        fn bytes_of_any_kind_do_no_harm(bytes: Vec<u8>) {
            let _ = Decimal::read(&bytes, true).map(|d| (d.nanos(0), d.whole(), d.value()));
            let _ = level(trimmed(&bytes), Levels::Bits, true);
        }
    }
}
