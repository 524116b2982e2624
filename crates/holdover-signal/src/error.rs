//! What can be wrong with a probe file, with its place and how to mend it.

use thiserror::Error;

use crate::Summary;

/// Why a probe file cannot be read, or one cannot be written as asked.
///
/// Captures framed before the damage have been handed out by then;
/// [`SignalError::before`] has what was learnt of the lines.
#[derive(Debug, Error)]
#[error("{kind}")]
pub struct SignalError {
    kind: SignalErrorKind,
    before: Option<Box<Summary>>,
}

impl SignalError {
    /// Which mistake it is.
    pub fn kind(&self) -> &SignalErrorKind {
        &self.kind
    }

    /// What was known of the lines before the damage, if they were found.
    pub fn before(&self) -> Option<&Summary> {
        self.before.as_deref()
    }

    pub(crate) fn with_summary(mut self, summary: Option<Summary>) -> SignalError {
        self.before = summary.map(Box::new);
        self
    }
}

impl From<SignalErrorKind> for SignalError {
    fn from(kind: SignalErrorKind) -> SignalError {
        SignalError { kind, before: None }
    }
}

/// The mistakes a probe file, or the wish for one, can hold.
///
/// Lines count from 1, bytes from 0.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SignalErrorKind {
    /// The input or the output failed.
    #[error("the file could not be read or written: {0}")]
    Io(String),
    /// Not a byte, or nothing but white space.
    #[error("the file is empty: expected a value-change dump or a table of levels")]
    Empty,
    /// Neither a value-change dump nor a table.
    #[error(
        "not a probe file: expected a value-change dump (it begins with a $ keyword) or a CSV of \
         times and levels, found {found}"
    )]
    NotAProbeFile {
        /// What stands there instead.
        found: String,
    },
    /// Something that does not belong where it stands.
    #[error("line {line}, byte {byte}: expected {expected}, found {found}")]
    Syntax {
        /// Line, from 1.
        line: u64,
        /// Byte, from 0.
        byte: u64,
        /// What should stand there.
        expected: String,
        /// What does.
        found: String,
    },
    /// A time before the one that precedes it.
    #[error(
        "line {line}, byte {byte}: expected a time not before {before_us} µs, found {found_us} µs; \
         the file was reordered or joined from several: record it again, or split it there"
    )]
    TimeBackwards {
        /// Line, from 1.
        line: u64,
        /// Byte, from 0.
        byte: u64,
        /// The time before it, in µs.
        before_us: f64,
        /// The time found, in µs.
        found_us: f64,
    },
    /// The file ends where it cannot.
    #[error(
        "line {line}, byte {byte}: expected {expected}, found the end of the file; it was cut: \
         copy it again, or let the probe finish writing"
    )]
    Truncated {
        /// Line, from 1.
        line: u64,
        /// Byte, from 0.
        byte: u64,
        /// What should follow.
        expected: String,
    },
    /// A time that no clock of this crate holds.
    #[error("line {line}, byte {byte}: expected a time within 70 years, found one beyond")]
    TimeTooLarge {
        /// Line, from 1.
        line: u64,
        /// Byte, from 0.
        byte: u64,
    },
    /// Levels with no time, and no rate given.
    #[error(
        "the rows have no time{column}: give the sample rate in Hz, or a time column with its \
         unit, such as time_us"
    )]
    RateNeeded {
        /// The column that counts samples, in words, or nothing.
        column: String,
    },
    /// A line asked for by name that is not in the file.
    #[error("expected a line named {name:?}, found {known}")]
    NoSuchLine {
        /// The name asked for.
        name: String,
        /// The names there are, in words.
        known: String,
    },
    /// A name that fits several lines.
    #[error("{name:?} fits several lines: {known}; write the full name")]
    AmbiguousLine {
        /// The name asked for.
        name: String,
        /// The names it fits, in words.
        known: String,
    },
    /// A vector asked for whole.
    #[error("{name:?} is {width} bits wide: pick one, as in {name}[0]")]
    WholeVector {
        /// The name asked for.
        name: String,
        /// Its bits.
        width: u32,
    },
    /// No two lines that could be D0 and D1.
    #[error("expected two data lines, found {known}; name them D0 and D1, or say which they are")]
    NoPair {
        /// The names there are, in words.
        known: String,
    },
    /// An option that cannot be.
    #[error("{option}: expected {expected}, found {found}")]
    BadOption {
        /// The option.
        option: &'static str,
        /// What it may be.
        expected: String,
        /// What it is.
        found: String,
    },
}

/// A mistake found while scanning a buffer, its place still an offset in it.
#[derive(Debug)]
pub(crate) struct Fault {
    /// Offset in the buffer being scanned.
    pub(crate) at: usize,
    pub(crate) what: FaultWhat,
}

/// What is wrong, its place left out.
#[derive(Debug)]
pub(crate) enum FaultWhat {
    Syntax { expected: &'static str, found: String },
    TimeBackwards { before: i64, found: i64 },
    TimeTooLarge,
    Truncated { expected: &'static str },
}

impl Fault {
    pub(crate) fn syntax(at: usize, expected: &'static str, found: &[u8]) -> Fault {
        Fault { at, what: FaultWhat::Syntax { expected, found: shown(found) } }
    }

    pub(crate) fn placed(self, line: u64, byte: u64) -> SignalError {
        match self.what {
            FaultWhat::Syntax { expected, found } => {
                SignalErrorKind::Syntax { line, byte, expected: expected.to_owned(), found }
            }
            FaultWhat::TimeBackwards { before, found } => SignalErrorKind::TimeBackwards {
                line,
                byte,
                before_us: crate::time::micros(before),
                found_us: crate::time::micros(found),
            },
            FaultWhat::TimeTooLarge => SignalErrorKind::TimeTooLarge { line, byte },
            FaultWhat::Truncated { expected } => {
                SignalErrorKind::Truncated { line, byte, expected: expected.to_owned() }
            }
        }
        .into()
    }
}

/// The most bytes of a file's text an error quotes (judgement, no source).
const QUOTED: usize = 24;

/// A file's bytes as an error quotes them.
pub(crate) fn shown(bytes: &[u8]) -> String {
    let cut = &bytes[..bytes.len().min(QUOTED)];
    let mut text = format!("{:?}", String::from_utf8_lossy(cut));
    if cut.len() < bytes.len() {
        text.push('…');
    }
    text
}

/// The most names an error or a note lists (judgement, no source).
const LISTED: usize = 12;

/// Names as an error lists them.
pub(crate) fn listed<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<&str> = names.collect();
    if names.is_empty() {
        return "no line of levels".to_owned();
    }
    let mut text = names.iter().take(LISTED).copied().collect::<Vec<_>>().join(", ");
    if names.len() > LISTED {
        text.push_str(&format!(" and {} more", names.len() - LISTED));
    }
    text
}
