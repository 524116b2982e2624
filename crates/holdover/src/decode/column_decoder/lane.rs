//! Words that hold captures, and what loops over them need.

use std::ops::{BitAnd, BitOr, BitOrAssign, BitXor, Not, Shl, Shr};

/// Where a word has its capture's bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// The first bit is the word's highest.
    Left,
    /// The last bit is the word's lowest.
    Right,
}

/// A word that holds a capture: `u32` or `u64`.
pub trait Source: Copy + BitAnd<Output = Self> + BitOrAssign + PartialEq {
    /// Bits a word.
    const BITS: u32;
    /// No bit.
    const ZERO: Self;
    /// A word of 64 bits, its highest left out where this one is shorter.
    fn of(word: u64) -> Self;
    /// The word shifted right, its highest bits left out where `L` is shorter.
    fn shifted<L: Lane>(self, by: u32) -> L;
}

/// A word that is calculated with.
pub trait Lane:
    Copy
    + BitAnd<Output = Self>
    + BitOr<Output = Self>
    + BitXor<Output = Self>
    + Not<Output = Self>
    + Shl<u32, Output = Self>
    + Shr<u32, Output = Self>
    + PartialEq
{
    /// Bits a word.
    const BITS: u32;
    /// No bit.
    const ZERO: Self;
    /// The lowest bit.
    const ONE: Self;
    /// The lowest bits of a word of 64.
    fn of(word: u64) -> Self;
    /// How many bits are 1.
    fn ones(self) -> Self;
    /// The lowest 8 bits.
    fn low8(self) -> u8;
    /// The lowest 16.
    fn low16(self) -> u16;
    /// The lowest 32.
    fn low32(self) -> u32;
    /// As 64.
    fn low64(self) -> u64;
}

macro_rules! words {
    ($($word:ty),*) => {$(
        impl Source for $word {
            const BITS: u32 = <$word>::BITS;
            const ZERO: Self = 0;
            #[inline(always)]
            fn of(word: u64) -> Self {
                word as $word
            }
            #[inline(always)]
            fn shifted<L: Lane>(self, by: u32) -> L {
                L::of((self >> by).into())
            }
        }

        impl Lane for $word {
            const BITS: u32 = <$word>::BITS;
            const ZERO: Self = 0;
            const ONE: Self = 1;
            #[inline(always)]
            fn of(word: u64) -> Self {
                word as $word
            }
            #[inline(always)]
            fn ones(self) -> Self {
                self.count_ones().into()
            }
            #[inline(always)]
            fn low8(self) -> u8 {
                self as u8
            }
            #[inline(always)]
            fn low16(self) -> u16 {
                self as u16
            }
            #[inline(always)]
            fn low32(self) -> u32 {
                self as u32
            }
            #[inline(always)]
            fn low64(self) -> u64 {
                self.into()
            }
        }
    )*};
}

words!(u32, u64);
