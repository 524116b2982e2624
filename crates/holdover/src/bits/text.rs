//! Captures as text: `0110…` with separators, or hexadecimal with a bit count.

use std::fmt;
use std::str::FromStr;

use super::digits::pack;
use super::{Capture, CaptureError, CaptureErrorKind};

/// A capture read from text, with what had to be assumed to read it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CaptureText {
    /// The bits.
    pub capture: Capture,
    /// What was assumed, if anything.
    pub note: Option<TextNote>,
}

/// Something that had to be assumed to read hexadecimal as bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum TextNote {
    /// The surplus bits were zeros at both ends; those in front were dropped.
    /// `behind` is what the digits hold when the zeros behind are dropped instead.
    ZerosInFront {
        /// The other way to read the digits.
        behind: Capture,
    },
    /// No bit count was given; four bits a digit were taken.
    CountAssumed {
        /// The bits taken.
        bits: usize,
    },
}

impl fmt::Display for TextNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TextNote::ZerosInFront { behind } => write!(
                f,
                "the digits hold more bits than that, with zeros at both ends: the zeros in front \
                 were dropped; without those behind it would be {behind}"
            ),
            TextNote::CountAssumed { bits } => {
                write!(f, "no bit count given: {bits} bits taken; write 0x…/bits to be sure")
            }
        }
    }
}

/// Characters allowed between bits, beside white space.
const SEPARATORS: [char; 3] = ['_', '-', ':'];

fn separates(c: char) -> bool {
    c.is_whitespace() || SEPARATORS.contains(&c)
}

impl FromStr for CaptureText {
    type Err = CaptureError;

    /// Reads `0110 1…` (spaces, `_`, `-`, `:` allowed between bits) or
    /// `0x1A2B3C4/26`: hexadecimal, then the number of bits.
    ///
    /// Where the digits hold more bits than the count, the surplus must be
    /// zeros, in front or behind; where they hold fewer, leading zeros are
    /// restored.
    fn from_str(text: &str) -> Result<Self, CaptureError> {
        let trimmed = text.trim();
        let skipped = text.chars().count() - text.trim_start().chars().count();
        match trimmed.strip_prefix("0x").or_else(|| trimmed.strip_prefix("0X")) {
            Some(hex) => read_hex(hex, skipped + 2),
            None => Ok(CaptureText { capture: read_bits(trimmed, skipped)?, note: None }),
        }
    }
}

impl FromStr for Capture {
    type Err = CaptureError;

    /// As [`CaptureText`] reads it, the note left out.
    fn from_str(text: &str) -> Result<Self, CaptureError> {
        text.parse::<CaptureText>().map(|read| read.capture)
    }
}

fn read_bits(text: &str, skipped: usize) -> Result<Capture, CaptureError> {
    let mut bits = Vec::with_capacity(text.len().min(Capture::MAX_BITS));
    for (i, c) in text.chars().enumerate() {
        match c {
            '0' => bits.push(false),
            '1' => bits.push(true),
            c if separates(c) => continue,
            found => {
                return Err(CaptureErrorKind::NotABit { found, column: skipped + i + 1 }.into());
            }
        }
        if bits.len() > Capture::MAX_BITS {
            return Err(CaptureErrorKind::TooManyBits.into());
        }
    }
    Capture::from_bits(bits)
}

