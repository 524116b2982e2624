//! Spans: named places in a capture, counted from 1 in the order received.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

use super::{Capture, Wide};

/// A bit's place, counted from 1 in the order received (1 to 256).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Position(u16);

impl Position {
    /// The place counted from 1; `None` outside 1 to 256.
    pub fn new(from_one: usize) -> Option<Position> {
        (1..=Capture::MAX_BITS).contains(&from_one).then_some(Position(from_one as u16))
    }

    /// The place as people count it, from 1.
    pub fn from_one(self) -> usize {
        usize::from(self.0)
    }

    /// The offset inside the library, from 0.
    pub fn offset(self) -> usize {
        usize::from(self.0) - 1
    }
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// Neighbouring bits from `first` to `last`, ends included; descending where
/// `last` comes before `first`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Run {
    /// The bit read first.
    pub first: Position,
    /// The bit read last.
    pub last: Position,
}

impl Run {
    /// How many bits.
    #[allow(clippy::len_without_is_empty, reason = "a run is never empty")]
    pub fn len(self) -> usize {
        self.first.offset().abs_diff(self.last.offset()) + 1
    }

    /// Offset of the bit nearest the front.
    fn low(self) -> usize {
        self.first.offset().min(self.last.offset())
    }
}

/// Bit positions in the order they are read, the first the most significant.
///
/// ```text
/// bit   1         11        21
///       01000001000001000011100001     26 bits, in the order received
///        └─ 2-9 ─┘
/// ```
/// `2-9` names bits 2 to 9; `26-33,18-25` joins two runs; a descending span
/// `33-26` reads its bits in reverse. No bit is named twice, and there is at
/// least one. Printed in the shortest form: `2-5,6-9` prints as `2-9`.
///
/// # Examples
/// ```
/// use holdover::bits::{Capture, Span};
/// let capture: Capture = "00010110".parse().unwrap();
/// let span: Span = "3-6".parse().unwrap();
/// assert_eq!(span.number(&capture), 0b0101);
/// let back: Span = "6-3".parse().unwrap();
/// assert_eq!(back.number(&capture), 0b1010);
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Span {
    runs: Vec<Run>,
}

impl Span {
    /// Joins runs in order, neighbours merged.
    ///
    /// # Errors
    /// No run, or a bit named twice.
    pub fn new(runs: impl IntoIterator<Item = Run>) -> Result<Span, SpanError> {
        let mut seen = Wide::ZERO;
        let mut joined: Vec<Run> = Vec::new();
        for run in runs {
            let mask = Wide::ones(run.len()).towards_end(run.low());
            if let Some(twice) = (seen & mask).first_one() {
                return Err(SpanErrorKind::Twice { bit: twice + 1 }.into());
            }
            seen = seen | mask;
            match joined.last_mut() {
                Some(before) if continues(*before, run) => before.last = run.last,
                _ => joined.push(run),
            }
        }
        if joined.is_empty() { Err(SpanErrorKind::Empty.into()) } else { Ok(Span { runs: joined }) }
    }

    /// The ascending run of `len` bits from `offset` (from 0); `None` where it
    /// is empty or leaves 1 to 256.
    pub fn run(offset: usize, len: usize) -> Option<Span> {
        let first = Position::new(offset + 1)?;
        let last = Position::new(offset.checked_add(len)?).filter(|last| *last >= first)?;
        Some(Span { runs: vec![Run { first, last }] })
    }

    /// The bits set in `wide`, ascending; `None` where there is none.
    pub fn from_mask(wide: Wide) -> Option<Span> {
        Self::from_offsets(wide.offsets()).ok()
    }

    /// Offsets (from 0) in the order they are read.
    ///
    /// # Errors
    /// No offset, one past 255, or one named twice.
    pub fn from_offsets(offsets: impl IntoIterator<Item = usize>) -> Result<Span, SpanError> {
        let runs = offsets
            .into_iter()
            .map(|offset| match Position::new(offset + 1) {
                Some(at) => Ok(Run { first: at, last: at }),
                None => Err(SpanErrorKind::Outside { found: (offset + 1).to_string() }.into()),
            })
            .collect::<Result<Vec<_>, SpanError>>()?;
        Self::new(runs)
    }

    /// The runs in the order they are read.
    pub fn runs(&self) -> &[Run] {
        &self.runs
    }

