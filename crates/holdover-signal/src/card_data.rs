//! The raw card data reply of IEC 60839-11-5, as a line of hexadecimal.
//!
//! It is the reply `osdp_RAW`, code 0x50 (IEC 60839-11-5:2020, 7.10; edition,
//! clause and code from memory). Its data, from memory too: reader number,
//! format, bit count (low byte, then high), then the bits, most significant
//! first, left-justified, padded with zeros.

use holdover::bits::Capture;
use serde::Serialize;
use thiserror::Error;

/// The most bits the standard lets a reply carry (from memory).
const MOST_BITS: usize = 1024;

/// Bytes before the data.
const HEAD: usize = 4;

/// How a reply says its bits are arranged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum CardDataFormat {
    /// 0: not said.
    Unspecified,
    /// 1: parity, data, parity.
    ParityDataParity,
    /// Another number, which the standard does not give a meaning.
    Other(u8),
}

/// A raw card data reply.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardData {
    /// The reader's number in the reply.
    pub reader: u8,
    /// How it says its bits are arranged.
    pub format: CardDataFormat,
    /// The bits.
    pub bits: Capture,
    /// What is odd about it: a sentence without its full stop.
    pub note: Option<String>,
}

/// Reads a reply: hexadecimal, the bytes parted by blanks, colons, dashes or
/// nothing.
///
/// # Errors
/// Anything else; a count that the data does not hold, of no bits, or of more
/// than a capture's 256.
///
/// # Examples
/// ```
/// use holdover_signal::raw_card_data;
/// let reply = raw_card_data("00 01 1A 00 70 12 34 40")?;
/// assert_eq!(reply.bits.to_string(), "01110000000100100011010001");
/// # Ok::<(), holdover_signal::CardDataError>(())
/// ```
pub fn raw_card_data(text: &str) -> Result<CardData, CardDataError> {
    let bytes = bytes(text)?;
    let [reader, format, low, high, data @ ..] = bytes.as_slice() else {
        return Err(CardDataErrorKind::TooShort { found: bytes.len() }.into());
    };
    let bits = usize::from(u16::from_le_bytes([*low, *high]));
    match bits {
        0 => return Err(CardDataErrorKind::NoBits.into()),
        1..=Capture::MAX_BITS => {}
        257..=MOST_BITS => return Err(CardDataErrorKind::TooManyBits { bits }.into()),
        _ => return Err(CardDataErrorKind::BadCount { bits }.into()),
    }
    let expected = bits.div_ceil(8);
    if data.len() != expected {
        return Err(CardDataErrorKind::Length { bits, expected, found: data.len() }.into());
    }
    let bit = |i: usize| data[i / 8] >> (7 - i % 8) & 1 == 1;
    // 1 to 256 bits, as checked.
    let capture = Capture::from_bits((0..bits).map(bit)).map_err(|_| CardDataErrorKind::NoBits)?;
    let surplus = 8 * expected - bits;
    let note = (bits..8 * expected).any(bit).then(|| {
        format!(
            "the {surplus} bits after the last are not all zero, as padding is: the count may be \
             wrong"
        )
    });
    let format = match format {
        0 => CardDataFormat::Unspecified,
        1 => CardDataFormat::ParityDataParity,
        other => CardDataFormat::Other(*other),
    };
    Ok(CardData { reader: *reader, format, bits: capture, note })
}

/// A reply from a capture, as a reader would send it: bytes in hexadecimal,
/// parted by blanks. The inverse of [`raw_card_data`].
pub fn to_raw_card_data(reader: u8, format: CardDataFormat, bits: &Capture) -> String {
    let format = match format {
        CardDataFormat::Unspecified => 0,
        CardDataFormat::ParityDataParity => 1,
        CardDataFormat::Other(other) => other,
    };
    let [low, high] = (bits.len() as u16).to_le_bytes();
    let mut bytes = vec![reader, format, low, high];
    bytes.resize(HEAD + bits.len().div_ceil(8), 0);
    for (i, bit) in bits.bits().enumerate() {
        bytes[HEAD + i / 8] |= u8::from(bit) << (7 - i % 8);
    }
    bytes.iter().map(|b| format!("{b:02X}")).collect::<Vec<_>>().join(" ")
}

