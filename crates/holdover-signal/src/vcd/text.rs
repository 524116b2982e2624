//! The text of a dump's commands, taken apart many bytes at a time in safe code.

/// Bytes looked at for blanks at once: a bit each in a word.
pub(crate) const BLOCK: usize = 64;

/// A bit for each byte that is a blank, or no character at all.
#[inline]
pub(crate) fn blanks(chunk: &[u8; BLOCK]) -> u64 {
    // One operation for many bytes at once, where the machine has it.
    let flags: [u8; BLOCK] = std::array::from_fn(|i| u8::from(chunk[i] <= b' '));
    let (words, _) = flags.as_chunks::<8>();
    // Eight flags to the highest byte by one product (a well-known trick).
    words.iter().rev().fold(0, |bits, flags| {
        bits << 8 | u64::from_le_bytes(*flags).wrapping_mul(0x0102_0408_1020_4080) >> 56
    })
}

/// Whether there is a control character that is no white space: those end words
/// as blanks do, but have no place in a dump.
#[inline]
pub(crate) fn has_control(chunk: &[u8; BLOCK]) -> bool {
    let odd = |b: u8| u8::from(b < b' ') & u8::from(b.wrapping_sub(b'\t') > b'\r' - b'\t');
    chunk.iter().fold(0, |any, b| any | odd(*b)) != 0
}

/// Where the word that holds `at` ends.
#[inline]
pub(crate) fn word_end(buffer: &[u8], at: usize) -> usize {
    let mut end = at;
    // Nothing below a blank is printable, and identifiers are short.
    while let Some(&b) = buffer.get(end) {
        if b <= b' ' {
            break;
        }
        end += 1;
    }
    end
}

/// Where the next word starts, if there is one.
#[inline]
pub(crate) fn word_start(buffer: &[u8], at: usize) -> Option<usize> {
    let rest = buffer.get(at..)?;
    rest.iter().position(|b| *b > b' ').map(|i| at + i)
}

/// The same for words that are likely long: eight bytes at a time.
#[inline]
pub(crate) fn long_word_end(buffer: &[u8], at: usize) -> usize {
    let mut end = at;
    while let Some(eight) = buffer.get(end..).and_then(<[u8]>::first_chunk::<8>) {
        let word = u64::from_le_bytes(*eight);
        // The lowest byte below 0x21 sets its high bit exactly; borrows only
        // spoil those above. Bytes over 127 are looked at singly.
        let blank = word.wrapping_sub(0x2121_2121_2121_2121) & !word & HIGH;
        if blank != 0 {
            return end + (blank.trailing_zeros() / 8) as usize;
        }
        end += 8;
    }
    word_end(buffer, end)
}

/// The high bit of every byte.
const HIGH: u64 = 0x8080_8080_8080_8080;

/// Zeros as characters.
const ZEROS: u64 = 0x3030_3030_3030_3030;

/// High bits set by bytes over 9; where none is, that is exact, and so is the
/// lowest one.
#[inline]
pub(crate) fn beyond_nine(bare: u64) -> u64 {
    (bare.wrapping_add(0x7676_7676_7676_7676) | bare) & HIGH
}

/// The digits from `at`: their number (`None` past what 64 bits hold) and where
/// they end.
pub(crate) fn digits(buffer: &[u8], at: usize) -> (Option<u64>, usize) {
    let rest = buffer.get(at..).unwrap_or_default();
    let len = rest.iter().take_while(|b| b.is_ascii_digit()).count();
    let number = std::str::from_utf8(&rest[..len]).ok().and_then(|d| d.parse().ok());
    (number, at + len)
}

/// Times of as many digits as the one before, up to 16: read as two words, with
/// no branch a digit. Times mostly are of one length for long.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Usual {
    len: usize,
    /// What of the 16 bytes up to the time's end belongs to it.
    masks: [u64; 2],
    /// The upper digits of the time before and their number: they change seldom.
    upper: (u64, u64),
}

/// A length no time has.
pub(crate) const NEVER: usize = usize::MAX >> 1;

impl Usual {
    pub(crate) fn of(len: usize) -> Usual {
        let len = if len > 16 { NEVER } else { len };
        let mask = |bytes: usize| match bytes {
            0 => 0,
            bytes => u64::MAX << (64 - 8 * bytes.min(8)),
        };
        Usual { len, masks: [mask(len.saturating_sub(8)), mask(len)], upper: (0, 0) }
    }