    /// How many bits, 1 to 256.
    #[allow(clippy::len_without_is_empty, reason = "a span is never empty")]
    pub fn len(&self) -> usize {
        self.runs.iter().map(|run| run.len()).sum()
    }

    /// Offsets (from 0) in the order they are read.
    pub fn offsets(&self) -> impl Iterator<Item = usize> + '_ {
        self.runs.iter().flat_map(|run| {
            let (low, len) = (run.low(), run.len());
            let down = run.last < run.first;
            (0..len).map(move |i| if down { low + len - 1 - i } else { low + i })
        })
    }

    /// The bits named, as a set.
    pub fn mask(&self) -> Wide {
        self.runs
            .iter()
            .fold(Wide::ZERO, |mask, run| mask | Wide::ones(run.len()).towards_end(run.low()))
    }

    /// The position furthest from the front.
    pub fn furthest(&self) -> Position {
        let ends = self.runs.iter().map(|run| run.first.max(run.last));
        ends.max().expect("a span is never empty")
    }

    /// The `from`th (from 0) to `from + len`th bits of this span.
    pub fn part(&self, from: usize, len: usize) -> Option<Span> {
        Self::from_offsets(self.offsets().skip(from).take(len)).ok()
    }

    /// The bits as a number, the first read the most significant. Bits past
    /// the capture's end read as 0; of a span over 128 bits, the last 128 count.
    pub fn number(&self, capture: &Capture) -> u128 {
        self.number_in(capture.wide())
    }

    pub(crate) fn number_in(&self, wide: Wide) -> u128 {
        let mut value = 0u128;
        for run in &self.runs {
            // A run over 128 bits is read by its last 128.
            let len = run.len().min(128);
            let part = if run.last < run.first {
                let part = wide.number(run.low(), len);
                part.reverse_bits() >> (128 - len)
            } else {
                wide.number(run.low() + run.len() - len, len)
            };
            value = value.checked_shl(len as u32).unwrap_or(0) | part;
        }
        value
    }

    /// Puts the low bits of `value` where the span reads them.
    pub(crate) fn place(&self, value: u128, wide: &mut Wide) {
        let len = self.len();
        for (i, offset) in self.offsets().enumerate() {
            let shift = len - 1 - i;
            wide.set(offset, shift < 128 && value >> shift & 1 == 1);
        }
    }
}

/// True when `next` goes on where `before` ends, in the same direction.
fn continues(before: Run, next: Run) -> bool {
    let end = before.last.offset();
    let ascends = |run: Run| run.first <= run.last;
    let descends = |run: Run| run.last <= run.first;
    next.first.offset() == end + 1 && ascends(before) && ascends(next)
        || next.first.offset() + 1 == end && descends(before) && descends(next)
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, run) in self.runs.iter().enumerate() {
            let comma = if i > 0 { "," } else { "" };
            if run.first == run.last {
                write!(f, "{comma}{}", run.first)?;
            } else {
                write!(f, "{comma}{}-{}", run.first, run.last)?;
            }
        }
        Ok(())
    }
}

impl FromStr for Span {
    type Err = SpanError;

    fn from_str(text: &str) -> Result<Span, SpanError> {
        if text.trim().is_empty() {
            return Err(SpanErrorKind::Empty.into());
        }
        let runs = text
            .split(',')
            .map(|part| {
                let (first, last) = part.split_once('-').unwrap_or((part, part));
                Ok(Run { first: read_position(first)?, last: read_position(last)? })
            })
            .collect::<Result<Vec<_>, SpanError>>()?;
        Span::new(runs)
    }
}

fn read_position(text: &str) -> Result<Position, SpanError> {
    let text = text.trim();
    let found = || text.chars().take(20).collect::<String>();
    if text.is_empty() || !text.bytes().all(|b| b.is_ascii_digit()) {
        return Err(SpanErrorKind::NotAPosition { found: found() }.into());
    }
    text.parse().ok().and_then(Position::new).ok_or_else(|| match text.parse() {
        Ok(0usize) => SpanErrorKind::Zero.into(),
        _ => SpanErrorKind::Outside { found: found() }.into(),
    })
}