fn bytes(text: &str) -> Result<Vec<u8>, CardDataError> {
    let mut bytes = Vec::new();
    let mut half: Option<(usize, u32)> = None;
    for (i, c) in text.chars().enumerate() {
        let separates = c.is_whitespace() || c == ':' || c == '-';
        match (c.to_digit(16), half) {
            (Some(low), Some((_, high))) => {
                bytes.push((high << 4 | low) as u8);
                half = None;
            }
            (Some(high), None) => half = Some((i, high)),
            (None, None) if separates => {}
            // A separator parts bytes, not the digits of one.
            (None, _) => {
                return Err(CardDataErrorKind::NotHex { found: c, column: i + 1 }.into());
            }
        }
        if bytes.len() > HEAD + MOST_BITS / 8 {
            return Err(CardDataErrorKind::TooLong.into());
        }
    }
    match half {
        Some((i, _)) => Err(CardDataErrorKind::HalfByte { column: i + 1 }.into()),
        None => Ok(bytes),
    }
}

/// Why a line is no raw card data reply.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(transparent)]
pub struct CardDataError(#[from] CardDataErrorKind);

impl CardDataError {
    /// Which mistake it is.
    pub fn kind(&self) -> &CardDataErrorKind {
        &self.0
    }
}

/// The mistakes a reply can hold. Columns are characters from 1.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum CardDataErrorKind {
    /// A character that is no hexadecimal digit and parts no bytes.
    #[error("expected two hexadecimal digits a byte, found {found:?} at column {column}")]
    NotHex {
        /// The character.
        found: char,
        /// Where.
        column: usize,
    },
    /// An odd number of digits.
    #[error(
        "expected two hexadecimal digits a byte, found one at column {column}, the end: the line \
         may be cut"
    )]
    HalfByte {
        /// Where.
        column: usize,
    },
    /// Not even the four bytes in front.
    #[error("expected reader, format and two bytes of bit count, found {found} bytes")]
    TooShort {
        /// Bytes found.
        found: usize,
    },
    /// More than any reply holds.
    #[error("expected at most 132 bytes, found more: a reply carries 1024 bits at most")]
    TooLong,
    /// A count of 0.
    #[error("expected 1 to 256 bits, found a count of 0: no card was read")]
    NoBits,
    /// More bits than a capture holds.
    #[error("expected 1 to 256 bits, found a count of {bits}: longer than any capture")]
    TooManyBits {
        /// The count.
        bits: usize,
    },
    /// A count beyond the standard.
    #[error(
        "expected at most 1024 bits, found a count of {bits}: its low byte comes before its high \
         byte"
    )]
    BadCount {
        /// The count.
        bits: usize,
    },
    /// Data of another length than the count says.
    #[error("expected {expected} bytes of data for {bits} bits, found {found}")]
    Length {
        /// The count.
        bits: usize,
        /// Bytes it needs.
        expected: usize,
        /// Bytes there are.
        found: usize,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_reply_reads_back(bits in proptest::collection::vec(any::<bool>(), 1..=256), reader: u8) {
            let capture = Capture::from_bits(bits).unwrap();
            let text = to_raw_card_data(reader, CardDataFormat::Unspecified, &capture);
            for text in [text.clone(), text.replace(' ', ""), text.replace(' ', ":"), text.replace(' ', "-")] {
                let read = raw_card_data(&text).unwrap();
                prop_assert_eq!((read.reader, read.bits, read.note), (reader, capture, None));
            }
        }

        #[test]
        fn any_text_does_no_harm(text: String) {
            let _ = raw_card_data(&text);
        }
    }

    #[test]
    fn mistakes_are_told() {
        let message = |text: &str| raw_card_data(text).unwrap_err().to_string();
        assert!(message("").contains("found 0 bytes"));
        assert!(message("00 01 1A").contains("found 3 bytes"));
        assert!(
            message("00 01 1A 00 70 12 34")
                .contains("expected 4 bytes of data for 26 bits, found 3")
        );
        assert!(message("00 01 1A 00 70 12 34 40 00").contains("found 5"));
        assert!(message("00 01 00 00").contains("count of 0"));
        assert!(message("00 01 2C 01 00").contains("count of 300"));
        assert!(message("00 01 00 1A 70").contains("low byte"));
        assert!(message("0g").contains("'g' at column 2"));
        assert!(message("00 0").contains("column 4"));
        assert!(message("0 001").contains("' ' at column 2"));
        assert!(message(&"0".repeat(10_000)).contains("132"));
        assert!(raw_card_data("00011A007012347F").unwrap().note.is_some());
    }
}