    /// The time from `start` and its end, if it has the usual length.
    #[inline]
    pub(crate) fn read(&mut self, buffer: &[u8], start: usize) -> Option<(u64, usize)> {
        let end = start + self.len;
        let [digits @ .., blank] = buffer.get(end.checked_sub(16)?..)?.first_chunk::<17>()?;
        if *blank > b' ' {
            return None;
        }
        Some((self.number(digits)?, end))
    }

    /// The time from `start` and what follows it, if it has the usual length and
    /// that is, on two lines of their own, 0 or 1 for an identifier of one
    /// character: its value and the identifier.
    #[inline]
    pub(crate) fn read_with_change(
        &mut self,
        buffer: &[u8],
        start: usize,
    ) -> Option<(u64, [u8; 2])> {
        let end = start + self.len;
        let bytes = buffer.get(end.checked_sub(16)?..)?.first_chunk::<20>()?;
        let (digits, rest) = bytes.split_first_chunk::<16>()?;
        let [first, value, id, second] = rest.first_chunk()?;
        if *first != b'\n' || *second != b'\n' || *value & !1 != b'0' {
            return None;
        }
        Some((self.number(digits)?, [*value, *id]))
    }

    /// Bytes of a time and the change that follows it, with `#` and line ends.
    #[inline]
    pub(crate) fn step(&self) -> usize {
        self.len + 5
    }

    /// The number of the digits among the 16 bytes up to its end.
    #[inline]
    fn number(&mut self, bytes: &[u8; 16]) -> Option<u64> {
        let high = (u64::from_le_bytes(*bytes.first_chunk()?) ^ ZEROS) & self.masks[0];
        let low = (u64::from_le_bytes(*bytes.last_chunk()?) ^ ZEROS) & self.masks[1];
        if beyond_nine(low) != 0 {
            return None;
        }
        if high != self.upper.0 {
            if beyond_nine(high) != 0 {
                return None;
            }
            self.upper = (high, eight(high) * 100_000_000);
        }
        Some(self.upper.1 + eight(low))
    }
}

/// The number eight digits make, the first the lowest byte: by pairs, by fours,
/// then all (a well-known trick).
#[inline]
pub(crate) fn eight(digits: u64) -> u64 {
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = pairs.wrapping_mul(100).wrapping_add(pairs >> 16) & 0x0000_FFFF_0000_FFFF;
    fours.wrapping_mul(10_000).wrapping_add(fours >> 32) & 0xFFFF_FFFF
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn times_read_as_the_standard_library_reads_them(
            n: u64, cut in 0u32..64, usual in 1usize..20, tail in "[ \n][ -~]{0,10}",
        ) {
            let text = (n >> cut).to_string();
            // What stands before must not matter.
            let line = format!("99999999999999999#{text}{tail}");
            let (value, end) = digits(line.as_bytes(), 18);
            prop_assert_eq!((value, end), (Some(n >> cut), 18 + text.len()));
            let quick = Usual::of(usual).read(line.as_bytes(), 18);
            let fits = usual == text.len() && usual <= 16;
            prop_assert_eq!(quick, fits.then_some((n >> cut, end)));
        }

        #[test]
        fn eight_bytes_of_anything(bytes in proptest::collection::vec(any::<u8>(), 17), len in 1usize..17) {
            let want = bytes[16 - len..16].iter().all(u8::is_ascii_digit) && bytes[16] <= b' ';
            let quick = Usual::of(len).read(&bytes, 16 - len);
            prop_assert_eq!(quick.is_some(), want);
        }

        #[test]
        fn blanks_are_where_they_are(bytes in proptest::collection::vec(any::<u8>(), BLOCK)) {
            let chunk = bytes.first_chunk().unwrap();
            let want = bytes.iter().rev().fold(0, |bits, b| bits << 1 | u64::from(*b <= b' '));
            prop_assert_eq!(blanks(chunk), want);
        }

        #[test]
        fn long_words_end_where_short_ones_do(text in "[!-~\n é]{0,40}") {
            let line = format!("{text}\n");
            prop_assert_eq!(long_word_end(line.as_bytes(), 0), word_end(line.as_bytes(), 0));
        }
    }
}
