//! Whole numbers of up to 384 bits: the values of runs over 128 bits, counts
//! of patterns, and sums of exposures, which are exact to the last bit.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

use crate::bits::Wide;

/// Words of 64 bits, the least significant first. 256 bits of a capture, one
/// more for 2^256 itself, and room for the sum over a thousand slots.
const WORDS: usize = 6;

/// A whole number below 2^384. Sums and products beyond that wrap; nothing
/// here comes near.
///
/// As JSON it is a number up to 2^53 and a string of decimal digits beyond,
/// as wide fields are.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Big([u64; WORDS]);

#[allow(clippy::should_implement_trait, reason = "plain names, by value, beside div_rem")]
impl Big {
    /// 0.
    pub const ZERO: Big = Big([0; WORDS]);
    /// 1.
    pub const ONE: Big = Big([1, 0, 0, 0, 0, 0]);

    /// 2^`bits` (`bits` below 384).
    pub fn power_of_two(bits: usize) -> Big {
        Big::ONE.shl(bits)
    }

    /// 10^`digits` (`digits` up to 115).
    pub fn power_of_ten(digits: usize) -> Big {
        (0..digits).fold(Big::ONE, |n, _| n.mul(Big::from(10u128)))
    }

    /// The `len` bits of a word from `offset`, the first the most significant.
    pub(crate) fn of_run(word: Wide, offset: usize, len: usize) -> Big {
        let [a, b, c, d] = word.towards_front(offset).0;
        Big([d, c, b, a, 0, 0]).shr(256 - len.min(256))
    }

    /// The number, where it has no more than 128 bits.
    pub fn small(self) -> Option<u128> {
        let [a, b, rest @ ..] = self.0;
        (rest == [0; WORDS - 2]).then_some(u128::from(b) << 64 | u128::from(a))
    }

    /// The number, or the largest of 128 bits where it is larger.
    pub fn saturated(self) -> u128 {
        self.small().unwrap_or(u128::MAX)
    }

    /// Sum.
    pub fn add(self, other: Big) -> Big {
        let mut carry = false;
        let mut out = [0; WORDS];
        for (i, word) in out.iter_mut().enumerate() {
            let (sum, one) = self.0[i].overflowing_add(other.0[i]);
            let (sum, two) = sum.overflowing_add(u64::from(carry));
            *word = sum;
            carry = one || two;
        }
        Big(out)
    }

    /// Difference; wraps below 0.
    pub fn sub(self, other: Big) -> Big {
        let mut borrow = false;
        let mut out = [0; WORDS];
        for (i, word) in out.iter_mut().enumerate() {
            let (rest, one) = self.0[i].overflowing_sub(other.0[i]);
            let (rest, two) = rest.overflowing_sub(u64::from(borrow));
            *word = rest;
            borrow = one || two;
        }
        Big(out)
    }

    /// Product.
    pub fn mul(self, other: Big) -> Big {
        let mut out = [0u64; WORDS];
        for (i, a) in self.0.iter().enumerate() {
            let mut carry = 0u128;
            for j in 0..WORDS - i {
                let at = u128::from(*a) * u128::from(other.0[j]) + u128::from(out[i + j]) + carry;
                out[i + j] = at as u64;
                carry = at >> 64;
            }
        }
        Big(out)
    }

    /// Quotient and remainder. Division by 0 gives 0 and the number itself.
    pub fn div_rem(self, by: Big) -> (Big, Big) {
        if by == Big::ZERO || self < by {
            return (Big::ZERO, self);
        }
        if let (Some(a), Some(b)) = (self.small(), by.small()) {
            return (Big::from(a / b), Big::from(a % b));
        }
        let mut quotient = Big::ZERO;
        let mut rest = Big::ZERO;
        for at in (0..self.bits()).rev() {
            rest = rest.shl(1);
            rest.0[0] |= self.0[at / 64] >> (at % 64) & 1;
            if rest >= by {
                rest = rest.sub(by);
                quotient.0[at / 64] |= 1 << (at % 64);
            }
        }
        (quotient, rest)
    }

    /// Times 2^`by`.
    pub fn shl(self, by: usize) -> Big {
        let (words, bits) = (by / 64, by % 64);
        let at = |i: Option<usize>| i.and_then(|i| self.0.get(i)).copied().unwrap_or(0);
        let mut out = [0; WORDS];
        for (i, word) in out.iter_mut().enumerate() {
            *word = at(i.checked_sub(words)) << bits;
            if bits > 0 {
                *word |= at(i.checked_sub(words + 1)) >> (64 - bits);
            }
        }
        Big(out)
    }

