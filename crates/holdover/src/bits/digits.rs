//! Digits without a bit count: the ways in which they may have been printed
//! from a capture.
//!
//! A program that prints a card keeps its bits in a number or in bytes, right or
//! left aligned, and prints those with zeros in front, or without. Which of them
//! it was is not known; each way to print says which capture of which length it
//! would have been.

use super::{Capture, Wide};

/// Digits of a number whose bit count nobody gave: hexadecimal, decimal, or
/// what could be either.
///
/// # Examples
/// ```
/// use holdover::bits::Digits;
/// let digits = Digits::hexadecimal("0ECF202").unwrap();
/// // Seven digits are four bits each of 26, zeros in front.
/// let ways = digits.ways(26);
/// assert_eq!(ways[0].capture.to_string(), "00111011001111001000000010");
/// // They hold more than 20 bits.
/// assert!(digits.ways(20).is_empty());
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Digits {
    hexadecimal: Option<Vec<u8>>,
    decimal: Option<Vec<u8>>,
}

/// One capture that digits may stand for.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// The capture.
    pub capture: Capture,
    /// For each way to print that gives the digits: which, and the chance that
    /// it gives just these for this capture.
    pub styles: Vec<(Style, f64)>,
}

/// Where the bits stand in the number that was printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Side {
    /// The last bit is the number's lowest.
    Right,
    /// The first bit is the highest of a whole digit, byte or word.
    Left,
}

/// How wide the printed number is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Width {
    /// As many digits as the number has: zeros in front are dropped.
    Least,
    /// The hexadecimal digits that the bits need.
    Nibble,
    /// Whole bytes.
    Byte,
    /// Words of 32 or 64 bits.
    Word,
    /// Some other number of digits.
    Other,
}

/// A way to print a capture as digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Style {
    /// Decimal digits, not hexadecimal ones.
    pub decimal: bool,
    /// Where the bits stand.
    pub side: Side,
    /// How wide the number is.
    pub width: Width,
}

/// Numbers of digits that an odd width may have.
const WIDTHS: f64 = 64.0;

/// Decimal digits that a number of 128 bits may have.
const MOST_DECIMAL: usize = 39;

impl Style {
    /// How many ways there are.
    pub const COUNT: usize = 20;

    /// Its place among all of them.
    pub fn index(self) -> usize {
        usize::from(self.decimal) * 10 + self.side as usize * 5 + self.width as usize
    }
}

