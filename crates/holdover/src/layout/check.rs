//! Checks as a table gives them: parity, fixed values, longitudinal checks.

use std::fmt;

use super::LayoutErrorKind;
use crate::bits::gf2::Relation;
use crate::bits::{Position, Span, Wide};

/// A rule the bits must meet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Check {
    /// The ones in `over` and `bit` together are even or odd in number.
    Parity {
        /// True for odd parity.
        odd: bool,
        /// The check bit.
        bit: Position,
        /// The bits it covers, without itself.
        over: Span,
    },
    /// The span always reads this value.
    Fixed {
        /// Where.
        span: Span,
        /// What it reads, the first bit the most significant.
        value: u128,
    },
    /// Longitudinal check: bit j of the check word makes even the ones in bit
    /// j of all words. Of a check word shorter than the words, only the first
    /// columns are checked: in a FASC-N the last bit of the check character is
    /// a parity of its own (TIG SCEPACS v2.3, section 6).
    Lrc {
        /// Bits a word.
        group: usize,
        /// The words, one after the other.
        over: Span,
        /// The check word.
        at: Span,
    },
}

impl Check {
    /// The name of its kind as tables write it.
    pub fn kind(&self) -> &'static str {
        match self {
            Check::Parity { odd: false, .. } => "even",
            Check::Parity { odd: true, .. } => "odd",
            Check::Fixed { .. } => "fixed",
            Check::Lrc { .. } => "lrc",
        }
    }

    /// The bits that exist only for the check, filled in by composing.
    pub fn own_bits(&self) -> Wide {
        match self {
            Check::Parity { bit, .. } => Wide::ones(1).towards_end(bit.offset()),
            Check::Fixed { span, .. } => span.mask(),
            Check::Lrc { at, .. } => at.mask(),
        }
    }

    /// The bits it covers, its own left out.
    pub fn cover(&self) -> Wide {
        match self {
            Check::Parity { over, .. } | Check::Lrc { over, .. } => over.mask(),
            Check::Fixed { .. } => Wide::ZERO,
        }
    }

    /// The check as relations over GF(2).
    pub fn relations(&self) -> Vec<Relation> {
        match self {
            Check::Parity { odd, .. } => {
                vec![Relation { bits: self.cover() ^ self.own_bits(), constant: *odd }]
            }
            Check::Fixed { span, value } => {
                let len = span.len();
                let one = |(i, offset): (usize, usize)| Relation {
                    bits: Wide::ones(1).towards_end(offset),
                    constant: value >> (len - 1 - i) & 1 == 1,
                };
                span.offsets().enumerate().map(one).collect()
            }
            Check::Lrc { group, over, at } => at
                .offsets()
                .enumerate()
                .map(|(column, check_bit)| {
                    let column = over.offsets().skip(column).step_by(*group);
                    let mut bits = Wide::ZERO;
                    column.chain([check_bit]).for_each(|offset| bits.set(offset, true));
                    Relation { bits, constant: false }
                })
                .collect(),
        }
    }

    /// Whether it stands on its own; the key at fault, if not.
    pub(super) fn check(&self, length: usize) -> Result<(), (&'static str, LayoutErrorKind)> {
        let inside = |key, bit: Position| match bit.from_one() > length {
            true => Err((key, LayoutErrorKind::OutsideLength { bit, length })),
            false => Ok(()),
        };
        match self {
            Check::Parity { bit, over, .. } => {
                inside("bit", *bit)?;
                inside("over", over.furthest())?;
                if over.mask().bit(bit.offset()) {
                    return Err(("over", LayoutErrorKind::BitInOwnCover { bit: *bit }));
                }
            }
            Check::Fixed { span, value } => {
                inside("span", span.furthest())?;
                let bits = span.len();
                if bits > 128 {
                    return Err(("span", LayoutErrorKind::FixedTooWide { bits }));
                }
                if bits < 128 && value >> bits != 0 {
                    return Err(("value", LayoutErrorKind::ValueTooLarge { bits, value: *value }));
                }
            }
            Check::Lrc { group, over, at } => {
                inside("over", over.furthest())?;
                inside("at", at.furthest())?;
                if !(1..=64).contains(group) {
                    return Err(("group", LayoutErrorKind::BadGroup));
                }
                let (bits, group) = (over.len(), *group);
                if !bits.is_multiple_of(group) {
                    return Err(("over", LayoutErrorKind::NotWholeWords { bits, group }));
                }
                if at.len() > group {
                    let bits = at.len();
                    return Err(("at", LayoutErrorKind::CheckWordTooLong { bits, group }));
                }
                if let Some(shared) = Span::from_mask(over.mask() & at.mask()) {
                    return Err(("at", LayoutErrorKind::CheckWordInCover { shared }));
                }
            }
        }
        Ok(())
    }
}

impl fmt::Display for Check {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Check::Parity { bit, over, .. } => write!(f, "{} {bit} over {over}", self.kind()),
            Check::Fixed { span, value } => {
                write!(f, "fixed {span} = {value:0width$b}", width = span.len())
            }
            Check::Lrc { group, over, at } => {
                write!(f, "lrc at {at} of {group}-bit words over {over}")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_longitudinal_check_is_the_xor_of_the_words() {
        // Rule: the check's data bits are the XOR of those of all characters
        // before it (TIG SCEPACS v2.3, section 6); bytes invented.
        for text in ["B8F", "B26F", "B907F", "B8135402F"] {
            let words: Vec<u128> =
                text.chars().map(|c| u128::from(c.to_digit(16).unwrap())).collect();
            let lrc = words.iter().fold(0, |all, word| all ^ word);
            let mut wide = Wide::ZERO;
            for (i, word) in words.iter().chain([&lrc]).enumerate() {
                Span::run(4 * i, 4).unwrap().place(*word, &mut wide);
            }
            let words = words.len();
            let check = Check::Lrc {
                group: 4,
                over: Span::run(0, 4 * words).unwrap(),
                at: Span::run(4 * words, 4).unwrap(),
            };
            assert!(check.relations().iter().all(|r| r.holds(wide)), "{text}");
            Span::run(4 * words, 4).unwrap().place(lrc ^ 1, &mut wide);
            assert!(!check.relations().iter().all(|r| r.holds(wide)), "{text}");
        }
    }
}
