//! Readings: what may have happened between card and file.

use std::fmt;

use crate::bits::Capture;

/// What may have happened between card and file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Reading {
    /// Nothing.
    AsCaptured,
    /// The two data lines are swapped: every bit inverted.
    LinesSwapped,
    /// The bits came in reverse order.
    Reversed,
    /// Both.
    LinesSwappedReversed,
    /// The card's first bit was not caught.
    FirstBitLost,
    /// The card's last bit was not caught.
    LastBitLost,
    /// A bit that is not the card's came first.
    ExtraFirstBit,
    /// A bit that is not the card's came last.
    ExtraLastBit,
    /// The bytes of a serial number came in reverse order.
    BytesReversed,
    /// Of a serial number of seven bytes the first four came.
    FirstFourBytes,
    /// Of a serial number of seven bytes the last four came.
    LastFourBytes,
}

/// Bits of four bytes, and of the three left of seven.
const FOUR_BYTES: usize = 32;
const THREE_BYTES: usize = 24;

/// A word the card may have sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Word {
    /// The bits.
    pub word: Capture,
    /// The value given to a lost bit, which the capture can't tell.
    pub restored: Option<bool>,
}

impl Reading {
    /// The readings of any capture.
    pub const ALL: [Reading; 8] = [
        Reading::AsCaptured,
        Reading::LinesSwapped,
        Reading::Reversed,
        Reading::LinesSwappedReversed,
        Reading::FirstBitLost,
        Reading::LastBitLost,
        Reading::ExtraFirstBit,
        Reading::ExtraLastBit,
    ];

    /// The readings of a bare serial number alone, which a print tells.
    pub const SERIAL: [Reading; 3] =
        [Reading::BytesReversed, Reading::FirstFourBytes, Reading::LastFourBytes];

    /// The readings that are a state of the wiring, the same for every card.
    pub const WIRING: [Reading; 4] = [
        Reading::AsCaptured,
        Reading::LinesSwapped,
        Reading::Reversed,
        Reading::LinesSwappedReversed,
    ];

    /// The name as output writes it.
    pub fn name(self) -> &'static str {
        match self {
            Reading::AsCaptured => "as-captured",
            Reading::LinesSwapped => "lines-swapped",
            Reading::Reversed => "reversed",
            Reading::LinesSwappedReversed => "lines-swapped-reversed",
            Reading::FirstBitLost => "first-bit-lost",
            Reading::LastBitLost => "last-bit-lost",
            Reading::ExtraFirstBit => "extra-first-bit",
            Reading::ExtraLastBit => "extra-last-bit",
            Reading::BytesReversed => "bytes-reversed",
            Reading::FirstFourBytes => "first-four-bytes",
            Reading::LastFourBytes => "last-four-bytes",
        }
    }

    /// The words the card may have sent: one, or two where a bit was lost.
    /// None where the capture is too short or too long for it, and none where
    /// bytes were left out: nothing in the capture tells them.
    pub fn words(self, capture: &Capture) -> impl Iterator<Item = Word> {
        let one = |word: Option<Capture>| [word.map(|word| Word { word, restored: None }), None];
        let two = |with: &dyn Fn(bool) -> Option<Capture>| {
            [false, true].map(|bit| with(bit).map(|word| Word { word, restored: Some(bit) }))
        };
        let words = match self {
            Reading::AsCaptured => one(Some(*capture)),
            Reading::LinesSwapped => one(Some(capture.complement())),
            Reading::Reversed => one(Some(capture.reversed())),
            Reading::LinesSwappedReversed => one(Some(capture.complement().reversed())),
            Reading::FirstBitLost => two(&|bit| capture.with_first(bit)),
            Reading::LastBitLost => two(&|bit| capture.with_last(bit)),
            Reading::ExtraFirstBit => one(capture.without_first()),
            Reading::ExtraLastBit => one(capture.without_last()),
            Reading::BytesReversed => one(bytes_reversed(capture)),
            Reading::FirstFourBytes | Reading::LastFourBytes => one(None),
        };
        words.into_iter().flatten()
    }

    /// What a reader captures of a card's word when this has happened; `bit`
    /// is the one gained, where one is. The inverse of [`Reading::words`].
    pub fn capture_of(self, word: &Capture, bit: bool) -> Option<Capture> {
        match self {
            Reading::AsCaptured => Some(*word),
            Reading::LinesSwapped => Some(word.complement()),
            Reading::Reversed => Some(word.reversed()),
            Reading::LinesSwappedReversed => Some(word.reversed().complement()),
            Reading::FirstBitLost => word.without_first(),
            Reading::LastBitLost => word.without_last(),
            Reading::ExtraFirstBit => word.with_first(bit),
            Reading::ExtraLastBit => word.with_last(bit),
            Reading::BytesReversed => bytes_reversed(word),
            Reading::FirstFourBytes | Reading::LastFourBytes => {
                let from = if self == Reading::LastFourBytes { THREE_BYTES } else { 0 };
                let bits = word.bits().skip(from).take(FOUR_BYTES);
                let seven = word.len() == FOUR_BYTES + THREE_BYTES;
                seven.then(|| Capture::from_bits(bits).ok()).flatten()
            }
        }
    }

    /// How many bits the card's word has more than the capture.
    pub fn bits_lost(self) -> isize {
        match self {
            Reading::FirstBitLost | Reading::LastBitLost => 1,
            Reading::ExtraFirstBit | Reading::ExtraLastBit => -1,
            Reading::FirstFourBytes | Reading::LastFourBytes => THREE_BYTES as isize,
            _ => 0,
        }
    }

    /// Whether a bit was lost or gained at an end.
    pub fn slipped(self) -> bool {
        self.bits_lost().abs() == 1
    }
}

