//! Numbers and sums of bits, a plain loop a column.

use super::lane::Lane;
use crate::bits::Span;
use crate::bits::gf2::Relation;
use crate::decode::BitExtract;

/// Terms up to which a sum is made of sums from the first bit on: folding 32
/// bits takes 11 steps, a term two.
const TERMS_MOST: usize = 5;

/// A run of a number's bits: right of it `right` bits of the capture, and
/// `left` of the number.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub(super) right: u32,
    pub(super) left: u32,
    pub(super) mask: u64,
}

/// Bits of captures of up to 64 that have an even, or odd, sum where a rule
/// holds.
#[derive(Debug, Clone)]
pub(super) struct Balance {
    pub(super) mask: u64,
    pub(super) odd: bool,
    /// The same sum as one of sums from the first bit on, and of single bits:
    /// how far right of the lowest bit each is. None where that takes longer.
    pub(super) terms: Option<Terms>,
}

#[derive(Debug, Clone)]
pub(super) struct Terms {
    pub(super) sums: Vec<u32>,
    pub(super) bits: Vec<u32>,
}

#[derive(Debug, Clone)]
pub(super) struct Checked {
    pub(super) name: String,
    pub(super) relations: Vec<Relation>,
    pub(super) balances: Vec<Balance>,
    /// Four bits each that must be a decimal digit.
    pub(super) decimal: Vec<BitExtract>,
}

impl Checked {
    pub(super) fn new(
        name: String,
        relations: Vec<Relation>,
        decimal: Vec<BitExtract>,
        length: usize,
    ) -> Checked {
        let balances = match length <= 64 {
            true => relations.iter().map(|relation| Balance::of(relation, length)).collect(),
            false => Vec::new(),
        };
        Checked { name, relations, balances, decimal }
    }
}

impl Balance {
    pub(super) fn of(relation: &Relation, length: usize) -> Balance {
        let right = |offset: usize| (length - 1 - offset) as u32;
        let (mut sums, mut bits) = (Vec::new(), Vec::new());
        let runs = Span::from_mask(relation.bits);
        for run in runs.iter().flat_map(|span| span.runs()) {
            let (first, last) = (run.first.offset(), run.last.offset());
            if first == last {
                bits.push(right(first));
                continue;
            }
            sums.push(right(last));
            if first > 0 {
                sums.push(right(first - 1));
            }
        }
        let few = sums.len() + bits.len() <= TERMS_MOST;
        Balance {
            mask: relation.bits.0[0] >> (64 - length),
            odd: relation.constant,
            terms: few.then_some(Terms { sums, bits }),
        }
    }
}

/// The number in a word whose last bit is the lowest.
#[inline(always)]
pub(super) fn number<L: Lane>(word: L, pieces: &[Piece], flip: L) -> L {
    let piece = |p: &Piece| (word >> p.right & L::of(p.mask)) << p.left;
    pieces.iter().fold(L::ZERO, |all, p| all | piece(p)) ^ flip
}

#[inline(always)]
pub(super) fn take<L: Lane, T>(
    words: &[L],
    pieces: &[Piece],
    flip: L,
    out: &mut [T],
    low: impl Fn(L) -> T + Copy,
) {
    match pieces {
        [Piece { right, left: 0, mask }] => {
            let (right, mask) = (*right, L::of(*mask));
            let all = out.iter_mut().zip(words);
            all.for_each(|(out, word)| *out = low((*word >> right & mask) ^ flip));
        }
        _ => {
            let all = out.iter_mut().zip(words);
            all.for_each(|(out, word)| *out = low(number(*word, pieces, flip)));
        }
    }
}

/// Whether all sums are as they should be.
#[inline(always)]
pub(super) fn balance<const COUNTS: bool, L: Lane>(
    words: &[L],
    sums: &[L],
    balances: &[Balance],
    wrong: &mut [L],
    out: &mut [bool],
) {
    // Of the usual checks, one loop each.
    if let [Balance { mask, odd, terms }] = balances {
        let (mask, odd) = (L::of(*mask), if *odd { L::ONE } else { L::ZERO });
        let all = out.iter_mut().zip(words);
        match terms {
            _ if COUNTS => {
                return all.for_each(|(out, w)| *out = (*w & mask).ones() & L::ONE == odd);
            }
            Some(Terms { sums: terms, bits }) if bits.is_empty() => match terms[..] {
                [a] => {
                    let all = out.iter_mut().zip(sums);
                    return all.for_each(|(out, s)| *out = *s >> a & L::ONE == odd);
                }
                [a, b] => {
                    let all = out.iter_mut().zip(sums);
                    return all.for_each(|(out, s)| *out = (*s >> a ^ *s >> b) & L::ONE == odd);
                }
                _ => {}
            },
            _ => {}
        }
    }
    wrong.fill(L::ZERO);
    for Balance { mask, odd, terms } in balances {
        let (mask, odd) = (L::of(*mask), if *odd { L::ONE } else { L::ZERO });
        let all = wrong.iter_mut().zip(words);
        match terms {
            _ if COUNTS => {
                all.for_each(|(wrong, w)| *wrong = *wrong | ((*w & mask).ones() ^ odd));
            }
            Some(terms) => {
                for ((wrong, word), sum) in all.zip(sums) {
                    *wrong = *wrong | (terms.sum(*word, *sum) ^ odd);
                }
            }
            None => all.for_each(|(wrong, w)| *wrong = *wrong | (folded(*w & mask) ^ odd)),
        }
    }
    out.iter_mut().zip(&*wrong).for_each(|(out, wrong)| *out = *wrong & L::ONE == L::ZERO);
}

impl Terms {
    /// The sum, as the lowest bit.
    #[inline(always)]
    pub(super) fn sum<L: Lane>(&self, word: L, from_first: L) -> L {
        let sum = self.sums.iter().fold(L::ZERO, |sum, by| sum ^ from_first >> *by);
        self.bits.iter().fold(sum, |sum, by| sum ^ word >> *by)
    }
}

/// For each bit, the sum of it and all in front of it.
#[inline(always)]
pub(super) fn from_first<L: Lane>(mut word: L) -> L {
    for by in [1, 2, 4, 8, 16] {
        word = word ^ word >> by;
    }
    if L::BITS == 64 {
        word = word ^ word >> (L::BITS / 2);
    }
    word
}

/// The sum of all bits, as the lowest.
#[inline(always)]
pub(super) fn folded<L: Lane>(mut word: L) -> L {
    if L::BITS == 64 {
        word = word ^ word >> (L::BITS / 2);
    }
    for by in [16, 8, 4, 2, 1] {
        word = word ^ word >> by;
    }
    word
}
