//! Whole numbers of up to 384 bits: the values of runs over 128 bits, counts
//! of patterns, and sums of exposures, which are exact to the last bit.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

use ruint::Uint;

use crate::bits::Wide;

/// 256 bits of a capture, one more for 2^256 itself, and room for the sum over a
/// thousand slots.
type Bits384 = Uint<384, 6>;

/// A whole number below 2^384. Sums and products beyond that wrap; nothing
/// here comes near.
///
/// As JSON it is a number up to 2^53 and a string of decimal digits beyond,
/// as wide fields are.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Big(Bits384);

#[allow(clippy::should_implement_trait, reason = "plain names, by value, beside div_rem")]
impl Big {
    /// 0.
    pub const ZERO: Big = Big(Bits384::ZERO);
    /// 1.
    pub const ONE: Big = Big(Bits384::ONE);

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
        Big(Bits384::from_limbs([d, c, b, a, 0, 0])).shr(256 - len.min(256))
    }

    /// The number, where it has no more than 128 bits.
    pub fn small(self) -> Option<u128> {
        let [a, b, rest @ ..] = self.0.into_limbs();
        (rest == [0; 4]).then_some(u128::from(b) << 64 | u128::from(a))
    }

    /// The number, or the largest of 128 bits where it is larger.
    pub fn saturated(self) -> u128 {
        self.small().unwrap_or(u128::MAX)
    }

    /// Sum.
    pub fn add(self, other: Big) -> Big {
        Big(self.0.wrapping_add(other.0))
    }

    /// Difference; wraps below 0.
    pub fn sub(self, other: Big) -> Big {
        Big(self.0.wrapping_sub(other.0))
    }

    /// Product.
    pub fn mul(self, other: Big) -> Big {
        Big(self.0.wrapping_mul(other.0))
    }

    /// Quotient and remainder. Division by 0 gives 0 and the number itself.
    pub fn div_rem(self, by: Big) -> (Big, Big) {
        if by == Big::ZERO {
            return (Big::ZERO, self);
        }
        let (quotient, rest) = self.0.div_rem(by.0);
        (Big(quotient), Big(rest))
    }

    /// Times 2^`by`.
    pub fn shl(self, by: usize) -> Big {
        Big(self.0.wrapping_shl(by))
    }

    /// Divided by 2^`by`, rounded down.
    pub fn shr(self, by: usize) -> Big {
        Big(self.0.wrapping_shr(by))
    }

    /// How many bits it takes; 0 for 0.
    pub fn bits(self) -> usize {
        self.0.bit_len()
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
        Big(Bits384::from_limbs([number as u64, (number >> 64) as u64, 0, 0, 0, 0]))
    }
}

impl fmt::Display for Big {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
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
        Bits384::from_str_radix(&digits, 10).map(Big).map_err(D::Error::custom)
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
        Big(Bits384::from_limbs([words[0], words[1], words[2], words[3], 0, 0]))
    }

    proptest! {
        #[test]
        fn numbers_come_back_from_json(words: [u64; 4], cut in 0usize..256) {
            let number = big(words).shr(cut);
            let text = serde_json::to_string(&number).unwrap();
            prop_assert_eq!(serde_json::from_str::<Big>(&text).unwrap(), number);
            prop_assert_eq!(number.div_rem(Big::ZERO), (Big::ZERO, number));
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
