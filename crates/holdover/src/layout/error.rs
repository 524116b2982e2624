//! What can be wrong with a layout, and where.

use std::fmt;

use thiserror::Error;

use crate::bits::{Position, Span};

/// Which part of a layout a mistake is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaceIn {
    /// The layout itself.
    Layout,
    /// Its field of that index, from 0.
    Field(usize),
    /// Its check of that index, from 0.
    Check(usize),
}

/// The part and the key a mistake is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// The part.
    pub part: PlaceIn,
    /// The key as the table file names it.
    pub key: &'static str,
}

/// A layout that contradicts itself.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{kind}")]
pub struct LayoutError {
    pub(super) place: Place,
    pub(super) kind: LayoutErrorKind,
}

impl LayoutError {
    /// Which mistake it is.
    pub fn kind(&self) -> &LayoutErrorKind {
        &self.kind
    }

    /// Where it is.
    pub fn place(&self) -> Place {
        self.place
    }
}

/// The mistakes a layout can hold.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum LayoutErrorKind {
    /// The id is empty, too long or has other characters.
    BadId {
        /// The id.
        found: String,
    },
    /// Not 1 to 256.
    BadLength {
        /// What stands there.
        found: String,
    },
    /// Not a positive number.
    BadWeight,
    /// A layout without fields says nothing.
    NoField,
    /// More than 256.
    TooManyChecks,
    /// A role with other characters.
    BadRole,
    /// Two fields of one role.
    RoleTwice {
        /// The role.
        role: String,
    },
    /// A bit past the end.
    OutsideLength {
        /// The bit.
        bit: Position,
        /// The layout's length.
        length: usize,
    },
    /// A binary field over 128 bits.
    FieldTooWide {
        /// Its bits.
        bits: usize,
    },
    /// A decimal field that ends inside a digit.
    NotWholeDigits {
        /// Its bits.
        bits: usize,
        /// Bits a digit takes.
        digit: usize,
    },
    /// Two fields read the same bits.
    FieldsOverlap {
        /// The other field's role.
        other: String,
        /// The bits both read.
        shared: Span,
    },
    /// `part_of` on the site or card field itself.
    PartOfItself,
    /// A field that is the site or card beside one that is part of it.
    PartAndWhole,
    /// A decimal field said to be a serial number.
    SerialNotBinary,
    /// A print of 0 times the number.
    NoFactor,
    /// A rule of the print on another field than the card number.
    PrintNotCard,
    /// A parity check's bit is among those it covers.
    BitInOwnCover {
        /// The bit.
        bit: Position,
    },
    /// A fixed value that its span has no room for.
    ValueTooLarge {
        /// The span's bits.
        bits: usize,
        /// The value.
        value: u128,
    },
    /// A fixed span over 128 bits.
    FixedTooWide {
        /// Its bits.
        bits: usize,
    },
    /// Words of a longitudinal check of no bits or more than 64.
    BadGroup,
    /// A cover that is no whole number of words.
    NotWholeWords {
        /// The cover's bits.
        bits: usize,
        /// Bits a word.
        group: usize,
    },
    /// The check word is longer than the words it checks.
    CheckWordTooLong {
        /// Its bits.
        bits: usize,
        /// Bits a word.
        group: usize,
    },
    /// The check word overlaps the words it checks.
    CheckWordInCover {
        /// The bits in both.
        shared: Span,
    },
    /// No word can meet this check and those before it.
    Contradiction,
    /// What is not settled is no part of the layout, or named twice.
    UnsettledPart,
}