    /// Divided by 2^`by`, rounded down.
    pub fn shr(self, by: usize) -> Big {
        let (words, bits) = (by / 64, by % 64);
        let at = |i: usize| self.0.get(i).copied().unwrap_or(0);
        let mut out = [0; WORDS];
        for (i, word) in out.iter_mut().enumerate() {
            *word = at(i + words) >> bits;
            if bits > 0 {
                *word |= at(i + words + 1) << (64 - bits);
            }
        }
        Big(out)
    }

    /// How many bits it takes; 0 for 0.
    pub fn bits(self) -> usize {
        let top = self.0.iter().rposition(|word| *word != 0);
        top.map_or(0, |i| 64 * i + 64 - self.0[i].leading_zeros() as usize)
    }

    /// The nearest floating-point number.
    pub fn as_f64(self) -> f64 {
        // The top 128 bits are far more than 53: rounding twice cannot be seen.
        let surplus = self.bits().saturating_sub(128);
        self.shr(surplus).saturated() as f64 * (surplus as f64).exp2()
    }
}

impl From<u128> for Big {
    fn from(number: u128) -> Big {
        Big([number as u64, (number >> 64) as u64, 0, 0, 0, 0])
    }
}

impl PartialOrd for Big {
    fn partial_cmp(&self, other: &Big) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Big {
    fn cmp(&self, other: &Big) -> std::cmp::Ordering {
        self.0.iter().rev().cmp(other.0.iter().rev())
    }
}

impl fmt::Display for Big {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let group = Big::from(10u128.pow(18));
        let mut groups = Vec::new();
        let mut rest = *self;
        loop {
            let (more, last) = rest.div_rem(group);
            groups.push(last.saturated());
            if more == Big::ZERO {
                break;
            }
            rest = more;
        }
        let mut text = groups.pop().unwrap_or(0).to_string();
        for group in groups.iter().rev() {
            text.push_str(&format!("{group:018}"));
        }
        f.pad_integral(true, "", &text)
    }
}

impl fmt::Debug for Big {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Big({self})")
    }
}

/// Largest whole number that every reader of JSON holds exactly.
const LARGEST_JSON_NUMBER: u128 = 1 << 53;

impl Serialize for Big {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.small() {
            Some(small) if small <= LARGEST_JSON_NUMBER => serializer.serialize_u64(small as u64),
            _ => serializer.collect_str(self),
        }
    }
}

impl<'de> Deserialize<'de> for Big {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Big, D::Error> {
        #[derive(Deserialize)]
        #[serde(untagged)]
        enum Written {
            Number(u64),
            Digits(String),
        }
        let digits = match Written::deserialize(deserializer)? {
            Written::Number(number) => return Ok(Big::from(u128::from(number))),
            Written::Digits(digits) => digits,
        };
        // 10^115 is below 2^384.
        if digits.is_empty() || digits.len() > 115 || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return Err(D::Error::custom("expected a whole number of up to 115 decimal digits"));
        }
        let ten = Big::from(10u128);
        Ok(digits.bytes().fold(Big::ZERO, |n, b| n.mul(ten).add(Big::from(u128::from(b - b'0')))))
    }
}

/// Counts as JSON: numbers up to 2^53, strings of decimal digits beyond.
pub(crate) mod count {
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

    use super::Big;

    pub(crate) fn serialize<S: Serializer>(count: &u128, serializer: S) -> Result<S::Ok, S::Error> {
        Big::from(*count).serialize(serializer)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<u128, D::Error> {
        let big = Big::deserialize(deserializer)?;
        big.small().ok_or_else(|| D::Error::custom("expected a count below 2^128"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn big(words: [u64; 4]) -> Big {
        Big([words[0], words[1], words[2], words[3], 0, 0])
    }

    proptest! {
        #[test]
        fn division_inverts_multiplication(a: [u64; 4], b: [u64; 4], cut in 0usize..256) {
            let (a, b) = (big(a), big(b).shr(cut));
            let (q, r) = a.div_rem(b);
            if b != Big::ZERO {
                prop_assert!(r < b);
                prop_assert_eq!(q.mul(b).add(r), a);
            }
            prop_assert_eq!(a.add(b).sub(b), a);
            prop_assert_eq!(a.shl(100).shr(100), a);
            prop_assert_eq!(a.mul(Big::power_of_two(cut.min(127))), a.shl(cut.min(127)));
            let text = serde_json::to_string(&a).unwrap();
            prop_assert_eq!(serde_json::from_str::<Big>(&text).unwrap(), a);
        }

        #[test]
        fn small_numbers_are_those_of_the_machine(a: u128, b: u64) {
            let (wide, other) = (Big::from(a), Big::from(u128::from(b)));
            prop_assert_eq!(wide.to_string(), a.to_string());
            prop_assert_eq!(wide.small(), Some(a));
            prop_assert_eq!(wide.cmp(&other), a.cmp(&u128::from(b)));
            prop_assert_eq!(wide.as_f64(), a as f64);
        }
    }
}
