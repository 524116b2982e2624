//! 256 bits in four words, the first received bit the highest: the arithmetic
//! under captures, spans and checks.

use std::ops::{BitAnd, BitOr, BitXor, Not};

/// 256 bits; offset 0 is the highest bit of the first word.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Wide(pub [u64; 4]);

impl Wide {
    /// All bits 0.
    pub const ZERO: Wide = Wide([0; 4]);

    /// The first `len` bits 1, the rest 0 (`len` ≤ 256).
    pub fn ones(len: usize) -> Wide {
        let mut words = [0; 4];
        for (i, word) in words.iter_mut().enumerate() {
            let in_word = len.saturating_sub(64 * i).min(64);
            *word = if in_word == 0 { 0 } else { u64::MAX << (64 - in_word) };
        }
        Wide(words)
    }

    /// The bit at `offset`.
    ///
    /// # Panics
    /// Past offset 255.
    pub fn bit(self, offset: usize) -> bool {
        self.0[offset / 64] >> (63 - offset % 64) & 1 == 1
    }

    /// Sets the bit at `offset`.
    ///
    /// # Panics
    /// Past offset 255.
    pub fn set(&mut self, offset: usize, value: bool) {
        let bit = 1u64 << (63 - offset % 64);
        if value {
            self.0[offset / 64] |= bit;
        } else {
            self.0[offset / 64] &= !bit;
        }
    }

    /// True when every bit is 0.
    pub fn is_zero(self) -> bool {
        self.0 == [0; 4]
    }

    /// How many bits are 1.
    pub fn count_ones(self) -> u32 {
        self.0.iter().map(|w| w.count_ones()).sum()
    }

    /// Parity: true when an odd number of bits is 1. Linear over GF(2):
    /// `(a ^ b).parity() == a.parity() ^ b.parity()`.
    pub fn parity(self) -> bool {
        let [a, b, c, d] = self.0;
        (a ^ b ^ c ^ d).count_ones() & 1 == 1
    }

    /// The offset of the first bit that is 1.
    pub fn first_one(self) -> Option<usize> {
        let word = self.0.iter().position(|&w| w != 0)?;
        Some(64 * word + self.0[word].leading_zeros() as usize)
    }

    /// Offsets of the bits that are 1, ascending.
    pub fn offsets(self) -> impl Iterator<Item = usize> {
        let mut rest = self;
        std::iter::from_fn(move || {
            let at = rest.first_one()?;
            rest.set(at, false);
            Some(at)
        })
    }

    /// Moves every bit `by` places towards the front; zeros come in behind.
    pub fn towards_front(self, by: usize) -> Wide {
        let (words, bits) = (by / 64, by % 64);
        let at = |i: usize| self.0.get(i).copied().unwrap_or(0);
        let mut out = [0; 4];
        for (i, word) in out.iter_mut().enumerate() {
            *word = at(i + words) << bits;
            if bits > 0 {
                *word |= at(i + words + 1) >> (64 - bits);
            }
        }
        Wide(out)
    }

    /// Moves every bit `by` places towards the end; zeros come in in front.
    pub fn towards_end(self, by: usize) -> Wide {
        let (words, bits) = (by / 64, by % 64);
        let at = |i: Option<usize>| i.and_then(|i| self.0.get(i)).copied().unwrap_or(0);
        let mut out = [0; 4];
        for (i, word) in out.iter_mut().enumerate() {
            *word = at(i.checked_sub(words)) >> bits;
            if bits > 0 {
                *word |= at(i.checked_sub(words + 1)) << (64 - bits);
            }
        }
        Wide(out)
    }

    /// The 256 bits in reverse order.
    pub fn reversed(self) -> Wide {
        let [a, b, c, d] = self.0;
        Wide([d.reverse_bits(), c.reverse_bits(), b.reverse_bits(), a.reverse_bits()])
    }

    /// The `len` (≤ 128) bits from `offset` as a number, the first the most
    /// significant. Bits past the end read as 0.
    pub fn number(self, offset: usize, len: usize) -> u128 {
        if len == 0 {
            return 0;
        }
        let [a, b, ..] = self.towards_front(offset).0;
        ((u128::from(a) << 64) | u128::from(b)) >> (128 - len)
    }
}

impl BitXor for Wide {
    type Output = Wide;
    fn bitxor(self, other: Wide) -> Wide {
        Wide(std::array::from_fn(|i| self.0[i] ^ other.0[i]))
    }
}

impl BitAnd for Wide {
    type Output = Wide;
    fn bitand(self, other: Wide) -> Wide {
        Wide(std::array::from_fn(|i| self.0[i] & other.0[i]))
    }
}

impl BitOr for Wide {
    type Output = Wide;
    fn bitor(self, other: Wide) -> Wide {
        Wide(std::array::from_fn(|i| self.0[i] | other.0[i]))
    }
}

impl Not for Wide {
    type Output = Wide;
    fn not(self) -> Wide {
        Wide(self.0.map(|w| !w))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn shifts_move_each_bit(words: [u64; 4], by in 0usize..256) {
            let wide = Wide(words);
            for offset in 0..256 {
                let front = wide.towards_front(by).bit(offset);
                prop_assert_eq!(front, offset + by < 256 && wide.bit(offset + by));
                let end = wide.towards_end(by).bit(offset);
                prop_assert_eq!(end, offset >= by && wide.bit(offset - by));
                prop_assert_eq!(wide.reversed().bit(offset), wide.bit(255 - offset));
            }
        }

        #[test]
        fn parity_is_linear(a: [u64; 4], b: [u64; 4]) {
            let (a, b) = (Wide(a), Wide(b));
            prop_assert_eq!((a ^ b).parity(), a.parity() ^ b.parity());
            prop_assert_eq!(a.parity(), a.count_ones() % 2 == 1);
        }

        #[test]
        fn number_reads_first_bit_highest(words: [u64; 4], offset in 0usize..200, len in 0usize..=56) {
            let wide = Wide(words);
            let slow = (offset..offset + len).fold(0u128, |n, i| n << 1 | u128::from(wide.bit(i)));
            prop_assert_eq!(wide.number(offset, len), slow);
        }

        #[test]
        fn offsets_list_the_ones(words: [u64; 4]) {
            let wide = Wide(words);
            let mut again = Wide::ZERO;
            wide.offsets().for_each(|i| again.set(i, true));
            prop_assert_eq!(again, wide);
        }
    }

    #[test]
    fn ones_has_that_many() {
        for len in 0..=256 {
            let ones = Wide::ones(len);
            assert_eq!(ones.count_ones() as usize, len);
            assert!((0..len).all(|i| ones.bit(i)));
        }
    }
}
