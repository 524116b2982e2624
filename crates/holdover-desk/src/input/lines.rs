//! Splitting bytes into lines, none longer than a limit kept in memory.

/// Most bytes a line may have. The longest capture, 256 bits, with every
/// column full, is a hundredth of this.
pub const MAX_LINE: usize = 1 << 16;

/// A line without its end.
#[derive(Debug, PartialEq, Eq)]
pub enum Line {
    /// Its bytes.
    Whole(Vec<u8>),
    /// Longer than [`MAX_LINE`]: its length in bytes.
    TooLong(u64),
}

/// Splits blocks of bytes into lines.
#[derive(Debug, Default)]
pub struct Lines {
    kept: Vec<u8>,
    length: u64,
}

impl Lines {
    /// Takes a block and hands on each line it ends.
    pub fn feed(&mut self, mut block: &[u8], mut on: impl FnMut(Line)) {
        while let Some(at) = block.iter().position(|&b| b == b'\n') {
            self.keep(&block[..at]);
            on(self.take());
            block = &block[at + 1..];
        }
        self.keep(block);
    }

    /// The last line, where it has no end.
    pub fn end(&mut self) -> Option<Line> {
        (self.length > 0).then(|| self.take())
    }

    /// Whether no line is begun.
    pub fn is_empty(&self) -> bool {
        self.length == 0
    }

    fn keep(&mut self, bytes: &[u8]) {
        self.length += bytes.len() as u64;
        let room = MAX_LINE.saturating_sub(self.kept.len());
        self.kept.extend_from_slice(&bytes[..bytes.len().min(room)]);
    }

    fn take(&mut self) -> Line {
        let length = std::mem::take(&mut self.length);
        let mut kept = std::mem::take(&mut self.kept);
        if length > MAX_LINE as u64 {
            return Line::TooLong(length);
        }
        if kept.last() == Some(&b'\r') {
            kept.pop();
        }
        Line::Whole(kept)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(blocks: &[&[u8]]) -> Vec<Line> {
        let (mut splitter, mut lines) = (Lines::default(), Vec::new());
        blocks.iter().for_each(|block| splitter.feed(block, |line| lines.push(line)));
        lines.extend(splitter.end());
        lines
    }

    #[test]
    fn lines_cross_blocks_and_endings_vary() {
        let whole = |text: &str| Line::Whole(text.as_bytes().to_vec());
        let split = lines(&[b"01", b"10\r\n11\n", b"\n0"]);
        assert_eq!(split, [whole("0110"), whole("11"), whole(""), whole("0")]);
    }

    #[test]
    fn long_lines_are_counted_not_kept() {
        let block = vec![b'1'; MAX_LINE];
        assert_eq!(
            lines(&[&block, b"1\n1"]),
            [Line::TooLong(MAX_LINE as u64 + 1), Line::Whole(b"1".to_vec())]
        );
    }
}
