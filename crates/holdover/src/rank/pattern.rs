//! What the captures of a length have in common where a layout checks nothing.
//!
//! Every capture of 32 bits could be a bare serial number, so no failed check
//! ever speaks for an unknown kind. What does is order: bits that hardly vary,
//! each learnt from the batch (Krichevsky and Trofimov's estimate), and
//! relations that always hold among bits that do vary. Serial numbers have
//! neither, but for their first byte, which a layout explains itself.
//!
//! Where there are many captures, only what stands out is looked at: a bit must
//! be [`ODD_BIT_LOG2`] likelier uneven than even, and a relation must have had so
//! many chances to fail that chance explains it no more. The rest counts for
//! neither side.

use super::model::{ODD_BIT_LOG2, RELATION_CHANCES, UNSEEN_BY};
use crate::bits::gf2::Relation;
use crate::bits::{Capture, Wide};

/// Captures of a length that are looked at.
pub(super) const LOOKED_AT: usize = 512;

/// Captures up to which every bit is looked at: none stands out alone, but a
/// prefix of many does, and each is paid for as it is learnt.
const FEW: usize = 16;

/// What the captures of one length have in common.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pattern {
    captures: f64,
    /// Uneven bits, and how many of the captures have a 1 there.
    ones: Vec<(usize, f64)>,
    /// Relations that hold in all captures, though their bits vary.
    keeps: Vec<Relation>,
    /// The captures looked at are all there are.
    all: bool,
}

/// log2 of how much better one uneven coin explains so many ones of all than
/// an even one does.
fn uneven(ones: f64, all: f64) -> f64 {
    let run = |n: f64| (0..n as usize).map(|i| (i as f64 + 0.5).log2()).sum::<f64>();
    let both = (0..all as usize).map(|i| (i as f64 + 1.0).log2()).sum::<f64>();
    run(ones) + run(all - ones) - both + all
}

impl Pattern {
    /// The pattern of distinct captures of one length; `None` where there is
    /// none. Bits in `spared` are not looked at. `all` says that there are no
    /// other captures.
    pub fn of(captures: &[Capture], spared: Wide, all: bool) -> Option<Pattern> {
        let length = captures.first()?.len();
        let count = captures.len() as f64;
        let ones = (0..length).filter(|bit| !spared.bit(*bit)).filter_map(|bit| {
            let ones = captures.iter().filter(|c| c.wide().bit(bit)).count() as f64;
            let few = captures.len() <= FEW;
            (few || uneven(ones, count) > ODD_BIT_LOG2).then_some((bit, ones))
        });
        let pattern = Pattern { captures: count, ones: ones.collect(), keeps: kept(captures), all };
        (!pattern.ones.is_empty() || !pattern.keeps.is_empty()).then_some(pattern)
    }

    /// How likely it is that an unknown kind would not have shown by so many
    /// captures of it that have nothing in common.
    pub fn unseen(captures: usize) -> f64 {
        1.0 / (1.0 + captures as f64 / UNSEEN_BY).min(16.0)
    }

    /// Bits that tell one capture from another here.
    pub fn mask(&self) -> Wide {
        let mut mask = self.keeps.iter().fold(Wide::ZERO, |mask, keep| mask | keep.bits);
        self.ones.iter().for_each(|(bit, _)| mask.set(*bit, true));
        mask
    }

    /// How much better the pattern explains a capture than random bits do, as
    /// the others tell it where it is one of them itself.
    pub fn likelihood(&self, capture: &Capture, seen: bool) -> f64 {
        let own = if seen && self.all { 1.0 } else { 0.0 };
        let word = capture.wide();
        let relations = super::evidence::kept_bits(&self.keeps, word);
        let bits = self.ones.iter().map(|(bit, ones)| {
            let same = if word.bit(*bit) { *ones } else { self.captures - ones };
            // Digits of unknown length may have been taken for another capture.
            let (same, all) = ((same - own).max(0.0), (self.captures - own).max(same - own));
            (2.0 * (same + 0.5) / (all + 1.0)).log2()
        });
        (relations + bits.sum::<f64>()).exp2()
    }
}

/// Relations that hold in all captures, none of them of constant bits alone.
///
/// The words' differences from the first are brought to echelon form; a bit
/// that is no pivot and varies is a sum of pivots in every word, and with them a
/// relation. Each word beyond the rank was a chance to fail.
fn kept(captures: &[Capture]) -> Vec<Relation> {
    let Some(first) = captures.first() else { return Vec::new() };
    let mut rows: Vec<(usize, Wide)> = Vec::new();
    for capture in captures {
        let mut row = capture.wide() ^ first.wide();
        for (pivot, of) in &rows {
            if row.bit(*pivot) {
                row = row ^ *of;
            }
        }
        let Some(pivot) = row.first_one() else { continue };
        for (_, of) in rows.iter_mut().filter(|(_, of)| of.bit(pivot)) {
            *of = *of ^ row;
        }
        rows.push((pivot, row));
    }
    if captures.len() < rows.len() + RELATION_CHANCES {
        return Vec::new();
    }
    let varies = rows.iter().fold(Wide::ZERO, |all, (_, row)| all | *row);
    let mut all = Vec::new();
    for bit in (0..first.len()).filter(|bit| varies.bit(*bit)) {
        if rows.iter().any(|(pivot, _)| *pivot == bit) {
            continue;
        }
        let mut bits = Wide::ZERO;
        bits.set(bit, true);
        rows.iter().filter(|(_, row)| row.bit(bit)).for_each(|(pivot, _)| bits.set(*pivot, true));
        all.push(Relation { bits, constant: (bits & first.wide()).parity() });
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(count: usize, of: impl Fn(u64) -> u64) -> Vec<Capture> {
        let mut rng = fastrand::Rng::with_seed(3);
        let word = |_| Capture::from_wide(Wide([of(rng.u64(..)) << 32, 0, 0, 0]), 32).unwrap();
        (0..count).map(word).collect()
    }

    #[test]
    fn random_words_have_nothing_in_common() {
        for count in [1, 2, 5, 20, 100, 500] {
            let pattern = Pattern::of(&words(count, |word| word), Wide::ZERO, true);
            let uneven = |p: &Pattern| if count <= FEW { 0 } else { p.ones.len() };
            let random = |p: Pattern| p.keeps.is_empty() && uneven(&p) < 4;
            assert!(pattern.is_none_or(random), "{count}");
        }
    }

    #[test]
    fn a_prefix_and_a_check_are_found() {
        let capture = |word: u64| {
            let word = word & 0xf_ffff | 0xabc << 20;
            word & !1 | u64::from((word >> 1).count_ones() % 2)
        };
        let all = words(60, capture);
        let pattern = Pattern::of(&all, Wide::ZERO, true).unwrap();
        assert!(pattern.ones.len() >= 12 && pattern.keeps.len() == 1, "{pattern:?}");
        // Twelve bits and a relation, but for what is left to doubt.
        assert!(pattern.likelihood(&all[0], true) > 12f64.exp2());
        assert!(pattern.likelihood(&words(1, |word| word)[0], false) < 1.0);
    }
}