/// Why a text is not a span.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(transparent)]
pub struct SpanError(#[from] SpanErrorKind);

impl SpanError {
    /// Which mistake it is.
    pub fn kind(&self) -> &SpanErrorKind {
        &self.0
    }
}

/// The mistakes a span can hold.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum SpanErrorKind {
    /// No position.
    #[error("no bits named: write positions as \"2-9\", joined as \"26-33,18-25\"")]
    Empty,
    /// Not a number.
    #[error(
        "expected a bit position, found {found:?}: write positions as \"2-9\" or \"26-33,18-25\""
    )]
    NotAPosition {
        /// What stands there.
        found: String,
    },
    /// Bit 0.
    #[error("there is no bit 0: bits are counted from 1")]
    Zero,
    /// Past bit 256.
    #[error("bit {found} is past the longest capture, 256 bits")]
    Outside {
        /// What stands there.
        found: String,
    },
    /// The same bit again.
    #[error("bit {bit} is named twice")]
    Twice {
        /// The bit, from 1.
        bit: usize,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn prints_in_the_shortest_form() {
        for (given, printed) in [
            ("2-9", "2-9"),
            ("2-5,6-9", "2-9"),
            ("33-26", "33-26"),
            ("9,8,7-5", "9-5"),
            ("26-33,18-25", "26-33,18-25"),
            ("5-5", "5"),
            ("1-3,2", "!"),
            (" 2 - 4 , 7 ", "2-4,7"),
        ] {
            match given.parse::<Span>() {
                Ok(span) => assert_eq!(span.to_string(), printed),
                Err(error) => assert_eq!("!", printed, "{given}: {error}"),
            }
        }
    }

    #[test]
    fn mistakes_are_named() {
        let message = |text: &str| text.parse::<Span>().unwrap_err().to_string();
        assert!(message("0-4").contains("counted from 1"));
        assert!(message("2-400").contains("400"));
        assert!(message("99999999999999999999").contains("past the longest"));
        assert!(message("a-4").contains("\"a\""));
        assert!(message("2-").contains("\"\""));
        assert!(message("").contains("no bits named"));
        assert!(message("4,4").contains("bit 4 is named twice"));
        assert!(message("-3").contains("expected a bit position"));
    }

    proptest! {
        #[test]
        fn number_follows_the_offsets(words: [u64; 4], order in Just((0usize..256).collect::<Vec<_>>()).prop_shuffle(), len in 1usize..=128) {
            let capture = Capture::from_wide(Wide(words), 256).unwrap();
            let span = Span::from_offsets(order[..len].iter().copied()).unwrap();
            let slow = span.offsets().fold(0u128, |n, i| n << 1 | u128::from(capture.wide().bit(i)));
            prop_assert_eq!(span.number(&capture), slow);
            prop_assert_eq!(span.offsets().collect::<Vec<_>>(), &order[..len]);
            let mut placed = Wide::ZERO;
            span.place(slow, &mut placed);
            prop_assert_eq!(placed, capture.wide() & span.mask());
        }

        /// Reversed twice a span is itself; reversed once it reads the bits of
        /// a capture in the other order.
        #[test]
        fn reversing_is_an_involution(words: [u64; 4], order in Just((0usize..256).collect::<Vec<_>>()).prop_shuffle(), len in 1usize..=128) {
            let reversed = |span: &Span| {
                let offsets: Vec<usize> = span.offsets().collect();
                Span::from_offsets(offsets.into_iter().rev()).unwrap()
            };
            let span = Span::from_offsets(order[..len].iter().copied()).unwrap();
            let back = reversed(&span);
            prop_assert_eq!(&reversed(&back), &span);
            prop_assert_eq!(back.mask(), span.mask());
            let capture = Capture::from_wide(crate::bits::Wide(words), 256).unwrap();
            let number = span.number(&capture).reverse_bits() >> (128 - len);
            prop_assert_eq!(back.number(&capture), number);
        }

        #[test]
        fn printed_spans_read_back(ends in proptest::collection::vec((1usize..=256, 1usize..=256), 1..4)) {
            let runs = ends.iter().map(|&(a, b)| Run { first: Position::new(a).unwrap(), last: Position::new(b).unwrap() });
            if let Ok(span) = Span::new(runs) {
                prop_assert_eq!(span.to_string().parse::<Span>().unwrap(), span.clone());
                prop_assert_eq!(span.len(), span.offsets().count());
            }
        }
    }
}
