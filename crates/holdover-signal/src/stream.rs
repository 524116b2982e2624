//! The window on a stream: the bytes read and not yet done with, and the line
//! and byte at which they begin.

use std::io::{ErrorKind, Read};

use crate::error::{Fault, FaultWhat, SignalError, SignalErrorKind};

/// Bytes asked of the input at a time: past this, larger blocks gain nothing
/// (measured), and a window of it stays in the second-level cache.
pub(crate) const BLOCK: usize = 128 << 10;

/// The longest word or row held while its end has not come (judgement, no
/// source: a vector of a million bits).
pub const LONGEST: usize = 1 << 20;

/// Bytes that came and are not yet done with: the start of a word or a row,
/// whose rest is still to come.
///
/// Scanners work on the bytes as they come, without copying them, wherever
/// nothing is left over.
#[derive(Debug)]
pub(crate) struct Window {
    buffer: Vec<u8>,
    /// Offset of the first byte not done with, and its line, from 0.
    byte: u64,
    line: u64,
}

impl Window {
    pub(crate) fn new() -> Window {
        Window { buffer: Vec::new(), byte: 0, line: 0 }
    }

    /// Adds bytes.
    pub(crate) fn push(&mut self, bytes: &[u8]) {
        self.buffer.extend_from_slice(bytes);
    }

    /// The bytes left over.
    pub(crate) fn bytes(&self) -> &[u8] {
        &self.buffer
    }

    /// Drops what a scanner is done with of the bytes left over, or gives its
    /// fault a place.
    pub(crate) fn advance(&mut self, done: Result<usize, Fault>) -> Result<(), SignalError> {
        let buffer = std::mem::take(&mut self.buffer);
        let done = self.count(&buffer, done);
        self.buffer = buffer;
        let done = done?;
        self.buffer.drain(..done);
        if self.buffer.len() > LONGEST {
            let found = crate::error::shown(&self.buffer);
            let expected = "a line of less than a million bytes";
            let fault = Fault { at: 0, what: FaultWhat::Syntax { expected, found } };
            return Err(fault.placed(self.line + 1, self.byte));
        }
        Ok(())
    }

    /// Counts what a scanner is done with at the front of `bytes`, or gives its
    /// fault a place.
    pub(crate) fn count(
        &mut self,
        bytes: &[u8],
        done: Result<usize, Fault>,
    ) -> Result<usize, SignalError> {
        match done {
            Ok(done) => {
                let done = done.min(bytes.len());
                self.line += count_lines(&bytes[..done]);
                self.byte += done as u64;
                Ok(done)
            }
            Err(fault) => {
                let at = fault.at.min(bytes.len());
                let line = self.line + count_lines(&bytes[..at]) + 1;
                Err(fault.placed(line, self.byte + at as u64))
            }
        }
    }
}

/// The bytes up to the last white space: whole words only.
pub(crate) fn words(bytes: &[u8]) -> &[u8] {
    let end = bytes.iter().rposition(|b| *b <= b' ').map_or(0, |i| i + 1);
    &bytes[..end]
}

/// The bytes up to the last line end: whole rows only.
pub(crate) fn rows(bytes: &[u8]) -> &[u8] {
    let end = memchr::memrchr(b'\n', bytes).map_or(0, |i| i + 1);
    &bytes[..end]
}

/// Reads what comes next, up to a block; nothing at the end.
pub(crate) fn read_block<'a>(
    input: &mut impl Read,
    block: &'a mut [u8],
) -> Result<&'a [u8], SignalError> {
    loop {
        match input.read(block) {
            Ok(count) => return Ok(&block[..count.min(block.len())]),
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => return Err(SignalErrorKind::Io(e.to_string()).into()),
        }
    }
}

/// How much of `bytes` to take in before the bytes left over can be done with:
/// up to a line's end.
pub(crate) fn to_line_end(bytes: &[u8]) -> usize {
    let near = &bytes[..bytes.len().min(BLOCK)];
    memchr::memchr(b'\n', near).map_or(near.len(), |i| i + 1)
}

fn count_lines(bytes: &[u8]) -> u64 {
    memchr::memchr_iter(b'\n', bytes).count() as u64
}
