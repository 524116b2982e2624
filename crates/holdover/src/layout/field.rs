//! Fields: the numbers a card carries, and how they are coded.

use std::fmt;

use super::{LayoutError, LayoutErrorKind, LayoutSpec, Place, PlaceIn};
use crate::bits::{Span, Wide};

/// What a field is for.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Role {
    /// The site code.
    Site,
    /// The card number.
    Card,
    /// A name of its own.
    Named(String),
}

impl Role {
    /// The role of that name.
    pub fn new(name: &str) -> Role {
        match name {
            "site" => Role::Site,
            "card" => Role::Card,
            other => Role::Named(other.to_owned()),
        }
    }

    /// The name as tables and output write it.
    pub fn name(&self) -> &str {
        match self {
            Role::Site => "site",
            Role::Card => "card",
            Role::Named(name) => name,
        }
    }
}

/// How a field's bits are a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Code {
    /// Binary, the first bit read the most significant.
    #[default]
    Binary,
    /// Decimal digits of four bits, most significant bit first.
    Bcd4,
    /// Decimal digits of five bits, least significant bit first, then odd
    /// parity: the characters of a FASC-N (TIG SCEPACS v2.3, section 6), which
    /// are those of track 2 (ISO/IEC 7811-2; clause not known, from memory).
    Bcd5,
}

impl Code {
    /// The name as tables write it.
    pub fn name(self) -> &'static str {
        match self {
            Code::Binary => "binary",
            Code::Bcd4 => "bcd4",
            Code::Bcd5 => "bcd5",
        }
    }

    /// Bits a decimal digit takes; `None` for binary.
    pub fn digit_bits(self) -> Option<usize> {
        match self {
            Code::Binary => None,
            Code::Bcd4 => Some(4),
            Code::Bcd5 => Some(5),
        }
    }
}

/// Whether a field that has a name of its own is also part of the site code
/// or of the card number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Part {
    /// Part of the site code.
    Site,
    /// Part of the card number.
    Card,
}

/// How the number printed on a card follows from the one its bits hold:
/// printed = `factor` · number + `offset`.
///
/// # Examples
/// ```
/// use holdover::layout::PrintRule;
/// let rule = PrintRule { factor: 2, offset: 1 };
/// assert_eq!(rule.to_string(), "2n + 1");
/// assert_eq!(rule.printed(12_345), Some(24_691));
/// assert_eq!(rule.number(24_691), Some(12_345));
/// assert_eq!(rule.number(24_690), None);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct PrintRule {
    /// By what the number is multiplied, from 1.
    pub factor: u64,
    /// What is added then.
    pub offset: i64,
}

impl Default for PrintRule {
    /// The number is printed as it is.
    fn default() -> PrintRule {
        PrintRule { factor: 1, offset: 0 }
    }
}

impl PrintRule {
    /// Whether the number is printed as it is.
    pub fn as_is(&self) -> bool {
        *self == PrintRule::default()
    }

    /// What is printed on the card of a number; `None` where that would be below
    /// 0 or over 128 bits.
    pub fn printed(&self, number: u128) -> Option<u128> {
        number.checked_mul(u128::from(self.factor))?.checked_add_signed(i128::from(self.offset))
    }

    /// The number of a card with that print; `None` where no card has it.
    pub fn number(&self, printed: u128) -> Option<u128> {
        let times = printed.checked_add_signed(-i128::from(self.offset))?;
        let factor = u128::from(self.factor);
        (factor > 0 && times.is_multiple_of(factor)).then(|| times / factor)
    }
}

impl fmt::Display for PrintRule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.factor {
            1 => f.write_str("n")?,
            factor => write!(f, "{factor}n")?,
        }
        match self.offset {
            0 => Ok(()),
            offset if offset < 0 => write!(f, " - {}", offset.unsigned_abs()),
            offset => write!(f, " + {offset}"),
        }
    }
}

/// A number in a layout.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    /// What it is for.
    pub role: Role,
    /// Where its bits are, in the order they are read.
    pub span: Span,
    /// How the bits are a number.
    pub code: Code,
    /// For a field with its own name: what it is part of.
    pub part_of: Option<Part>,
    /// True for a contactless card's serial number (ISO/IEC 14443-3), whose
    /// byte order and reserved first bytes matter.
    pub serial: bool,
    /// What is printed on the card for its number; the card field alone has
    /// another rule than the number as it is.
    pub print: PrintRule,
}

/// The value of a field.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Value {
    /// A binary number.
    Number(u128),
    /// Decimal digits with their leading zeros; `?` stands for one that is no digit.
    Digits(String),
}

impl From<u128> for Value {
    fn from(number: u128) -> Value {
        Value::Number(number)
    }
}

impl From<&str> for Value {
    /// Decimal digits; of a binary field the number that they are.
    fn from(digits: &str) -> Value {
        Value::Digits(digits.to_owned())
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Value::Number(number) => number.fmt(f),
            Value::Digits(digits) => f.pad(digits),
        }
    }
}

impl Field {
    /// A binary field.
    pub fn binary(role: Role, span: Span) -> Field {
        Field {
            role,
            span,
            code: Code::Binary,
            part_of: None,
            serial: false,
            print: PrintRule::default(),
        }
    }

    /// Whether the field is that part, by role or because it says so.
    pub fn belongs_to(&self, part: Part) -> bool {
        match part {
            Part::Site => self.role == Role::Site || self.part_of == Some(Part::Site),
            Part::Card => self.role == Role::Card || self.part_of == Some(Part::Card),
        }
    }

