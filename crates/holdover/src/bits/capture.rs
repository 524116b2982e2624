//! A capture: the bits of one card read, in the order received.

use std::fmt;

use thiserror::Error;

use super::Wide;

/// The bits of one card read, in the order received; 1 to 256 of them.
///
/// Small and `Copy`: no allocation. Bits past the length are kept 0, so that
/// equality and hashing compare the bits received.
///
/// Laws: [`complement`](Capture::complement) and [`reversed`](Capture::reversed)
/// are involutions, and they commute.
///
/// # Examples
/// ```
/// use holdover::bits::Capture;
/// let capture: Capture = "01101".parse()?;
/// assert_eq!(capture.len(), 5);
/// assert_eq!(capture.complement().to_string(), "10010");
/// assert_eq!(capture.reversed().to_string(), "10110");
/// # Ok::<(), holdover::bits::CaptureError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Capture {
    wide: Wide,
    len: u16,
}

impl Capture {
    /// The most bits a capture holds.
    pub const MAX_BITS: usize = 256;

    /// Collects bits in the order received.
    ///
    /// # Errors
    /// No bit at all, or more than [`Capture::MAX_BITS`].
    pub fn from_bits(bits: impl IntoIterator<Item = bool>) -> Result<Capture, CaptureError> {
        let mut wide = Wide::ZERO;
        let mut len = 0;
        for bit in bits {
            if len == Self::MAX_BITS {
                return Err(CaptureErrorKind::TooManyBits.into());
            }
            wide.set(len, bit);
            len += 1;
        }
        Self::from_wide(wide, len)
    }

    /// The low `len` bits of `value`, most significant first.
    ///
    /// # Errors
    /// `len` is 0 or over 128, or `value` needs more bits.
    pub fn from_number(value: u128, len: usize) -> Result<Capture, CaptureError> {
        if len > 128 || len < 128 && value >> len != 0 {
            return Err(CaptureErrorKind::TooManyBits.into());
        }
        let words = [(value >> 64) as u64, value as u64, 0, 0];
        Self::from_wide(Wide(words).towards_front(128 - len), len)
    }

    /// The first `len` bits of `wide`.
    ///
    /// # Errors
    /// `len` is 0 or over [`Capture::MAX_BITS`].
    pub fn from_wide(wide: Wide, len: usize) -> Result<Capture, CaptureError> {
        match len {
            0 => Err(CaptureErrorKind::NoBits.into()),
            1..=Self::MAX_BITS => Ok(Self::raw(wide, len)),
            _ => Err(CaptureErrorKind::TooManyBits.into()),
        }
    }

    fn raw(wide: Wide, len: usize) -> Capture {
        Capture { wide: wide & Wide::ones(len), len: len as u16 }
    }

    /// How many bits, 1 to 256.
    #[allow(clippy::len_without_is_empty, reason = "a capture is never empty")]
    pub fn len(&self) -> usize {
        usize::from(self.len)
    }

    /// The bits, first received first.
    pub fn bits(&self) -> impl DoubleEndedIterator<Item = bool> + ExactSizeIterator + Clone {
        let wide = self.wide;
        (0..self.len()).map(move |offset| wide.bit(offset))
    }

    /// The bit at `offset` (from 0); `None` past the end.
    pub fn bit(&self, offset: usize) -> Option<bool> {
        (offset < self.len()).then(|| self.wide.bit(offset))
    }

    /// The bits in front, zeros behind.
    pub fn wide(&self) -> Wide {
        self.wide
    }

    /// The bits in as many 64-bit words as hold them, zeros behind.
    pub(crate) fn words(&self) -> &[u64] {
        &self.wide.0[..self.len().div_ceil(64)]
    }

    /// Every bit inverted: what comes of swapping the two data lines.
    pub fn complement(&self) -> Capture {
        Self::raw(!self.wide(), self.len())
    }

