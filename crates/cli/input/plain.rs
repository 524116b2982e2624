//! Lines of nothing but `0` and `1`, eight at a time.
//!
//! Eight characters are one 64-bit word: XOR with `00000000` leaves 0 or 1 in
//! each byte, anything else shows in the other seven bits, and one
//! multiplication gathers the eight bits. All else is left to the parser that
//! knows every form.

const ZEROS: u64 = 0x3030_3030_3030_3030;
const OTHER: u64 = 0xFEFE_FEFE_FEFE_FEFE;

/// Moves bit 0 of byte i to bit 63 − i; no two products meet, so none carries.
const GATHER: u64 = 0x8040_2010_0804_0201;

/// Most bits such a line has here.
pub const MOST_BITS: usize = 64;

/// The lines of a block, in order.
#[derive(Debug, Clone, Default)]
pub struct Plain {
    /// A line's bits, the first the highest.
    pub words: Vec<u64>,
    /// How many bits; 0 where the line is another form or no capture.
    pub lengths: Vec<u8>,
    /// Those other lines, one behind the other, and where each ends.
    other: Vec<u8>,
    ends: Vec<usize>,
}

impl Plain {
    /// Reads a block of whole lines; the last may lack its end.
    pub fn read(&mut self, block: &[u8]) {
        self.words.clear();
        self.lengths.clear();
        self.other.clear();
        self.ends.clear();
        let mut at = 0;
        while at < block.len() {
            let (word, bits, end) = match line(block, at) {
                Some(read) => read,
                None => {
                    let rest = &block[at..];
                    let length = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
                    let carriage = usize::from(rest[..length].ends_with(b"\r"));
                    self.other.extend_from_slice(&rest[..length - carriage]);
                    self.ends.push(self.other.len());
                    (0, 0, at + length + 1)
                }
            };
            self.words.push(word);
            self.lengths.push(bits);
            at = end;
        }
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

/// Bits and length of the line at `at`, and where the next begins; `None`
/// where it is not plain, or too near the end of the block to look at eight
/// bytes at once.
#[inline]
fn line(block: &[u8], at: usize) -> Option<(u64, u8, usize)> {
    let (mut word, mut bits, mut from) = (0u64, 0usize, at);
    loop {
        let eight: [u8; 8] = block.get(from..from + 8)?.try_into().ok()?;
        let each = u64::from_le_bytes(eight) ^ ZEROS;
        let other = each & OTHER;
        if other == 0 {
            if bits >= MOST_BITS {
                return None;
            }
            word |= (each.wrapping_mul(GATHER) >> 56) << (56 - bits);
            bits += 8;
            from += 8;
            continue;
        }
        let few = other.trailing_zeros() as usize / 8;
        if few > 0 {
            if bits >= MOST_BITS {
                return None;
            }
            let each = each & ((1 << (8 * few)) - 1);
            word |= (each.wrapping_mul(GATHER) >> 56) << (56 - bits);
            bits += few;
            from += few;
        }
        let end = match (block[from], block.get(from + 1)) {
            (b'\n', _) => from + 1,
            (b'\r', Some(b'\n')) => from + 2,
            _ => return None,
        };
        return (bits > 0 && bits <= MOST_BITS).then_some((word, bits as u8, end));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn slow(text: &str) -> Option<(u64, u8)> {
        let plain = !text.is_empty()
            && text.len() <= MOST_BITS
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
            let mut plain = Plain::default();
            plain.read(block.as_bytes());
            prop_assert_eq!(plain.words.len(), lines.len());
            let mut other = plain.other();
            for (i, line) in lines.iter().enumerate() {
                match plain.lengths[i] {
                    0 => prop_assert_eq!(other.next().unwrap(), line.as_bytes()),
                    bits => prop_assert_eq!(Some((plain.words[i], bits)), slow(line)),
                }
                // Only the last few lines may be left although they are plain.
                let rest: usize = lines[i..].iter().map(|line| line.len() + 1).sum();
                prop_assert!(plain.lengths[i] > 0 || slow(line).is_none() || rest < 200);
            }
            prop_assert!(other.next().is_none());
        }
    }
}
