//! Draws from a fuzzer's bytes, in the words of `fastrand`, so that the tests'
//! own generators of layouts, cards and sites can be led by it.

use std::ops::{Bound, RangeBounds};

/// Takes from the bytes while there are any; then goes on by chance, seeded
/// with all of them, so that no generator waits for what never comes.
#[derive(Debug, Clone)]
pub struct Rng<'d> {
    bytes: &'d [u8],
    rest: fastrand::Rng,
}

macro_rules! draws {
    ($($name:ident)*) => {$(
        /// A number of the range.
        pub fn $name(&mut self, range: impl RangeBounds<$name>) -> $name {
            let low = match range.start_bound() {
                Bound::Included(low) => *low,
                Bound::Excluded(low) => *low + 1,
                Bound::Unbounded => 0,
            };
            let high = match range.end_bound() {
                Bound::Included(high) => *high,
                Bound::Excluded(high) => *high - 1,
                Bound::Unbounded => $name::MAX,
            };
            assert!(low <= high, "an empty range");
            let span = high - low;
            let width = ($name::BITS - span.leading_zeros()).div_ceil(8);
            let drawn = (0..width).fold(0, |n: u128, _| n << 8 | u128::from(self.byte()));
            low + match span.checked_add(1) {
                Some(count) => (drawn % count as u128) as $name,
                None => drawn as $name,
            }
        }
    )*};
}

impl<'d> Rng<'d> {
    /// Draws from these bytes.
    pub fn new(bytes: &'d [u8]) -> Rng<'d> {
        // FNV-1a with the 64-bit offset and prime (RFC 9923; from memory).
        let seed = bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| {
            (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
        });
        Rng { bytes, rest: fastrand::Rng::with_seed(seed) }
    }

    /// Draws by chance alone.
    pub fn with_seed(seed: u64) -> Rng<'static> {
        Rng { bytes: &[], rest: fastrand::Rng::with_seed(seed) }
    }

    fn byte(&mut self) -> u8 {
        match self.bytes.split_first() {
            Some((first, rest)) => {
                self.bytes = rest;
                *first
            }
            None => self.rest.u8(..),
        }
    }

    /// Either.
    pub fn bool(&mut self) -> bool {
        self.byte() & 1 == 1
    }

    draws!(u8 u64 u128 usize);
}