    /// The bits in reverse order.
    pub fn reversed(&self) -> Capture {
        Self::raw(self.wide().reversed().towards_front(256 - self.len()), self.len())
    }

    /// Without the first bit; `None` where it was the only one.
    pub fn without_first(&self) -> Option<Capture> {
        (self.len > 1).then(|| Self::raw(self.wide().towards_front(1), self.len() - 1))
    }

    /// Without the last bit; `None` where it was the only one.
    pub fn without_last(&self) -> Option<Capture> {
        (self.len > 1).then(|| Self::raw(self.wide(), self.len() - 1))
    }

    /// With a bit before the first; `None` where there is no room.
    pub fn with_first(&self, bit: bool) -> Option<Capture> {
        let mut wide = self.wide().towards_end(1);
        wide.set(0, bit);
        (self.len() < Self::MAX_BITS).then(|| Self::raw(wide, self.len() + 1))
    }

    /// With a bit after the last; `None` where there is no room.
    pub fn with_last(&self, bit: bool) -> Option<Capture> {
        if self.len() == Self::MAX_BITS {
            return None;
        }
        let mut wide = self.wide();
        wide.set(self.len(), bit);
        Some(Self::raw(wide, self.len() + 1))
    }

    /// With a bit put in before the one at `offset` (from 0); `None` where
    /// there is no such place or no room.
    pub fn with_bit_before(&self, offset: usize, bit: bool) -> Option<Capture> {
        if offset > self.len() || self.len() == Self::MAX_BITS {
            return None;
        }
        let front = Wide::ones(offset);
        let mut wide = (self.wide() & front) | (self.wide() & !front).towards_end(1);
        wide.set(offset, bit);
        Some(Self::raw(wide, self.len() + 1))
    }

    /// Without the bit at `offset` (from 0); `None` where there is none, or no
    /// other.
    pub fn without_bit(&self, offset: usize) -> Option<Capture> {
        if offset >= self.len() || self.len() == 1 {
            return None;
        }
        let front = Wide::ones(offset);
        let wide = (self.wide() & front) | (self.wide().towards_front(1) & !front);
        Some(Self::raw(wide, self.len() - 1))
    }

    /// The bits as hexadecimal digits, zeros restored in front to a whole
    /// digit, as `0x…/n` reads them back.
    pub fn to_hex(&self) -> String {
        let digits = self.len().div_ceil(4);
        let wide = self.wide().towards_end(4 * digits - self.len());
        let bytes: Vec<u8> = wide.0.iter().flat_map(|w| w.to_be_bytes()).collect();
        let mut hex = hex::encode_upper(bytes);
        hex.truncate(digits);
        hex
    }
}

impl fmt::Display for Capture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text: String = self.bits().map(|bit| if bit { '1' } else { '0' }).collect();
        f.pad(&text)
    }
}

impl fmt::Debug for Capture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Capture({self})")
    }
}

