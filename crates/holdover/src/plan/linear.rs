//! The members of a batch as words: where the card field is binary, each bit
//! of the card number flips a fixed set of bits of the word, its checks
//! included, so that ranges need not be listed.

use super::affine::{Affine, Equation};
use super::big::Big;
use super::error::PlanErrorKind;
use super::roster::word;
use super::shape::Run;
use crate::bits::Wide;
use crate::bits::gf2::Relation;
use crate::layout::{Layout, Part};

/// The most cards of one batch that are listed one by one.
/// Judgement, no source: a few megabytes, and a moment's work.
pub(crate) const LISTED_MOST: u128 = 65_536;

/// The words of consecutive card numbers.
#[derive(Debug, Clone)]
pub(crate) enum Members {
    /// Word of `first`, and what each bit of the number that varies flips,
    /// the lowest first.
    Linear { first: u128, word: Wide, columns: Vec<Wide> },
    /// Not linear: each word by its number, ascending.
    Listed { words: Vec<(u128, Wide)> },
}

impl Members {
    /// The words of cards `first` to `last` (not below it) of a site code.
    pub fn new(
        layout: &Layout,
        site: u128,
        first: u128,
        last: u128,
    ) -> Result<Members, PlanErrorKind> {
        let base = word(layout, site, first);
        if let Err(wrong) = &base
            && !matches!(wrong, PlanErrorKind::Impossible { .. })
        {
            return Err(wrong.clone());
        }
        // Its size is known to be wrong before anything is listed.
        if let Err(wrong @ PlanErrorKind::TooLarge { .. }) = word(layout, site, last) {
            return Err(wrong);
        }
        let mut fields = layout.fields().iter().filter(|field| field.belongs_to(Part::Card));
        let binary = fields.next().is_some_and(|field| field.digits().is_none());
        if let Ok(base) = base
            && binary
            && fields.next().is_none()
        {
            let base = base.wide();
            let column = |bit: usize| {
                word(layout, site, first ^ 1u128 << bit).map(|other| other.wide() ^ base)
            };
            let varying = 128 - (first ^ last).leading_zeros() as usize;
            if let Ok(columns) = (0..varying).map(column).collect() {
                return Ok(Members::Linear { first, word: base, columns });
            }
        }
        let cards = (last - first).saturating_add(1);
        if cards > LISTED_MOST {
            let why = "its card number is decimal, joined or bound by a check";
            return Err(PlanErrorKind::TooLong { cards, most: LISTED_MOST, why });
        }
        let words = (first..=last).map(|n| Ok((n, word(layout, site, n)?.wide())));
        Ok(Members::Listed { words: words.collect::<Result<_, PlanErrorKind>>()? })
    }

    /// The word of a member.
    pub fn word(&self, number: u128) -> Wide {
        match self {
            Members::Linear { first, word, columns } => {
                let mut flips = number ^ first;
                let mut word = *word;
                while flips != 0 {
                    let bit = flips.trailing_zeros() as usize;
                    word = columns.get(bit).map_or(word, |column| word ^ *column);
                    flips &= flips - 1;
                }
                word
            }
            Members::Listed { words } => {
                let at = words.binary_search_by_key(&number, |(n, _)| *n);
                at.map_or(Wide::ZERO, |at| words[at].1)
            }
        }
    }

    /// Whether all members agree on a relation; `None` where they do not.
    pub fn agree_on(&self, relation: Relation) -> Option<bool> {
        match self {
            Members::Linear { word, columns, .. } => {
                let varies = columns.iter().any(|column| (relation.bits & *column).parity());
                (!varies).then(|| relation.holds(*word))
            }
            Members::Listed { words } => {
                let first = relation.holds(words.first()?.1);
                words.iter().all(|(_, word)| relation.holds(*word) == first).then_some(first)
            }
        }
    }

    /// What all members read in a run; `None` where they differ.
    pub fn agreed_value(&self, run: Run) -> Option<Big> {
        let mask = run.mask();
        match self {
            Members::Linear { word, columns, .. } => {
                let varies = columns.iter().any(|column| !(mask & *column).is_zero());
                (!varies).then(|| run.value(*word))
            }
            Members::Listed { words } => {
                let first = words.first()?.1;
                let same = words.iter().all(|(_, word)| ((first ^ *word) & mask).is_zero());
                same.then(|| run.value(first))
            }
        }
    }

    /// A relation as an equation on the card number; `None` where the members
    /// are listed.
    pub fn equation(&self, relation: Relation) -> Option<Equation> {
        let Members::Linear { first, word, columns } = self else { return None };
        let flips = |column: &Wide| (relation.bits & *column).parity();
        let bits = columns.iter().enumerate().filter(|(_, column)| flips(column));
        let mask = bits.fold(0u128, |mask, (bit, _)| mask | 1 << bit);
        let at_first = (mask & first).count_ones() % 2 == 1;
        Some(Equation { mask, constant: !relation.holds(*word) ^ at_first })
    }

    /// Each bit of a run, the last first, as an equation that holds where the
    /// bit is 1.
    pub fn bits(&self, run: Run) -> Option<Vec<Equation>> {
        let at = |offset: usize| Wide::ones(1).towards_end(offset);
        let one = |offset| self.equation(Relation { bits: at(offset), constant: true });
        (run.start..run.start + run.len).rev().map(one).collect()
    }

    /// Equations for a run to read a value.
    pub fn reads(&self, run: Run, value: Big) -> Option<Vec<Equation>> {
        let set = |bit: usize| value.shr(bit).sub(value.shr(bit + 1).shl(1)) == Big::ONE;
        let bits = self.bits(run)?.into_iter().enumerate();
        let wanted =
            |(bit, one): (usize, Equation)| Equation { constant: one.constant == set(bit), ..one };
        Some(bits.map(wanted).collect())
    }

    /// The values of a run (up to 128 bits) over a set of card numbers, and
    /// how many cards have each, as log2.
    pub fn image(&self, run: Run, set: &Affine) -> (Affine, usize) {
        let word = self.word(set.origin);
        let value = |wide: Wide| run.value(wide).saturated();
        let vectors = set.basis.iter().map(|v| value(self.word(set.origin ^ v) ^ word));
        Affine::new(value(word), vectors)
    }

    /// How a run's value follows the card number, where it does plainly: the
    /// value is `base` + the lowest `bits` bits of the number.
    pub fn plain(&self, run: Run) -> Option<Plain> {
        let Members::Linear { first, word, columns } = self else { return None };
        let value = |wide: Wide| run.value(wide);
        let mask = run.mask();
        let stays = |column: &Wide| (*column & mask).is_zero();
        let bits = columns.iter().position(stays).unwrap_or(columns.len());
        let follows = |(bit, column): (usize, &Wide)| value(*column) == Big::power_of_two(bit);
        if !columns[..bits].iter().enumerate().all(follows) || !columns[bits..].iter().all(stays) {
            return None;
        }
        let low = if bits == 128 { *first } else { first & ((1 << bits) - 1) };
        let base = value(*word);
        let low_of_base = base.sub(base.shr(bits).shl(bits));
        (low_of_base == Big::from(low)).then(|| Plain {
            base: base.sub(Big::from(low)),
            bits,
            whole: bits == columns.len(),
        })
    }
}

/// A run's value as the lowest bits of the card number upon a base.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Plain {
    pub base: Big,
    pub bits: usize,
    /// Whether these are all bits of the number that vary.
    pub whole: bool,
}