    /// Decimal digits, for the decimal codes.
    pub fn digits(&self) -> Option<usize> {
        self.code.digit_bits().map(|bits| self.span.len() / bits)
    }

    /// The digits its largest value has, in decimal.
    pub fn decimal_width(&self) -> usize {
        self.digits().unwrap_or_else(|| {
            let largest = u128::MAX >> (128 - self.span.len().min(128));
            largest.to_string().len()
        })
    }

    /// The value of the field in a word.
    pub fn value(&self, word: Wide) -> Value {
        let Some(bits) = self.code.digit_bits() else {
            return Value::Number(self.span.number_in(word));
        };
        let mut raw = self.span.offsets().map(|offset| word.bit(offset));
        let digits = (0..self.span.len() / bits).map(|_| {
            let digit: Vec<bool> = raw.by_ref().take(bits).collect();
            read_digit(self.code, &digit).map_or('?', |d| char::from(b'0' + d))
        });
        Value::Digits(digits.collect())
    }

    pub(super) fn check(&self, index: usize, spec: &LayoutSpec) -> Result<(), LayoutError> {
        let fail = |key, kind| {
            Err(LayoutError { place: Place { part: PlaceIn::Field(index), key }, kind })
        };
        let name = self.role.name();
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
        if name.is_empty() || name.len() > 32 || !name.chars().all(plain) {
            return fail("role", LayoutErrorKind::BadRole);
        }
        if spec.fields[..index].iter().any(|before| before.role == self.role) {
            return fail("role", LayoutErrorKind::RoleTwice { role: name.to_owned() });
        }
        if self.span.furthest().from_one() > spec.length {
            let bit = self.span.furthest();
            return fail("span", LayoutErrorKind::OutsideLength { bit, length: spec.length });
        }
        match self.code.digit_bits() {
            None if self.span.len() > 128 => {
                return fail("span", LayoutErrorKind::FieldTooWide { bits: self.span.len() });
            }
            Some(bits) if !self.span.len().is_multiple_of(bits) => {
                let kind = LayoutErrorKind::NotWholeDigits { bits: self.span.len(), digit: bits };
                return fail("span", kind);
            }
            _ => {}
        }
        for before in &spec.fields[..index] {
            if let Some(shared) = Span::from_mask(before.span.mask() & self.span.mask()) {
                let other = before.role.name().to_owned();
                return fail("span", LayoutErrorKind::FieldsOverlap { other, shared });
            }
        }
        if self.part_of.is_some() && matches!(self.role, Role::Site | Role::Card) {
            return fail("part_of", LayoutErrorKind::PartOfItself);
        }
        let rivals = spec.fields[..index].iter().any(|before| match self.part_of {
            Some(Part::Site) => before.role == Role::Site,
            Some(Part::Card) => before.role == Role::Card,
            None => {
                self.role == Role::Site && before.part_of == Some(Part::Site)
                    || self.role == Role::Card && before.part_of == Some(Part::Card)
            }
        });
        if rivals {
            let key = if self.part_of.is_some() { "part_of" } else { "role" };
            return fail(key, LayoutErrorKind::PartAndWhole);
        }
        if self.serial && self.code != Code::Binary {
            return fail("serial", LayoutErrorKind::SerialNotBinary);
        }
        if self.print.factor == 0 {
            return fail("factor", LayoutErrorKind::NoFactor);
        }
        if !self.print.as_is() && self.role != Role::Card {
            let key = if self.print.factor == 1 { "offset" } else { "factor" };
            return fail(key, LayoutErrorKind::PrintNotCard);
        }
        Ok(())
    }
}

/// The digit these bits are; `None` where they are no decimal digit. The
/// parity bit of a five-bit digit is not looked at: it is a rule of its own.
fn read_digit(code: Code, bits: &[bool]) -> Option<u8> {
    let value = match code {
        Code::Bcd5 => bits[..4].iter().rev().fold(0, |n, &b| n << 1 | u8::from(b)),
        _ => bits.iter().fold(0, |n, &b| n << 1 | u8::from(b)),
    };
    (value <= 9).then_some(value)
}

/// The bits of a decimal digit, in the order received.
pub(super) fn digit_bits(code: Code, digit: u8) -> Vec<bool> {
    let bit = |i: u8| digit >> i & 1 == 1;
    match code {
        Code::Bcd5 => {
            let even = digit.count_ones().is_multiple_of(2);
            vec![bit(0), bit(1), bit(2), bit(3), even]
        }
        _ => vec![bit(3), bit(2), bit(1), bit(0)],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn five_bit_digits_are_those_of_track_2() {
        // Rule: least significant bit first, odd parity last (TIG SCEPACS v2.3,
        // section 6, pp. 28-33); the bits by arithmetic.
        for (digit, bits) in [(0, "00001"), (1, "10000"), (2, "01000"), (3, "11001"), (9, "10011")]
        {
            let text: String =
                digit_bits(Code::Bcd5, digit).iter().map(|b| if *b { '1' } else { '0' }).collect();
            assert_eq!(text, bits);
        }
        for code in [Code::Bcd4, Code::Bcd5] {
            for digit in 0..=9 {
                assert_eq!(read_digit(code, &digit_bits(code, digit)), Some(digit));
            }
        }
        assert_eq!(read_digit(Code::Bcd4, &[true, false, true, false]), None);
    }
}