/// Why something is not a capture.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(transparent)]
pub struct CaptureError(#[from] CaptureErrorKind);

impl CaptureError {
    /// Which mistake it is.
    pub fn kind(&self) -> &CaptureErrorKind {
        &self.0
    }
}

/// The mistakes a capture's text can hold. Columns are characters from 1.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum CaptureErrorKind {
    /// Nothing there.
    #[error("no bits: expected 1 to 256 of 0 and 1, or hexadecimal as 0x1A2B3C4/26")]
    NoBits,
    /// Over 256 bits.
    #[error("more than 256 bits: one capture is one card read; put each on a line of its own")]
    TooManyBits,
    /// A line without a capture.
    #[error(
        "no capture in this line: expected bits, or hexadecimal with a bit count, as 0x1A2B3C4/26"
    )]
    NoCapture,
    /// A line with more than one.
    #[error(
        "more than one capture in this line, at columns {} and {}: put each on a line of its own",
        columns[0], columns[1]
    )]
    Several {
        /// Where the first two begin.
        columns: [usize; 2],
    },
    /// Digits without a bit count where bits are needed.
    #[error("no bit count is given: write 0x…/bits, or the bits themselves")]
    NoCount,
    /// What could be a capture is a date or a time.
    #[error(
        "a date or a time, and no capture: if these are a card's digits, write 0x…/bits with \
         their bit count"
    )]
    DateOrTime,
    /// A number that a spreadsheet made of digits.
    #[error(
        "{found:?} is what a spreadsheet made of a long number, and digits are lost: format the \
         column as text and fill it in again from the source"
    )]
    SpreadsheetNumber {
        /// What stands there.
        found: String,
    },
    /// A character that is neither a bit nor a separator.
    #[error("expected 0 or 1, found {found:?} at column {column}; hexadecimal is written 0x…/bits")]
    NotABit {
        /// The character.
        found: char,
        /// Where.
        column: usize,
    },
    /// A character that is no hexadecimal digit.
    #[error("expected a hexadecimal digit, found {found:?} at column {column}")]
    NotAHexDigit {
        /// The character.
        found: char,
        /// Where.
        column: usize,
    },
    /// The part after `/` is no bit count.
    #[error("expected a bit count from 1 to 256 after the '/', found {found:?}")]
    BadCount {
        /// What stands there.
        found: String,
    },
    /// More hexadecimal digits than the bit count has room for, and not zeros.
    #[error(
        "{digits} hexadecimal digits hold more than {bits} bits, and the surplus is not zero at \
         either end; check the digits and the bit count"
    )]
    Surplus {
        /// Digits given.
        digits: usize,
        /// Bits asked for.
        bits: usize,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn involutions_commute(bits in proptest::collection::vec(any::<bool>(), 1..=256)) {
            let c = Capture::from_bits(bits.iter().copied()).unwrap();
            prop_assert_eq!(c.complement().complement(), c);
            prop_assert_eq!(c.reversed().reversed(), c);
            prop_assert_eq!(c.complement().reversed(), c.reversed().complement());
            prop_assert_eq!(c.bits().collect::<Vec<_>>(), bits);
        }

        #[test]
        fn a_bit_added_can_be_taken_away(bits in proptest::collection::vec(any::<bool>(), 1..=255), bit: bool) {
            let c = Capture::from_bits(bits).unwrap();
            prop_assert_eq!(c.with_first(bit).unwrap().without_first(), Some(c));
            prop_assert_eq!(c.with_last(bit).unwrap().without_last(), Some(c));
            prop_assert_eq!(c.with_bit_before(0, bit), c.with_first(bit));
            prop_assert_eq!(c.with_bit_before(c.len(), bit), c.with_last(bit));
            for offset in 0..=c.len() {
                let longer = c.with_bit_before(offset, bit).unwrap();
                prop_assert_eq!(longer.bit(offset), Some(bit));
                prop_assert_eq!(longer.without_bit(offset), Some(c));
            }
        }

        #[test]
        fn text_and_hex_read_back(bits in proptest::collection::vec(any::<bool>(), 1..=256)) {
            let c = Capture::from_bits(bits).unwrap();
            prop_assert_eq!(c.to_string().parse::<Capture>().unwrap(), c);
            let hex = format!("0x{}/{}", c.to_hex(), c.len());
            prop_assert_eq!(hex.parse::<Capture>().unwrap(), c);
        }
    }

    #[test]
    fn length_is_bounded() {
        assert_eq!(Capture::from_bits([]).unwrap_err().kind(), &CaptureErrorKind::NoBits);
        let long = Capture::from_bits([true; 257]).unwrap_err();
        assert_eq!(long.kind(), &CaptureErrorKind::TooManyBits);
        let full = Capture::from_bits([true; 256]).unwrap();
        assert_eq!(full.with_last(true), None);
        assert_eq!(full.with_first(true), None);
    }
}
