//! Contactless serial numbers (UID, ISO/IEC 14443-3:2018, 6.5.4; edition and
//! clause from memory): byte order, and first bytes that mean the number is none.

use crate::bits::Capture;
use crate::bits::Span;
use crate::layout::Layout;

/// First byte of a cascade level that is not the last: what follows is part
/// of a longer number (ISO/IEC 14443-3:2018, 6.5.4; clause from memory).
pub const CASCADE_TAG: u8 = 0x88;

/// First byte of a four-byte number that is drawn anew at each read
/// (ISO/IEC 14443-3:2018, 6.5.4; clause from memory).
pub const RANDOM_TAG: u8 = 0x08;

/// A serial number as read, in bytes, the first received first.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct SerialNumber {
    bytes: Vec<u8>,
}

/// What is worth knowing of a serial number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum SerialNote {
    /// The first byte sent is the cascade tag.
    Cascade,
    /// The last byte sent is the cascade tag: a fragment in reverse byte order.
    CascadeReversed,
    /// The first byte of four says the number is random.
    Random,
    /// The last byte of four says so: random, in reverse byte order.
    RandomReversed,
}

impl SerialNumber {
    /// The serial number a word carries, if its layout has one of whole bytes.
    pub fn of(layout: &Layout, word: &Capture) -> Option<SerialNumber> {
        let span: &Span = &layout.serial_field()?.span;
        if !span.len().is_multiple_of(8) || span.len() > 128 {
            return None;
        }
        let number = span.number(word);
        let bytes = number.to_be_bytes()[16 - span.len() / 8..].to_vec();
        Some(SerialNumber { bytes })
    }

    /// The bytes, the first received first.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The number with the first byte the most significant.
    pub fn number(&self) -> u128 {
        self.bytes.iter().fold(0, |n, &b| n << 8 | u128::from(b))
    }

    /// The number another reader would give that sends the bytes the other way round.
    pub fn other_order(&self) -> u128 {
        self.bytes.iter().rev().fold(0, |n, &b| n << 8 | u128::from(b))
    }

    /// Reserved bytes found, if any. A last byte can have such a value by
    /// chance (1 in 256): those notes say "if".
    pub fn notes(&self) -> Vec<SerialNote> {
        let (first, last) = (self.bytes.first().copied(), self.bytes.last().copied());
        let four = self.bytes.len() == 4;
        let mut notes = Vec::new();
        if first == Some(CASCADE_TAG) {
            notes.push(SerialNote::Cascade);
        } else if last == Some(CASCADE_TAG) {
            notes.push(SerialNote::CascadeReversed);
        }
        if four && first == Some(RANDOM_TAG) {
            notes.push(SerialNote::Random);
        } else if four && last == Some(RANDOM_TAG) {
            notes.push(SerialNote::RandomReversed);
        }
        notes
    }
}

impl SerialNote {
    /// The note as people read it.
    pub fn text(self) -> &'static str {
        match self {
            SerialNote::Cascade => {
                "first byte 0x88 is a cascade tag (ISO/IEC 14443-3): this is a fragment of a longer \
                 serial number, and two cards may send the same bits; set the reader to send the \
                 whole number"
            }
            SerialNote::CascadeReversed => {
                "last byte 0x88: if this reader sends the bytes in reverse, it is a cascade tag \
                 (ISO/IEC 14443-3) and this is a fragment of a longer serial number; read one \
                 known card to learn the byte order"
            }
            SerialNote::Random => {
                "first byte 0x08 means a random number, new at each read (ISO/IEC 14443-3): never \
                 enrol it; read this card again, it will differ"
            }
            SerialNote::RandomReversed => {
                "last byte 0x08: if this reader sends the bytes in reverse, the number is random, \
                 new at each read (ISO/IEC 14443-3); read this card again before enrolling it"
            }
        }
    }
}