impl Digits {
    /// What it was printed as, byte by byte: each reading behind its length.
    pub(crate) fn bytes(&self) -> impl Iterator<Item = u8> + '_ {
        [&self.hexadecimal, &self.decimal].into_iter().flat_map(|digits| {
            let digits = digits.as_deref().unwrap_or_default();
            std::iter::once(digits.len() as u8).chain(digits.iter().copied())
        })
    }

    /// Hexadecimal digits, without separators; `None` where there are none, more
    /// than 256 bits of them, or others.
    pub fn hexadecimal(text: &str) -> Option<Digits> {
        let digits: Option<Vec<u8>> =
            text.chars().map(|c| c.to_digit(16).map(|d| d as u8)).collect();
        let digits = digits.filter(|d| (1..=Capture::MAX_BITS / 4).contains(&d.len()))?;
        Some(Digits { hexadecimal: Some(digits), decimal: None })
    }

    /// Decimal digits; `None` where there are none, others, or more than a
    /// number of 128 bits has.
    pub fn decimal(text: &str) -> Option<Digits> {
        let digits: Option<Vec<u8>> =
            text.chars().map(|c| c.to_digit(10).map(|d| d as u8)).collect();
        let digits = digits.filter(|d| (1..=MOST_DECIMAL).contains(&d.len()))?;
        let all = Digits { hexadecimal: None, decimal: Some(digits) };
        all.number().is_some().then_some(all)
    }

    /// Digits that could be of either sort.
    pub fn either(text: &str) -> Option<Digits> {
        let hexadecimal = Digits::hexadecimal(text)?.hexadecimal;
        let decimal = Digits::decimal(text).and_then(|digits| digits.decimal);
        Some(Digits { hexadecimal, decimal })
    }

    /// What the hexadecimal digits hold, zeros in front included, or the decimal
    /// number in as few bits as it needs.
    pub fn as_they_stand(&self) -> Option<Capture> {
        if let Some(digits) = &self.hexadecimal {
            return Capture::from_wide(pack(digits), 4 * digits.len()).ok();
        }
        let number = self.number()?;
        Capture::from_number(number, (128 - number.leading_zeros() as usize).max(1)).ok()
    }

    fn number(&self) -> Option<u128> {
        let digits = self.decimal.as_ref()?;
        digits.iter().try_fold(0u128, |number, digit| {
            number.checked_mul(10)?.checked_add(u128::from(*digit))
        })
    }

    /// The captures of that length that print as these digits, each with the ways
    /// it does. A capture is there once.
    pub fn ways(&self, length: usize) -> Vec<Way> {
        let mut ways: Vec<Way> = Vec::new();
        if !(1..=Capture::MAX_BITS).contains(&length) {
            return ways;
        }
        let mut add = |capture: Option<Capture>, decimal, side, width, chance: f64| {
            let Some(capture) = capture else { return };
            let style = (Style { decimal, side, width }, chance);
            match ways.iter_mut().find(|way| way.capture == capture) {
                Some(way) => way.styles.push(style),
                None => ways.push(Way { capture, styles: vec![style] }),
            }
        };
        if let Some(digits) = &self.hexadecimal {
            hexadecimal(digits, length, &mut |c, side, width, p| add(c, false, side, width, p));
        }
        if let (Some(number), Some(digits)) = (self.number(), &self.decimal) {
            let least = digits.len() == 1 || digits[0] != 0;
            decimal(number, least, length, &mut |c, side, width, p| add(c, true, side, width, p));
        }
        ways
    }
}

/// Words a number may be kept in, in bits, and how many of them are usual.
const WORDS: [usize; 2] = [32, 64];

/// The ways in which hexadecimal digits come of so many bits.
fn hexadecimal(
    digits: &[u8],
    length: usize,
    add: &mut dyn FnMut(Option<Capture>, Side, Width, f64),
) {
    let (count, held) = (digits.len(), 4 * digits.len());
    let least = count == 1 || digits[0] != 0;
    let wide = pack(digits);
    let zeros = |from: usize, to: usize| {
        (wide & Wide::ones(to.min(256)) & !Wide::ones(from.min(256))).is_zero()
    };
    let right = |from: Wide| match held > length {
        true if !zeros(0, held - length) => None,
        true => Capture::from_wide(from.towards_front(held - length), length).ok(),
        false => Capture::from_wide(from.towards_end(length - held), length).ok(),
    };
    let sizes = |width: Width| -> Vec<usize> {
        match width {
            Width::Nibble => vec![length.next_multiple_of(4)],
            Width::Byte => vec![length.next_multiple_of(8)],
            _ => WORDS.iter().map(|word| length.next_multiple_of(*word)).collect(),
        }
    };
    if least {
        add(right(wide), Side::Right, Width::Least, 1.0);
    }
    add(right(wide), Side::Right, Width::Other, 1.0 / WIDTHS);
    for width in [Width::Nibble, Width::Byte, Width::Word] {
        let sizes = sizes(width);
        let chance = 1.0 / sizes.len() as f64;
        for bits in sizes {
            if bits == held {
                add(right(wide), Side::Right, width, chance);
                let left = zeros(length, held).then(|| Capture::from_wide(wide, length).ok());
                add(left.flatten(), Side::Left, width, chance);
            }
        }
    }
    // A number kept at the left of a byte or word, printed without its zeros.
    if least {
        let sizes: Vec<usize> = sizes(Width::Byte).into_iter().chain(sizes(Width::Word)).collect();
        for bits in sizes.iter().copied().filter(|bits| *bits >= held && *bits <= 256) {
            let restored = wide.towards_end(bits - held);
            let rest = restored & !Wide::ones(length);
            let left = rest.is_zero().then(|| Capture::from_wide(restored, length).ok());
            add(left.flatten(), Side::Left, Width::Least, 1.0 / sizes.len() as f64);
        }
    }
}