impl fmt::Display for LayoutErrorKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use LayoutErrorKind::*;
        match self {
            BadId { found } => write!(f, "{found:?} cannot be an id"),
            BadLength { found } => write!(f, "a length of {found} is outside 1 to 256 bits"),
            BadWeight => write!(f, "a weight must be above 0, at most 1000000"),
            NoField => write!(f, "the layout has no field"),
            TooManyChecks => write!(f, "a layout has at most 256 checks"),
            BadRole => write!(f, "a role is a short name of letters, digits, '_' and '-'"),
            RoleTwice { role } => write!(f, "the layout already has a field {role:?}"),
            OutsideLength { bit, length } => {
                write!(f, "bit {bit} is outside the layout, which has {length} bits")
            }
            FieldTooWide { bits } => write!(f, "a binary field of {bits} bits is over 128"),
            NotWholeDigits { bits, digit } => {
                write!(f, "{bits} bits are no whole number of {digit}-bit digits")
            }
            FieldsOverlap { other, shared } => {
                write!(f, "bits {shared} already belong to the field {other:?}")
            }
            PartOfItself => write!(f, "the site and card fields are no part of something else"),
            PartAndWhole => {
                write!(f, "a layout has either one such field or parts of it, not both")
            }
            SerialNotBinary => write!(f, "a serial number is a binary field"),
            NoFactor => write!(f, "a factor of 0 prints the same on every card"),
            PrintNotCard => write!(f, "factor and offset belong to the field of role card alone"),
            BitInOwnCover { bit } => write!(f, "bit {bit} is inside its own cover"),
            ValueTooLarge { bits, value } => {
                write!(f, "{value} does not fit the span, which has {bits} bits")
            }
            FixedTooWide { bits } => write!(f, "a fixed span of {bits} bits is over 128"),
            BadGroup => write!(f, "words of a longitudinal check have 1 to 64 bits"),
            NotWholeWords { bits, group } => {
                write!(f, "{bits} bits are no whole number of {group}-bit words")
            }
            CheckWordTooLong { bits, group } => {
                write!(f, "the check word has {bits} bits, the words it checks only {group}")
            }
            CheckWordInCover { shared } => {
                write!(f, "bits {shared} of the check word are inside its own cover")
            }
            Contradiction => write!(f, "no capture can meet this check and those before it"),
            UnsettledPart => {
                write!(f, "what is not settled is no field or check of the layout, or named twice")
            }
        }
    }
}

impl LayoutErrorKind {
    /// How to mend it.
    pub fn mend(&self) -> String {
        use LayoutErrorKind::*;
        match self {
            BadId { .. } => "use small letters, digits, '-' and '_', at most 64".into(),
            BadLength { .. } => "count all bits the card sends, checks included".into(),
            BadWeight => "write 1.0 for a usual layout, or leave the key out".into(),
            NoField => "add a [[layout.field]] with a role and a span".into(),
            TooManyChecks => "leave out the checks that follow from the others".into(),
            BadRole => "write \"site\", \"card\" or a name such as \"issue\"".into(),
            RoleTwice { .. } => {
                "give this field a name of its own, or join both in one span".into()
            }
            OutsideLength { length, .. } => {
                format!("positions run from 1 to {length}; correct the span or the length")
            }
            FieldTooWide { .. } => "split it into fields of at most 128 bits".into(),
            NotWholeDigits { bits, digit } => {
                format!("shorten the span to {} bits or extend it", bits / digit * digit)
            }
            FieldsOverlap { .. } => "give each bit to one field".into(),
            PartOfItself => "leave part_of out here".into(),
            PartAndWhole => "leave part_of out, or give the other field a name of its own".into(),
            SerialNotBinary => "leave serial or code out".into(),
            NoFactor => "write factor = 1, or leave it out".into(),
            PrintNotCard => "leave factor and offset out here".into(),
            BitInOwnCover { bit } => format!("name in `over` only the other bits; leave {bit} out"),
            ValueTooLarge { bits, .. } if *bits < 128 => {
                format!("the largest value is {}", (1u128 << bits) - 1)
            }
            ValueTooLarge { .. } | FixedTooWide { .. } => {
                "split it into several fixed checks".into()
            }
            BadGroup => "write how many bits one word has, such as group = 5".into(),
            NotWholeWords { group, .. } => {
                format!("let `over` hold a multiple of {group} bits")
            }
            CheckWordTooLong { group, .. } => format!("let `at` name at most {group} bits"),
            CheckWordInCover { .. } => "name in `over` only the words before the check word".into(),
            Contradiction => "one of them is wrong: check the kinds (even, odd) and values".into(),
            UnsettledPart => "name each field and check that is not settled once".into(),
        }
    }
}
