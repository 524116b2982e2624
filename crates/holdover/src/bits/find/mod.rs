//! The capture in a line of other text: what a terminal shows, pasted.
//!
//! Time stamps, dates, addresses and decimal fractions are set aside
//! (`stamp.rs`); what is left is words and numbers. Bits are a run of words of 0
//! and 1; a value is hexadecimal or decimal digits whose bit count nobody gave,
//! unless a count stands beside them. A run of bits speaks for itself; digits do
//! so only where all words beside them are what people call cards and captures
//! (`words.rs`). What could be something else is not guessed.

mod count;
mod run;
mod stamp;
mod value;
mod words;

use std::fmt;

use self::words::{Word, words};
use super::text::CaptureText;
use super::{Capture, CaptureError, CaptureErrorKind, Digits, TextNote};

/// Bytes of a line that are looked through for a capture: one of 256 bits, each
/// with a separator, has an eighth (judgement, no source).
const MOST: usize = 1 << 12;

/// What a text holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The capture, or digits that may be several.
    pub what: What,
    /// What was taken, and what had to be assumed.
    pub notes: Vec<FoundNote>,
    /// How many more bits were counted than came; less than 0: fewer.
    pub short: i32,
}

/// Bits, or digits without their count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// The bits of one card.
    Bits(Capture),
    /// Digits of unknown length.
    Digits(Digits),
}

/// Something to say of what was found.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum FoundNote {
    /// Hexadecimal was read in one of two ways.
    Text(TextNote),
    /// The capture is a part of the text.
    Taken {
        /// What it was taken from: "26 bits", "7 hexadecimal digits".
        what: String,
        /// The column of its first character, from 1.
        column: usize,
        /// The count beside it, where there is one, and whether it agrees.
        count: Option<(usize, bool)>,
    },
    /// The bit count is not known.
    NoCount,
    /// The text is one capture, again and again.
    Again {
        /// How often it is there.
        times: usize,
    },
}

impl fmt::Display for FoundNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FoundNote::Text(note) => note.fmt(f),
            FoundNote::Taken { what, column, count } => {
                write!(f, "{what} from column {column}")?;
                match count {
                    Some((count, true)) => write!(f, "; the count {count} agrees"),
                    Some((count, false)) => {
                        write!(f, "; the count {count} does not: a bit may be lost or gained")
                    }
                    None => Ok(()),
                }
            }
            FoundNote::Again { times } => {
                write!(f, "the same capture {times} times in one line: noted once")
            }
            FoundNote::NoCount => f.write_str("no bit count given: every length is weighed"),
        }
    }
}

/// Finds the capture of a line.
///
/// # Errors
/// There is none, there are several, or what there is breaks a rule of
/// [`CaptureText`].
///
/// # Examples
/// ```
/// use holdover::bits::{What, find};
/// let found = find("12:04:11 card: 26 bits 10100000100010000111000011").unwrap();
/// assert!(matches!(found.what, What::Bits(bits) if bits.len() == 26));
/// assert_eq!(found.notes[0].to_string(), "26 bits from column 24; the count 26 agrees");
/// // Without a count, hexadecimal may be of several lengths.
/// assert!(matches!(find("0x0ECF202").unwrap().what, What::Digits(_)));
/// assert!(find("2026-05-01 12:04:11 supply 12.04 V").is_err());
/// ```
pub fn find(text: &str) -> Result<Found, CaptureError> {
    of(text, false)
}

/// The same for the cell or the key of a capture: that its digits are one needs
/// no further word.
///
/// # Errors
/// As [`find`] has.
pub fn find_in_cell(text: &str) -> Result<Found, CaptureError> {
    of(text, true)
}

fn of(text: &str, told: bool) -> Result<Found, CaptureError> {
    if let Some((once, times)) = run::repeated(text) {
        let mut found = of(once, told)?;
        found.notes.push(FoundNote::Again { times });
        return Ok(found);
    }
    let strict = text.parse::<CaptureText>();
    if let Ok(read) = &strict
        && !stamp::begins(text)
        && !run::is_numbered(text)
    {
        match read.note {
            Some(TextNote::CountAssumed { .. }) => {}
            note => {
                let notes = note.map(FoundNote::Text).into_iter().collect();
                return Ok(Found { what: What::Bits(read.capture), notes, short: 0 });
            }
        }
    }
    if text.len() > MOST {
        return Err(why(text, strict));
    }
    let words = words(text);
    if let Some(found) = run::find(&words)? {
        return Ok(found);
    }
    if let Some(found) = value::find(&words, told)? {
        return Ok(found);
    }
    Err(why(text, strict))
}

/// Why nothing was found.
fn why(text: &str, strict: Result<CaptureText, CaptureError>) -> CaptureError {
    let trimmed = text.trim();
    let looks_like_bits = trimmed.starts_with(['0', '1']);
    if stamp::is_alone(trimmed) {
        return CaptureErrorKind::DateOrTime.into();
    }
    if value::is_spreadsheet_number(trimmed) {
        return CaptureErrorKind::SpreadsheetNumber { found: shortened(trimmed) }.into();
    }
    match strict {
        Err(error) if looks_like_bits || !trimmed.contains(char::is_whitespace) => error,
        _ if trimmed.is_empty() => CaptureErrorKind::NoBits.into(),
        _ => CaptureErrorKind::NoCapture.into(),
    }
}

fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}

/// What was taken, where it is not the whole text.
fn taken(
    words: &[Word],
    of: std::ops::Range<usize>,
    what: String,
    count: Option<(usize, bool)>,
) -> Option<FoundNote> {
    let all = of.start == 0 && of.end == words.len();
    // A stamp that was set aside is something else beside it.
    let stamped =
        words[of.start].gap.contains(stamp::MARK) || words[of.end - 1].after.contains(stamp::MARK);
    let all = all && !stamped;
    let column = words[of.start].column;
    (!all || count.is_some()).then_some(FoundNote::Taken { what, column, count })
}

#[cfg(test)]
mod tests;