/// The ways in which a decimal number comes of so many bits.
fn decimal(
    number: u128,
    least: bool,
    length: usize,
    add: &mut dyn FnMut(Option<Capture>, Side, Width, f64),
) {
    let right = Capture::from_number(number, length).ok();
    if least {
        add(right, Side::Right, Width::Least, 1.0);
    }
    add(right, Side::Right, Width::Other, 1.0 / WIDTHS);
    for (width, bits, chance) in [
        (Width::Byte, length.next_multiple_of(8), 1.0),
        (Width::Word, length.next_multiple_of(WORDS[0]), 0.5),
        (Width::Word, length.next_multiple_of(WORDS[1]), 0.5),
    ] {
        let spare = bits - length;
        if least && bits <= 128 && number.trailing_zeros() as usize >= spare {
            let capture = Capture::from_number(number >> spare, length).ok();
            add(capture, Side::Left, width, chance);
        }
    }
}

/// Up to 64 digits, from the front.
pub(super) fn pack(nibbles: &[u8]) -> Wide {
    let mut wide = Wide::ZERO;
    for (i, nibble) in nibbles.iter().take(64).enumerate() {
        wide.0[i / 16] |= u64::from(*nibble) << (60 - 4 * (i % 16));
    }
    wide
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Printed by arithmetic on the number alone.
    fn print(capture: &Capture, style: Style, word: usize) -> String {
        let length = capture.len();
        let number = capture.bits().fold(0u128, |n, bit| n << 1 | u128::from(bit));
        let bits = match style.width {
            Width::Nibble => length.next_multiple_of(4),
            Width::Byte => length.next_multiple_of(8),
            Width::Word => length.next_multiple_of(word),
            Width::Least | Width::Other => length,
        };
        let number = match style.side {
            Side::Right => number,
            Side::Left => number << (bits - length),
        };
        match (style.decimal, style.width) {
            (true, Width::Other) => format!("{number:040}")[1..].to_owned(),
            (true, _) => format!("{number}"),
            (false, Width::Least) => format!("{number:X}"),
            (false, Width::Other) => format!("{number:030X}"),
            (false, _) => format!("{number:0width$X}", width = bits / 4),
        }
    }

    proptest! {
        #[test]
        fn every_way_to_print_is_found_again(
            bits in prop::collection::vec(any::<bool>(), 1..=90),
            width in 0usize..5, left: bool, decimal: bool, word in prop::sample::select(vec![32, 64]),
        ) {
            let width = [Width::Least, Width::Nibble, Width::Byte, Width::Word, Width::Other][width];
            let side = if left { Side::Left } else { Side::Right };
            let odd = matches!(width, Width::Least | Width::Other) && left;
            prop_assume!(!(odd || decimal && matches!(width, Width::Nibble)));
            let style = Style { decimal, side, width };
            let capture = Capture::from_bits(bits).unwrap();
            let text = print(&capture, style, word);
            let digits = if decimal { Digits::decimal(&text) } else { Digits::hexadecimal(&text) };
            let ways = digits.unwrap().ways(capture.len());
            let way = ways.iter().find(|way| way.capture == capture);
            let way = way.unwrap_or_else(|| panic!("{text} {ways:?}"));
            // A decimal number at the right is as wide as it is.
            if !(decimal && side == Side::Right && matches!(width, Width::Byte | Width::Word)) {
                prop_assert!(way.styles.iter().any(|(of, _)| *of == style), "{text} {way:?}");
            }
            prop_assert!(way.styles.iter().all(|(style, chance)| style.index() < Style::COUNT
                && *chance > 0.0 && *chance <= 1.0));
        }
    }

    #[test]
    fn digits_that_hold_more_than_the_length_are_none_of_it() {
        assert!(Digits::hexadecimal("FFFFFFF").unwrap().ways(26).is_empty());
        assert!(Digits::decimal("4294967295").unwrap().ways(31).is_empty());
        assert_eq!(Digits::hexadecimal("12G"), None);
        assert_eq!(Digits::decimal(&"9".repeat(39)), None);
    }
}
