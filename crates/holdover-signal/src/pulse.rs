//! What was seen of a line: pulses, and what was too short to be one.

use crate::read::Line;

/// A pulse as it was seen, in ns.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Raw {
    pub(crate) start: i64,
    /// When it ended; before `start`: it did not.
    pub(crate) end: i64,
    /// How long the other line was active with it, from this one's start.
    pub(crate) both: i64,
    pub(crate) line: u8,
    /// It began from a level that was not known.
    pub(crate) unsure: bool,
    /// It was still there when the capture ended.
    pub(crate) endless: bool,
}

impl Raw {
    pub(crate) fn new(at: i64, line: usize, unsure: bool) -> Raw {
        Raw { start: at, end: i64::MIN, both: 0, line: line as u8, unsure, endless: false }
    }

    pub(crate) fn width(&self) -> i64 {
        if self.end < self.start { i64::MAX } else { self.end - self.start }
    }

    pub(crate) fn line(&self) -> Line {
        if self.line == 0 { Line::D0 } else { Line::D1 }
    }
}

/// What was too short to be a pulse, or to be the end of one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Glitch {
    pub(crate) at: i64,
    pub(crate) width: i64,
    pub(crate) line: u8,
    /// It broke a pulse, rather than the rest between.
    pub(crate) inside: bool,
}

/// Whether the recording cut a capture.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cut {
    /// A line was active as it began, or as it ended.
    pub(crate) start: bool,
    pub(crate) end: bool,
    /// From where recording began to the first pulse, and from the last pulse
    /// to where it ended, in ns; more than any interval where neither is near.
    pub(crate) lead: i64,
    pub(crate) tail: i64,
}