/// The bytes in reverse order; `None` where they are not whole, or one alone.
fn bytes_reversed(capture: &Capture) -> Option<Capture> {
    let bits: Vec<bool> = capture.bits().collect();
    let whole = bits.len() > 8 && bits.len().is_multiple_of(8);
    whole.then(|| Capture::from_bits(bits.chunks(8).rev().flatten().copied()).ok()).flatten()
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The readings of the wiring are a group of four, each its own
        /// inverse: two of them together are the one whose place is the sum of
        /// theirs, bit by bit.
        #[test]
        fn the_wiring_is_a_group(bits in proptest::collection::vec(any::<bool>(), 1..=256)) {
            let word = Capture::from_bits(bits).unwrap();
            let then = |i: usize, of: Capture| Reading::WIRING[i].capture_of(&of, false).unwrap();
            for i in 0..4 {
                for j in 0..4 {
                    prop_assert_eq!(then(i, then(j, word)), then(i ^ j, word));
                }
            }
        }

        /// Reversed twice, the bytes are as they were; cut, a number of seven
        /// bytes is four of them.
        #[test]
        fn serial_numbers_are_turned_and_cut(bytes in proptest::collection::vec(any::<u8>(), 2..=32)) {
            let bits = |bytes: &[u8]| {
                Capture::from_bits(bytes.iter().flat_map(|b| (0..8).map(move |i| b >> (7 - i) & 1 == 1)))
            };
            let word = bits(&bytes).unwrap();
            let turned = Reading::BytesReversed.capture_of(&word, false).unwrap();
            let expected: Vec<u8> = bytes.iter().rev().copied().collect();
            prop_assert_eq!(turned, bits(&expected).unwrap());
            prop_assert!(Reading::BytesReversed.words(&turned).any(|w| w.word == word));
            let first = Reading::FirstFourBytes.capture_of(&word, false);
            let last = Reading::LastFourBytes.capture_of(&word, false);
            if bytes.len() == 7 {
                prop_assert_eq!((first.unwrap(), last.unwrap()), (bits(&bytes[..4]).unwrap(), bits(&bytes[3..]).unwrap()));
            } else {
                prop_assert_eq!((first, last), (None, None));
            }
        }

        #[test]
        fn words_invert_what_happened(bits in proptest::collection::vec(any::<bool>(), 2..=255), gained: bool) {
            let word = Capture::from_bits(bits).unwrap();
            for reading in Reading::ALL {
                let capture = reading.capture_of(&word, gained).unwrap();
                prop_assert!(reading.words(&capture).any(|w| w.word == word), "{}", reading);
                prop_assert_eq!(word.len() as isize - capture.len() as isize, reading.bits_lost());
            }
        }
    }
}
