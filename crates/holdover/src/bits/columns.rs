//! Lines of nothing but `0` and `1`, 64 characters at a time.
//!
//! Of 64 characters two words tell which are `1` and which are neither `0` nor
//! `1`; a line is what lies between two of the latter. All else is left to the
//! parser that knows every form.

use wide::u8x16;

/// The lines of a block of text, in order: columns of those that are nothing
/// but bits, which most of a long capture file is, and the others as they stand.
///
/// # Examples
/// ```
/// use holdover::bits::BitColumns;
/// let mut plain = BitColumns::default();
/// plain.read(b"10110011\n# of the gate\n0101\r\n1111 bits\n");
/// assert_eq!(plain.lengths, [8, 0, 4, 0]);
/// assert_eq!(plain.words[0], 0b1011_0011 << 56);
/// assert!(plain.other().eq([&b"# of the gate"[..], b"1111 bits"]));
/// ```
#[derive(Debug, Clone, Default)]
pub struct BitColumns {
    /// A line's bits, the first the highest.
    pub words: Vec<u64>,
    /// How many bits, up to [`BitColumns::MOST_BITS`]; 0 where the line is another
    /// form or no capture, or lacks its end.
    pub lengths: Vec<u8>,
    /// Those other lines, one behind the other, and where each ends.
    other: Vec<u8>,
    ends: Vec<usize>,
}

impl BitColumns {
    /// Most bits that a line in the columns has.
    pub const MOST_BITS: usize = 64;

    /// Reads a block of whole lines; the last may lack its end.
    pub fn read(&mut self, block: &[u8]) {
        self.words.clear();
        self.lengths.clear();
        self.other.clear();
        self.ends.clear();
        // Where a line begins.
        let mut at = 0;
        'lines: while at < block.len() {
            // What was read of it, and where the next 64 characters are.
            let (mut word, mut bits, mut from) = (0u64, 0u32, at);
            loop {
                let (ones, mut other) = match block[from..].first_chunk() {
                    Some(chars) => masks(chars),
                    // Behind the end stands what is no bit and ends no line.
                    None => {
                        let mut chars = [0; 64];
                        chars[..block.len() - from].copy_from_slice(&block[from..]);
                        masks(&chars)
                    }
                };
                // From here on the first is the highest bit.
                let ones = ones.reverse_bits();
                let mut done = 0;
                while other != 0 {
                    let to = other.trailing_zeros();
                    other &= other - 1;
                    let run = to - done;
                    word |= (ones << done & !(u64::MAX >> run)) >> (bits % 64);
                    bits += run;
                    let end = from + to as usize;
                    let plain = (1..=Self::MOST_BITS as u32).contains(&bits);
                    if !plain || block.get(end) != Some(&b'\n') {
                        let behind = block.get(end..end + 2);
                        if plain && behind == Some(b"\r\n") {
                            self.push(word, bits);
                            at = end + 2;
                        } else {
                            at = self.other_line(block, at);
                        }
                        continue 'lines;
                    }
                    self.push(word, bits);
                    (word, bits, done, at) = (0, 0, to + 1, end + 1);
                }
                word |= ones.unbounded_shl(done) >> (bits % 64);
                bits += 64 - done;
                from += 64;
                if bits > Self::MOST_BITS as u32 {
                    at = self.other_line(block, at);
                    continue 'lines;
                }
            }
        }
    }

    #[inline]
    fn push(&mut self, word: u64, bits: u32) {
        self.words.push(word);
        self.lengths.push(bits as u8);
    }

    /// Takes the line at `at` as it stands; where the next one begins.
    #[cold]
    fn other_line(&mut self, block: &[u8], at: usize) -> usize {
        let rest = &block[at..];
        if rest.is_empty() {
            return at;
        }
        let length = rest.iter().position(|b| *b == b'\n').unwrap_or(rest.len());
        let carriage = usize::from(rest[..length].ends_with(b"\r"));
        self.other.extend_from_slice(&rest[..length - carriage]);
        self.ends.push(self.other.len());
        self.push(0, 0);
        at + length + 1
    }

    /// How many lines.
    pub fn count(&self) -> u64 {
        self.lengths.len() as u64
    }

    /// The lines of length 0, without their ends.
    pub fn other(&self) -> impl Iterator<Item = &[u8]> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(from, to)| &self.other[from..*to])
    }

    /// Bytes of memory that a copy takes.
    pub fn bytes(&self) -> usize {
        9 * self.lengths.len() + self.other.len() + 8 * self.ends.len()
    }
}

/// Which of 64 characters are `1`, and which are neither `0` nor `1`; the first
/// is the lowest bit.
#[inline]
fn masks(chars: &[u8; 64]) -> (u64, u64) {
    let (mut ones, mut other) = (0, 0);
    for (i, chars) in chars.as_chunks::<16>().0.iter().enumerate() {
        let chars = u8x16::new(*chars);
        let one = u8x16::splat(b'1');
        // `0` and `1` differ in the lowest bit alone.
        let bits = (chars | u8x16::splat(1)).simd_eq(one).to_bitmask() as u16;
        ones |= u64::from(chars.simd_eq(one).to_bitmask()) << (16 * i);
        other |= u64::from(!bits) << (16 * i);
    }
    (ones, other)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn slow(text: &str) -> Option<(u64, u8)> {
        let plain = !text.is_empty()
            && text.len() <= BitColumns::MOST_BITS
            && text.bytes().all(|b| b == b'0' || b == b'1');
        let word = text.bytes().fold(0u64, |word, b| word << 1 | u64::from(b == b'1'));
        plain.then(|| (word << (64 - text.len()), text.len() as u8))
    }

    proptest! {
        #[test]
        fn lines_are_read_as_one_by_one(
            lines in prop::collection::vec("[01]{0,70}|[01]{1,40}[x2 ]?[01]{0,9}|#[a-z01]{0,9}", 0..40),
            ends in prop::collection::vec(any::<bool>(), 40),
        ) {
            let mut block = String::new();
            for (line, carriage) in lines.iter().zip(&ends) {
                block += line;
                block += if *carriage { "\r\n" } else { "\n" };
            }
            let mut plain = BitColumns::default();
            plain.read(block.as_bytes());
            prop_assert_eq!(plain.words.len(), lines.len());
            let mut other = plain.other();
            for (i, line) in lines.iter().enumerate() {
                match plain.lengths[i] {
                    0 => prop_assert_eq!(other.next().unwrap(), line.as_bytes()),
                    bits => prop_assert_eq!(Some((plain.words[i], bits)), slow(line)),
                }
                prop_assert_eq!(plain.lengths[i] > 0, slow(line).is_some());
            }
            prop_assert!(other.next().is_none());
        }

        #[test]
        fn masks_are_of_each_character(chars in prop::collection::vec(any::<u8>(), 64), few: u64) {
            let mut chars: [u8; 64] = chars.try_into().unwrap();
            for (i, char) in chars.iter_mut().enumerate() {
                if few >> i & 1 == 1 {
                    *char = 0x30 | *char & 1;
                }
            }
            let (ones, other) = masks(&chars);
            for (i, char) in chars.iter().enumerate() {
                prop_assert_eq!(other >> i & 1 == 1, !matches!(char, b'0' | b'1'));
                prop_assert_eq!(ones >> i & 1, u64::from(*char == b'1'));
            }
        }
    }
}
