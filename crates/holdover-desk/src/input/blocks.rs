//! Large files of captures, read by the block. They are read twice, and what
//! was parsed the first time is kept as far as memory allows.

use std::io::{self, Read};
use std::ops::Range;

use holdover::bits::BitColumns;
use rayon::prelude::*;

use crate::host::File;
use crate::progress::Counted;

/// Bytes read at once: several threads' worth. The first block is small: a
/// little tells what form a source has. Judgement: the work on a block takes
/// milliseconds, which handing it out does not add to.
pub const BLOCK: usize = 1 << 21;
pub const FIRST_BLOCK: usize = 1 << 13;

/// Bytes that are worth another thread.
const CHUNK: usize = 1 << 16;

/// Bytes of parsed lines that are kept of all sources together, about 9 a
/// line. Judgement: with all else it stays far below 200 MB.
const KEPT_MOST: usize = 80 << 20;

/// Cuts a block of whole lines into chunks of whole lines.
fn chunks(block: &[u8]) -> Vec<Range<usize>> {
    let count = (block.len() / CHUNK).max(1);
    let mut chunks = Vec::with_capacity(count);
    let mut from = 0;
    for i in 1..=count {
        let wanted = (block.len() * i / count).saturating_sub(1).max(from);
        let to = match memchr::memchr(b'\n', &block[wanted..]) {
            Some(at) if i < count => wanted + at + 1,
            _ => block.len(),
        };
        if to > from {
            chunks.push(from..to);
        }
        from = to;
    }
    chunks
}

/// Parses whole lines.
fn parse(block: &[u8], plain: &mut Vec<BitColumns>) {
    let chunks = chunks(block);
    plain.resize_with(chunks.len(), BitColumns::default);
    plain.par_iter_mut().zip(chunks).for_each(|(plain, chunk)| plain.read(&block[chunk]));
}

/// What was parsed of a source.
#[derive(Default)]
pub struct Kept {
    /// The bytes that it was parsed of.
    bytes: Range<u64>,
    groups: Vec<Vec<BitColumns>>,
}

/// Parses the blocks of a source, or knows what they hold.
pub struct Parser<'k> {
    plain: Vec<BitColumns>,
    kept: &'k mut Kept,
    /// Bytes of memory that all sources have taken.
    taken: &'k mut usize,
    /// Whether this is the first time.
    keeps: bool,
}

impl<'k> Parser<'k> {
    pub fn new(kept: &'k mut Kept, taken: &'k mut usize) -> Parser<'k> {
        let keeps = kept.groups.is_empty();
        Parser { plain: Vec::new(), kept, taken, keeps }
    }

    /// The lines of a block that begins at that byte of the source.
    pub fn parse(&mut self, at: u64, block: &[u8]) -> &[BitColumns] {
        parse(block, &mut self.plain);
        if self.keeps && self.kept.groups.is_empty() {
            self.kept.bytes = at..at;
        }
        if !self.keeps || self.kept.bytes.end != at || *self.taken >= KEPT_MOST {
            self.keeps = false;
            return &self.plain;
        }
        // Copies have the room they need and no more.
        let copies: Vec<BitColumns> = self.plain.par_iter().cloned().collect();
        *self.taken += copies.iter().map(BitColumns::bytes).sum::<usize>();
        self.kept.bytes.end += block.len() as u64;
        self.kept.groups.push(copies);
        &self.plain
    }

    /// What is kept of the bytes from there on, and how many they are.
    pub fn known(&self, at: u64) -> Option<(&[Vec<BitColumns>], u64)> {
        let there = !self.keeps && self.kept.bytes.start == at && !self.kept.groups.is_empty();
        there.then(|| (&self.kept.groups[..], self.kept.bytes.end - at))
    }
}

/// Reads into a block, whatever interrupts.
pub fn fill(from: &mut Counted<File>, block: &mut [u8]) -> io::Result<usize> {
    loop {
        match from.read(block) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            read => return read,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chunks_end_with_lines() {
        let block = "0101\n".repeat(300_000).into_bytes();
        let cut = chunks(&block);
        assert!(cut.len() > 1);
        assert_eq!(cut.iter().map(|chunk| chunk.len()).sum::<usize>(), block.len());
        assert!(cut.iter().all(|chunk| block[chunk.end - 1] == b'\n'));
    }
}