fn read_hex(text: &str, skipped: usize) -> Result<CaptureText, CaptureError> {
    let (digits, count) = match text.split_once('/') {
        Some((digits, count)) => (digits, Some(read_count(count.trim())?)),
        None => (text, None),
    };
    let mut nibbles = Vec::new();
    for (i, c) in digits.chars().enumerate() {
        match c.to_digit(16) {
            Some(digit) => nibbles.push(digit as u8),
            None if separates(c) => {}
            None => {
                let column = skipped + i + 1;
                return Err(CaptureErrorKind::NotAHexDigit { found: c, column }.into());
            }
        }
        // Surplus zeros are allowed, but not without bound.
        if nibbles.len() > Capture::MAX_BITS {
            return Err(CaptureErrorKind::TooManyBits.into());
        }
    }
    if nibbles.is_empty() {
        return Err(CaptureErrorKind::NoBits.into());
    }
    let held = 4 * nibbles.len();
    let Some(bits) = count else {
        let capture = take(&nibbles, 0, held)?;
        return Ok(CaptureText { capture, note: Some(TextNote::CountAssumed { bits: held }) });
    };
    if bits >= held {
        let capture = Capture::from_wide(pack(&nibbles).towards_end(bits - held), bits)?;
        return Ok(CaptureText { capture, note: None });
    }
    let surplus = held - bits;
    let bit = |i: usize| nibbles[i / 4] >> (3 - i % 4) & 1 == 1;
    let front = !(0..surplus).any(bit);
    let behind = !(bits..held).any(bit);
    let capture = match (front, behind) {
        (true, _) => take(&nibbles, surplus, bits)?,
        (false, true) => take(&nibbles, 0, bits)?,
        (false, false) => {
            return Err(CaptureErrorKind::Surplus { digits: nibbles.len(), bits }.into());
        }
    };
    let note = match (front, behind) {
        (true, true) => Some(take(&nibbles, 0, bits)?)
            .filter(|behind| *behind != capture)
            .map(|behind| TextNote::ZerosInFront { behind }),
        _ => None,
    };
    Ok(CaptureText { capture, note })
}

fn read_count(text: &str) -> Result<usize, CaptureError> {
    match text.parse::<usize>() {
        Ok(count @ 1..=Capture::MAX_BITS) if text.bytes().all(|b| b.is_ascii_digit()) => Ok(count),
        _ => Err(CaptureErrorKind::BadCount { found: text.chars().take(20).collect() }.into()),
    }
}

/// `len` bits of the digits from bit `from`.
fn take(nibbles: &[u8], from: usize, len: usize) -> Result<Capture, CaptureError> {
    let bit = |i: usize| nibbles[i / 4] >> (3 - i % 4) & 1 == 1;
    Capture::from_bits((from..from + len).map(bit))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bits(text: &str) -> String {
        text.parse::<Capture>().unwrap().to_string()
    }

    #[test]
    fn separators_stand_between_bits() {
        assert_eq!(bits(" 01 1_0-1:0\t"), "011010");
    }

    #[test]
    fn hex_is_padded_at_either_end() {
        // 26 bits, left-justified in four bytes, and right-justified: arithmetic.
        let left = "0x70123440/26".parse::<CaptureText>().unwrap();
        assert_eq!(left.capture.to_string(), "01110000000100100011010001");
        assert_eq!(left.note, None);
        assert_eq!(bits("0x1C048D1/26"), "01110000000100100011010001");
        // Fewer digits than bits: zeros restored in front.
        assert_eq!(bits("0x1/26"), "00000000000000000000000001");
    }

    #[test]
    fn both_paddings_fit_and_it_says_so() {
        let both = "0x0240/12".parse::<CaptureText>().unwrap();
        assert_eq!(both.capture.to_string(), "001001000000");
        let Some(TextNote::ZerosInFront { behind }) = both.note else { panic!("{both:?}") };
        assert_eq!(behind.to_string(), "000000100100");
        // All zeros read the same either way: nothing to note.
        assert_eq!("0x0000/12".parse::<CaptureText>().unwrap().note, None);
    }

    #[test]
    fn no_count_is_said() {
        let read = "0xD0".parse::<CaptureText>().unwrap();
        assert_eq!(read.note, Some(TextNote::CountAssumed { bits: 8 }));
    }

    #[test]
    fn mistakes_say_where() {
        let message = |text: &str| text.parse::<Capture>().unwrap_err().to_string();
        assert!(message("0102").contains("'2' at column 4"), "{}", message("0102"));
        assert!(message(" 0x1G/8").contains("'G' at column 5"), "{}", message(" 0x1G/8"));
        assert!(message("0xFF/4").contains("surplus"));
        assert!(message("0xFF/300").contains("1 to 256"));
        assert!(message("0xFF/+7").contains("1 to 256"));
        assert!(message("").contains("no bits"));
        assert!(message("0x/8").contains("no bits"));
        assert!(message(&"1".repeat(257)).contains("more than 256"));
        assert!(message(&format!("0x{}", "0".repeat(100_000))).contains("more than 256"));
    }
}
